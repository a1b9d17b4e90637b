"""Who said which cow a pass shows, append-only."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, RowMapping, insert, select

from gait.errors import StoreError
from gait.herd.records import Identity, IdentitySource
from gait.store import tables as t
from gait.store.cows import ensure_cow
from gait.store.database import Database
from gait.store.rows import record
from gait.store.state import refresh
from gait.store.types import utc_now


class Identities:
    """Writing and reading who said which cow a pass shows."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def set(
        self,
        pass_id: int,
        cow: str | None,
        *,
        who: str,
        source: IdentitySource = "person",
        doubtful: bool = False,
        candidates: Sequence[str] = (),
        note: str = "",
    ) -> None:
        """Say which cow a pass shows; ``cow`` None says that nobody knows.

        A number that no herd list has named is noted as a new, unlisted cow.
        """
        with self._database.write() as connection:
            locked_state(connection, pass_id)
            if cow is not None:
                ensure_cow(connection, cow)
            add_identity(
                connection,
                pass_id,
                cow=cow,
                source=source,
                who=who,
                doubtful=doubtful,
                candidates=list(candidates),
                note=note,
            )
            refresh(connection, [pass_id])

    def of_pass(self, pass_id: int) -> list[Identity]:
        """Return everything said about which cow it is, oldest first."""
        i = t.identity
        question = select(i).where(i.c.pass_id == pass_id).order_by(i.c.identity_id)
        with self._database.read() as connection:
            return [record(Identity, r) for r in connection.execute(question).mappings()]


def add_identity(connection: Connection, pass_id: int, **said: Any) -> None:
    """Note a statement about identity within a transaction, without making the state."""
    values = {"doubtful": False, "candidates": [], "note": "", "at": utc_now()} | said
    connection.execute(insert(t.identity).values(pass_id=pass_id, **values))


def locked_state(connection: Connection, pass_id: int) -> RowMapping:
    """Return version, proposal and model of a pass that nobody else can decide meanwhile.

    Raises
    ------
    StoreError
        If there is no such pass.
    """
    # The walk is locked, not its state: the state is replaced by whoever comes first.
    w, s = t.walk.c, t.pass_state.c
    locked = select(w.pass_id).where(w.pass_id == pass_id).with_for_update()
    if connection.scalar(locked) is None:
        raise StoreError(f"There is no pass {pass_id}.", "Go back to the list.")
    question = select(s.version, s.proposed, s.model_version).where(s.pass_id == pass_id)
    return connection.execute(question).mappings().one()
