"""Draw one frame of a scene, and say what is in it."""

from __future__ import annotations

from functools import lru_cache
from threading import Lock

import cv2
import numpy as np
from numpy.typing import NDArray

from .camera import View, view_at
from .figure import Figure, Tile, frame_box, light_direction, light_vertices, rasterise
from .lane import Backdrop, build_backdrop
from .mesh import grids
from .pose import pose_at
from .scene import Cow, Light, Scene
from .truth import Drawn, FrameTruth, distance_if_seen, frame_truth
from .walk import Floats, Walk

_SHADOW_SHRINK = 5


class Studio:
    """A scene set up for drawing: place, cows and walks are prepared once.

    Parameters
    ----------
    scene : Scene
    """

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.walks = [Walk(cow, scene.duration_s) for cow in scene.cows]
        self._figures: dict[Cow, Figure] = {}
        self._lock = Lock()
        self._backdrop: Backdrop = build_backdrop(scene)
        rng = np.random.default_rng((scene.seed, 51))
        width, height = scene.camera.width, scene.camera.height
        grain = rng.normal(0, scene.light.noise, (height + 64, width + 64, 1))
        colour = rng.normal(0, 0.5 * scene.light.noise, (height + 64, width + 64, 3))
        self._grain = np.round(grain + (0 if scene.light.infrared else colour))
        self._grain = np.broadcast_to(self._grain, (height + 64, width + 64, 3)).astype(np.int16)

    def draw(self, time_s: float, *, masks: bool = False) -> tuple[NDArray[np.uint8], FrameTruth]:
        """Draw the frame at a time.

        Parameters
        ----------
        time_s : float
        masks : bool
            Also return each cow's whole silhouette, rails and other cows ignored.

        Returns
        -------
        image : ndarray (h, w, 3) uint8
            Upright, BGR.
        truth : FrameTruth
        """
        scene, view = self.scene, view_at(self.scene, time_s)
        size = (scene.camera.width, scene.camera.height)
        picture = self._still(self._backdrop.behind, view).astype(np.float32)
        drawn = []
        for number in self._seen_from_afar(time_s, view, size):
            cow = self._put(picture, number, time_s, view, size)
            if cow is not None:
                drawn.append(cow)
        if self._backdrop.front is not None:
            layer = self._still(self._backdrop.front, view).astype(np.float32)
            cover = layer[..., 3:] * np.float32(1 / 255)
            picture = picture * (1 - cover) + layer[..., :3] * cover
        truth = frame_truth(time_s, drawn, view, size, masks=masks)
        return self._expose(picture, time_s), truth

    def _figure(self, cow: Cow) -> Figure:
        """Return the cow's figure; only the few last seen are kept."""
        with self._lock:
            if cow not in self._figures:
                if len(self._figures) >= 8:
                    self._figures.pop(next(iter(self._figures)))
                self._figures[cow] = Figure(cow)
            return self._figures[cow]

    def _still(self, canvas: NDArray[np.uint8], view: View) -> NDArray[np.uint8]:
        """Cut the frame out of the still canvas, turned as the camera is."""
        width, height = self.scene.camera.width, self.scene.camera.height
        left, top = self._backdrop.margin
        if left == 0 and top == 0:
            return canvas
        shift = np.array([[1, 0, left], [0, 1, top], [0, 0, 1.0]])
        return cv2.warpPerspective(
            canvas,
            shift @ view.to_reference,
            (width, height),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )

    def _seen_from_afar(self, time_s: float, view: View, size: tuple[int, int]) -> list[int]:
        """Return the cows that may be in the frame, farthest first."""
        near = []
        for number, walk in enumerate(self.walks):
            distance = distance_if_seen(walk, time_s, view, size)
            if distance is not None:
                near.append((-distance, number))
        return [number for _, number in sorted(near)]

    def _put(
        self,
        picture: NDArray[np.float32],
        number: int,
        time_s: float,
        view: View,
        size: tuple[int, int],
    ) -> Drawn | None:
        """Lay one cow's shadow and herself onto the picture."""
        light, walk = self.scene.light, self.walks[number]
        pose = pose_at(walk, time_s)
        skin = grids(pose)
        figure = self._figure(walk.cow)
        points, normals = figure.vertices(pose, skin)
        _shadow(picture, points, figure.coarse_net, view, light)
        shade = light_vertices(points, normals, light, pose)
        tile = figure.draw(view, points, shade, size)
        if tile is None:
            return None
        tile = _smear(tile, walk, view, light)
        rows, columns = tile.cover.shape
        spot = picture[tile.top : tile.top + rows, tile.left : tile.left + columns]
        spot *= 1 - tile.cover[..., None]
        spot += tile.colour
        return Drawn(number=number, pose=pose, skin=skin, tile=tile)

    def _expose(self, picture: NDArray[np.float32], time_s: float) -> NDArray[np.uint8]:
        """Turn brightness into the camera's picture: colour cast, level, blur, noise."""
        light = self.scene.light
        height, width = picture.shape[:2]
        if light.infrared:
            grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
            picture = np.repeat((grey * self._vignette(width, height))[..., None], 3, axis=2)
        warm = (1 - 0.12 * light.warmth, 1.0, 1 + 0.10 * light.warmth)
        gain = tuple(light.level * share for share in warm)
        seen = cv2.multiply(picture, (*gain, 1.0), dtype=cv2.CV_8U)
        if light.softness_px > 0:
            seen = cv2.GaussianBlur(seen, (0, 0), light.softness_px)
        rng = np.random.default_rng((self.scene.seed, 52, round(time_s * 1e6) & 0xFFFFFFFF))
        down, right = rng.integers(0, 64, 2)
        grain = self._grain[down : down + height, right : right + width]
        return np.asarray(cv2.add(seen, grain, dtype=cv2.CV_8U))

    @staticmethod
    @lru_cache(maxsize=4)
    def _vignette(width: int, height: int) -> NDArray[np.float32]:
        """Fall-off of an infrared lamp beside the lens."""
        x, y = np.meshgrid(np.linspace(-1, 1, width), np.linspace(-0.7, 0.7, height))
        return (0.35 + 0.85 * np.exp(-((x**2 + y**2) / 0.75))).astype(np.float32)


@lru_cache(maxsize=3)
def studio(scene: Scene) -> Studio:
    """Return the prepared studio of a scene; the last few are kept."""
    return Studio(scene)


def draw_frame(
    scene: Scene, time_s: float, *, masks: bool = False
) -> tuple[NDArray[np.uint8], FrameTruth]:
    """Draw the frame of a scene at a time; see ``Studio.draw``."""
    return studio(scene).draw(time_s, masks=masks)


def _smear(tile: Tile, walk: Walk, view: View, light: Light) -> Tile:
    """Blur the cow along her way as the shutter does; the middle of the exposure is the time."""
    pixels_a_metre = view.lens[0, 0] / max(-float(view.place[1]), 1.0)
    length = walk.cow.speed_m_s * light.exposure_s * pixels_a_metre
    if walk.cow.action == "stand" or length < 0.6:
        return tile
    half = int(np.ceil(length / 2))
    offsets = np.arange(-half, half + 1)
    kernel = np.clip(length / 2 - np.abs(offsets) + 0.5, 0, 1).astype(np.float32)[None]
    kernel /= kernel.sum()
    return Tile(
        left=tile.left,
        top=tile.top,
        colour=cv2.filter2D(tile.colour, -1, kernel, borderType=cv2.BORDER_REPLICATE),
        cover=cv2.filter2D(tile.cover, -1, kernel, borderType=cv2.BORDER_REPLICATE),
        part=tile.part,
    )


def _shadow(
    picture: NDArray[np.float32], points: Floats, net: NDArray[np.int32], view: View, light: Light
) -> None:
    """Darken the floor under her: a soft shadow from above and one from the key light."""
    key = light_direction(light)
    for towards, strength, blur in (
        (np.array([0.0, 0.0, 1.0]), 0.45 - 0.2 * light.hardness, 2.5),
        (key, 0.10 + 0.45 * light.hardness, 2.2 - 1.8 * light.hardness),
    ):
        flat = points - towards * (points[:, 2:] / towards[2])
        pixels, depth = view.project(flat)
        box = frame_box(pixels, depth, (picture.shape[1], picture.shape[0]), margin=24)
        if box is None:
            continue
        left, top, right, bottom = box
        small = (
            max((right - left) // _SHADOW_SHRINK, 1),
            max((bottom - top) // _SHADOW_SHRINK, 1),
        )
        fine = (pixels + 0.5 - [left, top]) * [small[0] / (right - left), small[1] / (bottom - top)]
        ones = np.ones((len(points), 3), np.float32)
        dark = rasterise(fine, depth, net, ones, small)[0][..., 0]
        dark = cv2.GaussianBlur(dark, (0, 0), max(blur, 0.4))
        dark = cv2.resize(dark, (right - left, bottom - top), interpolation=cv2.INTER_LINEAR)
        picture[top:bottom, left:right] *= (1 - np.float32(strength) * dark)[..., None]
