"""Harmonics of the head's motion: hand-worked curves, drift, noise, and what is not measured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from gait.landmarks import INDEX
from gait.measure.head_bob import (
    HEAD_STIFFNESS,
    amplitude_without_noise,
    fit_harmonics,
    steady_poll,
)
from gait.measure.lane import see_in_lane
from gait.measure.whole_pass import measure_pass
from tests.measure_cow import WalkingCow, film, spoil


def extremes(curve: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Heights of minima and maxima of a closed curve."""
    before, after = np.roll(curve, 1), np.roll(curve, -1)
    return curve[(curve < before) & (curve < after)], curve[(curve > before) & (curve > after)]


@pytest.mark.parametrize(
    ("first", "a", "minima_differ", "maxima_differ"),
    # y = a sin t + b cos 2t with a = 10, b = 25 mm: the minima differ by 2 a = 20, the maxima do
    # not; y = a cos t + b cos 2t: the other way round; a = 3: minima differ by 6. (Definitions of
    # HDmin and HDmax: Pfau 2016; the numbers by hand.)
    [("sin", 10, 20, 0), ("cos", 10, 0, 20), ("sin", 3, 6, 0), ("sin", 0, 0, 0)],
)
def test_fitted_curve_has_the_extremes_worked_by_hand(first, a, minima_differ, maxima_differ):
    s = np.linspace(0, 3.3, 140)
    wave = {"sin": np.sin, "cos": np.cos}[first]
    trace = a * wave(2 * np.pi * s) + 25 * np.cos(4 * np.pi * s)
    fit = fit_harmonics(s, trace)
    assert abs(fit.first) == pytest.approx(a, abs=1e-6)
    assert abs(fit.second) == pytest.approx(25, abs=1e-6)
    minima, maxima = extremes(fit.curve(np.linspace(0, 1, 5000, endpoint=False) + 0.01))
    assert np.ptp(minima) == pytest.approx(minima_differ, abs=0.01)
    assert np.ptp(maxima) == pytest.approx(maxima_differ, abs=0.01)


def test_ratio_of_the_harmonics_is_a_over_b():
    s = np.linspace(0, 2.7, 90)
    fit = fit_harmonics(s, 10 * np.sin(2 * np.pi * s) + 25 * np.cos(4 * np.pi * s))
    assert abs(fit.first) / abs(fit.second) == pytest.approx(0.40)  # by hand: 10 / 25


def test_a_slowly_raised_head_does_not_leak_into_the_bob():
    s = np.linspace(0, 2.4, 80)  # not a whole number of strides
    fit = fit_harmonics(s, 12 * s + 3 * np.sin(2 * np.pi * s + 1))
    assert abs(fit.first) == pytest.approx(3, abs=1e-6)
    assert abs(fit.second) == pytest.approx(0, abs=1e-6)


def test_single_wild_frames_do_not_move_the_fit():
    s = np.linspace(0, 3, 90)
    trace = 2 * np.cos(2 * np.pi * s)
    trace[[10, 40, 41, 77]] += 60
    assert abs(fit_harmonics(s, trace).first) == pytest.approx(2, abs=0.1)


def test_noise_is_taken_off_the_square_of_an_amplitude():
    assert amplitude_without_noise(5.0, 2.0) == pytest.approx(np.sqrt(25 - 8))
    assert amplitude_without_noise(1.0, 2.0) == 0.0


def test_error_of_the_first_harmonic_holds_the_truth_as_often_as_it_says():
    rng = np.random.default_rng(5)
    held = []
    for _ in range(200):
        cow = WalkingCow(seconds=float(rng.uniform(3, 6)), head_a1_pct=2.0)
        s = np.arange(0, cow.seconds, 1 / 30) / cow.stride_s
        noise = np.zeros(len(s))
        for i in range(1, len(s)):
            noise[i] = 0.5 * noise[i - 1] + rng.normal(0, 0.5)
        trace = 2 * np.cos(2 * np.pi * s) + 3 * np.sin(4 * np.pi * s) + noise
        fit = fit_harmonics(s, trace)
        held.append(abs(abs(fit.first) - 2) < 1.645 * fit.first_se)
    assert 0.8 <= np.mean(held) <= 0.96


def test_head_at_the_floor_is_flagged_and_not_measured():
    walk = film(WalkingCow())
    points = walk.points.copy()
    for name in ("poll", "muzzle"):
        points[:, INDEX[name], 1] += 250  # 0.77 of the withers height lower
    found = measure_pass(replace(walk, points=points)).measures
    for name in ("head_bob_a1_pct", "head_bob_range_pct", "head_height_ratio"):
        assert np.isnan(found[name].value)
        assert "floor" in found[name].reason


def test_head_turned_to_the_camera_is_flagged_and_not_measured():
    walk = film(WalkingCow())
    points = walk.points.copy()
    points[:, INDEX["muzzle"]] = points[:, INDEX["poll"]] + [10.0, 20.0]
    found = measure_pass(replace(walk, points=points)).measures
    assert "turned" in found["head_bob_a1_pct"].reason
    assert found["stride_duration_s"].is_known


def test_bob_is_recovered_from_noisy_landmarks():
    rng = np.random.default_rng(2)
    for a1 in (0.0, 1.0, 3.0):
        cow = WalkingCow(head_a1_pct=a1, head_a2_pct=2.0, seconds=5)
        found = measure_pass(spoil(film(cow), rng, swapped=0.0)).measures
        assert found["head_bob_a1_pct"].value == pytest.approx(a1, abs=0.6)
        assert found["head_bob_a2_pct"].value == pytest.approx(2.0, abs=0.6)


def head_stretched(cow: WalkingCow, by: np.ndarray) -> np.ndarray:
    """Landmarks of a walk with the poll moved away from the muzzle by a share of the head."""
    points = film(cow).points.copy()
    poll, muzzle = points[:, INDEX["poll"]], points[:, INDEX["muzzle"]]
    points[:, INDEX["poll"]] = muzzle + (poll - muzzle) * (1 + by)[:, None]
    return points


def test_a_poll_that_slides_along_the_head_is_put_back_by_half():
    cow = WalkingCow(head_a1_pct=2.0)
    walk = film(cow)
    lane = see_in_lane(walk)
    slides = 0.1 * np.cos(2 * np.pi * walk.time_s / cow.stride_s)
    seen = see_in_lane(replace(walk, points=head_stretched(cow, slides)))
    true, raw = lane.of("poll")[1], seen.of("poll")[1]
    assert np.ptp(raw - true) > 6  # px: the slide shows
    left = (1 - HEAD_STIFFNESS) * (raw - true)
    assert steady_poll(seen) - true == pytest.approx(left, abs=1.0)
    assert steady_poll(lane) == pytest.approx(true, abs=0.05)


def test_a_head_turned_slowly_keeps_its_poll():
    cow = WalkingCow(head_a1_pct=2.0)
    walk = film(cow)
    turned = see_in_lane(replace(walk, points=head_stretched(cow, -0.05 * walk.time_s)))
    assert steady_poll(turned) == pytest.approx(turned.of("poll")[1], abs=0.3)


def test_a_poll_without_a_muzzle_is_taken_as_seen():
    walk = film(WalkingCow())
    points = walk.points.copy()
    points[::3, INDEX["muzzle"]] = np.nan
    lane = see_in_lane(replace(walk, points=points))
    assert np.array_equal(np.isfinite(steady_poll(lane)), np.isfinite(lane.of("poll")[1]))
