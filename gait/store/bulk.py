"""Bringing in a whole history at once: the demo farm, records kept elsewhere, a re-count."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, insert, select

from gait.errors import StoreError
from gait.herd.records import Cow, DecisionKind, IdentitySource, NewPass, Trim
from gait.store import tables as t
from gait.store.clips import walk_values
from gait.store.cows import put_cows
from gait.store.database import Database
from gait.store.rows import chunks
from gait.store.state import refresh
from gait.store.trims import add_trim
from gait.store.types import utc_now


@dataclass(frozen=True, kw_only=True)
class PastDecision:
    """A decision made earlier, with its own time and person."""

    kind: DecisionKind
    who: str
    at: datetime
    score: int | None = None
    reason: str = ""
    blind: bool = False
    uid: str = ""


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

        A decision whose ``uid`` is already on record is left out, and so is its pass when all
        its decisions are, so that the same history can be brought in twice without doubling.

        Raises
        ------
        StoreError
            If a pass has no ``observed_at``. Then nothing is kept.
        """
        with self._database.write() as connection:
            put_cows(connection, cows)
            ids = load_passes(connection, passes)
            for trim in trims:
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
    passes = _without_known(connection, passes)
    _add_strangers(connection, passes)
    if not passes:
        return []
    ids = list(
        connection.scalars(
            insert(t.walk).returning(t.walk.c.pass_id, sort_by_parameter_order=True),
            [walk_values(past.clip_id, past.walk) for past in passes],
        )
    )
    for table, rows in (
        (t.proposal, [row for i, p in zip(ids, passes, strict=True) for row in _proposals(i, p)]),
        (t.identity, [row for i, p in zip(ids, passes, strict=True) for row in _identities(i, p)]),
        (t.decision, [row for i, p in zip(ids, passes, strict=True) for row in _decisions(i, p)]),
    ):
        if rows:
            connection.execute(insert(table), rows)
    refresh(connection, ids)
    return ids


def _without_known(connection: Connection, passes: Sequence[PastPass]) -> list[PastPass]:
    uids = {d.uid for past in passes for d in past.decisions if d.uid}
    known: set[str] = set()
    for some in chunks(uids):
        known |= set(connection.scalars(select(t.decision.c.uid).where(t.decision.c.uid.in_(some))))
    return [
        past
        for past in passes
        if not past.decisions or any(d.uid not in known for d in past.decisions)
    ]


def _add_strangers(connection: Connection, passes: Sequence[PastPass]) -> None:
    named = {past.cow for past in passes if past.cow is not None}
    for some in chunks(named):
        question = select(t.cow.c.number).where(t.cow.c.number.in_(some))
        known = set(connection.scalars(question))
        strangers = [Cow(number=cow, listed=False) for cow in some if cow not in known]
        put_cows(connection, strangers)


def _proposals(pass_id: int, past: PastPass) -> list[dict[str, object]]:
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


def _identities(pass_id: int, past: PastPass) -> list[dict[str, object]]:
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


def _decisions(pass_id: int, past: PastPass) -> list[dict[str, object]]:
    proposed = (past.walk.proposal or {}).get("value")
    return [
        {
            "uid": decision.uid or uuid.uuid4().hex,
            "pass_id": pass_id,
            "version": version,
            "kind": decision.kind,
            "who": decision.who,
            "at": decision.at,
            "score": decision.score,
            "reason": decision.reason,
            "blind": decision.blind,
            "model_version": past.walk.model_version,
            "proposed": proposed,
            "undoes": None,
        }
        for version, decision in enumerate(past.decisions, start=1)
    ]
