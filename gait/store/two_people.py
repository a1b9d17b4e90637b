"""Passes on which several people decided: in dispute, or scored by two for their agreement."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, func, select

from gait.herd.records import Conflict, Decision
from gait.herd.standing import is_settled, people_differ, scored_by_two
from gait.store import tables as t
from gait.store.rows import record


def disputed(connection: Connection, since: datetime) -> set[int]:
    """Return the passes that two people judge differently.

    Those where two decided at once, see :func:`open_conflicts`; and those on which people decided
    since then, see :func:`gait.herd.standing.people_differ`. A second opinion answers either.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    since : datetime
        Aware.
    """
    d = t.decision.c
    at_once = {both.pass_id for both in open_conflicts(connection)}
    recent = select(d.pass_id).where(d.at >= since)
    by_two = (
        select(d.pass_id)
        .where(d.pass_id.in_(recent))
        .group_by(d.pass_id)
        .having(func.count(d.who.distinct()) > 1)
    )
    return at_once | {m[0].pass_id for m in _by_pass(connection, by_two) if people_differ(m)}


def open_conflicts(connection: Connection, pass_id: int | None = None) -> list[Conflict]:
    """Return the entries that came second, oldest first, of which somebody has still to think.

    Those that nobody marked as settled, and after which nobody decided on that pass: whoever did
    had both on the screen, see :func:`gait.herd.standing.is_settled`.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    pass_id : int, optional
        Of this pass only.
    """
    c = t.conflict.c
    which = [c.settled_at.is_(None), *([] if pass_id is None else [c.pass_id == pass_id])]
    made = {m[0].pass_id: m for m in _by_pass(connection, select(c.pass_id).where(*which))}
    question = select(t.conflict).where(*which).order_by(c.conflict_id)
    found = [record(Conflict, row) for row in connection.execute(question).mappings()]
    return [both for both in found if not is_settled(made[both.pass_id], both.found_version)]


def pairs(connection: Connection, limit: int) -> list[tuple[int, int]]:
    """Return (person's score, another person's second opinion), one a pass.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    limit : int
        So many passes at most, those with the newest opinions.
    """
    d = t.decision.c
    asked = (
        select(d.pass_id)
        .where(d.kind == "second_opinion")
        .group_by(d.pass_id)
        .order_by(func.max(d.decision_id).desc())
        .limit(limit)
    )
    found = (scored_by_two(made) for made in _by_pass(connection, asked))
    return [pair for pair in found if pair is not None]


def _by_pass(connection: Connection, passes: Any) -> Iterator[list[Decision]]:
    d = t.decision.c
    question = select(t.decision).where(d.pass_id.in_(passes)).order_by(d.pass_id, d.decision_id)
    rows = (record(Decision, row) for row in connection.execute(question).mappings())
    for _, made in groupby(rows, key=lambda decision: decision.pass_id):
        yield list(made)
