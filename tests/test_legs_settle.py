"""Near and far legs: every frame in which they were mixed up is put right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from gait.landmarks import INDEX
from gait.track.legs import settle_legs
from tests.measure_cow import WalkingCow, film, spoil, swap_legs, wobble

HOOVES = ("hind_hoof", "fore_hoof")


def wrong_frames(settled, truth) -> int:
    """Frames of a pair in which the near hoof lies on the far one."""
    wrong = 0
    for name in HOOVES:
        near, far = truth.point(f"near_{name}"), truth.point(f"far_{name}")
        got = settled.point(f"near_{name}")
        apart = np.hypot(*(near - far).T) > 15
        closer = np.hypot(*(got - far).T) < np.hypot(*(got - near).T)
        wrong += int((apart & closer).sum())
    return wrong


@pytest.mark.parametrize("fps", [25, 60])
@pytest.mark.parametrize("heading", ["left", "right"])
def test_runs_of_mixed_up_frames_are_put_right(fps, heading):
    rng = np.random.default_rng(4)
    truth = film(WalkingCow(fps=fps, heading=heading))
    noisy = truth.points + wobble(rng, truth.points.shape, 1.5)
    mixed = replace(truth, points=swap_legs(noisy, rng, 0.25))
    assert wrong_frames(mixed, truth) > 50
    assert wrong_frames(settle_legs(mixed), truth) <= 5  # of about 300: where the legs pass


def test_legs_that_were_right_are_left_alone():
    truth = film(WalkingCow())
    assert np.array_equal(settle_legs(truth).points, truth.points, equal_nan=True)


def test_settling_twice_changes_nothing_more():
    rng = np.random.default_rng(0)
    once = settle_legs(spoil(film(WalkingCow()), rng))
    assert np.array_equal(settle_legs(once).points, once.points, equal_nan=True)


def test_confidence_goes_with_its_landmark():
    truth = film(WalkingCow())
    i, j = INDEX["near_hind_hoof"], INDEX["far_hind_hoof"]
    points, confidence = truth.points.copy(), truth.confidence.copy()
    for name in ("hock", "hind_fetlock", "hind_hoof"):
        a, b = INDEX[f"near_{name}"], INDEX[f"far_{name}"]
        points[60:64, [a, b]] = points[60:64, [b, a]]
    confidence[60:64, i] = 0.6
    settled = settle_legs(replace(truth, points=points, confidence=confidence))
    assert np.all(settled.confidence[60:64, j] == 0.6)
    assert np.all(settled.confidence[60:64, i] == 0.9)


def test_two_names_on_one_leg_leave_the_other_unseen():
    # The commonest error of the network: both names on the same leg for a few frames, here while
    # both stand.
    truth = film(WalkingCow())
    points = truth.points.copy()
    for name in ("hind_hoof", "hind_fetlock", "hock"):
        points[39:44, INDEX[f"near_{name}"]] = points[39:44, INDEX[f"far_{name}"]]
    settled = settle_legs(replace(truth, points=points))
    assert np.isnan(settled.point("near_hind_hoof")[39:44]).all()
    assert np.array_equal(settled.point("far_hind_hoof"), truth.point("far_hind_hoof"))


def test_a_pair_named_wrongly_all_along_is_put_right_by_the_footfall_order():
    truth = film(WalkingCow())
    points = truth.points.copy()
    for name in ("hind_hoof", "hind_fetlock", "hock"):
        a, b = INDEX[f"near_{name}"], INDEX[f"far_{name}"]
        points[20:, [a, b]] = points[20:, [b, a]]  # most frames say near is far
    assert wrong_frames(settle_legs(replace(truth, points=points)), truth) <= 3


def test_two_frames_are_returned_as_they_are():
    walk = film(WalkingCow(seconds=2 / 30))
    assert settle_legs(walk) is walk


AHEAD_OF_WITHERS = {
    "hind": (-.89, -.60, -.49, -.48, -.58, -.75, -.97, -1.08, -1.16, -1.17, -1.18, -1.06),
    "fore": (-.22, -.19, -.04, .13, .25, .34, .32, .24, .16, .07, -.02, -.07),
}  # fmt: skip
"""A rigged cow's left hooves through one stride, trunk lengths: they slide while they bear her."""


def sliding_walk():
    """A walk whose hooves move as the rigged cow's do, the right ones half a stride later."""
    cow = WalkingCow(stride_s=1.25, stride_bl=0.99)
    walk = film(cow)
    points = walk.points.copy()
    body = points[:, INDEX["withers"], 0]
    for side, late in (("near", 0.0), ("far", 0.5)):
        for end, ahead in AHEAD_OF_WITHERS.items():
            moment = (walk.time_s / cow.stride_s + late) % 1 * len(ahead)
            x = np.interp(moment, np.arange(len(ahead) + 1), (*ahead, ahead[0]))
            for name, share in ((f"{end}_hoof", 1.0), (f"{end}_fetlock", 0.8)):
                points[:, INDEX[f"{side}_{name}"], 0] = body + share * x * cow.body_length_px
    return replace(walk, points=points)


def test_hooves_that_slide_keep_the_network_s_names():
    walk = sliding_walk()
    settled = settle_legs(walk)
    assert wrong_frames(settled, walk) <= 6
    for name in HOOVES:
        for side in ("near", "far"):
            assert np.isfinite(settled.point(f"{side}_{name}")).all()
