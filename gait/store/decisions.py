"""What people decided, append-only; two at once both stay on record."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, insert, select, update

from gait.errors import StoreConflict, StoreError
from gait.herd.records import Conflict, Decision, DecisionKind, NewPass
from gait.herd.standing import still_valid
from gait.store import tables as t
from gait.store.clips import add_passes
from gait.store.cows import ensure_cow
from gait.store.database import Database
from gait.store.identities import add_identity, locked_state
from gait.store.rows import record
from gait.store.state import refresh
from gait.store.two_people import open_conflicts
from gait.store.types import utc_now


@dataclass(frozen=True, kw_only=True)
class DecisionLine:
    """A decision with the walk it is about; clip fields are None for a walk seen by eye."""

    decision: Decision
    cow: str | None
    observed_at: datetime
    pass_number: int
    clip_sha256: str | None
    clip_name: str | None


_NEEDS_SCORE = frozenset({"confirmed", "overridden", "second_opinion"})
_NEEDS_REASON = frozenset({"overridden", "unusable"})


class Decisions:
    """Writing and reading decisions."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(
        self,
        pass_id: int,
        *,
        kind: DecisionKind,
        who: str,
        score: int | None = None,
        reason: str = "",
        blind: bool = False,
        expected_version: int | None = None,
        at: datetime | None = None,
    ) -> Decision:
        """Keep a decision. When this returns, it survives a crash and a power cut.

        Parameters
        ----------
        pass_id : int
        kind : str
            confirmed, overridden, second_opinion_wanted, second_opinion,
            second_opinion_declined or unusable.
        who : str
            Name of the person who decides.
        score : int, optional
            1 to 5; needed to confirm, override or give a second opinion.
        reason : str
            Needed to override and to call a pass unusable.
        blind : bool
            True when the person had not seen the proposal.
        expected_version : int, optional
            ``version`` of the pass when the person looked at it. None: decide in any case.
        at : datetime, optional
            When it was decided; now by default.

        Raises
        ------
        StoreConflict
            If somebody else decided in between. Both inputs are kept: see :meth:`conflicts`.
        StoreError
            If the pass is unknown, or a score or reason is missing.
        """
        _check(kind, who, score, reason)
        said = {
            "kind": kind,
            "who": who.strip(),
            "score": score,
            "reason": reason.strip(),
            "blind": blind,
            "at": at or utc_now(),
        }
        return self._append(pass_id, said, expected_version)

    def undo(
        self, pass_id: int, *, who: str, expected_version: int | None = None, reason: str = ""
    ) -> Decision:
        """Take back the newest decision on a pass that still holds, by a new record.

        Parameters
        ----------
        pass_id : int
        who : str
        expected_version : int, optional
            ``version`` of the decision that is meant. None: whichever is the newest.
        reason : str

        Raises
        ------
        StoreError
            If there is nothing to take back.
        StoreConflict
            If something was decided after the decision that is meant; nothing is kept then.
        """
        said = {
            "kind": "undo",
            "who": who.strip(),
            "score": None,
            "reason": reason.strip(),
            "blind": False,
            "at": utc_now(),
        }
        return self._append(pass_id, said, expected_version)

    def add_by_eye(
        self,
        cow: str,
        *,
        score: int,
        who: str,
        reason: str = "",
        observed_at: datetime | None = None,
    ) -> Decision:
        """Keep a score given by watching the cow walk, without any film."""
        _check("confirmed", who, score, reason)
        seen = observed_at or utc_now()
        with self._database.write() as connection:
            ensure_cow(connection, cow)
            (pass_id,) = add_passes(connection, None, [NewPass(number=1, observed_at=seen)])
            add_identity(connection, pass_id, cow=cow, source="person", who=who)
            said = {
                "kind": "confirmed",
                "who": who.strip(),
                "score": score,
                "reason": reason.strip(),
                "blind": True,
                "at": utc_now(),
            }
            made = _insert(connection, pass_id, 1, said, None)
            refresh(connection, [pass_id])
        return made

    def _append(self, pass_id: int, said: dict[str, Any], expected_version: int | None) -> Decision:
        with self._database.write() as connection:
            state = locked_state(connection, pass_id)
            if expected_version is None or state["version"] == expected_version:
                made = _insert(connection, pass_id, state["version"] + 1, said, state)
                refresh(connection, [pass_id])
                return made
        raise self._too_late(pass_id, said, expected_version)

    def _too_late(self, pass_id: int, said: dict[str, Any], seen_version: int) -> StoreConflict:
        if said["kind"] == "undo":
            return StoreConflict(_told(self.of_pass(pass_id)[-1]), "Nothing was taken back.")
        with self._database.write() as connection:
            state = locked_state(connection, pass_id)
            values = {k: said[k] for k in ("who", "kind", "score", "reason", "blind")}
            connection.execute(
                insert(t.conflict).values(
                    **values,
                    pass_id=pass_id,
                    seen_version=seen_version,
                    found_version=state["version"],
                    at=said["at"],
                )
            )
            theirs = _decisions(connection, t.decision.c.pass_id == pass_id)[-1]
        yours = f"Your {said['score']}" if said["score"] else "Your entry"
        return StoreConflict(
            _told(theirs), f"{yours} is kept beside it. Look at both, then decide again."
        )

    def of_pass(self, pass_id: int) -> list[Decision]:
        """Return every decision on a pass, undo records too, oldest first."""
        with self._database.read() as connection:
            return _decisions(connection, t.decision.c.pass_id == pass_id)

    def of_cow(self, cow: str) -> list[Decision]:
        """Return every decision on the passes that show this cow, in order of time."""
        passes = select(t.pass_state.c.pass_id).where(t.pass_state.c.cow == cow)
        with self._database.read() as connection:
            found = _decisions(connection, t.decision.c.pass_id.in_(passes))
        return sorted(found, key=lambda d: (d.at, d.decision_id))

    def since(self, at: datetime) -> list[Decision]:
        """Return every decision made since then, in order of keeping."""
        with self._database.read() as connection:
            return _decisions(connection, t.decision.c.at >= at)

    def newest_by(self, who: str, since: datetime) -> Decision | None:
        """Return this person's newest decision since then, while it can be taken back.

        None where it was taken back, or where somebody has decided on that pass after it.
        """
        mine = [made for made in self.since(since) if made.who == who]
        if not mine or mine[-1].kind == "undo":
            return None
        return mine[-1] if self.of_pass(mine[-1].pass_id)[-1] == mine[-1] else None

    def lines(self, *, cow: str | None = None) -> list[DecisionLine]:
        """Return every decision with the walk it is about, pass by pass: what an export needs."""
        d, s, w, c = t.decision.c, t.pass_state.c, t.walk.c, t.clip.c
        question = (
            select(t.decision, s.cow, s.observed_at, w.number, c.sha256, c.name)
            .join(t.pass_state, s.pass_id == d.pass_id)
            .join(t.walk, w.pass_id == d.pass_id)
            .outerjoin(t.clip, c.clip_id == w.clip_id)
            .order_by(s.observed_at, d.pass_id, d.version)
        )
        if cow is not None:
            question = question.where(s.cow == cow)
        with self._database.read() as connection:
            return [
                DecisionLine(
                    decision=record(Decision, row),
                    cow=row["cow"],
                    observed_at=row["observed_at"],
                    pass_number=row["number"],
                    clip_sha256=row["sha256"],
                    clip_name=row["name"],
                )
                for row in connection.execute(question).mappings()
            ]

    def conflicts(self, *, pass_id: int | None = None, settled: bool = False) -> list[Conflict]:
        """Return entries that came second, oldest first: the open ones, or all of them."""
        question = select(t.conflict).order_by(t.conflict.c.conflict_id)
        if pass_id is not None:
            question = question.where(t.conflict.c.pass_id == pass_id)
        with self._database.read() as connection:
            if not settled:
                return open_conflicts(connection, pass_id)
            return [record(Conflict, r) for r in connection.execute(question).mappings()]

    def settle(self, conflict_id: int, *, who: str) -> None:
        """Mark a conflict as looked at; both inputs stay on record."""
        with self._database.write() as connection:
            connection.execute(
                update(t.conflict)
                .where(t.conflict.c.conflict_id == conflict_id)
                .values(settled_at=utc_now(), settled_by=who)
            )


def _told(theirs: Decision) -> str:
    what = f"gave {theirs.score}" if theirs.score else theirs.kind.replace("_", " ")
    who = theirs.who[:1].upper() + theirs.who[1:]  # "somebody" begins the sentence
    return f"{who} decided on this pass in the meantime ({what})."


def _check(kind: str, who: str, score: int | None, reason: str) -> None:
    if not who.strip():
        raise StoreError("Nobody is named for this decision.", "Sign in or choose your name.")
    if score is not None and score not in range(1, 6):
        raise StoreError(f"A score goes from 1 to 5, not {score}.", "")
    if kind in _NEEDS_SCORE and score is None:
        raise StoreError("A score is missing.", "Choose 1 to 5.")
    if kind in _NEEDS_REASON and not reason.strip():
        raise StoreError("A reason is missing.", "Say in a few words why.")


def _insert(
    connection: Connection, pass_id: int, version: int, said: dict[str, Any], state: Any
) -> Decision:
    values = said | {
        "uid": uuid.uuid4().hex,
        "pass_id": pass_id,
        "version": version,
        "model_version": state["model_version"] if state else None,
        "proposed": state["proposed"] if state else None,
    }
    if said["kind"] == "undo":
        valid = still_valid(_decisions(connection, t.decision.c.pass_id == pass_id))
        if not valid:
            raise StoreError("There is no decision to take back.", "")
        values["undoes"] = valid[-1].uid
    made = connection.execute(insert(t.decision).values(values).returning(t.decision))
    return record(Decision, made.mappings().one())


def _decisions(connection: Connection, where: Any) -> list[Decision]:
    question = select(t.decision).where(where).order_by(t.decision.c.decision_id)
    return [record(Decision, r) for r in connection.execute(question).mappings()]
