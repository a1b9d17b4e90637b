"""The child process that decodes. A damaged film can crash or hang it, never the main program.

Protocol, lines of text: the child writes one JSON line about the clip, reads one JSON line
(`{"file": ..., "slots": n}`, a shared memory-mapped file), then writes `slot index time_s` for each
frame it has put into a slot and reads the number of each slot given back. At the end it writes
`end <number of frames>`, or `error <word>`.
"""

from __future__ import annotations

import contextlib
import json
import math
import mmap
import sys
from collections import deque
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

Image = npt.NDArray[np.uint8]
LARGEST_SIDE = 8192
LARGEST_AREA = 1 << 26
MEMORY_LIMIT = 2 << 30
"""Bytes of address space; decoders reserve far more than they touch."""


class _Refused(Exception):
    """The clip cannot be decoded; the text is one word the parent turns into a sentence."""


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:  # Windows has no such limit
        return
    with contextlib.suppress(ValueError, OSError):  # some systems do not let it be set
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_LIMIT, MEMORY_LIMIT))


def _check_size(width: float, height: float) -> None:
    if not (1 <= width <= LARGEST_SIDE and 1 <= height <= LARGEST_SIDE):
        raise _Refused("size")
    if width * height > LARGEST_AREA:
        raise _Refused("size")


def _photo(path: Path) -> Image:
    data = np.fromfile(path, np.uint8)
    try:
        image = cv2.imdecode(data, cv2.IMREAD_COLOR)
    except cv2.error as error:
        raise _Refused(
            "size" if "PIXELS" in str(error) or "SIZE" in str(error) else "damaged"
        ) from error
    if image is None:
        raise _Refused("damaged")
    return np.ascontiguousarray(image, np.uint8)


class _Photos:
    """Photos in order, as a film of ``fps`` frames a second."""

    def __init__(self, paths: list[Path], fps: float) -> None:
        self._paths, self._fps, self.count = paths, fps, 0
        first = _photo(paths[0])
        self.info = {
            "width": first.shape[1],
            "height": first.shape[0],
            "fps": fps,
            "frames": len(paths),
        }

    def read(self, slot: Image) -> float | None:
        """Put the next photo into ``slot`` and return its time in seconds; None at the end."""
        if self.count == len(self._paths):
            return None
        photo = _photo(self._paths[self.count])
        if photo.shape != slot.shape:
            raise _Refused("changes")
        slot[:] = photo
        self.count += 1
        return (self.count - 1) / self._fps


class _Film:
    """A film read forward once through FFmpeg, turned upright.

    Frames are left out while those handed on still follow each other within ``longest_gap_s``.
    """

    def __init__(self, path: Path, threads: int, longest_gap_s: float) -> None:
        self._capture = cv2.VideoCapture(
            str(path), cv2.CAP_FFMPEG, [cv2.CAP_PROP_N_THREADS, threads]
        )
        if not self._capture.isOpened():
            raise _Refused("damaged")
        size = [self._capture.get(p) for p in (cv2.CAP_PROP_FRAME_WIDTH, cv2.CAP_PROP_FRAME_HEIGHT)]
        _check_size(*size)
        ok, first = self._capture.read()
        if not ok:
            raise _Refused("damaged")
        self._first: Image | None = np.asarray(first, np.uint8)
        self.count = 1
        self._longest_gap_s = longest_gap_s
        self._newest_s = self._handed_on_s = self._time_s()
        self.info = {
            "width": first.shape[1],
            "height": first.shape[0],
            "fps": _finite(self._capture.get(cv2.CAP_PROP_FPS)),
            "frames": max(int(_finite(self._capture.get(cv2.CAP_PROP_FRAME_COUNT))), 0),
        }

    def _time_s(self) -> float:
        # the stamp of the frame just read; index / fps would be wrong for phones, whose rate varies
        return _finite(self._capture.get(cv2.CAP_PROP_POS_MSEC)) / 1000

    def read(self, slot: Image) -> float | None:
        """Put the next frame into ``slot`` and return its time in seconds; None at the end."""
        if self._first is not None:
            slot[:], self._first = self._first, None
            return self._handed_on_s
        if not self._grab():
            return None
        ok, image = self._capture.retrieve(slot)  # in place when the size fits
        if not ok:
            return None
        if image.shape != slot.shape:
            raise _Refused("changes")
        if not np.shares_memory(image, slot):
            slot[:] = image
        self._handed_on_s = self._newest_s
        return self._newest_s

    def _grab(self) -> bool:
        """Go on to the next frame that cannot be left out; False at the end."""
        while self._capture.grab():
            self.count += 1
            before, self._newest_s = self._newest_s, self._time_s()
            next_s = 2 * self._newest_s - before
            if not self._newest_s < next_s <= self._handed_on_s + self._longest_gap_s:
                return True
        return False


def _finite(value: float) -> float:
    return float(value) if math.isfinite(value) and abs(value) < 1e15 else 0.0


def _serve(source: _Film | _Photos) -> None:
    print(json.dumps(source.info), flush=True)
    order = sys.stdin.readline()
    if not order:
        return
    wanted = json.loads(order)
    slots = int(wanted["slots"])
    shape = (slots, source.info["height"], source.info["width"], 3)
    with Path(wanted["file"]).open("r+b") as file:
        ring = np.frombuffer(mmap.mmap(file.fileno(), 0), np.uint8).reshape(shape)
    free = deque(range(slots))
    while True:
        if not free:
            given_back = sys.stdin.readline()
            if not given_back:
                return
            free.append(int(given_back))
        slot = free.popleft()
        time_s = source.read(ring[slot])
        if time_s is None:
            break
        print(slot, source.count - 1, repr(time_s), flush=True)
    print("end", source.count, flush=True)


def main(arguments: list[str]) -> int:
    """Decode one clip for the parent process; see the module's first lines.

    Parameters
    ----------
    arguments : list of str
        A JSON object: ``film`` (path) with ``threads`` and ``longest_gap_s``, or ``photos`` (paths)
        with ``fps``.
    """
    _limit_memory()
    wanted = json.loads(arguments[0])
    try:
        if "film" in wanted:
            _serve(_Film(Path(wanted["film"]), wanted["threads"], wanted["longest_gap_s"]))
        else:
            _serve(_Photos([Path(p) for p in wanted["photos"]], wanted["fps"]))
    except _Refused as refusal:
        print("error", refusal, flush=True)
    except (MemoryError, cv2.error) as error:
        memory = isinstance(error, MemoryError) or error.code == cv2.Error.StsNoMem
        print("error", "memory" if memory else "damaged", flush=True)
    except BrokenPipeError:
        pass
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
