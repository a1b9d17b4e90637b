"""The camera's own motion, recovered from textured pictures moved by known amounts."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from gait.pose import Box
from gait.track.camera import CameraMotion, compose, identity, invert, relative
from tests.track_world import HEIGHT, WIDTH, wall


def view(affine: np.ndarray) -> np.ndarray:
    """Return the picture of the wall whose pixel p shows the wall at affine(p)."""
    whole = affine.copy()
    whole[:, 2] += (WIDTH, HEIGHT)
    return cv2.warpAffine(
        wall(), whole, (WIDTH, HEIGHT), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )


def turned(degrees: float, zoom: float, dx: float, dy: float) -> np.ndarray:
    affine = cv2.getRotationMatrix2D((WIDTH / 2, HEIGHT / 2), degrees, zoom)
    affine[:, 2] += (dx, dy)
    return affine


def corner_error_px(found: np.ndarray, true: np.ndarray) -> float:
    corners = np.array([[0, 0, 1], [WIDTH, 0, 1], [0, HEIGHT, 1], [WIDTH, HEIGHT, 1]], float)
    return float(np.abs(corners @ (found - true).T).max())


@pytest.mark.parametrize(
    ("degrees", "zoom", "dx", "dy"),
    [(0, 1, 3.0, 0), (0, 1, -4.3, 2.6), (1.5, 1, 0, 0), (0, 1.03, 0, 0), (-1, 0.98, 5, -3)],
)
def test_one_known_motion_is_recovered(degrees, zoom, dx, dy):
    camera = CameraMotion()
    camera.update(view(identity()), [])
    true = turned(degrees, zoom, dx, dy)
    assert corner_error_px(camera.update(view(true), []), true) < 0.6


def test_a_long_shaky_pan_does_not_drift():
    rng = np.random.default_rng(5)
    camera = CameraMotion()
    worst = 0.0
    for step in range(100):
        shake = rng.normal(0, 1.5, 2) if step else (0.0, 0.0)
        true = turned(0, 1, 3.0 * step + shake[0], shake[1])
        worst = max(worst, corner_error_px(camera.update(view(true), []), true))
    # 300 px of pan, three reference frames: a hoof planted for 20 frames moves far less than this
    assert worst < 2.0


def test_what_moves_inside_the_cows_box_is_not_the_camera():
    box = Box(x0=100.0, y0=60.0, x1=540.0, y1=300.0)
    camera = CameraMotion()
    found = []
    for step in range(10):
        image = view(identity())
        moving = np.roll(wall()[:240, :440], 8 * step, axis=1)
        image[60:300, 100:540] = moving
        found.append(camera.update(image, [box]))
    assert max(corner_error_px(one, identity()) for one in found) < 0.2


def test_a_picture_without_anything_to_hold_on_to_is_taken_as_still():
    camera = CameraMotion()
    blank = np.full((HEIGHT, WIDTH, 3), 90, np.uint8)
    for _ in range(5):
        assert camera.update(blank, []) == pytest.approx(identity())


def test_motion_beginning_after_a_calm_is_noticed_within_five_frames():
    camera = CameraMotion()
    for _ in range(40):
        camera.update(view(identity()), [])
    moved = turned(0, 1, 12.0, 0.0)
    found = [camera.update(view(moved), []) for _ in range(6)]
    assert corner_error_px(found[-1], moved) < 0.6


def test_affines_compose_and_invert():
    one, other = turned(3, 1.1, 4, 5), turned(-7, 0.9, 1, 2)
    point = np.array([10.0, 20.0, 1.0])
    by_hand = one @ [*(other @ point), 1.0]
    assert compose(one, other) @ point == pytest.approx(by_hand)
    assert compose(invert(one), one) == pytest.approx(identity())


def test_a_trembling_below_the_noise_of_following_is_no_motion():
    trembling = np.stack([turned(0, 1, 0.1 * (-1) ** k, 0.0) for k in range(10)])
    assert (relative(trembling, (WIDTH, HEIGHT)) == identity()).all()


def test_the_first_frame_of_a_pass_is_its_ground():
    moving = np.stack([turned(0, 1, 50 + 2.0 * k, 0.0) for k in range(10)])
    of_pass = relative(moving, (WIDTH, HEIGHT))
    assert of_pass[0] == pytest.approx(identity())
    assert of_pass[9, 0, 2] == pytest.approx(18.0)
