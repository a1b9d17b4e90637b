"""What a file is by its first bytes, whatever its name says. Nothing is decoded here."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from gait.errors import ClipMissing, ClipTruncated, ClipUnreadable
from gait.kinds import FILM_SUFFIXES, PHOTO_SUFFIXES

Kind = Literal["film", "photo"]
HEAD = 400
"""Bytes from the start of a file that tell what it is."""
_PHOTO_BRANDS = (b"heic", b"heix", b"mif1", b"msf1", b"heim", b"avif", b"hevc")
_BOX_NAMES = (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot")
_FILM_STARTS = (
    b"\x1a\x45\xdf\xa3",  # Matroska, WebM
    b"FLV\x01",
    b"\x00\x00\x01\xba",  # MPEG programme stream
    b"\x00\x00\x01\xb3",  # MPEG video
    b"\x30\x26\xb2\x75",  # ASF, WMV
    b"OggS",
)
_OTHER_PHOTOS = (b"GIF8", b"BM", b"II*\x00", b"MM\x00*")


def sniff(path: Path) -> Kind:
    """Return what the file holds.

    Parameters
    ----------
    path : Path
        File to look at; only its first bytes are read.

    Returns
    -------
    {'film', 'photo'}

    Raises
    ------
    ClipMissing
        If there is no such file.
    ClipUnreadable
        If it is empty, neither film nor photo, a kind of photo that cannot be read, or its name
        says otherwise than its content.
    """
    if not path.is_file():
        raise ClipMissing(f"There is no file {path}.", "Check the name and the folder.")
    try:
        with path.open("rb") as file:
            head = file.read(HEAD)
    except OSError as error:
        raise ClipUnreadable(
            f"{path.name} cannot be opened ({error.strerror}).", "Check who may read the file."
        ) from error
    return kind_of(head, path.name)


def kind_of(head: bytes, name: str) -> Kind:
    """Return what a file holds that begins so and is called so.

    Parameters
    ----------
    head : bytes
        The first `HEAD` bytes.
    name : str

    Returns
    -------
    {'film', 'photo'}

    Raises
    ------
    ClipUnreadable
        As for `sniff`.
    """
    if not head:
        raise ClipUnreadable(
            f"{name} is empty.", "Copy it from the camera again; the copy was cut off."
        )
    kind = _kind(head, name)
    _check_name(name, kind)
    return kind


def _kind(head: bytes, name: str) -> Kind:
    photo = head[:3] == b"\xff\xd8\xff" or head[:8] == b"\x89PNG\r\n\x1a\n"
    if photo or (head[:4] == b"RIFF" and head[8:12] == b"WEBP"):
        return "photo"
    if (head[4:8] == b"ftyp" and head[8:12] in _PHOTO_BRANDS) or head.startswith(_OTHER_PHOTOS):
        raise ClipUnreadable(
            f"{name} is a kind of picture that cannot be read here.",
            "Save it as JPEG or PNG and try again.",
        )
    avi = head[:4] == b"RIFF" and head[8:12] == b"AVI "
    transport = any(
        head[at : at + 1] == head[at + step : at + step + 1] == b"G"
        for at, step in ((0, 188), (4, 192))
    )
    if avi or transport or head[4:8] in _BOX_NAMES or head.startswith(_FILM_STARTS):
        return "film"
    raise ClipUnreadable(
        f"{name} is neither a film nor a photo.", "Choose the film as it came from the camera."
    )


def _check_name(name: str, kind: Kind) -> None:
    suffix = Path(name).suffix.lower()
    if kind == "photo" and suffix in FILM_SUFFIXES:
        raise ClipUnreadable(
            f"{name} is a photo, though its name ends in {suffix}.",
            "Choose the film itself; to have the photo looked at, rename it to end in .jpg.",
        )
    if kind == "film" and suffix in PHOTO_SUFFIXES:
        raise ClipUnreadable(
            f"{name} is a film, though its name ends in {suffix}.",
            "Rename it to end in .mp4 and try again.",
        )


def check_whole(path: Path) -> None:
    """Refuse an MP4 or MOV film whose end is missing, by its own list of parts.

    Phones write the index of a film last: a copy cut off on the way has none, and no decoder can
    open it. Other kinds of film are told by counting frames.

    Raises
    ------
    ClipTruncated
        If a part reaches beyond the end of the file or the index is missing.
    """
    size, names, at = path.stat().st_size, set[bytes](), 0
    with path.open("rb") as file:
        if file.read(8)[4:8] not in _BOX_NAMES:
            return
        while at + 8 <= size and len(names) < 64:
            file.seek(at)
            head = file.read(16)
            length = int.from_bytes(head[:4], "big")
            if length == 1:
                length = int.from_bytes(head[8:16], "big")
            if length == 0:  # the last part reaches to the end of the file
                length = size - at
            if length < 8:
                return
            names.add(head[4:8])
            at += length
    # a film written in fragments may stop after any of them, so only the plain kind is judged
    if b"moov" not in names or (at > size and b"moof" not in names):
        share = min(size / at, 1.0) if at else 1.0
        there = f"only {share:.0%}" if share >= 0.01 else "almost nothing"
        raise ClipTruncated(
            f"{path.name} is cut off: "
            + (f"{there} of it is there." if at > size else "its index is missing."),
            "Copy it from the camera again and wait until the copy is finished.",
        )
