"""Film work that can be taken up again after a crash, and the herd's own score models."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import and_, insert, or_, select, update

from gait.errors import StoreError
from gait.herd.records import Job
from gait.store import tables as t
from gait.store.database import Database
from gait.store.rows import record
from gait.store.types import utc_now

STALE_AFTER = timedelta(minutes=5)
"""A running job that has given no sign for so long is taken to have crashed."""
MOST_TRIES = 3
_FROM_NEW: Mapping[str, Any] = {
    "state": "waiting",
    "attempts": 0,
    "progress": 0.0,
    "message": "",
    "worker": None,
}


class Jobs:
    """A queue of work; each piece is done by one worker at a time."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, key: str, kind: str, payload: Mapping[str, Any], *, undated: bool = False) -> Job:
        """Put work in the queue; the same ``key`` (such as a clip's hash) is put in only once.

        What is ``undated`` waits until somebody says when it was filmed: :meth:`handed_in_again`.
        """
        j = t.job
        with self._database.write() as connection:
            row = connection.execute(select(j).where(j.c.job_key == key)).mappings().first()
            if row is None:
                values = {
                    "job_key": key,
                    "kind": kind,
                    "payload": dict(payload),
                    "state": "undated" if undated else "waiting",
                    "progress": 0.0,
                    "message": "",
                    "attempts": 0,
                    "created_at": utc_now(),
                }
                row = connection.execute(insert(j).values(values).returning(j)).mappings().one()
        return record(Job, row)

    def claim(
        self,
        worker: str,
        *,
        now: datetime | None = None,
        stale_after: timedelta = STALE_AFTER,
    ) -> Job | None:
        """Take the oldest piece of work that waits or whose worker has crashed.

        Work that crashed three times is marked as failed and not tried again.
        """
        now = now or utc_now()
        j = t.job.c
        # a sign of life from the future was given before the clock was put right
        silent = or_(j.beat_at < now - stale_after, j.beat_at > now + stale_after)
        crashed = and_(j.state == "running", silent)
        with self._database.write() as connection:
            connection.execute(
                update(t.job)
                .where(crashed, j.attempts >= MOST_TRIES)
                .values(state="failed", message="Stopped three times without an end.")
            )
            oldest = (
                select(j.job_id)
                .where(or_(j.state == "waiting", crashed))
                .order_by(j.job_id)
                .limit(1)
                .with_for_update(skip_locked=True)
            )
            job_id = connection.scalar(oldest)
            if job_id is None:
                return None
            row = connection.execute(
                update(t.job)
                .where(j.job_id == job_id)
                .values(state="running", worker=worker, beat_at=now, attempts=j.attempts + 1)
                .returning(t.job)
            ).mappings()
            return record(Job, row.one())

    def progress(self, job_id: int, share: float, message: str = "", *, worker: str) -> bool:
        """Tell how far the work is (0 to 1), which also says that the worker is alive.

        Returns
        -------
        bool
            False when another worker has taken the job over; then stop.
        """
        values = {"progress": share, "message": message, "beat_at": utc_now()}
        return self._mine(job_id, worker, values)

    def done(self, job_id: int, result: Mapping[str, Any], *, worker: str) -> bool:
        """Mark the work as done."""
        values = {"state": "done", "progress": 1.0, "result": dict(result), "beat_at": utc_now()}
        return self._mine(job_id, worker, values)

    def failed(self, job_id: int, message: str, *, worker: str) -> bool:
        """Mark the work as failed, with a sentence for people."""
        values = {"state": "failed", "message": message, "beat_at": utc_now()}
        return self._mine(job_id, worker, values)

    def again(self, job_id: int) -> None:
        """Put failed or finished work back into the queue."""
        with self._database.write() as connection:
            connection.execute(update(t.job).where(t.job.c.job_id == job_id).values(_FROM_NEW))

    def handed_in_again(
        self, job_id: int, payload: Mapping[str, Any], *, undated: bool = False
    ) -> bool:
        """Put work that failed, was put away or still waits into the queue as it came in last.

        Returns
        -------
        bool
            False when it is under way or done, and so stays as it is.
        """
        j = t.job.c
        values = {**_FROM_NEW, "payload": dict(payload)}
        with self._database.write() as connection:
            done = connection.execute(
                update(t.job)
                .where(j.job_id == job_id, j.state.not_in(("running", "done")))
                .values(values | ({"state": "undated"} if undated else {}))
            )
        return bool(done.rowcount)

    def put_away(self, job_id: int, *, who: str) -> None:
        """Take work that failed or has no date off the lists; it stays on record, with who."""
        j = t.job.c
        told = {"put_away_by": who, "at": utc_now().isoformat(timespec="seconds")}
        values = {"state": "put_away", "result": told}
        with self._database.write() as connection:
            connection.execute(
                update(t.job)
                .where(j.job_id == job_id, j.state.in_(("failed", "undated")))
                .values(values)
            )

    def _mine(self, job_id: int, worker: str, values: dict[str, Any]) -> bool:
        j = t.job.c
        with self._database.write() as connection:
            done = connection.execute(
                update(t.job)
                .where(j.job_id == job_id, j.worker == worker, j.state == "running")
                .values(values)
            )
        return bool(done.rowcount)

    def get(self, job_id: int) -> Job | None:
        """Return one piece of work."""
        with self._database.read() as connection:
            row = connection.execute(select(t.job).where(t.job.c.job_id == job_id)).mappings()
            found = row.first()
        return None if found is None else record(Job, found)

    def all(self, *, state: str | None = None, limit: int = 100) -> list[Job]:
        """Return work, newest first; what was put away only when asked for by its state."""
        wanted = t.job.c.state != "put_away" if state is None else t.job.c.state == state
        question = select(t.job).where(wanted).order_by(t.job.c.job_id.desc()).limit(limit)
        with self._database.read() as connection:
            return [record(Job, r) for r in connection.execute(question).mappings()]


@dataclass(frozen=True, kw_only=True)
class KeptModel:
    """One version of the herd's own score model; ``body`` is its readable JSON."""

    version: str
    body: Mapping[str, Any]
    note: str
    who: str
    at: datetime


class Models:
    """Versions of the herd's own score model. Which one is in use is a setting."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def put(self, version: str, body: Mapping[str, Any], *, who: str, note: str = "") -> None:
        """Keep a version; it never changes afterwards.

        Raises
        ------
        StoreError
            If there is a version of that name.
        """
        values = {"version": version, "body": dict(body), "note": note, "who": who, "at": utc_now()}
        with self._database.write() as connection:
            m = t.score_model
            if connection.scalar(select(m.c.version).where(m.c.version == version)):
                raise StoreError(f"There is a model version {version} already.", "")
            connection.execute(insert(m).values(values))

    def all(self) -> list[KeptModel]:
        """Return the versions, oldest first."""
        question = select(t.score_model).order_by(t.score_model.c.at)
        with self._database.read() as connection:
            return [record(KeptModel, r) for r in connection.execute(question).mappings()]

    def get(self, version: str) -> KeptModel | None:
        """Return one version."""
        m = t.score_model
        with self._database.read() as connection:
            row = connection.execute(select(m).where(m.c.version == version)).mappings().first()
        return None if row is None else record(KeptModel, row)
