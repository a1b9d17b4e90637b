"""The parent's side of decoding: starts the child, waits with a limit, takes frames."""

from __future__ import annotations

import contextlib
import json
import mmap
import os
import queue
import subprocess
import sys
import tempfile
import threading
import weakref
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
import numpy.typing as npt

from gait.errors import ClipError, ClipUnreadable, ClipUnusable

Image = npt.NDArray[np.uint8]
MOST_SLOTS, FEWEST_SLOTS = 10, 2
"""Frames that the shared memory holds: decoded ahead of the reader, or still used by him."""
AHEAD = 4
"""Slots that are never left to the reader, so that decoding goes on."""
MOST_BYTES = 1 << 28
"""Size of the shared memory, unless two slots need more; large pictures have fewer slots."""
PATIENCE_S = 20.0
"""Longest wait for one frame before the film is given up as damaged."""

SHARED = Path("/dev/shm")
"""Memory that looks like a folder, where there is one; else the folder for temporary files."""
_PACKAGE_FOLDER = Path(__file__).resolve().parents[2]
_CHILD_SETTINGS = {
    "OPENCV_FFMPEG_LOGLEVEL": "-8",
    "OPENCV_LOG_LEVEL": "SILENT",
    "OPENBLAS_NUM_THREADS": "1",  # its threads reserve memory that counts against the limit
    # a film may name other files or addresses to read on; it may not have them
    "OPENCV_FFMPEG_CAPTURE_OPTIONS": "protocol_whitelist;file",
    "OPENCV_IO_MAX_IMAGE_WIDTH": "8192",
    "OPENCV_IO_MAX_IMAGE_HEIGHT": "8192",
    "OPENCV_IO_MAX_IMAGE_PIXELS": str(1 << 26),
}


def _refusal(word: str, name: str) -> ClipError:
    again = "Copy it from the camera again; if it plays nowhere else either, it is lost."
    if word == "size":
        return ClipUnusable(
            f"The picture of {name} is larger than any camera's film (8192 pixels).",
            "Export it at 1920 x 1080.",
        )
    if word == "memory":
        return ClipUnusable(f"{name} needs too much memory.", "Export it at 1920 x 1080.")
    if word == "changes":
        return ClipUnreadable(f"The size of the picture changes within {name}.", again)
    if word == "hang":
        return ClipUnreadable(f"Reading {name} took too long; the file seems damaged.", again)
    return ClipUnreadable(f"{name} is damaged and cannot be read.", again)


def _reserve(file: int, size: int) -> None:
    """Make a file so large at once: a write into it must not fail later for want of room."""
    if hasattr(os, "posix_fallocate"):
        os.posix_fallocate(file, 0, size)
    else:
        os.truncate(file, size)


class Decoding:
    """A clip being decoded in a child process. Use as a context manager.

    Parameters
    ----------
    order : dict
        What the child is to decode (see `gait.clip.decoder.main`).
    name : str
        Name of the clip for messages.
    patience_s : float
        Longest wait for the child's next line.

    Attributes
    ----------
    info : dict
        ``width``, ``height`` px, ``fps``, ``frames`` as the clip declares them; fps and frames are
        0 when it does not.
    count : int
        Frames of the clip that were gone through so far, those left out among them.

    Raises
    ------
    ClipUnreadable, ClipUnusable
        On opening, if the clip is damaged or its picture too large.
    """

    def __init__(self, order: dict[str, Any], name: str, patience_s: float = PATIENCE_S) -> None:
        self._name, self._patience_s = name, patience_s
        self._child = subprocess.Popen(
            [sys.executable, "-m", "gait.clip.decoder", json.dumps(order)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, **_CHILD_SETTINGS, "PYTHONPATH": _search_path()},
            text=True,
            encoding="utf-8",
        )
        self._lines: queue.Queue[str] = queue.Queue()
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()
        self._ring: mmap.mmap | None = None
        self._freed: queue.SimpleQueue[int] = queue.SimpleQueue()
        self._in_use = self.count = 0
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        try:
            self.info: dict[str, Any] = json.loads(self._next_line())
        except BaseException:
            self.close()
            raise

    def _listen(self) -> None:
        assert self._child.stdout is not None
        for line in self._child.stdout:
            self._lines.put(line.strip())
        self._lines.put("")

    def _next_line(self) -> str:
        try:
            line = self._lines.get(timeout=self._patience_s)
        except queue.Empty:
            raise _refusal("hang", self._name) from None
        if not line:  # the child died
            raise _refusal("damaged", self._name)
        if line.startswith("error"):
            raise _refusal(line.split()[-1], self._name)
        return line

    def _tell(self, line: str) -> None:
        assert self._child.stdin is not None
        with contextlib.suppress(OSError):  # it may have ended; its last lines are still to be read
            self._child.stdin.write(line + "\n")
            self._child.stdin.flush()

    def frames(self) -> Iterator[tuple[int, float, Image]]:
        """Yield number, time stamp in seconds and upright BGR picture of frames, once, in order.

        A picture lies in the memory shared with the child until nothing refers to it any more; a
        reader who keeps many pictures is given copies.

        Raises
        ------
        ClipUnreadable, ClipUnusable
            If decoding breaks off.
        """
        size = int(self.info["height"]) * int(self.info["width"]) * 3
        slots = int(np.clip(MOST_BYTES // size, FEWEST_SLOTS, MOST_SLOTS))
        path = self._share(slots * size)
        self._tell(json.dumps({"file": str(path), "slots": slots}))
        # Windows cannot delete the file while a picture in it is kept
        lent = 0 if os.name == "nt" else slots - AHEAD
        while not (line := self._next_line()).startswith("end"):
            self._drop_folder()
            slot, index, time_s = line.split()
            self.count = int(index) + 1
            image = self._picture(int(slot), size, copied=self._in_use >= lent)
            yield int(index), float(time_s), image
            del image  # else it would be in use until the next one comes
            self._give_back()
        self.count = int(line.split()[1])

    def _share(self, size: int) -> Path:
        """Map a file that the child is to map too, in memory where there is room for it."""
        for place in [*([SHARED] if SHARED.is_dir() else []), None]:
            self._folder = tempfile.TemporaryDirectory(dir=place, ignore_cleanup_errors=True)
            path = Path(self._folder.name) / "frames"
            with path.open("w+b") as file, contextlib.suppress(OSError):
                _reserve(file.fileno(), size)
                self._ring = mmap.mmap(file.fileno(), size)
                return path
            self._folder.cleanup()
        raise ClipUnusable(
            f"There is no room in memory or on the disk to read {self._name}.",
            "Free some disk space and try again.",
        )

    def _picture(self, slot: int, size: int, *, copied: bool) -> Image:
        # an array of its own for each picture: all views of it keep it alive, and it the slot
        assert self._ring is not None
        whole: Image = np.frombuffer(self._ring, np.uint8, size, slot * size)
        image = whole.reshape(self.info["height"], self.info["width"], 3)
        if copied:
            image = image.copy()
            self._tell(str(slot))
        else:
            self._in_use += 1
            weakref.finalize(whole, self._freed.put, slot).atexit = False
        return image

    def _give_back(self) -> None:
        while not self._freed.empty():
            self._tell(str(self._freed.get()))
            self._in_use -= 1

    def _drop_folder(self) -> None:
        """Delete the shared file as soon as both sides hold it, so that nothing is left behind.

        Windows refuses while it is held; there it goes when decoding is closed.
        """
        if self._folder is not None:
            self._folder.cleanup()
            if not Path(self._folder.name).exists():
                self._folder = None

    def close(self) -> None:
        """End the child and give the shared memory back. May be called twice."""
        self._child.kill()
        self._child.wait()
        self._listener.join()  # it ends with the child's output
        for stream in (self._child.stdin, self._child.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()
        self._ring = None  # a file still mapped cannot be deleted everywhere
        self._drop_folder()

    def __enter__(self) -> Decoding:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def _search_path() -> str:
    before = os.environ.get("PYTHONPATH")
    return os.pathsep.join([str(_PACKAGE_FOLDER), *([before] if before else [])])
