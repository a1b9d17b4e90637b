"""From table rows to the records of :mod:`gait.herd.records`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields
from itertools import islice
from typing import Any, TypeVar

from sqlalchemy import RowMapping

T = TypeVar("T")

_OTHER_NAMES = {"herd_group": "group", "on_day": "on", "job_key": "key"}
_TUPLES = frozenset({"problems", "candidates", "roles"})
CHUNK = 500
"""How many identifiers go into one question; SQLite takes at most 32 766."""


def record(cls: type[T], row: RowMapping, **more: Any) -> T:
    """Return a record of the class from a row; columns that the class lacks are left out.

    Parameters
    ----------
    cls : type
        A dataclass of :mod:`gait.herd.records`.
    row : sqlalchemy.RowMapping
        One row with columns named like the fields (or as in the table of other names above).
    **more
        Fields that do not come from the row.
    """
    wanted = {f.name for f in fields(cls)}  # type: ignore[arg-type]
    values: dict[str, Any] = {}
    for column, value in row.items():
        name = _OTHER_NAMES.get(column, column)
        if name in wanted:
            values[name] = tuple(value or ()) if name in _TUPLES else value
    return cls(**(values | more))


def columns_of(item: Any, **more: Any) -> dict[str, Any]:
    """Return the fields of a record under their column names."""
    back = {name: column for column, name in _OTHER_NAMES.items()}
    values = {back.get(f.name, f.name): getattr(item, f.name) for f in fields(item)}
    return values | more


def chunks(items: Iterable[T], size: int = CHUNK) -> Iterator[Sequence[T]]:
    """Give the items in pieces that fit into one question to the database."""
    rest = iter(items)
    while some := list(islice(rest, size)):
        yield some
