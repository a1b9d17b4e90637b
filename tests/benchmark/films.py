"""The films that are measured on: drawn once, kept in the system's folder for passing files."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from synthetic_clips.cases import CASES
from synthetic_clips.draw import studio
from synthetic_clips.recipes import cow_of_score, place_at_start
from synthetic_clips.scene import Scene

FPS = 30.0
FULL = (1920, 1080)
SIZES = ((640, 360), (1280, 720), (1920, 1080), (3840, 2160))
LENGTHS = (1, 2, 4)
COWS = (1, 2, 3)

Image = np.ndarray
Progress = Callable[[str], None]


def folder() -> Path:
    """Return where the films are kept between runs."""
    kept = Path(tempfile.gettempdir()) / "exitlane_benchmark"
    kept.mkdir(exist_ok=True)
    return kept


def write(path: Path, images: Iterator[Image], fps: float = FPS) -> int:
    """Write a film as a phone would keep it (MPEG-4) and return the number of frames."""
    writer, count = None, 0
    waiting = path.with_suffix(".part.mp4")
    for image in images:
        if writer is None:
            size = (image.shape[1], image.shape[0])
            fourcc = cv2.VideoWriter.fourcc(*"mp4v")
            writer = cv2.VideoWriter(str(waiting), cv2.CAP_FFMPEG, fourcc, fps, size)
        writer.write(image)
        count += 1
    assert writer is not None, "a film needs frames"
    writer.release()
    waiting.replace(path)
    return count


def read(path: Path) -> Iterator[Image]:
    """Read a film's pictures, nothing more."""
    capture = cv2.VideoCapture(str(path), cv2.CAP_FFMPEG)
    while True:
        ok, image = capture.read()
        if not ok:
            break
        yield image
    capture.release()


def drawn(scene: Scene, first_s: float, last_s: float) -> Iterator[Image]:
    """Draw part of a scene."""
    set_up = studio(scene)
    for index in range(int(first_s * FPS), int(last_s * FPS)):
        yield set_up.draw(index / FPS)[0]


def full_size(name: str) -> Scene:
    """Return a named case at 1080p and 30 frames a second."""
    scene = CASES[name](1)
    camera = replace(scene.camera, width=FULL[0], height=FULL[1], fps=FPS)
    return replace(scene, camera=camera)


def all_films(tell: Progress) -> dict[str, Path]:
    """Return every film by name, drawn where it is missing."""
    films = {"cow": folder() / "cow.mp4", "empty": folder() / "empty.mp4"}
    if not films["cow"].exists():
        tell("drawing a cow at 1080p (some minutes, once)")
        write(films["cow"], drawn(full_size("sound"), 1.2, 6.6))
    if not films["empty"].exists():
        tell("drawing the empty lane")
        write(films["empty"], _empty_lane(150))
    for times in LENGTHS:
        films[f"length {times}"] = path = folder() / f"length_{times}.mp4"
        if not path.exists():
            tell(f"writing the cow {times} times over")
            write(path, _again(films["cow"], films["empty"], times))
    for size in SIZES:
        films[f"size {size[0]}x{size[1]}"] = path = folder() / f"size_{size[0]}.mp4"
        if not path.exists():
            tell(f"writing {size[0]} x {size[1]}")
            write(path, (cv2.resize(image, size) for image in read(films["cow"])))
    for count in COWS:
        films[f"cows {count}"] = path = folder() / f"cows_{count}.mp4"
        if not path.exists():
            tell(f"drawing {count} cows at a time")
            write(path, drawn(abreast(count), 1.0, 4.5))
    return films


def _empty_lane(frames: int) -> Iterator[Image]:
    """Show one drawn picture of the lane under ever new sensor noise."""
    image = next(drawn(full_size("no_cow"), 0.0, 0.1)).astype(np.int16)
    rng = np.random.default_rng(5)
    grain = np.round(rng.normal(0, 1.5, (FULL[1] + 64, FULL[0] + 64, 3))).astype(np.int16)
    for _ in range(frames):
        top, left = rng.integers(0, 64, 2)
        noisy = image + grain[top : top + FULL[1], left : left + FULL[0]]
        yield np.clip(noisy, 0, 255).astype(np.uint8)


def _again(cow: Path, empty: Path, times: int) -> Iterator[Image]:
    for _ in range(times):
        yield from read(cow)
        for index, image in enumerate(read(empty)):
            if index < 45:
                yield image


def abreast(count: int) -> Scene:
    """Return cows in one another's wake on lanes side by side, all in view at the same time."""
    scene = CASES["sound"](1)
    camera = replace(scene.camera, width=1280, height=720, fps=FPS, field_m=11.0, distance_m=11.0)
    cows = []
    for number in range(count):
        cow = place_at_start(cow_of_score(1, 40 + number, heading="right"), camera)
        behind = 2.9 * number
        speed = {"stride_length_bl": 0.95, "stride_duration_s": 1.2}
        cows.append(replace(cow, start_x_m=-1.5 - behind + 1.5 * (count - 1), **speed))
    return replace(scene, camera=camera, cows=tuple(cows), duration_s=6.0)
