"""Reading dates, times and animal numbers as people and programs write them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime, tzinfo
from typing import Literal

DateOrder = Literal["ymd", "dmy", "mdy"]
_EAR_TAGS = {"DE": ("276", 10), "AT": ("040", 9), "CH": ("756", 12)}
"""Country by ISO 3166 and digits on an ear tag (both from memory)."""
_LARGEST_ID = 2**38 - 1  # 38 bits, ISO 11784


def electronic_number(text: str) -> str:
    """Return a 15-digit electronic number as text, spaces and dots taken out.

    An ear tag as printed (DE 09 123 45678) is the same number with letters for the country: these
    become its three digits, and the rest is filled up with zeros to twelve.

    Raises
    ------
    ValueError
        With a sentence, if it cannot be an ISO 11784 number: not 15 digits, no such country
        or maker code, or an identification beyond 38 bits. There is no check digit, so a
        mistyped digit goes unnoticed.
    """
    bare = re.sub(r"[\s.\-]", "", text)
    country, digits = _EAR_TAGS.get(bare[:2].upper(), ("", 0))
    if country and re.fullmatch(f"[0-9]{{{digits}}}", bare[2:]):
        bare = country + bare[2:].zfill(12)
    if re.fullmatch(r"\d(\.\d+)?[eE]\+?\d+", text.strip()):
        raise ValueError(f"{text!r} has been rounded by a spreadsheet: export the column as text.")
    if not re.fullmatch(r"[0-9]{15}", bare):
        raise ValueError(f"An electronic number has 15 digits, {text!r} has {len(bare)}.")
    code, identification = int(bare[:3]), int(bare[3:])
    if not 1 <= code <= 999:
        raise ValueError(f"{bare[:3]} is no country or maker code.")
    if identification > _LARGEST_ID:
        raise ValueError(f"The last twelve digits of {bare} are too large for a transponder.")
    return bare


def animal_number(text: str) -> str:
    """Return an animal number: text as it stands, outer spaces off, leading zeros kept.

    Raises
    ------
    ValueError
        If it is empty, longer than 40 signs, or has line breaks in it.
    """
    bare = text.strip()
    if not bare:
        raise ValueError("The animal number is missing.")
    if len(bare) > 40 or not bare.isprintable():
        raise ValueError(f"{bare[:20]!r}... is no animal number.")
    return bare


def guess_date_order(texts: Iterable[str]) -> DateOrder:
    """Return in which order day, month and year stand in a whole column.

    A number over 12 in first or second place decides; if none does, points mean day first and
    strokes day first too, as in most countries.
    """
    for text in texts:
        parts = _date_parts(text)
        if parts is None or len(parts[0]) == 4:
            continue
        if int(parts[0]) > 12:
            return "dmy"
        if int(parts[1]) > 12:
            return "mdy"
    return "dmy"


def day(text: str, order: DateOrder = "dmy") -> date | None:
    """Return a date, or None for an empty cell.

    Parameters
    ----------
    text : str
        ISO (2026-03-02, also with a time behind it), or day, month and year with points,
        strokes or dashes between them. A year of two digits lies between 1970 and 2069.
    order : str
        Which comes first when it is not ISO.

    Raises
    ------
    ValueError
        With a sentence, if it is no date.
    """
    bare = text.strip()
    if not bare or set(bare) <= set("0-/. "):
        return None
    parts = _date_parts(bare)
    if parts is None:
        raise ValueError(f"{bare!r} is no date.")
    a, b, c = (int(p) for p in parts)
    if len(parts[0]) == 4:
        year, month, dom = a, b, c
    else:
        year = c if len(parts[2]) == 4 else (1900 if c >= 70 else 2000) + c
        dom, month = (a, b) if order != "mdy" else (b, a)
    try:
        found = date(year, month, dom)
    except ValueError as error:
        raise ValueError(f"{bare!r} is no date.") from error
    if not 1970 <= found.year <= 2100:
        raise ValueError(f"{bare!r} lies outside 1970 to 2100.")
    return found


def _date_parts(text: str) -> tuple[str, str, str] | None:
    found = re.match(
        r"^(\d{4})(?:-|/|\.)?(\d{2})(?:-|/|\.)?(\d{2})(?:[T ].*)?$"
        r"|^(\d{1,2})[./\-](\d{1,2})[./\-](\d{4}|\d{2})(?:[T ].*)?$",
        text.strip(),
    )
    if found is None:
        return None
    first, second, third = (g for g in found.groups() if g is not None)
    return first, second, third


def moment(text: str, zone: tzinfo | None = UTC, on: date | None = None) -> datetime:
    """Return an aware time from ISO text, or from a bare time of day on a given day.

    Parameters
    ----------
    text : str
        ``2026-03-02T14:05:30Z``, ``2026-03-02 14:05:30``, or ``14:05:30`` or ``14:05``.
    zone : tzinfo or None
        Of times that name none; None means the clock of this machine.
    on : date, optional
        The day that a bare time of day belongs to.

    Raises
    ------
    ValueError
        With a sentence, if it is no time.
    """
    bare = text.strip()
    if re.fullmatch(r"\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?", bare):
        if on is None:
            raise ValueError(f"{bare!r} has no date with it.")
        bare = f"{on.isoformat()}T{bare.zfill(5) if len(bare) <= 5 else bare.zfill(8)}"
    try:
        found = datetime.fromisoformat(bare)
    except ValueError as error:
        raise ValueError(f"{text.strip()!r} is no time.") from error
    if found.tzinfo is not None:
        return found
    return found.astimezone() if zone is None else found.replace(tzinfo=zone)
