"""When a film was made, as far as the film itself tells. Nothing is decoded here."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import BinaryIO

_EPOCH = datetime(1904, 1, 1, tzinfo=UTC)
"""MP4 and MOV count the seconds from here (ISO/IEC 14496-12, movie header box)."""
_MOST_BOXES = 64
OLDEST = timedelta(days=400)
"""A camera whose clock was never set says something older; then a person is asked."""
_AHEAD = timedelta(hours=14)
"""Some cameras write their local time, which the format does not allow."""


def filmed_at(content: BinaryIO, *, now: datetime) -> datetime | None:
    """Return when the recording began, as an MP4 or MOV film tells; None where it does not.

    Parameters
    ----------
    content : binary file
        Read from its start, and put back there.
    now : datetime
        Aware. A time that cannot be true as seen from here is taken for a wrong clock.

    Returns
    -------
    datetime or None
        Aware, never later than `now`.
    """
    try:
        content.seek(0)
        seconds = _movie_seconds(content)
    except (OSError, OverflowError, ValueError):  # a length that leads nowhere
        return None
    finally:
        content.seek(0)
    if not seconds or not now - OLDEST <= (at := _time(seconds)) <= now + _AHEAD:
        return None
    return min(at, now)


def _time(seconds: int) -> datetime:
    try:
        return _EPOCH + timedelta(seconds=seconds)
    except OverflowError:
        return _EPOCH


def _movie_seconds(content: BinaryIO) -> int:
    """Return the creation time of the movie header, s since 1904; 0 where there is none."""
    if not _enter(content, b"moov") or not _enter(content, b"mvhd"):
        return 0
    version = content.read(4)[:1]
    return int.from_bytes(content.read(8 if version == b"\x01" else 4), "big")


def _enter(content: BinaryIO, wanted: bytes) -> bool:
    """Go to where the box of that name begins its content, among those from here on."""
    for _ in range(_MOST_BOXES):
        start = content.tell()
        head = content.read(8)
        length, name = int.from_bytes(head[:4], "big"), head[4:]
        if length == 1:
            length = int.from_bytes(content.read(8), "big")
        if name == wanted:
            return True
        if length < 8:  # the last box, or no box at all
            return False
        content.seek(start + length)
    return False
