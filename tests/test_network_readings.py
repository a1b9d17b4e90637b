"""What several readers of one photo make of it, and what training takes from a reading."""

from __future__ import annotations

import numpy as np
import pytest

from gait.landmarks import BACK_AND_HEAD, INDEX
from models.training.annotated import (
    USUAL_PLACE,
    agreed_points,
    all_readings,
    annotated_points,
    blind_readings,
    habits,
    read_alone,
    read_annotations,
    reading_places,
    second_readings,
    settle_back,
)
from models.training.evaluate import between_readers, outline_shows

TESTS = [a for a in read_annotations() if a["split"] == "test"]
TRAINING = [a for a in read_annotations() if a["split"] == "train"]


def test_every_held_back_photo_was_read_five_times_and_most_others_three():
    assert {len(all_readings(a)) for a in TESTS} == {5}
    assert np.mean([len(all_readings(a)) == 3 for a in TRAINING]) > 0.7


def test_a_photo_without_annotation_has_back_and_head_only():
    annotated = {a["file"] for a in read_annotations()}
    alone = [name for name in second_readings() if name not in annotated]
    assert len(alone) > 100
    points, weight = read_alone(alone[0])
    assert points.shape == (18, 2)
    assert np.isnan(weight[len(BACK_AND_HEAD) :]).all()
    assert (~np.isnan(weight[: len(BACK_AND_HEAD)])).sum() >= 4
    assert read_alone("no such photo") is None


def test_the_truth_of_a_held_back_photo_is_the_median_of_its_readers():
    for a in TESTS:
        readings = all_readings(a)
        points, _ = agreed_points(a)
        for k, name in enumerate(BACK_AND_HEAD):
            middle = np.sort(readings[:, k], axis=0)[2]
            if not np.isnan(readings[:, k]).any():
                assert points[INDEX[name]] == pytest.approx(middle), (a["file"], name)


def test_photos_to_train_on_were_all_read_again_and_those_kept_for_testing_were_not():
    again = blind_readings()
    assert {a["file"] for a in TRAINING} <= set(again)
    assert not {a["file"] for a in TESTS} & set(again)
    assert set(second_readings()) - {a["file"] for a in TESTS} <= set(again)


def test_the_earlier_readers_habit_is_taken_off():
    before, after = [], []
    for a in TRAINING:
        blind = reading_places(blind_readings()[a["file"]])[
            :, [INDEX["withers"], INDEX["tailhead"]]
        ]
        withers, tailhead = blind.mean(0)
        along = (tailhead - withers) / ((tailhead - withers) ** 2).sum()
        earlier = np.median(all_readings(a)[:, INDEX["withers"]], axis=0)
        before.append((earlier - withers) @ along)
        after.append((agreed_points(a)[0][INDEX["withers"]] - withers) @ along)
    assert np.nanmean(before) > 0.015
    assert abs(np.nanmean(after)) < 0.005
    assert habits()[INDEX["withers"]] < -0.015


def test_legs_are_as_the_first_reader_saw_them():
    for a in TESTS:
        assert np.array_equal(agreed_points(a)[0][6:], annotated_points(a)[0][6:])


def test_readers_agree_on_most_points_but_not_on_all():
    figures = between_readers()
    assert figures["pairs"] == 10 * len(TESTS)
    assert 0.8 < figures["back_and_head_within_5_pct"] < 0.95


def test_half_of_the_distance_from_the_usual_place_is_taken_back():
    points = np.zeros((18, 2), np.float32)
    points[INDEX["withers"]], points[INDEX["tailhead"]] = (300, 50), (100, 50)
    points[INDEX["mid_back"]] = (300 - 0.33 * 200, 47)
    points[INDEX["loin"]] = (300 - 0.81 * 200, 49)
    settled = settle_back(points)
    assert settled[INDEX["mid_back"]] == pytest.approx((300 - 0.3875 * 200, 47), abs=1e-3)
    assert settled[INDEX["loin"]] == pytest.approx((300 - 0.755 * 200, 49), abs=1e-3)
    others = [k for n, k in INDEX.items() if n not in USUAL_PLACE]
    assert np.array_equal(settled[others], points[others])


def test_the_usual_places_are_the_later_readers_mean():
    for name, usual in USUAL_PLACE.items():
        shares = []
        for rows in blind_readings().values():
            for places in reading_places(rows):
                withers, tailhead = places[INDEX["withers"]], places[INDEX["tailhead"]]
                along = tailhead - withers
                shares.append((places[INDEX[name]] - withers) @ along / (along @ along))
        assert np.nanmean(shares) == pytest.approx(usual, abs=0.01)


@pytest.mark.parametrize(("coat", "shows"), [(30, False), (60, True), (200, True)])
def test_a_dark_cow_before_a_dark_wall_has_no_visible_outline(coat, shows):
    mask = np.zeros((192, 320), bool)
    mask[60:130, 80:240] = True
    image = np.full((192, 320, 3), 28, np.uint8)
    image[mask] = coat
    assert outline_shows(image, mask) is shows
