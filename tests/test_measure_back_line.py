"""The traced back line against drawn backs whose edge is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from gait.landmarks import INDEX
from gait.measure import trace_back_line
from gait.measure.back_arch import arch_of_line
from tests.measure_picture import BackPicture, draw


def distance_to(line: np.ndarray, true: np.ndarray) -> np.ndarray:
    """Distance of points to a densely drawn line, px."""
    gaps = np.hypot(*(line[:, None] - true[None]).transpose(2, 0, 1))
    k = np.clip(gaps.argmin(axis=1), 1, len(true) - 2)
    along = true[k + 1] - true[k - 1]
    offset = line - true[k]
    return np.abs(along[:, 0] * offset[:, 1] - along[:, 1] * offset[:, 0]) / np.hypot(*along.T)


CASES = {
    "plain": {},
    "flat": {"arch": 0.0},
    "spotted": {"spots": True},
    "flies": {"flies": 12},
    "black cow in a dark barn": {"coat": (14, 14, 14), "behind": (22, 22, 22)},
    "tilted camera": {"tilt_deg": 10.0, "spots": True},
    "round rump behind a dip": {"arch": 0.1, "sway": 0.05},
}


@pytest.mark.parametrize("case", CASES)
def test_edge_is_found_within_half_a_pixel(case):
    for seed in range(3):
        picture, silhouette, points, true = draw(BackPicture(seed=seed, **CASES[case]))
        line = trace_back_line(picture, silhouette, points)
        assert np.isfinite(line).all()
        # a step of eight grey levels under noise of three is told less finely
        most = 0.75 if "dark" in case else 0.5
        assert np.sqrt(np.mean(distance_to(line, true) ** 2)) < most


def test_a_rail_across_the_back_costs_little():
    for seed in range(3):
        back = BackPicture(seed=seed, spots=True, rail=True, flies=8)
        picture, silhouette, points, _ = draw(back)
        arch = float(arch_of_line(trace_back_line(picture, silhouette, points)))
        assert arch == pytest.approx(back.arch, abs=0.04)


@pytest.mark.parametrize("arch", [-0.1, 0.0, 0.15, 0.4, 0.6])
def test_arch_of_the_traced_line_is_the_drawn_one(arch):
    picture, silhouette, points, _ = draw(BackPicture(arch=arch, spots=True))
    found = float(arch_of_line(trace_back_line(picture, silhouette, points)))
    assert found == pytest.approx(arch, abs=max(0.03, 0.08 * arch))


def test_line_runs_evenly_from_withers_to_tailhead():
    picture, silhouette, points, _ = draw(BackPicture())
    line = trace_back_line(picture, silhouette, points)
    assert np.hypot(*(line[0] - points[INDEX["withers"]])) < 4
    assert np.hypot(*(line[-1] - points[INDEX["tailhead"]])) < 4
    gaps = np.hypot(*np.diff(line, axis=0).T)
    assert gaps.max() < 1.05 * gaps.min()


def test_the_picture_sharpens_what_the_silhouette_says():
    # the silhouette alone is two thirds of a cell (2 px) too high
    back = BackPicture(silhouette_lift=0.67)
    picture, silhouette, points, true = draw(back)
    blind = np.full_like(picture, 128)
    with_picture = distance_to(trace_back_line(picture, silhouette, points), true).mean()
    without = distance_to(trace_back_line(blind, silhouette, points), true).mean()
    assert with_picture < 0.5 * without


def test_a_patch_left_out_of_the_silhouette_does_not_become_the_back():
    # The network sometimes takes a white patch at the top of a dark cow for background.
    for seed in range(3):
        back = BackPicture(seed=seed, spots=True)
        picture, silhouette, points, true = draw(back)
        probability = silhouette.probability.copy()
        rows = np.nonzero(probability.max(axis=1) > 0.5)[0]
        columns = np.nonzero(probability.max(axis=0) > 0.5)[0]
        middle = (columns[0] + columns[-1]) // 2
        hole = slice(rows[0], rows[0] + 12), slice(middle + 5, middle + 30)
        probability[hole] = np.minimum(probability[hole], 0.1)
        line = trace_back_line(picture, replace(silhouette, probability=probability), points)
        assert distance_to(line, true).max() < 1.5


def test_without_any_edge_the_silhouette_is_kept():
    picture, silhouette, points, true = draw(BackPicture())
    line = trace_back_line(np.full_like(picture, 90), silhouette, points)
    assert distance_to(line, true).mean() < 1.0


@pytest.mark.parametrize("name", ["withers", "tailhead"])
def test_an_unseen_end_leaves_the_line_untraced(name):
    picture, silhouette, points, _ = draw(BackPicture())
    points[INDEX[name]] = np.nan
    assert np.isnan(trace_back_line(picture, silhouette, points)).all()


def test_no_cow_no_line():
    picture, silhouette, points, _ = draw(BackPicture())
    empty = replace(silhouette, probability=np.zeros_like(silhouette.probability))
    assert np.isnan(trace_back_line(picture, empty, points)).all()


def test_the_line_is_unknown_beyond_the_edge_of_the_picture():
    picture, silhouette, points, _ = draw(BackPicture())
    line = trace_back_line(picture[:, : int(points[INDEX["withers"], 0]) - 40], silhouette, points)
    assert np.isnan(line[:5]).all()
    assert np.isfinite(line[-5:]).all()
