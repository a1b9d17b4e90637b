"""People in review films: coarse outside the cow's box, found and coarse within it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from gait import blur
from gait.blur import BLOCKS, PeopleBlur, coarsened, upper_part
from gait.clip import read_frames
from gait.filing import file_report
from gait.store import open_store

SIZE = (360, 640)
COW = np.array([200.0, 120.0, 460.0, 330.0])


def noise(seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return rng.integers(0, 256, (*SIZE, 3)).astype(np.uint8)


def detail(image: np.ndarray) -> float:
    """Return how much changes from one pixel to the next: what a face is known by."""
    return float(np.abs(np.diff(image.astype(float), axis=1)).mean())


def test_outside_the_cows_box_nothing_fine_is_left():
    image = noise()
    shown = PeopleBlur().hide(image, COW)
    assert detail(image) > 60
    assert detail(shown[:, :180]) < 2
    assert detail(shown[:100]) < 2
    assert np.array_equal(shown[125:325, 205:455], image[125:325, 205:455])


def test_without_a_cow_the_whole_picture_is_coarse():
    for cow in (None, np.full(4, np.nan)):
        assert detail(PeopleBlur().hide(noise(), cow)) < 2


def test_what_is_coarse_holds_no_more_than_the_blocks():
    """Two pictures that differ only in detail within a block come out the same."""
    one = noise(1)
    block = SIZE[1] // BLOCKS
    other = one.copy()
    tile = other[: block * 2, : block * 2].reshape(-1, 3)
    other[: block * 2, : block * 2] = tile[::-1].reshape(block * 2, block * 2, 3)
    changed = np.abs(coarsened(one).astype(int) - coarsened(other)).max()
    assert changed < 25
    assert np.abs(one.astype(int) - other).max() > 200


def test_a_person_found_within_the_box_loses_head_and_shoulders(monkeypatch):
    person = (300.0, 130.0, 360.0, 320.0)
    monkeypatch.setattr(PeopleBlur, "find", lambda self, image: [person])
    image = noise()
    shown = PeopleBlur().hide(image, COW)
    assert detail(shown[135:200, 300:360]) < 2
    assert np.array_equal(shown[240:320, 300:360], image[240:320, 300:360])


def test_head_and_shoulders_are_the_upper_part_and_room_around_it():
    x0, y0, x1, y1 = upper_part((100.0, 100.0, 200.0, 300.0))
    assert (x0, y0, x1, y1) == pytest.approx((80.0, 60.0, 220.0, 190.0))


def test_people_are_looked_for_every_few_pictures_only(monkeypatch):
    looks = []
    monkeypatch.setattr(PeopleBlur, "find", lambda self, image: looks.append(1) or [])
    hiding = PeopleBlur()
    for _ in range(2 * blur.LOOK_EVERY + 1):
        hiding.hide(noise(), COW)
    assert len(looks) == 3


def test_the_detector_finds_a_drawn_upright_figure_or_nothing_but_never_fails():
    image = np.full((*SIZE, 3), 120, np.uint8)
    cv2.ellipse(image, (320, 90), (18, 22), 0, 0, 360, (60, 60, 60), -1)
    cv2.rectangle(image, (290, 115), (350, 210), (40, 40, 40), -1)
    cv2.rectangle(image, (295, 210), (317, 320), (30, 30, 30), -1)
    cv2.rectangle(image, (323, 210), (345, 320), (30, 30, 30), -1)
    for x0, y0, x1, y1 in PeopleBlur().find(image):
        assert x0 < 320 < x1
        assert y0 < 200 < y1


def test_review_films_are_blurred_when_the_farm_says_so(coded_report, tmp_path):
    def corner_detail(blurred: bool) -> float:
        with open_store(tmp_path / f"farm{blurred}") as store:
            store.settings.put(blur.SETTING, blurred, who="Ann")
            (pass_id,) = file_report(store, coded_report).pass_ids
            files = store.passes.get(pass_id).files
            frames = list(read_frames(store.folder / files["film"]))
            middle = frames[len(frames) // 2].image
            still = cv2.imread(str(store.folder / files["still"]))
        assert still is not None
        return detail(middle[:40, -120:]) + detail(still[:12])

    assert corner_detail(True) < 0.5 * corner_detail(False)
