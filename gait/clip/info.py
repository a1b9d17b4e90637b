"""What a clip is: its kind, size, declared rate and length, and the hash of its content."""

from __future__ import annotations

import functools
import hashlib
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gait.clip.process import Decoding
from gait.clip.sniff import check_whole, sniff
from gait.errors import ClipMissing, ClipUnreadable, ClipUnusable
from gait.kinds import PHOTO_SUFFIXES

FASTEST_FPS = 1000.0
"""Highest frame rate believed; slow-motion phones reach 960."""


STAMP_ROUNDING = 1.02
"""Time stamps are often whole milliseconds, so gaps may be a little longer than they should."""
LEAST_FRAMES = 10
MOST_GAPS = 2
"""Fewer photos, differing names or numbers with more gaps are a choice of photos, not a film."""


@dataclass(frozen=True, kw_only=True)
class ClipInfo:
    """A film, photo, or folder of numbered photos taken as a film.

    Parameters
    ----------
    path : Path
        Where it is.
    sha256 : str
        Hash of the content, lower-case hex; the same film under another name has the same.
    width, height : int
        Of the upright frame, px.
    fps : float
        Declared frames a second; NaN when not declared, absurd, or a photo.
    frames_declared : int
        Frames it says it has; 0 when it does not say.
    is_photo : bool
        True for a single photo.
    """

    path: Path
    sha256: str
    width: int
    height: int
    fps: float
    frames_declared: int
    is_photo: bool


def read_info(path: str | os.PathLike[str], fps: float | None = None) -> ClipInfo:
    """Look at a clip without reading it through, apart from hashing it.

    Parameters
    ----------
    path : path
        Film, photo, or folder of numbered photos.
    fps : float, optional
        Frames a second of a folder of photos; not used for films.

    Raises
    ------
    ClipMissing, ClipUnreadable, ClipTruncated, ClipUnusable
        If there is nothing usable there; see `gait.clip.sniff` and `gait.clip.process`.
    """
    path = Path(path)
    order = decoding_order(path, fps)
    with Decoding(order, path.name) as decoding:
        declared = decoding.info
    return describe(path, order, declared)


def describe(path: Path, order: dict[str, Any], declared: dict[str, Any]) -> ClipInfo:
    """Return what a clip is from what the child has found it to declare; hashes it."""
    fps = float(declared["fps"])
    is_photo = path.is_file() and "photos" in order
    believable = 0 < fps <= FASTEST_FPS and not is_photo
    return ClipInfo(
        path=path,
        sha256=content_hash(path),
        width=int(declared["width"]),
        height=int(declared["height"]),
        fps=fps if believable else float("nan"),
        frames_declared=int(declared["frames"]),
        is_photo=is_photo,
    )


def decoding_order(
    path: Path, fps: float | None, looks_per_s: float | None = None
) -> dict[str, Any]:
    """Check what a path holds and say how the child is to decode it; parameters as in `Clip`.

    Returns
    -------
    dict
        See `gait.clip.decoder.main`.
    """
    if path.is_dir():
        return {"photos": [str(photo) for photo in _numbered_photos(path)], "fps": _rate(path, fps)}
    if sniff(path) == "photo":
        return {"photos": [str(path.resolve())], "fps": 1.0}
    check_whole(path)
    return {
        "film": str(path.resolve()),
        "threads": min(os.cpu_count() or 2, 4),
        "longest_gap_s": 0.0 if looks_per_s is None else STAMP_ROUNDING / looks_per_s,
    }


def content_hash(path: Path) -> str:
    """Return the hash of a clip's content, lower-case hex.

    A file that has not changed since it was hashed is not read again: a film of an hour takes long.

    Raises
    ------
    ClipMissing, ClipUnreadable
        The clip is not there or cannot be read.
    """
    try:
        parts = _numbered_photos(path) if path.is_dir() else [path]
        digests = [_digest(part, *_state(part)) for part in parts]
    except OSError as error:
        raise ClipUnreadable(
            f"{path.name} cannot be read ({error.strerror}).", "Check who may read the file."
        ) from error
    whole = hashlib.sha256(b"".join(digests)).digest() if path.is_dir() else digests[0]
    return whole.hex()


def is_frame_folder(path: Path) -> bool:
    """Tell whether a folder holds one film as numbered photos (and not a choice of photos)."""
    if not path.is_dir():
        return False
    stems = [p.stem for p in path.iterdir() if p.suffix.lower() in PHOTO_SUFFIXES]
    parts = [re.fullmatch(r"([a-z_-]*)(\d+)", stem, re.I) for stem in stems]
    named = [(p[1].lower(), int(p[2])) for p in parts if p]
    if len(stems) < LEAST_FRAMES or len(named) < len(stems):
        return False
    numbers = sorted(number for _, number in named)
    gaps = numbers[-1] - numbers[0] + 1 > MOST_GAPS * len(numbers)
    return len({name for name, _ in named}) == 1 and not gaps


def _numbered_photos(folder: Path) -> list[Path]:
    if not is_frame_folder(folder):
        raise ClipMissing(
            f"{folder} holds no film as numbered photos.",
            "Name the films in it one by one, or give a folder of frames 0001.jpg, 0002.jpg, ...",
        )
    photos = [p.resolve() for p in folder.iterdir() if p.suffix.lower() in PHOTO_SUFFIXES]
    for photo in photos:
        if photo.stat().st_size == 0:
            raise ClipUnreadable(f"{photo.name} in {folder} is empty.", "Export the frames again.")
    return sorted(photos, key=lambda p: int(re.findall(r"\d+", p.stem)[-1]))


def _rate(folder: Path, fps: float | None) -> float:
    if fps is None:
        return 25.0
    if not 0 < fps <= FASTEST_FPS:
        raise ClipUnusable(
            f"{fps} frames a second cannot be the rate of {folder}.", "Give the camera's rate."
        )
    return float(fps)


def _state(path: Path) -> tuple[int, int, int]:
    """Return what changes when a file is written anew."""
    found = path.stat()
    return found.st_ino, found.st_size, found.st_mtime_ns


@functools.lru_cache(maxsize=1 << 14)
def _digest(path: Path, *_: int) -> bytes:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").digest()
