"""The herd list from and to CSV: columns found by their header, a preview, rejected rows named."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from typing import Any

from gait.errors import ExchangeError
from gait.exchange import fields as f
from gait.exchange.csv_files import CsvTable, read_csv, write_csv
from gait.exchange.herd_headers import guess_columns
from gait.herd.near_numbers import without_zeros
from gait.herd.records import Cow

FIELDS: dict[str, str] = {
    "number": "animal number",
    "electronic": "electronic number (15 digits)",
    "birth_on": "birth",
    "parity": "parity",
    "calved_on": "last calving",
    "dried_off_on": "dry-off",
    "due_on": "expected calving",
    "group": "group",
    "breed": "breed",
    "left_on": "left the herd",
}

_DATES = ("birth_on", "calved_on", "dried_off_on", "due_on", "left_on")


@dataclass(frozen=True, kw_only=True)
class Rejected:
    """A row that cannot be taken in: its line in the file, the cells, and why, as a sentence."""

    line: int
    cells: tuple[str, ...]
    why: str


@dataclass(frozen=True, kw_only=True)
class HerdListPreview:
    """What a herd list would bring in, before anything is kept.

    ``columns`` says which header holds which field (index of the column); ``not_used`` are the
    headers that no field was found for. ``new``, ``changed`` and ``unchanged`` are animal numbers.
    """

    header: tuple[str, ...]
    columns: Mapping[str, int]
    not_used: tuple[str, ...]
    date_order: f.DateOrder
    cows: tuple[Cow, ...]
    rejected: tuple[Rejected, ...]
    new: tuple[str, ...]
    changed: tuple[str, ...]
    unchanged: tuple[str, ...]


def preview_herd_list(
    content: bytes | str | CsvTable,
    known: Sequence[Cow] = (),
    *,
    columns: Mapping[str, int] | None = None,
    date_order: f.DateOrder | None = None,
    today: date | None = None,
) -> HerdListPreview:
    """Read a herd list without keeping anything.

    Parameters
    ----------
    content : bytes, str or CsvTable
        The CSV file.
    known : sequence of Cow
        The herd as recorded now, those that left too: tells new from changed, and finds numbers
        that would belong to two animals.
    columns : mapping, optional
        Which column holds which field, as put right by a person; guessed by default.
    date_order : str, optional
        Guessed from the whole list by default.
    today : date, optional
        Births and last calvings lie no later.

    Raises
    ------
    ExchangeError
        If it is no CSV, or no column holds the animal number.
    """
    table = content if isinstance(content, CsvTable) else read_csv(content)
    chosen = dict(guess_columns(table.header) if columns is None else columns)
    if "number" not in chosen:
        raise ExchangeError(
            "No column holds the animal number.", "Say which column it is, or name it 'number'."
        )
    order = date_order or f.guess_date_order(
        cells[chosen[name]]
        for name in _DATES
        if name in chosen
        for _, cells in table.rows
        if chosen[name] < len(cells)
    )
    cows, rejected = _read_rows(table, chosen, order, known, today or date.today())
    before = {cow.number: cow for cow in known}
    new = tuple(c.number for c in cows if c.number not in before)
    changed = tuple(c.number for c in cows if c.number in before and _changes(before[c.number], c))
    return HerdListPreview(
        header=table.header,
        columns=chosen,
        not_used=tuple(h for i, h in enumerate(table.header) if i not in chosen.values()),
        date_order=order,
        cows=tuple(cows),
        rejected=tuple(rejected),
        new=new,
        changed=changed,
        unchanged=tuple(c.number for c in cows if c.number not in {*new, *changed}),
    )


def cows_to_keep(preview: HerdListPreview, *, all_or_nothing: bool = False) -> tuple[Cow, ...]:
    """Return the cows of a preview that are to be put into the store.

    Raises
    ------
    ExchangeError
        If ``all_or_nothing`` is asked for and a row was rejected.
    """
    if all_or_nothing and preview.rejected:
        first = preview.rejected[0]
        raise ExchangeError(
            f"{len(preview.rejected)} rows cannot be taken in, the first in line {first.line}: "
            f"{first.why}",
            "Nothing was changed. Put the list right and bring it in again.",
        )
    return preview.cows


def herd_list_csv(cows: Sequence[Cow]) -> str:
    """Return the herd list as CSV, to be read again by :func:`preview_herd_list`.

    Numbers taken off the list are left out: read again, they would be cows.
    """
    listed = (cow for cow in cows if not cow.taken_off)
    return write_csv(
        list(FIELDS), ({name: getattr(cow, name) for name in FIELDS} for cow in listed)
    )


def _read_rows(
    table: CsvTable,
    columns: Mapping[str, int],
    order: f.DateOrder,
    known: Sequence[Cow],
    today: date,
) -> tuple[list[Cow], list[Rejected]]:
    holders = {cow.electronic: cow for cow in known if cow.electronic}
    before = {cow.number: cow for cow in known}
    alike = {without_zeros(cow.number): cow.number for cow in known if cow.left_on is None}
    cows: list[Cow] = []
    rejected: list[Rejected] = []
    lines: dict[str, int] = {}
    for line, cells in table.rows:
        try:
            cow = _cow(cells, columns, order)
            _refuse_to_come(cow, today)
            _refuse_doubles(cow, lines, before, holders)
            if cow.number not in before:
                _refuse_alike(cow.number, alike, lines)
        except ValueError as error:
            rejected.append(Rejected(line=line, cells=cells, why=str(error)))
            continue
        lines[cow.number] = line
        alike[without_zeros(cow.number)] = cow.number
        if cow.electronic:
            lines[cow.electronic] = line
        cows.append(cow)
    return cows, rejected


def _cow(cells: Sequence[str], columns: Mapping[str, int], order: f.DateOrder) -> Cow:
    readers: dict[str, Callable[[str], Any]] = {
        "number": _number,
        "electronic": lambda text: f.electronic_number(text) if text.strip() else None,
        "parity": _parity,
        "group": lambda text: text.strip() or None,
        "breed": lambda text: text.strip() or None,
    } | {name: (lambda text: f.day(text, order)) for name in _DATES}
    values = {
        name: readers[name](cells[i] if i < len(cells) else "") for name, i in columns.items()
    }
    cow = Cow(**values)
    if cow.birth_on and cow.calved_on and (cow.calved_on - cow.birth_on).days < 365:
        raise ValueError(f"Cow {cow.number} calved before she was one year old.")
    if cow.parity == 0 and cow.calved_on:
        raise ValueError(f"Cow {cow.number} has calved but is listed with parity 0.")
    return cow


def _number(text: str) -> str:
    number = f.animal_number(text)
    if number[0] in "=+-@":
        raise ValueError(f"{number!r} is no animal number: it begins like a spreadsheet's formula.")
    return number


def _refuse_to_come(cow: Cow, today: date) -> None:
    for what, on in (("birth", cow.birth_on), ("last calving", cow.calved_on)):
        if on is not None and on > today:
            raise ValueError(f"The {what} of cow {cow.number} is still to come: {on}.")


def _refuse_alike(number: str, alike: Mapping[str, str], lines: Mapping[str, int]) -> None:
    """Refuse a new number that another cow has but for leading zeros: mostly it is she."""
    other = alike.get(without_zeros(number), number)
    if other == number:
        return
    hint = "The same cow? Write her number as it stands there."
    if other in lines:
        line = lines[other]
        raise ValueError(
            f"But for leading zeros cow {number} is cow {other} in line {line}. {hint}"
        )
    raise ValueError(f"But for leading zeros cow {number} is cow {other} on record. {hint}")


def _parity(text: str) -> int | None:
    bare = text.strip()
    if not bare:
        return None
    if not re.fullmatch(r"[0-9]{1,2}([.,]0+)?", bare) or int(re.split("[.,]", bare)[0]) > 20:
        raise ValueError(f"{bare!r} is no parity (0 to 20).")
    return int(re.split("[.,]", bare)[0])


def _refuse_doubles(
    cow: Cow, lines: Mapping[str, int], before: Mapping[str, Cow], holders: Mapping[str, Cow]
) -> None:
    if cow.number in lines:
        raise ValueError(f"Cow {cow.number} is already in line {lines[cow.number]}.")
    if cow.electronic and cow.electronic in lines:
        raise ValueError(
            f"The electronic number {cow.electronic} is already in line {lines[cow.electronic]}."
        )
    holder = holders.get(cow.electronic) if cow.electronic else None
    if holder is not None and holder.number != cow.number:
        raise ValueError(
            f"The electronic number {cow.electronic} belongs to cow {holder.number} on record."
        )
    known = before.get(cow.number)
    if known is not None and known.birth_on and cow.birth_on and known.birth_on != cow.birth_on:
        raise ValueError(
            f"Cow {cow.number} on record was born {known.birth_on}, here {cow.birth_on}: another "
            "animal with the same number? Give the old one another number first, under Settings, "
            "Herd list."
        )


def _changes(before: Cow, now: Cow) -> bool:
    return any(
        getattr(now, field.name) not in (None, getattr(before, field.name))
        for field in fields(Cow)
        if field.name != "listed"
    ) or (now.listed and not before.listed)
