"""The camera's own motion, recovered from textured pictures turned by known amounts."""

from __future__ import annotations

import numpy as np
import pytest

from gait.pose import Box
from gait.track.camera import CameraMotion
from gait.track.rotation import fit_focal, fit_turn, homography, warp
from gait.track.view import in_frame_px, settle_views
from tests.track_world import FOCAL, HEIGHT, WIDTH, see, turn_homography, wall

SIZE = (WIDTH, HEIGHT)
CORNERS = np.array([[0, 0], [WIDTH, 0], [0, HEIGHT], [WIDTH, HEIGHT]], float)


def views_of(turns, cows=()):
    camera = CameraMotion()
    return [camera.update(see(wall(), turn), cows) for turn in turns]


def worst_corner_px(found, turns, middle):
    """Return the largest error of any corner, against the frame taken as ground."""
    true = [np.linalg.inv(turns[middle]) @ turn for turn in turns]
    return max(
        np.abs(warp(f, CORNERS) - warp(t, CORNERS)).max() for f, t in zip(found, true, strict=True)
    )


def ground_frame(found):
    return int(np.argmin([np.abs(one - np.eye(3)).max() for one in found]))


@pytest.mark.parametrize(
    "turn",
    [
        turn_homography(0.03),
        turn_homography(-0.02, 0.03),
        turn_homography(0, 0, 0.03),
        turn_homography(0, 0, 0, 1.04),
        turn_homography(0.02, -0.02, -0.02, 0.97),
    ],
)
def test_one_known_turn_is_recovered(turn):
    turns = [np.eye(3)] * 3 + [turn] * 2
    found = settle_views(views_of(turns), SIZE)
    assert worst_corner_px(found, turns, ground_frame(found)) < 0.8


def test_a_shaky_swing_of_the_camera_does_not_drift():
    rng = np.random.default_rng(5)
    shakes = rng.normal(0, 0.003, (80, 3)) * (1, 1, 0.5)
    turns = [
        turn_homography(-0.16 + 0.004 * step + shake[0], shake[1], shake[2])
        for step, shake in enumerate(shakes)
    ]
    found = settle_views(views_of(turns), SIZE)
    # 245 px of swing, three reference pictures
    assert worst_corner_px(found, turns, ground_frame(found)) < 4.0
    steps = [
        np.abs(warp(f1, CORNERS / 2 + 160) - warp(t1, CORNERS / 2 + 160)).max()
        for f1, t1 in zip(
            np.linalg.inv(found[:-1]) @ found[1:],
            np.linalg.inv(turns[:-1]) @ np.array(turns[1:]),
            strict=True,
        )
    ]
    assert np.median(steps) < 0.3  # from frame to frame a planted hoof stays planted


def test_the_focal_length_is_read_from_turned_views():
    rng = np.random.default_rng(1)
    points = rng.uniform((-240, -135), (240, 135), (120, 2))
    turns = [np.array([0.02, yaw, 0.01, 0.0]) for yaw in (-0.1, 0.08, 0.12)]
    matches = [
        (points, warp(homography(t, 1.4 * 480), points) + rng.normal(0, 0.15, points.shape))
        for t in turns
    ]
    assert fit_focal(matches, 480) / 480 == pytest.approx(1.4, rel=0.05)


def test_a_turn_is_fitted_in_spite_of_points_that_move_by_themselves():
    rng = np.random.default_rng(2)
    points = rng.uniform((-240, -135), (240, 135), (120, 2))
    turn = np.array([0.02, -0.1, 0.03, 0.05])
    seen_there = warp(homography(turn, 456.0), points)
    seen_there[:15] += 25
    found, _ = fit_turn(points, seen_there, 456.0, np.zeros(4))
    assert found == pytest.approx(turn, abs=0.004)


def test_what_moves_inside_the_cows_box_is_not_the_camera():
    box = Box(x0=100.0, y0=60.0, x1=540.0, y1=300.0)
    camera, views = CameraMotion(), []
    for step in range(10):
        image = see(wall(), np.eye(3))
        image[60:300, 100:540] = np.roll(wall()[:240, :440], 8 * step, axis=1)
        views.append(camera.update(image, [box]))
    assert (settle_views(views, SIZE) == np.eye(3)).all()


def test_a_picture_without_anything_to_hold_on_to_is_taken_as_still():
    camera = CameraMotion()
    blank = np.full((HEIGHT, WIDTH, 3), 90, np.uint8)
    views = [camera.update(blank, []) for _ in range(5)]
    assert (settle_views(views, SIZE) == np.eye(3)).all()


def test_motion_beginning_after_a_calm_is_noticed_within_five_frames():
    turns = [np.eye(3)] * 40 + [turn_homography(0.02)] * 6
    found = settle_views(views_of(turns), SIZE)
    relative = np.linalg.inv(found[0]) @ found[-1]
    assert np.abs(warp(relative, CORNERS) - warp(turns[-1], CORNERS)).max() < 1.0


def test_a_trembling_below_the_noise_of_following_is_no_motion():
    turns = [turn_homography(0.0001 * (-1) ** k) for k in range(10)]
    assert (settle_views(views_of(turns), SIZE) == np.eye(3)).all()


def test_the_middle_of_the_swing_is_the_ground():
    turns = [turn_homography(yaw) for yaw in np.linspace(-0.1, 0.1, 21)]
    found = settle_views(views_of(turns), SIZE)
    assert 8 <= ground_frame(found) <= 12


def test_working_pixels_become_frame_pixels():
    """A shift of 3 working px is one of 6 frame px when the frame is twice as wide."""
    shift = np.array([[[1, 0, 3.0], [0, 1, 0], [0, 0, 1]]])
    (whole,) = in_frame_px(shift, (960, 540), 480)
    assert warp(whole, np.array([100.0, 50.0])) == pytest.approx([106.0, 50.0])
    assert pytest.approx(768.0) == FOCAL
