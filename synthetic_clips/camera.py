"""The camera: from world metres to pixels, with hand shake and pan as pure turns of the camera.

Pixels follow OpenCV: the centre of the first pixel is (0, 0), y runs down. Because the camera
only turns about its own place, one homography carries the whole picture, near and far, from any
frame to the steady reference view.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .scene import Camera, Scene
from .walk import Floats


@dataclass(frozen=True, kw_only=True)
class View:
    """The camera at one moment.

    Attributes
    ----------
    lens : ndarray (3, 3)
        Pinhole matrix.
    turn : ndarray (3, 3)
        World axes to camera axes (right, down, forward).
    place : ndarray (3,)
        World place of the camera in metres.
    to_reference : ndarray (3, 3)
        Homography from pixels of this frame to pixels of the steady reference view.
    """

    lens: Floats
    turn: Floats
    place: Floats
    to_reference: Floats

    def project(self, points: Floats) -> tuple[Floats, Floats]:
        """Return pixels (..., 2) and distance along the line of sight (...) of world points."""
        seen = (points - self.place) @ self.turn.T
        depth = np.maximum(seen[..., 2], 1e-3)
        focal, cx, cy = self.lens[0, 0], self.lens[0, 2], self.lens[1, 2]
        pixels = np.stack([seen[..., 0] / depth, seen[..., 1] / depth], -1) * focal
        return pixels + np.array([cx, cy]), seen[..., 2]

    def plane(self, origin: Floats, first: Floats, second: Floats) -> Floats:
        """Return the homography (3, 3) from a plane's own coordinates (a, b) to pixels.

        The plane's points are ``origin + a * first + b * second`` in world metres.
        """
        columns = np.stack([first, second, origin - self.place], 1)
        return np.asarray(self.lens @ self.turn @ columns)


def reference_view(camera: Camera) -> View:
    """Return the steady view without shake and pan."""
    return _view(camera, np.zeros(3))


def view_at(scene: Scene, time_s: float) -> View:
    """Return the camera's view at a time, shake and pan included."""
    camera = scene.camera
    angles = camera.shake_deg * _wander(camera.seed, time_s)
    angles[0] += camera.pan_deg_s * (time_s - scene.duration_s / 2)
    return _view(camera, np.deg2rad(angles))


def largest_turn_deg(scene: Scene) -> float:
    """Return the largest sideways turn from the reference view within the clip, in degrees."""
    camera = scene.camera
    return abs(camera.pan_deg_s) * scene.duration_s / 2 + 3.2 * camera.shake_deg


def _wander(seed: int, time_s: float) -> Floats:
    """Smooth hand motion of unit standard deviation: right, down and clockwise turns."""
    rng = np.random.default_rng((seed, 21))
    count = 10
    rate = np.exp(rng.uniform(np.log(0.2), np.log(5.0), (3, count)))
    weight = rate**-0.5
    weight *= np.sqrt(2) / np.linalg.norm(weight, axis=1, keepdims=True)
    phase = rng.uniform(0, 2 * np.pi, (3, count))
    swing = np.sum(weight * np.sin(2 * np.pi * rate * time_s + phase), axis=1)
    return np.asarray(swing * [1.0, 0.8, 0.5])


def _view(camera: Camera, angles: Floats) -> View:
    aim = np.array([camera.aim_x_m, 0.0, camera.aim_z_m])
    yaw = np.deg2rad(camera.yaw_deg)
    place = aim + camera.distance_m * np.array([-np.sin(yaw), -np.cos(yaw), 0.0])
    place[2] = camera.height_m
    forward = (aim - place) / np.linalg.norm(aim - place)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    steady = np.stack([right, np.cross(forward, right), forward])
    base = np.array([0.0, np.deg2rad(camera.pitch_deg), np.deg2rad(camera.roll_deg)])
    focal = camera.width * camera.distance_m / camera.field_m
    lens = np.array(
        [
            [focal, 0, (camera.width - 1) / 2],
            [0, focal, (camera.height - 1) / 2],
            [0, 0, 1.0],
        ]
    )
    reference = _turned(base) @ steady
    turn = _turned(angles) @ reference
    return View(
        lens=lens,
        turn=turn,
        place=place,
        to_reference=lens @ reference @ turn.T @ np.linalg.inv(lens),
    )


def _turned(angles: Floats) -> Floats:
    """Rotation of camera axes by angles to the right, downwards and clockwise (radians)."""
    (sy, sp, sr), (cy, cp, cr) = np.sin(angles), np.cos(angles)
    right = np.array([[cy, 0, -sy], [0, 1, 0], [sy, 0, cy]])
    down = np.array([[1, 0, 0], [0, cp, -sp], [0, sp, cp]])
    roll = np.array([[cr, -sr, 0], [sr, cr, 0], [0, 0, 1.0]])
    return np.asarray(roll @ down @ right)
