"""How times, days and plain JSON values are kept, alike on SQLite and PostgreSQL.

Times are text in UTC of fixed width, so that sorting the text sorts the times; they are read by the
clock of the computer.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime
from typing import Any, TypeVar

from sqlalchemy import Text
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

from gait.errors import StoreError

T = TypeVar("T")


def utc_now() -> datetime:
    """Return the time now, aware, in UTC."""
    return datetime.now(UTC)


def time_to_text(at: datetime) -> str:
    """Return a time as ``2026-11-25T13:02:11.000000Z``.

    Raises
    ------
    ValueError
        If the time has no time zone: nobody could say later when it was.
    """
    if at.tzinfo is None:
        raise ValueError(f"a time needs a time zone, got {at!r}")
    return at.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def plain(value: Any) -> Any:
    """Return a value made of JSON types only; NaN and infinity become null.

    Parameters
    ----------
    value : any
        Mappings, sequences, numbers (numpy numbers too), text, times and days.
    """
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(v) for v in value]
    if isinstance(value, datetime):
        return time_to_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if hasattr(value, "tolist"):  # a numpy number or array
        return plain(value.tolist())
    number = float(value)
    return number if math.isfinite(number) else None


def _read(convert: Callable[[str], T], value: str) -> T:
    try:
        return convert(value)
    except (ValueError, TypeError, RecursionError) as error:
        raise StoreError(
            f"The farm's records are damaged: {value[:40]!r} makes no sense.",
            "Close the program, keep the damaged file aside, and restore the newest backup.",
        ) from error


class UtcTime(TypeDecorator[datetime]):
    """An aware time, kept as text in UTC."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:
        """Write a time as text."""
        return None if value is None else time_to_text(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime | None:
        """Read a time back, by the farm's own clock: its day is the farm's day, not Greenwich's."""
        return None if value is None else _read(datetime.fromisoformat, value).astimezone()


class Day(TypeDecorator[date]):
    """A calendar day, kept as text ``2026-11-25``."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: date | None, dialect: Dialect) -> str | None:
        """Write a day as text."""
        return None if value is None else value.isoformat()

    def process_result_value(self, value: str | None, dialect: Dialect) -> date | None:
        """Read a day back."""
        return None if value is None else _read(date.fromisoformat, value)


class Json(TypeDecorator[Any]):
    """A plain JSON value, kept as text."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        """Write the value as JSON text."""
        if value is None:
            return None
        return json.dumps(plain(value), ensure_ascii=False, allow_nan=False, sort_keys=True)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        """Read the value back."""
        return None if value is None else _read(json.loads, value)
