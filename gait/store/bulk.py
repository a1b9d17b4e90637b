"""Bringing in a whole history at once: the demo farm, records kept elsewhere, a re-count."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, func, insert, select

from gait.errors import StoreError
from gait.herd.records import Cow, DecisionKind, IdentitySource, NewPass, Trim
from gait.store import tables as t
from gait.store.clips import walk_values
from gait.store.cows import ensure_cows, put_cows
from gait.store.database import Database
from gait.store.rows import chunks
from gait.store.state import refresh
from gait.store.trims import add_trim
from gait.store.types import utc_now


@dataclass(frozen=True, kw_only=True)
class PastDecision:
    """A decision made earlier, with its own time and person.

    ``model_version`` and ``proposed`` default to those of the pass it is made on.
    """

    kind: DecisionKind
    who: str
    at: datetime
    score: int | None = None
    reason: str = ""
    blind: bool = False
    uid: str = ""
    undoes: str | None = None
    model_version: str | None = None
    proposed: int | None = None


@dataclass(frozen=True, kw_only=True)
class PastPass:
    """A pass with what was said about it. ``walk.observed_at`` is needed; a clip is not."""

    walk: NewPass
    cow: str | None = None
    source: IdentitySource = "person"
    who: str = ""
    clip_id: int | None = None
    decisions: tuple[PastDecision, ...] = ()


class Bulk:
    """Writing many records in one transaction: all of them, or none."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def load(
        self,
        *,
        cows: Sequence[Cow] = (),
        passes: Sequence[PastPass] = (),
        trims: Sequence[Trim] = (),
    ) -> list[int]:
        """Bring in cows, passes with decisions, and trims; return the new pass identifiers.

        A pass that is on record already (same clip and number, or one of its decisions has a
        known ``uid``) is not doubled: only the decisions that are new are added to it. A trim
        with a known ``uid`` is left out.

        Raises
        ------
        StoreError
            If a pass has no ``observed_at``. Then nothing is kept.
        """
        with self._database.write() as connection:
            put_cows(connection, cows)
            ids = load_passes(connection, passes)
            known = _known_trims(connection, trims)
            for trim in trims:
                if trim.uid not in known:
                    add_trim(connection, trim)
        return ids

    def recount(self) -> int:
        """Make the latest state of every pass and cow anew; return how many passes there are."""
        with self._database.write() as connection:
            ids = list(connection.scalars(select(t.walk.c.pass_id)))
            refresh(connection, ids)
        return len(ids)


def load_passes(connection: Connection, passes: Sequence[PastPass]) -> list[int]:
    """Bring in passes within a transaction; see :meth:`Bulk.load`."""
    if any(past.walk.observed_at is None for past in passes):
        raise StoreError("A pass of the history has no time.", "Give the time of every pass.")
    ensure_cows(connection, {past.cow for past in passes if past.cow is not None})
    known_uids, known_passes = _known(connection, passes)
    fresh, pass_ids, decisions = [], set(), []
    for past in passes:
        pass_id = known_passes.get(_key(past)) or next(
            (known_uids[d.uid] for d in past.decisions if d.uid in known_uids), None
        )
        if pass_id is None:
            fresh.append(past)
            continue
        missing = [d for d in past.decisions if not d.uid or d.uid not in known_uids]
        if missing:
            decisions += _decisions(pass_id, past, missing, _versions(connection, pass_id))
            pass_ids.add(pass_id)
    new_ids = _add_fresh(connection, fresh, decisions)
    refresh(connection, pass_ids | set(new_ids))
    return new_ids


def _add_fresh(
    connection: Connection, fresh: Sequence[PastPass], decisions: list[dict[str, Any]]
) -> list[int]:
    ids: list[int] = []
    if fresh:
        ids = list(
            connection.scalars(
                insert(t.walk).returning(t.walk.c.pass_id, sort_by_parameter_order=True),
                [walk_values(past.clip_id, past.walk) for past in fresh],
            )
        )
    pairs = list(zip(ids, fresh, strict=True))
    for table, rows in (
        (t.proposal, [row for i, past in pairs for row in _proposals(i, past)]),
        (t.identity, [row for i, past in pairs for row in _identities(i, past)]),
        (
            t.decision,
            decisions + [row for i, p in pairs for row in _decisions(i, p, p.decisions, 0)],
        ),
    ):
        if rows:
            connection.execute(insert(table), rows)
    return ids


def _key(past: PastPass) -> tuple[int | None, int]:
    return past.clip_id, past.walk.number


def _known(
    connection: Connection, passes: Sequence[PastPass]
) -> tuple[dict[str, int], dict[tuple[int | None, int], int]]:
    """Return pass by decision uid, and pass by clip and number, of those on record."""
    uids: dict[str, int] = {}
    for some in chunks({d.uid for past in passes for d in past.decisions if d.uid}):
        d = t.decision.c
        found = connection.execute(select(d.uid, d.pass_id).where(d.uid.in_(some)))
        uids |= {uid: pass_id for uid, pass_id in found}
    walks: dict[tuple[int | None, int], int] = {}
    for some_clips in chunks({past.clip_id for past in passes if past.clip_id is not None}):
        w = t.walk.c
        rows = connection.execute(
            select(w.clip_id, w.number, w.pass_id).where(w.clip_id.in_(some_clips))
        )
        walks |= {(clip_id, number): pass_id for clip_id, number, pass_id in rows}
    return uids, walks


def _versions(connection: Connection, pass_id: int) -> int:
    question = select(func.max(t.decision.c.version)).where(t.decision.c.pass_id == pass_id)
    return int(connection.scalar(question) or 0)


def _known_trims(connection: Connection, trims: Sequence[Trim]) -> set[str]:
    known: set[str] = set()
    for some in chunks({trim.uid for trim in trims if trim.uid}):
        known |= set(connection.scalars(select(t.trim.c.uid).where(t.trim.c.uid.in_(some))))
    return known


def _proposals(pass_id: int, past: PastPass) -> list[dict[str, Any]]:
    if past.walk.proposal is None:
        return []
    return [
        {
            "pass_id": pass_id,
            "model_version": past.walk.model_version,
            "made_at": past.walk.observed_at,
            "body": dict(past.walk.proposal),
        }
    ]


def _identities(pass_id: int, past: PastPass) -> list[dict[str, Any]]:
    if past.cow is None:
        return []
    return [
        {
            "pass_id": pass_id,
            "cow": past.cow,
            "source": past.source,
            "who": past.who or (past.decisions[0].who if past.decisions else ""),
            "at": past.walk.observed_at or utc_now(),
            "doubtful": False,
            "candidates": [],
            "note": "",
        }
    ]


def _decisions(
    pass_id: int, past: PastPass, decisions: Sequence[PastDecision], made_before: int
) -> list[dict[str, Any]]:
    proposed = (past.walk.proposal or {}).get("value")
    return [
        {
            "uid": decision.uid or uuid.uuid4().hex,
            "pass_id": pass_id,
            "version": made_before + place,
            "kind": decision.kind,
            "who": decision.who,
            "at": decision.at,
            "score": decision.score,
            "reason": decision.reason,
            "blind": decision.blind,
            "model_version": decision.model_version or past.walk.model_version,
            "proposed": proposed if decision.proposed is None else decision.proposed,
            "undoes": decision.undoes,
        }
        for place, decision in enumerate(decisions, start=1)
    ]
