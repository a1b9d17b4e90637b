"""The pass as a value: shapes that do not fit are refused, and ground coordinates."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from gait.track import BACK_LINE_POINTS, Pass


def some_pass(n: int = 4) -> Pass:
    return Pass(
        number=1,
        frame=np.arange(n),
        time_s=np.arange(n) / 25,
        points=np.zeros((n, 18, 2)),
        confidence=np.ones((n, 18)),
        box=np.zeros((n, 4)),
        to_ground=np.tile(np.eye(2, 3), (n, 1, 1)),
        back_line=np.full((n, BACK_LINE_POINTS, 2), np.nan),
        cut=np.zeros(n, bool),
        image_size=(640, 360),
        fps=25.0,
        heading="right",
    )


def test_all_faults_are_told_at_once_with_both_shapes():
    with pytest.raises(ValueError, match="fit together") as refusal:
        replace(some_pass(), points=np.zeros((4, 17, 2)), cut=np.zeros(5, bool))
    text = str(refusal.value)
    assert "points should be (4, 18, 2) but is (4, 17, 2)" in text
    assert "cut should be (4,) but is (5,)" in text


def test_time_must_rise():
    with pytest.raises(ValueError, match="rise"):
        replace(some_pass(), time_s=np.array([0, 0.1, 0.1, 0.2]))


def test_what_was_not_measured_is_nan():
    one = some_pass()
    assert np.isnan(one.sharpness).all()
    assert one.overlap.shape == (4,)


def test_ground_takes_each_frame_through_its_own_affine():
    to_ground = np.tile(np.eye(2, 3), (4, 1, 1))
    to_ground[:, 0, 2] = [0, 10, 20, 30]
    to_ground[2, :2, :2] = [[0, -1], [1, 0]]  # a quarter turn
    one = replace(some_pass(), to_ground=to_ground)
    points = np.tile([[[1.0, 2.0], [3.0, 4.0]]], (4, 1, 1))
    moved = one.ground(points)
    assert moved[1] == pytest.approx(np.array([[11, 2], [13, 4]]))
    assert moved[2] == pytest.approx(np.array([[18, 1], [16, 3]]))
    assert one.ground(points[:, 0]) == pytest.approx(moved[:, 0])


def test_a_pass_has_the_length_of_its_frames():
    assert len(some_pass(7)) == 7


def bytes_held(pass_: Pass) -> int:
    arrays = [getattr(pass_, f.name) for f in fields(pass_)]
    # a broadcast array holds what it repeats only once
    return sum((a if 0 not in a.strides else a[:1]).nbytes for a in arrays if hasattr(a, "nbytes"))


def test_what_is_kept_after_measuring_is_a_third_and_draws_the_same():
    rng = np.random.default_rng(4)
    whole = replace(
        some_pass(150),
        points=rng.uniform(0, 4000, (150, 18, 2)),
        back_line=rng.uniform(0, 1920, (150, BACK_LINE_POINTS, 2)),
    )
    kept = whole.slim()
    assert bytes_held(kept) < bytes_held(whole) / 3
    assert np.abs(kept.points - whole.points).max() < 0.0005
    assert np.abs(kept.back_line - whole.back_line).max() <= 0.5
    assert (kept.to_ground == whole.to_ground).all()


def test_a_moving_camera_is_kept_frame_by_frame():
    whole = some_pass()
    whole.to_ground[:, 0, 2] = [0.0, 1.0, 2.0, 3.0]
    assert (whole.slim().to_ground == whole.to_ground).all()
