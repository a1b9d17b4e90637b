"""Files that are not what they should be, for tests of clear refusals."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from .draw import draw_frame
from .scene import Scene


def empty(path: Path) -> Path:
    """Write a file of no bytes."""
    path.write_bytes(b"")
    return path


def not_a_film(path: Path, seed: int = 0) -> Path:
    """Write random bytes under a film's name."""
    path.write_bytes(np.random.default_rng(seed).integers(0, 256, 20_000, np.uint8).tobytes())
    return path


def truncated(film: Path, path: Path, keep: float = 0.4) -> Path:
    """Write only the first part of a film."""
    data = film.read_bytes()
    path.write_bytes(data[: int(len(data) * keep)])
    return path


def bit_flipped(film: Path, path: Path, flips: int = 400, seed: int = 0) -> Path:
    """Write a film with single bits turned over, its header spared."""
    data = np.frombuffer(film.read_bytes(), np.uint8).copy()
    rng = np.random.default_rng(seed)
    first = min(2048, data.size // 4)
    places = rng.choice(np.arange(first, data.size), size=min(flips, data.size - first))
    data[places] ^= (1 << rng.integers(0, 8, places.size)).astype(np.uint8)
    path.write_bytes(data.tobytes())
    return path


def photo_named_film(scene: Scene, path: Path, time_s: float | None = None) -> Path:
    """Write one frame as a JPEG under the given name, for instance ``photo.mp4``."""
    image, _ = draw_frame(scene, scene.duration_s / 2 if time_s is None else time_s)
    done, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 92])
    if not done:
        raise OSError(f"cannot encode a photo for {path.name}")
    path.write_bytes(data.tobytes())
    return path


def frozen(film: Path, path: Path, first: int, count: int) -> Path:
    """Write a film in which one frame is repeated ``count`` times from frame ``first`` on."""
    reader = cv2.VideoCapture(str(film), cv2.CAP_FFMPEG)
    fps = reader.get(cv2.CAP_PROP_FPS)
    size = (
        int(reader.get(cv2.CAP_PROP_FRAME_WIDTH)),
        int(reader.get(cv2.CAP_PROP_FRAME_HEIGHT)),
    )
    fourcc = cv2.VideoWriter.fourcc(*("MJPG" if path.suffix == ".avi" else "mp4v"))
    writer = cv2.VideoWriter(str(path), cv2.CAP_FFMPEG, fourcc, fps, size)
    number, kept = 0, None
    while True:
        done, image = reader.read()
        if not done:
            break
        if number == first:
            kept = image
        still = kept is not None and first <= number < first + count
        writer.write(kept if still else image)
        number += 1
    writer.release()
    reader.release()
    return path
