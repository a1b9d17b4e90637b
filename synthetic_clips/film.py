"""Write a scene to a film file, with its truth as JSON beside it."""

from __future__ import annotations

import json
import os
import struct
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .draw import studio
from .passes import frame_times, truth_measures
from .scene import Scene
from .truth import CowTruth, FrameTruth
from .walk import Walk

Drawing = tuple[NDArray[np.uint8], FrameTruth]

_CODECS = {".webm": "VP80", ".mp4": "mp4v", ".avi": "MJPG", ".mkv": "VP80"}
_TURNS = {
    90: cv2.ROTATE_90_COUNTERCLOCKWISE,
    180: cv2.ROTATE_180,
    270: cv2.ROTATE_90_CLOCKWISE,
}


def write_clip(
    scene: Scene,
    path: Path | str,
    truth_path: Path | str | None = None,
    codec: str | None = None,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> Path:
    """Draw a scene to a film and write its truth beside it.

    Parameters
    ----------
    scene : Scene
    path : path
        The suffix decides the container: .webm or .mkv (VP8), .mp4 (MPEG-4 part 2), .avi (MJPG).
    truth_path : path, optional
        Where the truth goes; ``<path without suffix>.truth.json`` when left out.
    codec : str, optional
        Four letters instead of the container's usual codec.
    progress : callable, optional
        Called with frames done and frames in all.

    Returns
    -------
    Path
        The truth file.

    Raises
    ------
    ValueError
        The container cannot carry what the scene asks for: a rotation tag needs .mp4, a variable
        frame rate .webm or .mkv.
    OSError
        The film could not be opened for writing.
    """
    path = Path(path)
    camera = scene.camera
    if camera.rotation_tag and path.suffix != ".mp4":
        raise ValueError(f"a rotation tag can only be written to .mp4, not {path.suffix}")
    if camera.time_jitter and path.suffix not in (".webm", ".mkv"):
        raise ValueError(f"a variable frame rate needs .webm or .mkv, not {path.suffix}")
    times = frame_times(camera, scene.frame_count)
    frames = _write_frames(scene, path, codec or _CODECS[path.suffix], times, progress)
    if camera.rotation_tag:
        _tag_rotation(path, camera.rotation_tag)
    if camera.time_jitter:
        _set_block_times(path, np.round(times * 1000).astype(int))
    truth_path = Path(truth_path) if truth_path else path.with_suffix(".truth.json")
    truth_path.write_text(json.dumps(clip_truth(scene, frames)), encoding="utf-8")
    return truth_path


def _write_frames(
    scene: Scene,
    path: Path,
    codec: str,
    times: np.ndarray,
    progress: Callable[[int, int], None] | None,
) -> list[FrameTruth]:
    set_up = studio(scene)
    turn = _TURNS.get(scene.camera.rotation_tag)
    size = (scene.camera.width, scene.camera.height)
    size = size[::-1] if scene.camera.rotation_tag in (90, 270) else size
    fourcc = cv2.VideoWriter.fourcc(*codec)
    writer = cv2.VideoWriter(str(path), cv2.CAP_FFMPEG, fourcc, scene.camera.fps, size)
    if not writer.isOpened():
        raise OSError(f"cannot write {path.name} with codec {codec}")
    frames = []
    with ThreadPoolExecutor(max_workers=max(os.cpu_count() or 1, 1)) as pool:
        for number, (image, truth) in enumerate(_in_order(pool, set_up.draw, times)):
            writer.write(image if turn is None else cv2.rotate(image, turn))
            frames.append(truth)
            if progress:
                progress(number + 1, len(times))
    writer.release()
    return frames


def _in_order(
    pool: ThreadPoolExecutor, draw: Callable[[float], Drawing], times: np.ndarray
) -> Iterator[Drawing]:
    """Draw on several threads, a few frames ahead, and give the frames in order."""
    waiting: deque[Future[Drawing]] = deque()
    for time_s in times:
        waiting.append(pool.submit(draw, float(time_s)))
        if len(waiting) > 2 * (os.cpu_count() or 1):
            yield waiting.popleft().result()
    while waiting:
        yield waiting.popleft().result()


def clip_truth(scene: Scene, frames: list[FrameTruth]) -> dict[str, Any]:
    """Return the truth of a clip as plain data, ready for JSON; see ``README.md`` for its form."""
    return {
        "name": scene.name,
        "scene": asdict(scene),
        "frames": [_frame_record(number, frame) for number, frame in enumerate(frames)],
        "passes": [_pass_record(scene, number, frames) for number in range(len(scene.cows))],
    }


def _frame_record(number: int, frame: FrameTruth) -> dict[str, Any]:
    return {
        "frame": number,
        "time_s": round(frame.time_s, 6),
        "to_reference": np.round(frame.to_reference, 8).tolist(),
        "cows": [_cow_record(cow) for cow in frame.cows],
    }


def _cow_record(cow: CowTruth) -> dict[str, Any]:
    return {
        "cow": cow.cow,
        "heading": cow.heading,
        "near_side": cow.near_side,
        "whole": cow.whole,
        "seen_share": round(cow.seen_share, 4),
        "box": np.round(cow.box, 2).tolist(),
        "points": np.round(cow.points, 3).tolist(),
        "visible": cow.visible.tolist(),
        "back_line": np.round(cow.back_line, 3).tolist(),
    }


def _pass_record(scene: Scene, number: int, frames: list[FrameTruth]) -> dict[str, Any]:
    measures = truth_measures(scene, number, frames)
    falls = Walk(scene.cows[number], scene.duration_s).footfalls(0.0, scene.duration_s)
    return {
        "cow": number,
        "heading": scene.cows[number].heading,
        "measures": {name: None if np.isnan(v) else v for name, v in measures.items()},
        "footfalls": [asdict(fall) for fall in falls],
    }


def _tag_rotation(path: Path, degrees: int) -> None:
    """Write a display matrix into an MP4: turn the stored picture clockwise by ``degrees``."""
    data = bytearray(path.read_bytes())
    start = data.index(b"tkhd") + 44
    cos, sin = {90: (0, 1), 180: (-1, 0), 270: (0, -1)}[degrees]
    one = 1 << 16
    struct.pack_into(">iiiiii", data, start, cos * one, sin * one, 0, -sin * one, cos * one, 0)
    path.write_bytes(data)


def _set_block_times(path: Path, times_ms: np.ndarray) -> None:
    """Give each frame of a WebM its own time stamp in milliseconds."""
    data = bytearray(path.read_bytes())
    block = 0
    at = data.index(bytes.fromhex("1f43b675"))
    cluster_ms = 0
    while at < len(data) and block < len(times_ms):
        name, at = _ebml_number(data, at, keep_marker=True)
        size, at = _ebml_number(data, at, keep_marker=False)
        if name == 0x1F43B675:
            continue
        if name == 0xE7:
            cluster_ms = int.from_bytes(data[at : at + size], "big")
        elif name == 0xA3:
            # Track number (one byte), then the time relative to the cluster.
            struct.pack_into(">h", data, at + 1, int(times_ms[block]) - cluster_ms)
            block += 1
        at += size
    path.write_bytes(data)


def _ebml_number(data: bytearray, at: int, *, keep_marker: bool) -> tuple[int, int]:
    """Read an EBML variable-length number; returns it and the place after it."""
    length = 9 - data[at].bit_length()
    value = int.from_bytes(data[at : at + length], "big")
    if not keep_marker:
        value &= (1 << (7 * length)) - 1
    return value, at + length
