"""Taking every record out and putting it back, whatever the database: for backup and moving.

What follows from other records (the latest states) is left out and counted anew on the way back.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Boolean, Connection, inspect, select, text

from gait.errors import StoreError
from gait.store import tables as t
from gait.store.database import Database
from gait.store.migrations import migrate, version_of
from gait.store.rows import chunks
from gait.store.state import refresh

DERIVED = frozenset({"pass_state", "cow_state"})
ORDER: tuple[str, ...] = (
    "cow",
    "calving",
    "clip",
    "walk",
    "proposal",
    "identity",
    "decision",
    "person",
    "setting",
    "job",
    "trim_day",
    "trim_entry",
    "trim",
    "finding",
    "recheck",
    "conflict",
    "score_model",
)
"""Tables in an order in which each only points back to earlier ones."""

Rows = Iterable[Mapping[str, Any]]


@contextmanager
def all_records(database: Database) -> Iterator[tuple[int, Iterator[tuple[str, Rows]]]]:
    """Give (version, tables) of one unchanging picture of the records; writing may go on beside.

    Each table comes as (name, rows), values as they are kept: text, numbers, true or false.
    """
    with database.read() as connection:
        version = version_of(connection)
        present = [n for n in ORDER if inspect(connection).has_table(n)]
        yield version, ((name, _rows(connection, name)) for name in present)


def _rows(connection: Connection, name: str) -> Iterator[dict[str, Any]]:
    table = t.METADATA.tables[name]
    truths = {c.name for c in table.columns if isinstance(c.type, Boolean)}
    keys = ", ".join(c.name for c in table.primary_key.columns)
    found = connection.execute(text(f"SELECT * FROM {name} ORDER BY {keys}"))
    for row in found.mappings():
        yield {k: bool(v) if k in truths and v is not None else v for k, v in row.items()}


def put_all_records(
    where: str | Path, herd: str, version: int, tables: Iterable[tuple[str, Rows]]
) -> int:
    """Make a farm from records taken out at some version; return how many rows came in.

    Parameters
    ----------
    where, herd
        As for :func:`gait.store.open_store`; there must be no records yet.
    version : int
        Of the records; they are brought up to the present one afterwards.
    tables : iterable of (str, rows)
        In the order of :data:`ORDER`.

    Raises
    ------
    StoreError
        If there are records already, or the version is newer than this program. Then nothing
        is changed.
    """
    database = Database(where, herd, up_to_version=version)
    try:
        with database.write() as connection:
            if any(
                connection.scalar(text(f"SELECT COUNT(*) FROM {name}"))
                for name in ORDER
                if inspect(connection).has_table(name)
            ):
                raise StoreError(
                    "There are records here already.", "Restore into an empty folder or herd."
                )
            count = sum(_put(connection, name, rows) for name, rows in tables)
            migrate(connection)
            refresh(connection, list(connection.scalars(select(t.walk.c.pass_id))))
            if connection.dialect.name == "postgresql":
                _count_on(connection)
    finally:
        database.close()
    return count


def _put(connection: Connection, name: str, rows: Rows) -> int:
    if name not in ORDER:
        raise StoreError(f"The backup holds an unknown table {name}.", "Update the program.")
    known = {c["name"] for c in inspect(connection).get_columns(name)}
    count = 0
    for some in chunks(rows):
        columns = list(some[0])
        if not set(columns) <= known:
            raise StoreError(f"The backup's table {name} has unknown columns.", "")
        places = ", ".join(f":{c}" for c in columns)
        connection.execute(
            text(f"INSERT INTO {name} ({', '.join(columns)}) VALUES ({places})"),
            [dict(row) for row in some],
        )
        count += len(some)
    return count


def _count_on(connection: Connection) -> None:
    """Let the server's counters go on behind the identifiers that came in."""
    for name in ORDER:
        for key in t.METADATA.tables[name].primary_key.columns:
            sequence = connection.scalar(
                text("SELECT pg_get_serial_sequence(:name, :key)"), {"name": name, "key": key.name}
            )
            if sequence is not None:
                connection.execute(
                    text(
                        f"SELECT setval('{sequence}', COALESCE((SELECT MAX({key.name}) "
                        f"FROM {name}), 0) + 1, false)"
                    )
                )
