"""Back arch from known curves: published geometry, sign, invariance, missing points."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait.measure.back_arch import arch_by_spline, arch_of_line, fit_circle_curvature, sagitta_pct


def arc(arch: float, count: int = 64) -> np.ndarray:
    """Circular arc of chord 1, y down, arched upwards when positive."""
    share = np.linspace(0, 1, count)
    if abs(arch) < 1e-6:
        return np.stack([share, 0 * share], -1)
    radius = 1 / abs(arch)
    rise = np.sqrt(radius**2 - (share - 0.5) ** 2) - np.sqrt(radius**2 - 0.25)
    return np.stack([share, -np.sign(arch) * rise], -1)


def test_circle_through_three_hand_picked_points_has_curvature_one():
    # By hand: centre (1, 0), radius 1.
    assert fit_circle_curvature(np.array([[0, 0], [1, 1], [2, 0.0]])) == pytest.approx(1.0)


def test_points_on_a_line_have_no_curvature():
    line = np.array([[0, 0], [1, 2], [2, 4], [5, 10.0]])
    assert fit_circle_curvature(line) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("sagitta_m", "curvature_per_m"),
    # kappa = 2 s / ((c/2)^2 + s^2) for a chord of 1.5 m, computed with that formula to five places
    [(0.02, 0.07106), (0.05, 0.17699), (0.08, 0.28124), (0.12, 0.41602), (0.15, 0.51282)],
)
def test_curvature_agrees_with_the_sagitta_formula(sagitta_m, curvature_per_m):
    chord = 1.5
    line = chord * arc(curvature_per_m * chord)
    assert fit_circle_curvature(line) == pytest.approx(curvature_per_m, abs=1e-4)
    assert sagitta_pct(arch_of_line(line)) == pytest.approx(100 * sagitta_m / chord, abs=1e-2)


@given(
    arch=st.floats(-0.8, 0.8),
    scale=st.floats(20, 2000),
    turn=st.floats(-0.3, 0.3),
    mirrored=st.booleans(),
)
def test_arch_does_not_change_with_size_tilt_place_or_direction(arch, scale, turn, mirrored):
    line = arc(arch) * scale
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    line = line @ rotation.T + [300.0, -40.0]
    if mirrored:
        line = line * [-1, 1]
    assert arch_of_line(line) == pytest.approx(arch, abs=1e-6)
    assert arch_of_line(line[::-1]) == pytest.approx(arch, abs=1e-6)


def test_a_hollow_back_is_negative():
    assert arch_of_line(arc(-0.2)) == pytest.approx(-0.2)


def test_arch_does_not_jump_as_the_withers_stand_out():
    # On many cows the withers stand over the line of the back; the chord then runs above it.
    share = np.linspace(0, 1, 64)
    bump = np.exp(-((share / 0.12) ** 2))
    arches = [float(arch_of_line(arc(0.3) - np.stack([0 * share, h * bump], -1)))
              for h in np.linspace(0, 0.12, 61)]  # fmt: skip
    # a height of 0.002 chords is worth an arch of eight times that at most
    assert np.abs(np.diff(arches)).max() < 0.016


def test_arch_survives_a_hole_in_the_line():
    line = arc(0.3)
    line[20:35] = np.nan
    assert arch_of_line(line) == pytest.approx(0.3, abs=1e-6)


@pytest.mark.parametrize("gone", [slice(0, 12), slice(52, 64), slice(15, 40)])
def test_no_arch_is_given_when_an_end_or_too_much_is_missing(gone):
    line = arc(0.3)
    line[gone] = np.nan
    assert np.isnan(arch_of_line(line))
    assert np.isnan(sagitta_pct(arch_of_line(line)))


def test_many_lines_are_measured_at_once():
    lines = np.stack([arc(0.0), arc(0.2), arc(0.5)])
    assert arch_of_line(lines) == pytest.approx([0.0, 0.2, 0.5], abs=1e-9)


def test_one_bump_does_not_make_the_sagitta():
    line = arc(0.0)
    line[30:33, 1] -= 0.02  # a hook bone: 2 % of the chord high
    assert sagitta_pct(arch_of_line(line)) < 0.5


@pytest.mark.parametrize("arch", [-0.1, 0.0, 0.1, 0.3, 0.6])
def test_spline_and_circle_agree_on_an_arch(arch):
    assert arch_by_spline(arc(arch)) == pytest.approx(arch, abs=0.002)
    assert arch_by_spline(arc(arch)[::-1] * [-1, 1]) == pytest.approx(arch, abs=0.002)


def test_spline_and_circle_differ_on_a_line_that_went_astray():
    line = arc(0.1)
    line[50:, 1] += np.linspace(0, 0.08, 14)  # the end slips down the rump
    # on a true arc they agree within 0.002
    assert abs(arch_by_spline(line) - arch_of_line(line)) > 0.03
