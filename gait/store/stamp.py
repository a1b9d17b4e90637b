"""A mark that changes whenever something is recorded, so that figures can be kept until then."""

from __future__ import annotations

from sqlalchemy import func, select, union_all

from gait.store import tables as t
from gait.store.database import Database

Stamp = tuple[str, ...]

_COUNTED = (
    t.decision.c.decision_id,
    t.identity.c.identity_id,
    t.walk.c.pass_id,
    t.proposal.c.proposal_id,
    t.trim.c.trim_id,
    t.setting.c.setting_id,
    t.recheck.c.recheck_id,
    t.recheck.c.closed_at,
    t.cow.c.updated_at,
    t.conflict.c.conflict_id,
)


def change_stamp(database: Database) -> Stamp:
    """Return a mark of what is recorded: records are only ever added, so the newest tell.

    Plans of trim days and the progress of jobs, which change in place, are not in it.
    """
    questions = [select(func.max(column).cast(t.cow.c.number.type)) for column in _COUNTED]
    with database.read() as connection:
        found = connection.execute(union_all(*questions))
        return tuple(str(row[0]) for row in found)
