"""The farm's records: SQLite by default, PostgreSQL by address. Nothing is ever lost or rewritten.

Open and use::

    from gait.store import open_store

    with open_store("my_farm") as store:             # folder, file, or postgresql:// address
        clip = store.clips.add(sha256="…", name="lane.webm", who="Ann").clip
        (pass_id,) = store.passes.add(clip.clip_id, [NewPass(number=1, proposal={...})])
        store.identities.set(pass_id, "0412", who="Ann")
        seen = store.passes.get(pass_id).summary      # .version, .proposed, .cow, .status
        store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann",
                            expected_version=seen.version)
        store.scores.latest(at_least=3)               # who is lame by a person's decision

Parts of a :class:`Store` (records are the dataclasses of :mod:`gait.herd.records`):

=============  ====================================================================================
cows           put(list of Cow), all(), get(number), by_electronic(number), find(typed),
               calvings(), renumber(old, new), take_off(number)
clips          add(sha256, name, who, filmed_at, stored_as, info) -> AddedClip(clip, is_new),
               get, by_sha256, all
passes         add(clip_id, list of NewPass) -> ids, get(id) -> PassRecord, of_clip, of_cow,
               measures_of_cow, measures_of_herd
identities     set(pass_id, cow or None, who, source, doubtful, candidates), of_pass
decisions      add(pass_id, kind, who, score, reason, blind, expected_version),
               undo(pass_id, who, expected_version), add_by_eye(cow, score, who), of_pass, of_cow,
               since, newest_by(who, since), lines, conflicts, settle
queue          to_check(), second_opinions(), for_vet(since), disputed(since), unnamed(),
               is_unnamed(pass_id), waiting() -> counts
scores         latest(at_least), of_cows, between(start, end), person_and_tool, learning_rows
trim_days      plan, change, all, get, put_entries, entries, set_state
trims          add(Trim with findings), of_cows, since, last_days
rechecks       open, close, all
people         put(name, roles, pin), all, get, sign_in
settings       get(name, default), put(name, value, who), history(name)
jobs           add(key, kind, payload), claim(worker), progress, done, failed, again, get, all
models         put, all, get: versions of the herd's own score model
mark()         a text that changes whenever lists and figures may: key for what a page keeps
bulk           load(cows, passes of PastPass, trims): a whole history at once; recount()
=============  ====================================================================================

Rules it keeps: a decision, an identity and a setting are only ever added to; undo is a record of
its own; two people deciding at once get a ``StoreConflict`` and both inputs are kept; a full disk
turns the store read-only (``store.read_only_because``) instead of stopping it.
"""

from __future__ import annotations

from pathlib import Path
from types import TracebackType

from sqlalchemy import func, select

from gait.store import tables as t
from gait.store.bulk import Bulk, PastDecision, PastPass
from gait.store.clips import AddedClip, Clips, Passes
from gait.store.cows import Cows, HerdListChange
from gait.store.database import Database, has_records, herds_on
from gait.store.decisions import DecisionLine, Decisions
from gait.store.identities import Identities
from gait.store.jobs import Jobs, KeptModel, Models
from gait.store.lists import Queue, Scores, Waiting
from gait.store.people import People, Settings
from gait.store.stamp import Stamp, change_stamp
from gait.store.trims import Rechecks, TrimDays, Trims

__all__ = [
    "AddedClip",
    "DecisionLine",
    "HerdListChange",
    "KeptModel",
    "PastDecision",
    "PastPass",
    "Store",
    "Waiting",
    "has_records",
    "herds_on",
    "open_store",
]


class Store:
    """One farm's records, open. Made by :func:`open_store`; see the module for its parts."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.cows = Cows(database)
        self.clips = Clips(database)
        self.passes = Passes(database)
        self.identities = Identities(database)
        self.decisions = Decisions(database)
        self.queue = Queue(database)
        self.scores = Scores(database)
        self.trim_days = TrimDays(database)
        self.trims = Trims(database)
        self.rechecks = Rechecks(database)
        self.people = People(database)
        self.settings = Settings(database)
        self.jobs = Jobs(database)
        self.models = Models(database)
        self.bulk = Bulk(database)

    @property
    def folder(self) -> Path | None:
        """The farm folder, where clips are kept too; None on a PostgreSQL server."""
        return self.database.folder

    @property
    def read_only_because(self) -> str:
        """Why nothing can be written now, as a sentence; empty when writing works."""
        return self.database.read_only_because

    def mark(self) -> str:
        """Return a text that changes whenever something lists and figures rest on changes.

        For pages that keep what they worked out: it costs a few milliseconds.
        """
        newest = [
            select(func.max(column)).scalar_subquery()
            for column in (
                t.decision.c.decision_id,
                t.identity.c.identity_id,
                t.walk.c.pass_id,
                t.proposal.c.proposal_id,
                t.trim.c.trim_id,
                t.recheck.c.recheck_id,
                t.recheck.c.closed_at,
                t.setting.c.setting_id,
                t.cow.c.updated_at,
            )
        ]
        with self.database.read() as connection:
            return "|".join(str(value) for value in connection.execute(select(*newest)).one())

    def try_writing_again(self) -> bool:
        """Leave read-only mode if the disk takes writes again; return whether it does."""
        return self.database.try_writing_again()

    def stamp(self) -> Stamp:
        """Return a mark that changes whenever something is recorded."""
        return change_stamp(self.database)

    def close(self) -> None:
        """Close the records."""
        self.database.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def open_store(where: str | Path, herd: str = "herd", *, read_only: bool = False) -> Store:
    """Open a farm's records, making them if there are none.

    Parameters
    ----------
    where : str or Path
        Farm folder, a ``.sqlite`` file, or a ``postgresql://`` address.
    herd : str
        Name of the herd on a PostgreSQL server, which can hold many.
    read_only : bool
        Only read.

    Raises
    ------
    StoreError
        If the records are damaged, newer than this program, or cannot be reached.
    """
    return Store(Database(where, herd, read_only=read_only))
