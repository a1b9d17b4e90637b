"""Nothing a network can give makes the measurements fail: there is a value or a sentence."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from gait.landmarks import INDEX, LANDMARKS
from gait.measure import measure_pass, measure_posture
from gait.track.legs import settle_legs
from tests.measure_cow import WalkingCow, film, spoil
from tests.test_measure_pass import first_frames


def check(pass_) -> None:
    """Every measure is a number with an error or a reason; the JSON has no NaN."""
    found = measure_pass(settle_legs(pass_))
    for name, measure in found.measures.items():
        assert np.isfinite(measure.value) == (measure.reason is None), name
        assert measure.reason is None or measure.reason.endswith("."), name
        json.dumps(measure.as_json(), allow_nan=False)
    assert found.usable or found.problems


@pytest.mark.parametrize("count", [1, 2, 3, 4, 7, 12, 25])
def test_a_few_frames(count):
    check(first_frames(film(WalkingCow()), count))


@pytest.mark.parametrize("landmark", LANDMARKS)
def test_any_landmark_never_seen(landmark):
    walk = spoil(film(WalkingCow(seconds=4)), np.random.default_rng(0))
    points = walk.points.copy()
    points[:, INDEX[landmark]] = np.nan
    check(replace(walk, points=points))


def test_nothing_seen_at_all():
    walk = film(WalkingCow(seconds=3))
    check(replace(walk, points=np.full_like(walk.points, np.nan)))


@pytest.mark.parametrize("seed", range(6))
def test_landmarks_strewn_at_random(seed):
    rng = np.random.default_rng(seed)
    walk = film(WalkingCow(seconds=3))
    points = rng.uniform(0, 1500, walk.points.shape)
    points[rng.random(points.shape[:2]) < 0.4] = np.nan
    confidence = rng.random(walk.confidence.shape)
    line = rng.uniform(0, 1500, walk.back_line.shape)
    check(replace(walk, points=points, confidence=confidence, back_line=line))


@pytest.mark.parametrize("seed", range(4))
def test_most_landmarks_lost(seed):
    rng = np.random.default_rng(seed)
    check(spoil(film(WalkingCow(seconds=5)), rng, lost=0.7, swapped=0.4, jitter_px=8.0))


def test_all_landmarks_in_one_spot():
    walk = film(WalkingCow(seconds=3))
    same = np.full_like(walk.points, 700.0)
    check(replace(walk, points=same, back_line=np.full_like(walk.back_line, 700.0)))


def test_a_cow_that_turns_back_is_measured_or_refused():
    walk = film(WalkingCow(seconds=6))
    points = walk.points.copy()
    half = len(walk) // 2
    points[half:] = points[half - 1 :: -1][: len(walk) - half]
    check(replace(walk, points=points))


def test_a_photo_without_landmarks_gives_reasons():
    photo = first_frames(film(WalkingCow()), 1)
    empty = replace(
        photo,
        points=np.full_like(photo.points, np.nan),
        back_line=np.full_like(photo.back_line, np.nan),
    )
    found = measure_posture(empty)
    assert not found.usable
    assert all(m.reason for m in found.measures.values())
