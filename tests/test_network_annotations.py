"""The hand annotations: complete, consistent, and split so that no test animal is trained on."""

from __future__ import annotations

import hashlib
from collections import Counter

import numpy as np
import pytest

from gait.landmarks import INDEX, LANDMARKS
from models.training.annotated import annotated_points, polygon_mask, read_annotations

ANNOTATIONS = read_annotations()
BY_NAME = pytest.mark.parametrize("a", ANNOTATIONS, ids=[a["file"][-30:] for a in ANNOTATIONS])


def test_thirty_photos_are_kept_for_testing_six_of_them_in_the_dark_lane():
    tests = [a for a in ANNOTATIONS if a["split"] == "test"]
    assert len(ANNOTATIONS) >= 80
    assert len(tests) >= 30
    assert sum("lane_rails" in a["file"] for a in tests) >= 6
    assert {a["split"] for a in ANNOTATIONS} == {"train", "test"}


def test_no_animal_of_the_dark_lane_is_both_trained_and_tested_on():
    # The animal is the part of the file name before "_rgb".
    splits: dict[str, set[str]] = {}
    for a in ANNOTATIONS:
        if "lane_rails" in a["file"]:
            animal = a["file"].rsplit("/", 1)[1].split("_rgb")[0]
            splits.setdefault(animal, set()).add(a["split"])
    assert splits
    assert all(len(s) == 1 for s in splits.values()), splits


def test_no_photo_is_annotated_twice():
    counts = Counter(a["sha256"] for a in ANNOTATIONS)
    assert max(counts.values()) == 1


@BY_NAME
def test_each_annotation_names_all_landmarks_and_outlines_a_cow(a):
    assert set(a["landmarks"]) <= set(LANDMARKS)
    points, weight = annotated_points(a)
    known = ~np.isnan(weight)
    # Legs may stand in grass or be cut off; back and head and a joint or two are the least.
    assert known.sum() >= 8
    inside = (points[known] > -1) & (points[known] < (a["width"] + 1, a["height"] + 1))
    assert inside.all()
    mask = polygon_mask(a, (a["height"], a["width"]))
    assert 0.03 < mask.mean() < 0.9


@BY_NAME
def test_the_withers_and_tailhead_lie_by_the_outline(a):
    points, weight = annotated_points(a)
    mask = polygon_mask(a, (a["height"], a["width"]))
    trunk = np.linalg.norm(points[INDEX["withers"]] - points[INDEX["tailhead"]])
    rows, columns = np.nonzero(mask)
    for name in ("withers", "tailhead"):
        if np.isnan(weight[INDEX[name]]):
            continue
        away = np.hypot(columns - points[INDEX[name], 0], rows - points[INDEX[name], 1]).min()
        assert away < 0.06 * trunk, name


def test_the_photos_are_the_annotated_ones(shared):
    for a in ANNOTATIONS:
        data = (shared / "data" / a["file"]).read_bytes()
        assert hashlib.sha256(data).hexdigest() == a["sha256"], a["file"]
