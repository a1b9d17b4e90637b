"""The latest state of every pass and cow, kept up to date so that lists come at once.

The truth is in the append-only tables (proposal, identity, decision). ``pass_state`` and
``cow_state`` only repeat what follows from them by the rules of :mod:`gait.herd.standing`, and
can be made anew from them at any time.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from sqlalchemy import Connection, RowMapping, delete, func, insert, select

from gait.herd.records import Decision, Identity
from gait.herd.standing import checking_priority, standing_decision, standing_identity
from gait.store import tables as t
from gait.store.rows import chunks, record


def refresh(connection: Connection, pass_ids: Iterable[int]) -> None:
    """Make the state of these passes, and of the cows they show, anew.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a writing transaction.
    pass_ids : iterable of int
    """
    touched: set[str | None] = set()
    for some in chunks(sorted(set(pass_ids)), size=5000):
        where = t.pass_state.c.pass_id.in_(some)
        touched |= set(connection.scalars(select(t.pass_state.c.cow).where(where)))
        states = _states(connection, list(some))
        connection.execute(delete(t.pass_state).where(where))
        if states:
            connection.execute(insert(t.pass_state), states)
        touched |= {state["cow"] for state in states}
    refresh_cows(connection, touched)


def refresh_cows(connection: Connection, cows: Iterable[str | None]) -> None:
    """Make the latest standing score of these cows anew: the newest walk with a score."""
    named = sorted(cow for cow in set(cows) if cow is not None)
    for some in chunks(named):
        # Locked in order of number, so that two decisions on one cow queue up on a server too.
        connection.execute(
            select(t.cow.c.number)
            .where(t.cow.c.number.in_(some))
            .order_by(t.cow.c.number)
            .with_for_update()
        )
        connection.execute(delete(t.cow_state).where(t.cow_state.c.cow.in_(some)))
        s = t.pass_state.c
        newest = (
            func.row_number()
            .over(
                partition_by=s.cow,
                order_by=(s.observed_at.desc(), s.decided_at.desc(), s.pass_id.desc()),
            )
            .label("place")
        )
        ranked = (
            select(s.cow, s.pass_id, s.score, s.observed_at, newest)
            .where(s.cow.in_(some), s.score.is_not(None))
            .subquery()
        )
        connection.execute(
            insert(t.cow_state).from_select(
                ["cow", "pass_id", "score", "observed_at"],
                select(ranked.c.cow, ranked.c.pass_id, ranked.c.score, ranked.c.observed_at).where(
                    ranked.c.place == 1
                ),
            )
        )


def _states(connection: Connection, pass_ids: list[int]) -> list[dict[str, Any]]:
    decisions = _grouped(connection, t.decision, pass_ids)
    identities = _grouped(connection, t.identity, pass_ids)
    proposals = _grouped(connection, t.proposal, pass_ids)
    w = t.walk.c
    walks = connection.execute(
        select(w.pass_id, w.clip_id, w.observed_at, w.usable).where(w.pass_id.in_(pass_ids))
    ).mappings()
    return [
        dict(walk)
        | _identity_part([record(Identity, r) for r in identities[walk["pass_id"]]])
        | _decision_part([record(Decision, r) for r in decisions[walk["pass_id"]]])
        | _proposal_part(proposals[walk["pass_id"]])
        for walk in walks
    ]


def _grouped(
    connection: Connection, table: Any, pass_ids: list[int]
) -> dict[int, list[RowMapping]]:
    key = next(iter(table.primary_key.columns))
    found = connection.execute(
        select(table).where(table.c.pass_id.in_(pass_ids)).order_by(key)
    ).mappings()
    groups: dict[int, list[RowMapping]] = defaultdict(list)
    for row in found:
        groups[row["pass_id"]].append(row)
    return groups


def _identity_part(identities: list[Identity]) -> dict[str, Any]:
    standing = standing_identity(identities)
    return {
        "cow": standing.cow if standing else None,
        "identity_doubtful": bool(standing and standing.doubtful),
    }


def _decision_part(decisions: list[Decision]) -> dict[str, Any]:
    standing = standing_decision(decisions)
    decided = standing.decision
    return {
        "status": standing.status,
        "score": standing.score,
        "wants_second_opinion": standing.wants_second_opinion,
        "version": max((d.version for d in decisions), default=0),
        "decided_at": decided.at if decided else None,
        "decided_by": decided.who if decided else None,
        "decided_blind": decided.blind if decided else None,
    }


def _proposal_part(proposals: list[RowMapping]) -> dict[str, Any]:
    newest = proposals[-1] if proposals else None
    body = newest["body"] if newest else None
    plausible = (body or {}).get("plausible") or []
    return {
        "proposed": (body or {}).get("value"),
        "confidence": (body or {}).get("confidence"),
        "low": min(plausible, default=None),
        "high": max(plausible, default=None),
        "model_version": newest["model_version"] if newest else None,
        "priority": checking_priority(body),
    }
