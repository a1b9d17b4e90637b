"""Passes on which several people decided: in dispute, or scored by two for their agreement."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, func, select, union

from gait.herd.records import Decision
from gait.herd.standing import is_answered, people_differ, scored_by_two
from gait.store import tables as t
from gait.store.rows import record


def disputed(connection: Connection, since: datetime) -> set[int]:
    """Return the passes that two people judge differently.

    Those where two decided at once, until somebody settles it; and those on which people decided
    since then, see :func:`gait.herd.standing.people_differ`. A second opinion answers either.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    since : datetime
        Aware.
    """
    d, c = t.decision.c, t.conflict.c
    at_once = (
        select(c.pass_id, func.max(c.found_version))
        .where(c.settled_at.is_(None))
        .group_by(c.pass_id)
    )
    found = {pass_id: version for pass_id, version in connection.execute(at_once)}
    recent = select(d.pass_id).where(d.at >= since)
    by_two = (
        select(d.pass_id)
        .where(d.pass_id.in_(recent))
        .group_by(d.pass_id)
        .having(func.count(d.who.distinct()) > 1)
    )
    candidates = union(by_two, select(c.pass_id).where(c.settled_at.is_(None)))
    return {
        made[0].pass_id
        for made in _by_pass(connection, candidates)
        if people_differ(made)
        or (made[0].pass_id in found and not is_answered(made, found[made[0].pass_id]))
    }


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
