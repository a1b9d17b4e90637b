"""CSV files that every program reads and no spreadsheet runs as a formula.

UTF-8, a header line, quoting by RFC 4180, dates as ISO 8601, a point in decimals, numbers of
animals as text. A cell of text that begins with a sign a spreadsheet takes for a formula is
written behind an apostrophe, and read back without it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from gait.errors import ExchangeError
from gait.store.types import time_to_text

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
_GUARD = "'"
LARGEST = 50 * 10**6
"""Bytes or letters; a list of a thousand cows over ten years has less than a tenth of this."""

Cell = str | int | float | bool | date | datetime | None


def guarded(text: str) -> str:
    """Return text that a spreadsheet shows instead of running."""
    # A guarded look-alike is guarded once more, so that reading gives exactly what was written.
    return _GUARD + text if text.startswith((*_FORMULA, _GUARD)) else text


def unguarded(text: str) -> str:
    """Return the text that :func:`guarded` was given; other text stays as it is."""
    bare = text[1:] if text.startswith(_GUARD) else text
    return bare if bare.startswith((*_FORMULA, _GUARD)) else text


def cell_text(value: Cell) -> str:
    """Return a value as it stands in the file; None is an empty cell.

    Numbers are not guarded: a negative number is no formula.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return time_to_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (int, float)):
        return repr(value)
    return guarded(value)


def write_csv(header: Sequence[str], rows: Iterable[Mapping[str, Cell]]) -> str:
    """Return a CSV document with these columns.

    Parameters
    ----------
    header : sequence of str
        Column names, in order.
    rows : iterable of mapping
        Values by column name; a missing one is an empty cell.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    for row in rows:
        writer.writerow([cell_text(row.get(name)) for name in header])
    return out.getvalue()


@dataclass(frozen=True, kw_only=True)
class CsvTable:
    """A CSV file as read: ``rows`` are (line number in the file, cells), all text."""

    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]


def read_csv(content: bytes | str) -> CsvTable:
    """Read a CSV document with a header, comma, semicolon or tab between the cells.

    Raises
    ------
    ExchangeError
        If it is empty, too large, not text, or its quoting is broken.
    """
    if len(content) > LARGEST:
        raise ExchangeError(
            f"The list is larger than {LARGEST / 1e6:.0f} MB.", "Export a shorter period."
        )
    text = decoded(content) if isinstance(content, bytes) else content.removeprefix("\ufeff")
    if not text.strip():
        raise ExchangeError("The list is empty.", "Export it again with a header line.")
    if "\0" in text:
        raise ExchangeError("This is not a CSV file.", "Save the list as CSV.")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text), strict=True)
    header: tuple[str, ...] = ()
    rows = []
    try:
        line = 1
        for written in reader:
            cells = tuple(unguarded(c) for c in written)
            if header and any(c.strip() for c in cells):
                rows.append((line, cells))
            elif not header and any(c.strip() for c in cells):
                header = tuple(unguarded(c.strip()) for c in written)
            line = reader.line_num + 1
    except csv.Error as error:
        raise ExchangeError(
            f"The quotation marks do not match up near line {reader.line_num}.",
            "Export the list again as CSV.",
        ) from error
    return CsvTable(header=header, rows=tuple(rows))


def read_csv_file(path: str | Path) -> CsvTable:
    """Read a CSV file; see :func:`read_csv`.

    Raises
    ------
    ExchangeError
        If there is no such file or it cannot be read.
    """
    try:
        return read_csv(Path(path).read_bytes())
    except OSError as error:
        raise ExchangeError(f"The file {path} cannot be read.", "Check the name.") from error


def decoded(content: bytes) -> str:
    """Return text from UTF-8, UTF-16 with a mark, or else the common western code page.

    Raises
    ------
    ExchangeError
        If the bytes are no text at all.
    """
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16", errors="replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        pass
    text = content.decode("cp1252", errors="replace")
    odd = sum(not c.isprintable() and c not in "\r\n\t" for c in text)
    if odd > len(text) / 100:
        raise ExchangeError("This is not a text file.", "Save the list as CSV.")
    return text


def _separator(text: str) -> str:
    first = next(line for line in text.splitlines() if line.strip())
    outside = first.split('"')[::2]  # what stands between quotation marks does not separate
    return max(",;\t", key=lambda mark: sum(part.count(mark) for part in outside))


def as_dicts(table: CsvTable) -> Iterable[tuple[int, dict[str, str]]]:
    """Give (line number, cells by column name); cells missing at the end are empty."""
    for line, cells in table.rows:
        padded = [*cells, *[""] * (len(table.header) - len(cells))]
        yield line, dict(zip(table.header, padded, strict=False))
