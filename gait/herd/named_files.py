"""Which cow a film shows, from the name of its file or folder."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from gait.herd.near_numbers import without_zeros

_WORDS = re.compile(r"[^0-9A-Za-zÀ-ɏ]+")
_DATE = re.compile(
    r"(?<!\d)(?:(?:19|20)\d\d[-_. ]?[01]\d[-_. ]?[0-3]\d|[0-3]?\d[-_.][01]?\d[-_.](?:19|20)\d\d)"
    r"(?:[-_. T]*(?:[01]\d|2[0-3])[-_.:hH]?[0-5]\d(?:[-_.:mM]?[0-5]\d)?\d{0,3})?(?!\d)"
)
"""A date, with or without a time of day behind it."""
_CAMERA = re.compile(r"(?:IMG|DSC[NF]?|MVI|MOV|VID|PXL|CLIP|FILM|VIDEO|PHOTO)", re.IGNORECASE)
"""What cameras write before their own counting number, which is no animal number."""


@dataclass(frozen=True, kw_only=True)
class NamedCow:
    """What a file or folder name says: the cow if it is plain, else those it might be."""

    cow: str | None
    candidates: tuple[str, ...]


def cow_from_file_name(
    path: str, numbers: Collection[str], electronic: Collection[tuple[str, str]] = ()
) -> NamedCow:
    """Return the cow that a file name, or else the folder it lies in, names.

    A name counts only if a part of it, between any marks, is an animal number of the herd list
    or a 15-digit electronic number. Leading zeros may be left out when that leaves no doubt. A
    part written behind ``cow``, ``tag`` or ``nr`` goes before all others. Dates, times of day
    and a camera's own count (the number behind IMG, DSC, VID and the like) are no numbers.

    Parameters
    ----------
    path : str
        File name, with or without folders.
    numbers : collection of str
        Animal numbers of the herd.
    electronic : collection of (str, str)
        Electronic number and animal number.
    """
    by_electronic = dict(electronic)
    where = PurePath(path.replace("\\", "/"))
    for name in (where.stem, where.parent.name):
        parts = [p for p in _WORDS.split(_DATE.sub(" ", name)) if p]
        found = _marked(parts, numbers) or [
            cow
            for before, part in zip(["", *parts], parts, strict=False)
            for cow in _cows_of(part, numbers, by_electronic)
            if not _CAMERA.fullmatch(before)
        ]
        unique = tuple(dict.fromkeys(found))
        if unique:
            return NamedCow(cow=unique[0] if len(unique) == 1 else None, candidates=unique)
    return NamedCow(cow=None, candidates=())


_MOST_DIGITS = 6
"""A longer number is a camera's count or an electronic number rather than a cow's (ours)."""


def number_in_name(path: str) -> str | None:
    """Return the number in a file name that could be a cow's, whether she is known or not.

    None where there is none or more than one. It is only ever offered to people.
    """
    parts = _WORDS.split(_DATE.sub(" ", PurePath(path.replace("\\", "/")).stem))
    found = {
        number[1]
        for before, part in zip(["", *parts], parts, strict=False)
        if (number := re.fullmatch(rf"(?i)(?:{'|'.join(_MARKS)})?(\d{{1,{_MOST_DIGITS}}})", part))
        and not _CAMERA.fullmatch(before)
    }
    return found.pop() if len(found) == 1 else None


_MARKS = frozenset({"cow", "tag", "nr", "no", "animal", "kuh", "vache", "koe"})


def _marked(parts: Sequence[str], numbers: Collection[str]) -> list[str]:
    found = []
    for i, part in enumerate(parts):
        glued = re.fullmatch(r"([A-Za-z]+)(\d+)", part)
        if glued and glued[1].lower() in _MARKS:
            found += _cows_of(glued[2], numbers, {})
        elif part.lower() in _MARKS and i + 1 < len(parts):
            found += _cows_of(parts[i + 1], numbers, {})
    return found


def _cows_of(part: str, numbers: Collection[str], by_electronic: dict[str, str]) -> list[str]:
    if part in by_electronic:
        return [by_electronic[part]]
    if part in numbers:
        return [part]
    if not part.isdecimal():
        return [n for n in numbers if n.lower() == part.lower()]
    return [n for n in numbers if without_zeros(n) == without_zeros(part)]
