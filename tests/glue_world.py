"""Small drawn films that carry their truth, and a network that reads it back perfectly.

Each frame bears its number as a row of black and white blocks, so that a network can be played
that sees exactly what is true. What is tested with it is all that surrounds the network.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from gait.landmarks import LANDMARKS
from gait.pose import Box, Sighting, Silhouette
from synthetic_clips.cases import CASES
from synthetic_clips.draw import studio
from synthetic_clips.scene import Scene

WIDTH, HEIGHT, FPS = 480, 270, 20.0
BITS, BLOCK = 12, 12
GRID = (160, 96)
GROWTH = 0.12


def small(name: str, seed: int = 1, *, seconds: float | None = None, **camera: Any) -> Scene:
    """Return a named case in a small picture, quick to draw; ``seconds`` cuts it short."""
    scene = CASES[name](seed)
    fps = min(scene.camera.fps, FPS)
    size = {"width": WIDTH, "height": HEIGHT, "fps": fps} | camera
    scene = replace(
        scene,
        camera=replace(scene.camera, **size),
        light=replace(scene.light, noise=min(scene.light.noise, 1.0)),
    )
    return scene if seconds is None else replace(scene, duration_s=seconds)


def write_coded_film(scene: Scene, path: Path) -> Path:
    """Draw a scene to a film whose frames bear their numbers; the truth lies beside it."""
    drawing = studio(scene)
    size = (scene.camera.width, scene.camera.height)
    fourcc = cv2.VideoWriter.fourcc(*("mp4v" if path.suffix == ".mp4" else "VP80"))
    writer = cv2.VideoWriter(str(path), cv2.CAP_FFMPEG, fourcc, scene.camera.fps, size)
    rows: list[tuple[int, Any]] = []
    for index in range(scene.frame_count):
        image, truth = drawing.draw(index / scene.camera.fps, masks=True)
        writer.write(_numbered(image, index))
        rows += [(index, cow) for cow in truth.cows]
    writer.release()
    np.savez_compressed(
        truth_beside(path),
        frame=np.array([index for index, _ in rows], int),
        points=np.array([c.points for _, c in rows]).reshape(-1, len(LANDMARKS), 2),
        box=np.array([c.box for _, c in rows]).reshape(-1, 4),
        mask=np.array([c.mask for _, c in rows], np.uint8).reshape(-1, size[1], size[0]),
    )
    return path


def truth_beside(film: Path) -> Path:
    return film.with_suffix(".truth.npz")


def _numbered(image: np.ndarray, index: int) -> np.ndarray:
    image = image.copy()
    for bit in range(BITS):
        level = 255 if index >> bit & 1 else 0
        image[-BLOCK:, bit * BLOCK : (bit + 1) * BLOCK] = level
    return image


def frame_number(image: np.ndarray) -> int:
    """Read the number a frame bears; a lossy codec blurs the edges of blocks, not their middle."""
    row = image[-BLOCK // 2, BLOCK // 2 : BITS * BLOCK : BLOCK].mean(axis=1) > 127
    return int(sum(1 << bit for bit in range(BITS) if row[bit]))


class TruthNetwork:
    """Sees what is true. Takes films of :func:`write_coded_film` only."""

    tasks = 2

    def __init__(self, films: Iterable[Path]) -> None:
        (film,) = films
        with np.load(truth_beside(film), allow_pickle=False) as kept:
            self._kept = dict(kept)

    def _rows(self, image: np.ndarray) -> np.ndarray:
        return np.flatnonzero(self._kept["frame"] == frame_number(image))

    def find(self, image: np.ndarray) -> list[Box]:
        return [_box(self._kept["box"][row], 0.9) for row in self._rows(image)]

    def look(self, image: np.ndarray, box: Box) -> Sighting:
        rows = self._rows(image)
        best = max(rows, key=lambda row: box.iou(_box(self._kept["box"][row])), default=None)
        points = np.zeros((len(LANDMARKS), 2))
        confidence = np.zeros(len(LANDMARKS))
        mask = np.zeros(image.shape[:2], np.uint8)
        if best is not None and box.iou(_box(self._kept["box"][best])) > 0.1:
            points = self._kept["points"][best].astype(float)
            mask = self._kept["mask"][best]
            inside = (points >= 0).all(1) & (points < [image.shape[1], image.shape[0]]).all(1)
            confidence = np.where(inside, 0.9, 0.0)
        return Sighting(
            box=box, points=points, confidence=confidence, silhouette=_outline(mask, box)
        )

    def close(self) -> None:
        """Nothing to free."""

    def __enter__(self) -> TruthNetwork:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _box(corners: np.ndarray, confidence: float = 1.0) -> Box:
    x0, y0, x1, y1 = (float(v) for v in corners)
    return Box(x0=x0, y0=y0, x1=x1, y1=y1, confidence=confidence)


def _outline(mask: np.ndarray, box: Box) -> Silhouette:
    """Return the mask as the network's grid would show it, over the grown box."""
    room_x, room_y = GROWTH * box.width, GROWTH * box.height
    left, top = box.x0 - room_x, box.y0 - room_y
    step_x = (box.width + 2 * room_x) / GRID[0]
    step_y = (box.height + 2 * room_y) / GRID[1]
    to_frame = np.array([[step_x, 0, left + (step_x - 1) / 2], [0, step_y, top + (step_y - 1) / 2]])
    grid = cv2.warpAffine(
        (mask > 0).astype(np.float32), to_frame, GRID, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    return Silhouette(probability=np.asarray(grid, np.float32), to_frame=to_frame)
