"""Frames of the drawn cow for the training: how faint a back is."""

from __future__ import annotations

import numpy as np

from gait.landmarks import INDEX
from models.training.drawn import DrawnFrame, contrast, draw_frame
from synthetic_clips.recipes import TRAINING_FIRST_SEED


def _boxy_cow(coat: int, wall: int, *, patch: int | None = None) -> DrawnFrame:
    image = np.full((200, 300, 3), wall, np.uint8)
    image[80:160, 50:250] = coat
    if patch is not None:
        image[80:160, 50:120] = patch
    mask = np.zeros((200, 300), np.uint8)
    mask[80:160, 50:250] = 255
    points = np.full((18, 2), 100.0)
    points[INDEX["withers"]], points[INDEX["tailhead"]] = (60, 80), (240, 80)
    return DrawnFrame(image=image, mask=mask, points=points, weight=np.ones(18))


def test_a_grey_cow_before_a_grey_wall_is_fainter_than_a_black_one():
    assert contrast(_boxy_cow(120, 125)) < 5 < 30 < contrast(_boxy_cow(20, 125))


def test_a_patch_like_the_wall_makes_a_black_back_faint():
    assert contrast(_boxy_cow(20, 125, patch=122)) < 5


def test_a_drawn_frame_shows_all_of_one_cow():
    frame = draw_frame(TRAINING_FIRST_SEED)
    assert frame is not None
    assert frame.image.shape == (540, 960, 3)
    rows, columns = np.nonzero(frame.mask)
    assert columns.min() > 0
    assert columns.max() < 959
    assert rows.min() > 0
    assert contrast(frame) > 0
