"""Trim days, trims with findings, and rechecks."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Collection, Sequence
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, Connection, and_, delete, insert, select, update

from gait.errors import StoreConflict, StoreError
from gait.herd.records import (
    EntryState,
    Finding,
    Outcome,
    Recheck,
    Trim,
    TrimDay,
    TrimEntry,
)
from gait.store import tables as t
from gait.store.cows import ensure_cow
from gait.store.database import Database
from gait.store.rows import chunks, columns_of, record
from gait.store.types import utc_now


class TrimDays:
    """Planned days at the chute and the cows on them."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def plan(self, on: date, *, trimmer: str, capacity: int, note: str = "") -> TrimDay:
        """Plan a day.

        Raises
        ------
        StoreError
            If the capacity is not at least one cow.
        """
        if capacity < 1:
            raise StoreError("A trim day needs room for at least one cow.", "")
        values = {
            "on_day": on,
            "trimmer": trimmer,
            "capacity": capacity,
            "note": note,
            "closed": False,
        }
        with self._database.write() as connection:
            row = connection.execute(insert(t.trim_day).values(values).returning(t.trim_day))
            return record(TrimDay, row.mappings().one())

    def change(self, day: TrimDay) -> None:
        """Keep a changed date, trimmer, capacity or note, or close the day."""
        values = columns_of(day)
        with self._database.write() as connection:
            connection.execute(
                update(t.trim_day).where(t.trim_day.c.trim_day_id == day.trim_day_id).values(values)
            )

    def all(self, limit: int = 100) -> list[TrimDay]:
        """Return the trim days, latest date first."""
        d = t.trim_day
        question = select(d).order_by(d.c.on_day.desc(), d.c.trim_day_id.desc()).limit(limit)
        with self._database.read() as connection:
            return [record(TrimDay, r) for r in connection.execute(question).mappings()]

    def get(self, trim_day_id: int) -> TrimDay:
        """Return one trim day.

        Raises
        ------
        StoreError
            If there is no such day.
        """
        question = select(t.trim_day).where(t.trim_day.c.trim_day_id == trim_day_id)
        with self._database.read() as connection:
            row = connection.execute(question).mappings().first()
        if row is None:
            raise StoreError("There is no such trim day.", "Go back to the list of trim days.")
        return record(TrimDay, row)

    def put_entries(self, trim_day_id: int, entries: Sequence[TrimEntry]) -> None:
        """Replace the list of the day by these cows, in this order."""
        with self._database.write() as connection:
            e = t.trim_entry
            connection.execute(delete(e).where(e.c.trim_day_id == trim_day_id))
            for position, entry in enumerate(entries, start=1):
                ensure_cow(connection, entry.cow)
                values = columns_of(entry, position=position, trim_day_id=trim_day_id)
                connection.execute(insert(e).values(values))

    def entries(self, trim_day_id: int) -> list[TrimEntry]:
        """Return the cows of one day in their order."""
        e = t.trim_entry
        question = select(e).where(e.c.trim_day_id == trim_day_id).order_by(e.c.position)
        with self._database.read() as connection:
            return [record(TrimEntry, r) for r in connection.execute(question).mappings()]

    def set_state(self, trim_day_id: int, cow: str, state: EntryState) -> None:
        """Tick a cow off, or say that she was not seen."""
        with self._database.write() as connection:
            _tick(connection, trim_day_id, cow, state)


class Trims:
    """Trims and treatments with what was found. Corrected by a new one, never changed."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, trim: Trim) -> Trim:
        """Keep a trim with its findings; tick her off the day and open her recheck.

        A trim that ``corrects`` another one replaces it in lists; both stay on record. The
        recheck that the other one had opened is dropped.

        Raises
        ------
        StoreConflict
            Somebody else has corrected that trim in the meantime.
        StoreError
            The trim to be corrected is not on record.
        """
        with self._database.write() as connection:
            if trim.corrects:
                _replace(connection, trim)
            return add_trim(connection, trim)

    def of_cows(self, cows: Collection[str], *, corrected: bool = False) -> list[Trim]:
        """Return the trims of these cows, oldest first.

        Parameters
        ----------
        cows : collection of str
        corrected : bool
            True: also those that were replaced by a correction or taken back.
        """
        found: list[Trim] = []
        for some in chunks(sorted(cows)):
            found += self._trims(t.trim.c.cow.in_(some), corrected)
        return found

    def since(self, on: date, *, corrected: bool = False) -> list[Trim]:
        """Return the trims of all cows from this day on, oldest first."""
        return self._trims(t.trim.c.on_day >= on, corrected)

    def under_withdrawal(self, on: date) -> list[Trim]:
        """Return the trims of all cows whose withdrawal time runs on this day, oldest first."""
        return self._trims(t.trim.c.withdrawal_until >= on, corrected=False)

    def _trims(self, where: Any, corrected: bool) -> list[Trim]:
        question = select(t.trim).where(where).order_by(t.trim.c.on_day, t.trim.c.trim_id)
        if not corrected:
            question = question.where(_not_replaced())
        with self._database.read() as connection:
            rows = list(connection.execute(question).mappings())
            findings = _findings(connection, [row["trim_id"] for row in rows])
        return [record(Trim, row, findings=tuple(findings[row["trim_id"]])) for row in rows]

    def last_days(self) -> dict[str, date]:
        """Return the day each cow was last trimmed."""
        question = select(t.trim.c.cow, t.trim.c.on_day).order_by(t.trim.c.on_day)
        question = question.where(_not_replaced())
        with self._database.read() as connection:
            return {cow: on for cow, on in connection.execute(question)}


def _not_replaced() -> ColumnElement[bool]:
    """Leave out trims that a later one corrects, and what says that one was taken back."""
    r = t.trim.alias("replacement")
    replaced = select(r.c.corrects).where(r.c.corrects.is_not(None))
    return and_(t.trim.c.uid.not_in(replaced), t.trim.c.reason != "taken_back")


def _replace(connection: Connection, trim: Trim) -> None:
    """Undo what the trim now corrected had set going: her tick on the day, and her recheck."""
    c = t.trim.c
    if connection.scalar(select(c.uid).where(c.corrects == trim.corrects)):
        raise StoreConflict(
            "Somebody else has corrected this trim in the meantime.",
            "Look at what is on record now.",
        )
    wrong = connection.execute(select(t.trim).where(c.uid == trim.corrects)).mappings().first()
    if wrong is None:
        raise StoreError(
            "The trim to be corrected is not on record.", "Look at what is on record now."
        )
    same_day = (c.cow == wrong["cow"], c.trim_day_id == wrong["trim_day_id"])
    others = select(c.uid).where(*same_day, c.uid != trim.corrects, _not_replaced())
    if wrong["trim_day_id"] is not None and not connection.scalar(others):
        _tick(connection, wrong["trim_day_id"], wrong["cow"], "planned")
    r = t.recheck.c
    dropped = {"state": "dropped", "closed_at": utc_now(), "closed_by": trim.who}
    connection.execute(
        update(t.recheck).where(r.trim_uid == trim.corrects, r.state == "open").values(dropped)
    )


def _tick(connection: Connection, trim_day_id: int, cow: str, state: EntryState) -> None:
    e = t.trim_entry.c
    connection.execute(
        update(t.trim_entry).where(e.trim_day_id == trim_day_id, e.cow == cow).values(state=state)
    )


class Rechecks:
    """Promises to look at a cow again."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def open(self, cow: str, due_on: date, *, why: str, who: str) -> Recheck:
        """Promise a recheck; one already open for the cow and day is given back instead."""
        with self._database.write() as connection:
            ensure_cow(connection, cow)
            return open_recheck(connection, cow, due_on, why=why, who=who)

    def close(
        self, recheck_id: int, *, who: str, outcome: Outcome | None, dropped: bool = False
    ) -> None:
        """Note how she walked at the recheck, or that it was dropped."""
        values = {
            "state": "dropped" if dropped else "done",
            "outcome": outcome,
            "closed_at": utc_now(),
            "closed_by": who,
        }
        with self._database.write() as connection:
            connection.execute(
                update(t.recheck).where(t.recheck.c.recheck_id == recheck_id).values(values)
            )

    def all(self, *, cows: Collection[str] | None = None, only_open: bool = False) -> list[Recheck]:
        """Return rechecks in order of the day they are due."""
        r = t.recheck
        question = select(r).order_by(r.c.due_on, r.c.recheck_id)
        if only_open:
            question = question.where(r.c.state == "open")
        if cows is not None:
            question = question.where(r.c.cow.in_(sorted(cows)))
        with self._database.read() as connection:
            return [record(Recheck, row) for row in connection.execute(question).mappings()]


def open_recheck(
    connection: Connection, cow: str, due_on: date, *, why: str, who: str, trim_uid: str = ""
) -> Recheck:
    """Promise a recheck within a transaction."""
    r = t.recheck
    present = connection.execute(
        select(r).where(r.c.cow == cow, r.c.due_on == due_on, r.c.state == "open")
    ).mappings()
    row = present.first()
    if row is None:
        values = {
            "cow": cow,
            "due_on": due_on,
            "why": why,
            "opened_at": utc_now(),
            "opened_by": who,
            "state": "open",
            "trim_uid": trim_uid or None,
        }
        row = connection.execute(insert(r).values(values).returning(r)).mappings().one()
    return record(Recheck, row)


def add_trim(connection: Connection, trim: Trim) -> Trim:
    """Keep a trim within a transaction; see :meth:`Trims.add`."""
    ensure_cow(connection, trim.cow)
    uid = trim.uid or uuid.uuid4().hex
    values = columns_of(trim, uid=uid, at=trim.at or utc_now())
    del values["findings"], values["trim_id"]
    row = connection.execute(insert(t.trim).values(values).returning(t.trim)).mappings().one()
    for finding in trim.findings:
        connection.execute(insert(t.finding).values(columns_of(finding, trim_id=row["trim_id"])))
    if trim.trim_day_id is not None and trim.reason != "taken_back":
        _tick(connection, trim.trim_day_id, trim.cow, "done")
    if trim.recheck_on is not None:
        why = trim.next_step or "After the trim"
        open_recheck(connection, trim.cow, trim.recheck_on, why=why, who=trim.who, trim_uid=uid)
    return record(Trim, row, findings=trim.findings)


def _findings(connection: Connection, trim_ids: Sequence[int]) -> dict[int, list[Finding]]:
    found: dict[int, list[Finding]] = defaultdict(list)
    f = t.finding
    for some in chunks(trim_ids):
        question = select(f).where(f.c.trim_id.in_(some)).order_by(f.c.finding_id)
        for row in connection.execute(question).mappings():
            found[row["trim_id"]].append(record(Finding, row))
    return found
