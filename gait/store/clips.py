"""Films and photos, known by their content, and the passes found in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, RowMapping, insert, select, update

from gait.errors import StoreError
from gait.herd.records import Clip, NewPass, PassRecord, PassSummary
from gait.store import tables as t
from gait.store.database import Database
from gait.store.rows import record
from gait.store.state import refresh
from gait.store.types import utc_now


@dataclass(frozen=True, kw_only=True)
class AddedClip:
    """A clip in the store, and whether it came in just now or was known by its content."""

    clip: Clip
    is_new: bool


class Clips:
    """Reading and writing films and photos."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(
        self,
        *,
        sha256: str,
        name: str,
        who: str,
        filmed_at: datetime | None = None,
        stored_as: str | None = None,
        info: Mapping[str, Any] | None = None,
    ) -> AddedClip:
        """Note a clip, or find it again when the same content came before under any name.

        Parameters
        ----------
        sha256 : str
            Hash of the file's content, hexadecimal.
        name : str
            File name as it was handed in.
        who : str
            Who handed it in.
        filmed_at : datetime, optional
            Aware time of the first frame.
        stored_as : str, optional
            Where the kept copy is, relative to the farm folder.
        info : mapping, optional
            Width, height, frame rate and so on, plain values.
        """
        with self._database.write() as connection:
            row = connection.execute(select(t.clip).where(t.clip.c.sha256 == sha256)).mappings()
            known = row.first()
            if known is not None:
                return AddedClip(clip=record(Clip, known), is_new=False)
            values = {
                "sha256": sha256,
                "name": name,
                "filmed_at": filmed_at,
                "added_at": utc_now(),
                "added_by": who,
                "stored_as": stored_as,
                "info": dict(info or {}),
            }
            new = connection.execute(insert(t.clip).values(values).returning(t.clip)).mappings()
            return AddedClip(clip=record(Clip, new.one()), is_new=True)

    def get(self, clip_id: int) -> Clip | None:
        """Return one clip."""
        return self._one(t.clip.c.clip_id == clip_id)

    def by_sha256(self, sha256: str) -> Clip | None:
        """Return the clip with this content."""
        return self._one(t.clip.c.sha256 == sha256)

    def _one(self, where: Any) -> Clip | None:
        with self._database.read() as connection:
            row = connection.execute(select(t.clip).where(where)).mappings().first()
        return None if row is None else record(Clip, row)

    def all(self, limit: int = 200, offset: int = 0) -> list[Clip]:
        """Return the clips, newest first."""
        question = select(t.clip).order_by(t.clip.c.clip_id.desc()).limit(limit).offset(offset)
        with self._database.read() as connection:
            return [record(Clip, r) for r in connection.execute(question).mappings()]

    def without_job(self, limit: int = 200) -> list[Clip]:
        """Return the clips that came in past the queue (from the command line), newest first."""
        c = t.clip.c
        queued = select(t.job.c.job_key)
        question = select(t.clip).where(c.sha256.not_in(queued)).order_by(c.clip_id.desc())
        with self._database.read() as connection:
            return [record(Clip, r) for r in connection.execute(question.limit(limit)).mappings()]


class Passes:
    """Reading and writing the walks past the camera."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, clip_id: int, passes: Sequence[NewPass]) -> list[int]:
        """Keep the passes found in a clip; return their identifiers in the same order.

        Handing in a pass again (same clip and number) renews its measures and adds the new
        proposal beside the old one; decisions already made on it stay.

        Raises
        ------
        StoreError
            If there is no such clip.
        """
        with self._database.write() as connection:
            ids = add_passes(connection, clip_id, passes)
            refresh(connection, ids)
        return ids

    def get(self, pass_id: int) -> PassRecord:
        """Return everything kept about one pass.

        Raises
        ------
        StoreError
            If there is no such pass.
        """
        with self._database.read() as connection:
            walk = (
                connection.execute(select(t.walk).where(t.walk.c.pass_id == pass_id))
                .mappings()
                .first()
            )
            if walk is None:
                raise StoreError(f"There is no pass {pass_id}.", "Go back to the list.")
            state = connection.execute(
                select(t.pass_state).where(t.pass_state.c.pass_id == pass_id)
            ).mappings()
            return _whole(connection, walk, record(PassSummary, state.one()))

    def of_clip(self, clip_id: int) -> list[PassSummary]:
        """Return the passes of one clip in their order."""
        question = (
            select(t.pass_state)
            .join(t.walk, t.walk.c.pass_id == t.pass_state.c.pass_id)
            .where(t.pass_state.c.clip_id == clip_id)
            .order_by(t.walk.c.number)
        )
        return self._summaries(question)

    def of_cow(self, cow: str, limit: int = 500) -> list[PassSummary]:
        """Return the passes of one cow, newest first."""
        s = t.pass_state
        question = select(s).where(s.c.cow == cow).order_by(s.c.observed_at.desc()).limit(limit)
        return self._summaries(question)

    def measures_of_cow(self, cow: str, limit: int = 100) -> list[tuple[datetime, dict[str, Any]]]:
        """Return (time, measures) of a cow's usable passes, newest first: her own past."""
        s, w = t.pass_state.c, t.walk.c
        question = (
            select(s.observed_at, w.measures)
            .join(t.walk, w.pass_id == s.pass_id)
            .where(s.cow == cow, s.usable.is_(True))
            .order_by(s.observed_at.desc())
            .limit(limit)
        )
        with self._database.read() as connection:
            return [(at, measures) for at, measures in connection.execute(question)]

    def measures_of_herd(self, limit: int = 500) -> list[dict[str, Any]]:
        """Return the measures of the herd's newest usable passes, for comparison."""
        s, w = t.pass_state.c, t.walk.c
        question = (
            select(w.measures)
            .join(t.pass_state, w.pass_id == s.pass_id)
            .where(s.usable.is_(True))
            .order_by(s.observed_at.desc())
            .limit(limit)
        )
        with self._database.read() as connection:
            return list(connection.scalars(question))

    def _summaries(self, question: Any) -> list[PassSummary]:
        with self._database.read() as connection:
            return [record(PassSummary, r) for r in connection.execute(question).mappings()]


def _whole(connection: Connection, walk: RowMapping, summary: PassSummary) -> PassRecord:
    p = t.proposal.c
    newest = (
        connection.execute(
            select(p.body, p.model_version)
            .where(p.pass_id == summary.pass_id)
            .order_by(p.proposal_id.desc())
            .limit(1)
        )
        .mappings()
        .first()
    )
    clip = None
    if walk["clip_id"] is not None:
        found = connection.execute(select(t.clip).where(t.clip.c.clip_id == walk["clip_id"]))
        clip = record(Clip, found.mappings().one())
    return record(
        PassRecord,
        walk,
        summary=summary,
        clip=clip,
        proposal=newest["body"] if newest else None,
        model_version=newest["model_version"] if newest else None,
    )


def add_passes(connection: Connection, clip_id: int | None, passes: Sequence[NewPass]) -> list[int]:
    """Keep passes within a transaction, without making their state; see :meth:`Passes.add`."""
    began = utc_now()
    if clip_id is not None:
        row = connection.execute(
            select(t.clip.c.filmed_at, t.clip.c.added_at).where(t.clip.c.clip_id == clip_id)
        ).first()
        if row is None:
            raise StoreError(f"There is no clip {clip_id}.", "Hand the film in again.")
        began = row[0] or row[1]
    ids = []
    for new in passes:
        if new.observed_at is None:
            new = replace(new, observed_at=began + timedelta(seconds=new.start_s))
        pass_id = _put_walk(connection, clip_id, new)
        if new.proposal is not None:
            connection.execute(
                insert(t.proposal).values(
                    pass_id=pass_id,
                    model_version=new.model_version,
                    made_at=utc_now(),
                    body=dict(new.proposal),
                )
            )
        ids.append(pass_id)
    return ids


def walk_values(clip_id: int | None, new: NewPass) -> dict[str, Any]:
    """Return the row of a pass."""
    return {
        "clip_id": clip_id,
        "number": new.number,
        "start_s": new.start_s,
        "end_s": new.end_s,
        "heading": new.heading,
        "observed_at": new.observed_at,
        "usable": new.usable,
        "problems": list(new.problems),
        "measures": dict(new.measures),
        "files": dict(new.files),
        "added_at": utc_now(),
    }


def _put_walk(connection: Connection, clip_id: int | None, new: NewPass) -> int:
    w, values = t.walk.c, walk_values(clip_id, new)
    known = None
    if clip_id is not None:
        known = connection.scalar(
            select(w.pass_id).where(w.clip_id == clip_id, w.number == new.number)
        )
    if known is not None:
        connection.execute(update(t.walk).where(w.pass_id == known).values(values))
        return int(known)
    return int(connection.execute(insert(t.walk).values(values).returning(w.pass_id)).scalar_one())
