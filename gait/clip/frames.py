"""Frames of a clip with true time stamps, read forward once, and what is wrong with the clip."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from types import TracebackType

import numpy as np
import numpy.typing as npt

from gait.clip.info import FASTEST_FPS, ClipInfo, decoding_order, describe
from gait.clip.process import PATIENCE_S, Decoding
from gait.errors import ClipTruncated, ClipUnreadable, ClipUnusable

Image = npt.NDArray[np.uint8]
SLOWEST_FPS = 10.0
DARK_LEVEL = 12.0
"""Mean grey level of 0 to 255 under which nothing can be seen."""
_SAMPLE_STEP = 12
_RATE_STEPS = 60


@dataclass(frozen=True, kw_only=True)
class Frame:
    """One picture of a clip.

    Parameters
    ----------
    index : int
        Number of the frame in the clip, from 0. Frames that had to be left out are counted.
    time_s : float
        Time stamp, seconds from the first frame.
    image : ndarray of uint8, shape (h, w, 3)
        Upright picture, BGR.
    brightness : float
        Mean level, 0 to 255.
    is_blank : bool
        True when the picture is one flat grey: a decoder's stand-in for a damaged frame.
    is_repeat : bool
        True when it equals the frame before it.
    """

    index: int
    time_s: float
    image: Image
    brightness: float = float("nan")
    is_blank: bool = False
    is_repeat: bool = False


class Clip:
    """A clip opened once, both to tell what it is and to be read. Use as a context manager.

    Decoding runs ahead in a child process, so a damaged file can neither crash nor hang the
    caller, and memory does not grow with the length of the film.

    Parameters
    ----------
    path : path
        Film, photo (one frame), or folder of numbered photos.
    fps : float, optional
        Frames a second of a folder of photos (25 when not given); not used for films.
    patience_s : float
        Longest wait for one frame.
    looks_per_s : float, optional
        So many frames a second suffice: of a faster film only every second, third ... is read.

    Raises
    ------
    ClipMissing, ClipUnreadable, ClipTruncated, ClipUnusable
        If there is nothing usable there; see `gait.clip.sniff` and `gait.clip.process`.
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        fps: float | None = None,
        patience_s: float = PATIENCE_S,
        looks_per_s: float | None = None,
    ) -> None:
        self._path = Path(path)
        self._order = decoding_order(self._path, fps, looks_per_s)
        self._decoding = Decoding(self._order, self._path.name, patience_s)

    @cached_property
    def info(self) -> ClipInfo:
        """What the clip is; its file is hashed when this is first asked for."""
        return describe(self._path, self._order, self._decoding.info)

    @property
    def count(self) -> int:
        """Frames gone through so far; at the end, how many the clip holds."""
        return self._decoding.count

    def frames(self) -> Iterator[Frame]:
        """Read the clip forward, once.

        Yields
        ------
        Frame

        Raises
        ------
        ClipTruncated, ClipUnusable
            After the last frame, if the film was shorter than declared, too dark throughout, too
            slow or its time stamps do not rise. What was yielded before stands.
        """
        single = "film" not in self._order and not self._path.is_dir()
        log = _Log(self._path.name, self._decoding.info, single=single)
        for index, time_s, image in self._decoding.frames():
            frame = log.take(index, time_s, image)
            if frame is not None:
                yield frame
        self.close()
        log.finish(self.count)

    def close(self) -> None:
        """End the child. May be called twice."""
        self._decoding.close()

    def __enter__(self) -> Clip:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def read_frames(
    path: str | os.PathLike[str], fps: float | None = None, patience_s: float = PATIENCE_S
) -> Iterator[Frame]:
    """Open a clip, read it forward once and close it; parameters and errors as in `Clip`.

    Yields
    ------
    Frame
    """
    with Clip(path, fps, patience_s) as clip:
        yield from clip.frames()


class _Log:
    """What the frames seen so far say about the clip."""

    def __init__(self, name: str, info: dict[str, float], *, single: bool) -> None:
        self._name, self._info, self._single = name, info, single
        self._first_s = 0.0
        self._last, self._last_s = -1, -1.0
        self._steps: list[float] = []
        self._sample: Image | None = None
        self._frames = self._looked = self._stuck = self._dark = self._blank = 0

    def take(self, index: int, stamp_s: float, image: Image) -> Frame | None:
        """Return the frame, or None when its time stamp does not rise."""
        self._frames = index + 1
        if index == 0:
            self._first_s = stamp_s
        time_s = stamp_s - self._first_s
        if time_s <= self._last_s:
            self._stuck += 1
            self._check_stuck()
            return None
        if index and len(self._steps) < _RATE_STEPS:
            self._steps.append((time_s - self._last_s) / (index - self._last))
            if len(self._steps) == _RATE_STEPS:
                self._check_rate()
        self._last, self._last_s = index, time_s
        return self._look(index, time_s, image)

    def _look(self, index: int, time_s: float, image: Image) -> Frame:
        sample = image[::_SAMPLE_STEP, ::_SAMPLE_STEP].copy()
        brightness = float(sample.mean())
        is_blank = bool(sample.std() < 2.0 and 90 < brightness < 166)
        # sensor noise makes any two true pictures differ somewhere in the sample
        is_repeat = self._sample is not None and bool(np.array_equal(sample, self._sample))
        self._sample = sample
        self._looked += 1
        self._dark += brightness < DARK_LEVEL
        self._blank += is_blank
        return Frame(
            index=index,
            time_s=time_s,
            image=image,
            brightness=brightness,
            is_blank=is_blank,
            is_repeat=is_repeat,
        )

    def finish(self, count: int) -> None:
        """Raise what can only be known at the end, when the clip has turned out so long."""
        self._frames = count
        if not self._single:
            self._check_length()
            self._check_rate()
            self._check_stuck(at_end=True)
        if self._blank > 0.2 * self._looked and not self._single:
            raise ClipUnreadable(
                f"{self._blank} of {self._looked} pictures of {self._name} are blank; the file is "
                "damaged.",
                "Copy it from the camera again.",
            )
        if self._dark > 0.95 * self._looked:
            raise ClipUnusable(
                f"{self._name} is too dark to see a cow.", "Film with the lane lights on."
            )

    def _check_length(self) -> None:
        declared, fps = int(self._info["frames"]), self._info["fps"]
        declared_s = declared / fps if 0 < fps <= FASTEST_FPS else float("inf")
        # phones vary their rate, which makes the declared count a guess: both must fall short
        if self._frames < 0.9 * declared and self._last_s < 0.9 * declared_s:
            raise ClipTruncated(
                f"{self._name} breaks off: {self._frames} of {declared} pictures are there.",
                "What was seen so far stands; copy the film from the camera again for the rest.",
            )

    def _check_rate(self) -> None:
        if not self._steps:
            raise ClipTruncated(
                f"{self._name} holds a single picture.", "Film the cow walking past for some steps."
            )
        fps = 1.0 / float(np.median(self._steps))
        if fps < SLOWEST_FPS * 0.98:  # time stamps are often whole milliseconds
            raise ClipUnusable(
                f"{self._name} has only {fps:.1f} frames a second; steps cannot be timed.",
                "Set the camera to 25 frames a second or more.",
            )
        if fps > FASTEST_FPS * 1.02:
            raise ClipUnusable(
                f"{self._name} claims {fps:.0f} frames a second, which no camera gives.",
                "Export it again from the camera's own program.",
            )

    def _check_stuck(self, *, at_end: bool = False) -> None:
        if self._stuck > max(5, 0.1 * self._frames) and (at_end or self._frames >= _RATE_STEPS):
            raise ClipUnusable(
                f"The time stamps of {self._name} do not rise ({self._stuck} of {self._frames} "
                "pictures); steps cannot be timed.",
                "Export it again from the camera's own program.",
            )
