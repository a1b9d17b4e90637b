"""Draw what was seen into the film: skeleton, back line, head trace and hoof contacts.

The films made here are for people to look at (VP8 in WebM, which every browser plays). Nothing is
measured on them.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
import numpy.typing as npt

from gait.errors import ClipError
from gait.landmarks import INDEX, LANDMARKS, SKELETON
from gait.quiet import quiet_libraries

if TYPE_CHECKING:
    from gait.clip import Frame
    from gait.track import Pass

Image = npt.NDArray[np.uint8]
Colour = tuple[int, int, int]

# Blue, orange and white stay apart for colour-blind eyes and on black-and-white cows (BGR).
NEAR: Colour = (0, 140, 255)
FAR: Colour = (230, 160, 60)
BACK: Colour = (255, 255, 255)
INK: Colour = (40, 30, 20)
SURE = 0.25
"""Landmarks the network is less sure of than this are not drawn."""
STRIP_SHARE = 0.16
"""Height of the trace strip under the film, as a share of the film's height."""
TEXT_HEIGHT = 16
"""Room for the words above the trace, px."""


def frames_to_draw(path: Path, fps: float | None = None) -> Iterator[Frame]:
    """Read a film that was scored already, as far as it goes; what ails it has been told."""
    from gait.clip import read_frames

    with contextlib.suppress(ClipError):
        yield from read_frames(path, fps)


def between_looks(pass_: Pass) -> Pass:
    """Return the pass with a row for each frame left out between two looks, so as to draw it.

    Where she was not seen when looked for there is no row, as before.
    """
    steps = np.diff(pass_.frame)
    usual = float(np.percentile(steps, 90)) if len(steps) else 1.0
    every = np.arange(pass_.frame[0], pass_.frame[-1] + 1)
    after = np.searchsorted(pass_.frame, every)
    before = np.where(pass_.frame[after] == every, after, after - 1)
    near = pass_.frame[after] - pass_.frame[before] < 2 * usual
    frame, before, after = every[near], before[near], after[near]
    steps = np.maximum(pass_.frame[after] - pass_.frame[before], 1)
    share = (frame - pass_.frame[before]) / steps

    def mixed(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        part = share.reshape(-1, *[1] * (values.ndim - 1)).astype(values.dtype)
        result: npt.NDArray[Any] = (1 - part) * values[before] + part * values[after]
        return result

    return replace(
        pass_,
        frame=frame,
        time_s=mixed(pass_.time_s),
        points=mixed(pass_.points),
        confidence=np.minimum(pass_.confidence[before], pass_.confidence[after]),
        box=mixed(pass_.box),
        to_ground=mixed(pass_.to_ground),
        back_line=mixed(pass_.back_line),
        cut=pass_.cut[before] | pass_.cut[after],
        brightness=mixed(pass_.brightness),
        sharpness=mixed(pass_.sharpness),
        overlap=mixed(pass_.overlap),
        silhouettes=None,
        silhouette_to_frame=None,
    )


def draw_cow(image: Image, pass_: Pass, i: int, scale: float = 1.0) -> None:
    """Draw one cow's skeleton and back line into an image, in place.

    Parameters
    ----------
    image : uint8 array (height, width, 3)
        The frame, already resized by `scale`.
    pass_ : Pass
        The pass the cow belongs to.
    i : int
        Which of the pass's frames this is.
    scale : float
        Size of `image` relative to the film.
    """
    points, sure = pass_.points[i] * scale, pass_.confidence[i]
    thick = max(1, round(image.shape[1] / 480))
    for a, b in SKELETON:
        ia, ib = INDEX[a], INDEX[b]
        if min(sure[ia], sure[ib]) >= SURE and np.isfinite(points[[ia, ib]]).all():
            cv2.line(image, _px(points[ia]), _px(points[ib]), _colour(b), thick, cv2.LINE_AA)
    for k, name in enumerate(LANDMARKS):
        if sure[k] >= SURE and np.isfinite(points[k]).all():
            cv2.circle(image, _px(points[k]), 2 * thick, _colour(name), -1, cv2.LINE_AA)
    if not pass_.cut[i]:  # else one end of it is but a guess, and nothing is measured on it
        _draw_back_line(image, pass_.back_line[i] * scale, thick)


def write_overlay(
    frames: Iterable[Frame],
    passes: Sequence[Pass],
    path: Path,
    *,
    fps: float,
    width: int = 960,
    slow: float = 1.0,
) -> None:
    """Write the film again with every pass drawn in.

    Parameters
    ----------
    frames : iterable of Frame
        The film, read anew from its start.
    passes : sequence of Pass
        The passes found in it.
    path : Path
        A ``.webm`` file to write.
    fps : float
        Frames a second of the film.
    width : int
        Width of the film written, px.
    slow : float
        2 plays at half speed.

    Raises
    ------
    ClipError
        The file cannot be written.
    """
    at: dict[int, list[tuple[Pass, int]]] = {}
    for pass_ in map(between_looks, passes):
        for i, index in enumerate(pass_.frame):
            at.setdefault(int(index), []).append((pass_, i))
    writer = FilmWriter(path, fps / slow)
    try:
        for frame in frames:
            image, scale = resized(frame.image, width)
            here = at.get(frame.index, [])
            for pass_, i in here:
                draw_cow(image, pass_, i, scale)
            writer.write(page_of(image, here[0] if here else None))
    finally:
        writer.close()


class FilmWriter:
    """A WebM film that is opened with its first frame.

    Parameters
    ----------
    path : Path
        A ``.webm`` file.
    fps : float
        Frames a second.
    """

    def __init__(self, path: Path, fps: float) -> None:
        self.path, self.fps = path, fps
        self._writer: cv2.VideoWriter | None = None

    def write(self, image: Image) -> None:
        """Add a frame; all must be of one size.

        Raises
        ------
        ClipError
            The file cannot be written.
        """
        if self._writer is None:
            height, width = image.shape[:2]
            fourcc = cv2.VideoWriter.fourcc(*"VP80")
            with quiet_libraries():  # FFmpeg wonders about the tag and then writes VP8 all the same
                self._writer = cv2.VideoWriter(str(self.path), fourcc, self.fps, (width, height))
        if not self._writer.isOpened():
            raise ClipError(
                f"The film {self.path} cannot be written.",
                "Check that the folder exists, that its name ends in .webm, and the free space.",
            )
        self._writer.write(image)

    def close(self) -> None:
        """Finish the film."""
        if self._writer is not None:
            self._writer.release()


def page_of(image: Image, seen: tuple[Pass, int] | None) -> Image:
    """Return the frame with the strip of the head trace under it.

    Parameters
    ----------
    image : uint8 array (height, width, 3)
    seen : tuple of Pass and int, or None
        The cow whose trace is drawn, and which of her frames this is.
    """
    strip = _strip(image.shape[1], int(image.shape[0] * STRIP_SHARE), seen)
    page: Image = np.vstack([image, strip])
    return page


def head_trace(pass_: Pass) -> npt.NDArray[np.float64]:
    """Return the poll's height over the withers for each frame, px, up is positive.

    NaN where one of them is not sure or the cow is cut by the frame.
    """
    poll, withers = (pass_.points[:, INDEX[name], 1] for name in ("poll", "withers"))
    sure = pass_.confidence[:, [INDEX["poll"], INDEX["withers"]]].min(axis=1) >= SURE
    trace: npt.NDArray[np.float64] = np.where(sure & ~pass_.cut, withers - poll, np.nan)
    return trace


def _strip(width: int, height: int, seen: tuple[Pass, int] | None) -> Image:
    """Draw the head trace of the first cow in view, with a mark at the present moment."""
    height += height % 2
    strip: Image = np.full((height, width, 3), 246, np.uint8)
    if seen is None:
        return strip
    pass_, i = seen
    trace = head_trace(pass_)
    if np.isfinite(trace).sum() < 2:
        return strip
    low, high = np.nanpercentile(trace, [2, 98])
    x = np.linspace(8, width - 8, len(trace))
    y = height - 8 - (trace - low) / max(high - low, 1e-6) * (height - 16 - TEXT_HEIGHT)
    keep = np.isfinite(y)
    line = np.stack([x[keep], np.clip(y[keep], 2, height - 2)], 1).round().astype(np.int32)
    cv2.polylines(strip, [line.reshape(-1, 1, 2)], False, INK, 1, cv2.LINE_AA)
    cv2.line(strip, (int(x[i]), 0), (int(x[i]), height), NEAR, 2)
    text = f"head over withers, pass {pass_.number}"
    cv2.putText(strip, text, (8, 14), cv2.FONT_HERSHEY_SIMPLEX, 0.42, INK, 1, cv2.LINE_AA)
    return strip


def _draw_back_line(image: Image, line: npt.NDArray[np.float64], thick: int) -> None:
    seen = line[np.isfinite(line).all(axis=1)]
    if len(seen) < 2:
        return
    curve = seen.round().astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(image, [curve], False, INK, 2 * thick + 1, cv2.LINE_AA)
    cv2.polylines(image, [curve], False, BACK, thick, cv2.LINE_AA)
    cv2.line(image, _px(seen[0]), _px(seen[-1]), INK, 1, cv2.LINE_AA)


def resized(image: Image, width: int) -> tuple[Image, float]:
    """Return the image no wider than `width`, with even sides, and the scale used."""
    scale = min(1.0, width / image.shape[1])
    size = (
        int(image.shape[1] * scale) // 2 * 2,
        int(image.shape[0] * scale) // 2 * 2,
    )
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(small, dtype=np.uint8), scale


def _px(point: npt.NDArray[np.float64]) -> tuple[int, int]:
    return round(float(point[0])), round(float(point[1]))


def _colour(name: str) -> Colour:
    return NEAR if name.startswith("near") else FAR if name.startswith("far") else BACK
