"""The films that are measured on: drawn once, kept in the system's folder for passing files."""

from __future__ import annotations

import importlib.util
import itertools
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
MBIT_S = 17.0
"""What phones give 1080p at 30 frames a second."""
GRAIN = 2.0
"""Sensor noise in indoor light, grey levels."""
SIZES = ((640, 360), (1280, 720), (1920, 1080), (3840, 2160))
LENGTHS = (1, 2, 4)
COWS = (1, 2, 3)

Image = np.ndarray
Progress = Callable[[str], None]


def has_h264() -> bool:
    """Tell whether films can be written as phones write them, by PyAV (``pip install av``)."""
    return importlib.util.find_spec("av") is not None


def folder() -> Path:
    """Return where the films are kept between runs; once H.264 is there, it is used on."""
    kept = Path(tempfile.gettempdir()) / "exitlane_benchmark"
    h264 = kept / "h264"
    wanted = h264 if has_h264() or h264.is_dir() else kept / "mpeg4"
    wanted.mkdir(parents=True, exist_ok=True)
    return wanted


def kind() -> str:
    """Return what the films are, in words."""
    if folder().name == "h264":
        return f"H.264 at {MBIT_S:.0f} Mbit/s for 1080p, one key picture a second, sensor grain"
    return "MPEG-4 at about 8 Mbit/s for 1080p (phones write H.264: install av and run again)"


def write(path: Path, images: Iterator[Image], fps: float = FPS) -> int:
    """Write a film as a phone would keep it, with sensor grain, and return the number of frames."""
    waiting = path.with_suffix(".part.mp4")
    grainy = _with_grain(images)
    first = next(grainy)
    frames = itertools.chain([first], grainy)
    put = _write_h264 if folder().name == "h264" else _write_mpeg4
    count = put(waiting, frames, (first.shape[1], first.shape[0]), fps)
    waiting.replace(path)
    return count


def _write_h264(path: Path, images: Iterator[Image], size: tuple[int, int], fps: float) -> int:
    import av

    rate = str(int(MBIT_S * 1e6 * (size[0] * size[1] / (FULL[0] * FULL[1])) ** 0.75))
    count = 0
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=int(fps))
        stream.width, stream.height, stream.pix_fmt = *size, "yuv420p"
        stream.bit_rate = int(rate)
        # what a phone's chip writes: no pictures from both sides, the rate held within a second
        stream.options = {"preset": "veryfast", "profile": "high", "g": f"{fps:.0f}", "bf": "0"}
        stream.options |= {"maxrate": rate, "bufsize": rate}
        for image in images:
            out.mux(stream.encode(av.VideoFrame.from_ndarray(image, format="bgr24")))
            count += 1
        out.mux(stream.encode())
    return count


def _write_mpeg4(path: Path, images: Iterator[Image], size: tuple[int, int], fps: float) -> int:
    fourcc = cv2.VideoWriter.fourcc(*"mp4v")
    writer = cv2.VideoWriter(str(path), cv2.CAP_FFMPEG, fourcc, fps, size)
    count = 0
    for image in images:
        writer.write(image)
        count += 1
    writer.release()
    return count


def _with_grain(images: Iterator[Image]) -> Iterator[Image]:
    """Put new sensor noise on each picture: a random part of a larger sheet of it."""
    rng = np.random.default_rng(5)
    sheet = np.empty((0, 0), np.int16)
    for image in images:
        height, width = image.shape[:2]
        if sheet.shape != (height + 64, width + 64):
            sheet = np.round(rng.normal(0, GRAIN, (height + 64, width + 64))).astype(np.int16)
        top, left = rng.integers(0, 64, 2)
        noise = sheet[top : top + height, left : left + width, None]
        yield np.clip(image.astype(np.int16) + noise, 0, 255).astype(np.uint8)


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
    """Show one drawn picture of the lane again and again; the grain makes it new."""
    yield from itertools.repeat(next(drawn(full_size("no_cow"), 0.0, 0.1)), frames)


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
