"""Landmarks and boxes from hand-made heat maps; crops and the way back."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait.pose import Box, Silhouette
from gait.pose.crop import PADDING, apply, cut, grid_to_frame, whole_box
from gait.pose.decode import count_hills, find_boxes, find_peaks, sigmoid, smoothed

SHAPE = (96, 160)


def bump(column: float, row: float, height: float = 1.0, spread: float = 2.0) -> np.ndarray:
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    far = (x - column) ** 2 + (y - row) ** 2
    return (height * np.exp(-far / (2 * spread**2))).astype(np.float32)


@given(st.floats(2, 157), st.floats(2, 93), st.floats(0.2, 1.0))
def test_a_gaussian_peak_is_found_far_finer_than_a_cell(column, row, height):
    places, heights = find_peaks(bump(column, row, height)[None])
    assert places[0] == pytest.approx([column, row], abs=0.02)
    # at worst the peak lies in the corner between four cells: exp(-0.25 / 4) = 0.94 of its height
    assert 0.93 * height < heights[0] <= height + 1e-6


def test_each_map_gives_its_own_peak():
    places, heights = find_peaks(np.stack([bump(10, 20), bump(100.25, 50.5, 0.5)]))
    assert places == pytest.approx(np.array([[10, 20], [100.25, 50.5]]), abs=0.02)
    assert heights == pytest.approx([1.0, 0.5], abs=0.03)


def test_a_peak_in_the_corner_of_the_map_stays_there():
    places, _ = find_peaks(bump(0, 0)[None])
    assert places[0] == pytest.approx([0, 0])


def test_an_empty_map_has_no_height():
    _, heights = find_peaks(np.full((1, *SHAPE), -0.2, np.float32))
    assert heights[0] == 0


def test_smoothing_is_twofold_enlarging_and_averaging_back():
    maps = np.stack([bump(10.3, 20.7, spread=1.0), bump(0, 95)])
    large = [cv2.resize(one, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR) for one in maps]
    back = [cv2.resize(one, SHAPE[::-1], interpolation=cv2.INTER_AREA) for one in large]
    assert smoothed(maps) == pytest.approx(np.stack(back), abs=1e-6)
    assert smoothed(maps)[0].max() < 0.95 * maps[0].max()


def distances(left: float, top: float, right: float, bottom: float) -> np.ndarray:
    return np.tile(np.array([left, top, right, bottom], np.float32)[:, None, None], (1, *SHAPE))


def test_a_box_reaches_from_its_middle_as_far_as_the_maps_say():
    (box,) = find_boxes(
        bump(80, 50, 0.8), distances(0.2, 0.1, 0.3, 0.15), threshold=0.3, cells_per_unit=160
    )
    assert (box.x0, box.y0, box.x1, box.y1) == pytest.approx((48, 34, 128, 74))
    assert box.confidence == pytest.approx(0.8)


def test_two_cows_give_two_boxes_and_two_peaks_on_one_cow_give_one():
    small = distances(0.1, 0.1, 0.1, 0.1)
    apart = np.maximum(bump(40, 50, 0.7), bump(120, 50, 0.9))
    found = find_boxes(apart, small, threshold=0.3, cells_per_unit=160)
    assert [box.confidence for box in found] == pytest.approx([0.9, 0.7])
    near = np.maximum(bump(80, 50, 0.7, 1.0), bump(86, 50, 0.9, 1.0))
    assert len(find_boxes(near, small, threshold=0.3, cells_per_unit=160)) == 1


def test_peaks_below_the_threshold_are_no_cows():
    small = distances(0.1, 0.1, 0.1, 0.1)
    assert find_boxes(bump(80, 50, 0.29), small, threshold=0.3, cells_per_unit=160) == []


def test_sigmoid_holds_for_huge_logits():
    values = sigmoid(np.array([-1e4, -2.0, 0.0, 2.0, 1e4], np.float32))
    assert values == pytest.approx([0, 1 / (1 + np.e**2), 0.5, 1 / (1 + np.e**-2), 1], abs=1e-6)


@given(
    st.floats(-200, 600),
    st.floats(-200, 300),
    st.floats(20, 900),
    st.floats(20, 900),
    st.sampled_from([0.0, 0.12, 0.5]),
)
def test_a_crop_keeps_the_aspect_and_holds_the_whole_box(x0, y0, wide, high, growth):
    image = np.zeros((360, 640, 3), np.uint8)
    box = Box(x0=x0, y0=y0, x1=x0 + wide, y1=y0 + high)
    rgb, to_frame = cut(image, box, (320, 192), growth)
    assert rgb.shape == (192, 320, 3)
    assert rgb.flags.c_contiguous
    assert to_frame[0, 0] == pytest.approx(to_frame[1, 1], rel=0.06)  # whole frame px
    first, last = apply(to_frame, np.array([[-0.5, -0.5], [319.5, 191.5]]))
    assert first[0] <= box.x0 + 1
    assert first[1] <= box.y0 + 1
    assert last[0] >= box.x1 - 2
    assert last[1] >= box.y1 - 2


def test_a_spot_in_the_frame_is_found_back_through_the_crop():
    image = np.zeros((1080, 1920, 3), np.uint8)
    y, x = np.mgrid[:1080, :1920]
    image[..., 2] = 255 * np.exp(-((x - 700.0) ** 2 + (y - 431.0) ** 2) / (2 * 20.0**2))
    rgb, to_frame = cut(image, Box(x0=400.0, y0=200.0, x1=1400.0, y1=900.0), (320, 192), 0.12)
    places, _ = find_peaks(rgb[None, :, :, 0].astype(np.float32) / 255)
    assert apply(to_frame, places)[0] == pytest.approx([700, 431], abs=0.25)


def test_beyond_the_frame_the_crop_is_grey():
    image = np.full((100, 100, 3), 255, np.uint8)
    rgb, _ = cut(image, Box(x0=-100.0, y0=0.0, x1=100.0, y1=100.0), (320, 192), 0.0)
    assert (rgb[:, 10] == PADDING).all()
    assert (rgb[96, 200] == 255).all()


def test_cells_of_the_grid_lie_between_the_input_pixels():
    grid = grid_to_frame(np.eye(2, 3), 2)
    assert apply(grid, np.array([[0.0, 0.0], [10.0, 5.0]])) == pytest.approx(
        np.array([[0.5, 0.5], [20.5, 10.5]])
    )


def test_a_silhouette_is_laid_over_the_frame_where_it_was_seen():
    probability = np.zeros(SHAPE, np.float32)
    probability[10:20, 30:50] = 1.0
    to_frame = np.array([[4.0, 0, 100.0], [0, 4.0, 200.0]])
    mask = Silhouette(probability=probability, to_frame=to_frame).mask((600, 800))
    rows, columns = np.nonzero(mask)
    # cells 30..49 and 10..19, each 4 px, halfway to the next cell on both sides
    assert (columns.min(), columns.max()) == (100 + 29.5 * 4, 100 + 49.5 * 4)
    assert (rows.min(), rows.max()) == (200 + 9.5 * 4, 200 + 19.5 * 4)
    assert set(np.unique(mask)) == {0, 255}


def test_boxes_know_their_overlap():
    one, other = whole_box(np.zeros((10, 10, 3), np.uint8)), Box(x0=5.0, y0=0.0, x1=15.0, y1=10.0)
    assert one.common_area(other) == 50
    assert one.iou(other) == pytest.approx(50 / 150)
    assert one.iou(other.moved(20)) == 0


def test_places_in_a_group_of_maps_are_counted_once_each():
    near = np.maximum(bump(40, 80, 0.7), bump(60, 80, 0.5))
    far = np.maximum(bump(41, 80, 0.6), bump(90, 80, 0.8))  # the first place is in both maps
    everywhere = np.ones(SHAPE, bool)
    assert count_hills(np.stack([near, far]), everywhere) == 3
    assert count_hills(np.stack([near, 0.3 * far]), everywhere) == 2
    left = everywhere.copy()
    left[:, 50:] = False
    assert count_hills(np.stack([near, far]), left) == 1
