"""When a film was made, as the film itself tells: right, absent, absurd, damaged."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta

import pytest

from gait.clip.filmed import OLDEST, filmed_at

NOW = datetime(2026, 11, 28, 7, 0, tzinfo=UTC)
MADE = datetime(2026, 11, 26, 4, 50, tzinfo=UTC)
EPOCH = datetime(1904, 1, 1, tzinfo=UTC)


def box(name: bytes, content: bytes, *, wide: bool = False) -> bytes:
    if wide:
        return (1).to_bytes(4, "big") + name + (16 + len(content)).to_bytes(8, "big") + content
    return (8 + len(content)).to_bytes(4, "big") + name + content


def mp4(made: datetime | None, *, version: int = 0, wide: bool = False) -> bytes:
    """Return the outline of a film with its index last, as phones write it."""
    seconds = 0 if made is None else int((made - EPOCH).total_seconds())
    header = bytes([version, 0, 0, 0]) + seconds.to_bytes(8 if version else 4, "big") + bytes(92)
    index = box(b"moov", box(b"udta", b"1234") + box(b"mvhd", header))
    return box(b"ftyp", b"isom") + box(b"mdat", bytes(5000), wide=wide) + index


@pytest.mark.parametrize(("version", "wide"), [(0, False), (1, False), (0, True)])
def test_the_time_of_the_movie_header_is_told(version: int, wide: bool) -> None:
    content = io.BytesIO(mp4(MADE, version=version, wide=wide))
    content.seek(40)
    assert filmed_at(content, now=NOW) == MADE
    assert content.tell() == 0


@pytest.mark.parametrize(
    "made", [None, EPOCH + timedelta(1), NOW - OLDEST - timedelta(1), NOW + timedelta(days=1)]
)
def test_a_clock_that_cannot_be_right_is_not_believed(made: datetime | None) -> None:
    assert filmed_at(io.BytesIO(mp4(made)), now=NOW) is None


def test_local_time_written_as_universal_time_is_no_later_than_now() -> None:
    assert filmed_at(io.BytesIO(mp4(NOW + timedelta(hours=2))), now=NOW) == NOW


def test_other_kinds_and_damaged_films_tell_nothing() -> None:
    whole = mp4(MADE)
    absurd = (1).to_bytes(4, "big") + b"mdat" + b"\xff" * 8
    far = bytes([1, 0, 0, 0]) + b"\xff" * 8 + bytes(92)
    late = box(b"moov", box(b"mvhd", far))
    for content in (b"", b"\x1a\x45\xdf\xa3" * 50, whole[:5020], bytes(400), absurd, late):
        assert filmed_at(io.BytesIO(content), now=NOW) is None
    for cut in range(0, len(whole), 7):
        filmed_at(io.BytesIO(whole[:cut]), now=NOW)
