"""The tables as they are now. How they came about is told in :mod:`gait.store.migrations`.

Only names and types stand here; keys, references and indexes are made by the migrations, and a
test holds the two against each other.
"""

from __future__ import annotations

from sqlalchemy import Boolean, Column, Float, Integer, MetaData, Table, Text

from gait.store.types import Day, Json, UtcTime

METADATA = MetaData()


def _table(name: str, *columns: Column[object]) -> Table:
    return Table(name, METADATA, *columns)


def _id(name: str) -> Column[object]:
    return Column(name, Integer, primary_key=True)


cow = _table(
    "cow",
    Column("number", Text, primary_key=True),
    Column("electronic", Text),
    Column("birth_on", Day),
    Column("parity", Integer),
    Column("calved_on", Day),
    Column("dried_off_on", Day),
    Column("due_on", Day),
    Column("herd_group", Text),
    Column("breed", Text),
    Column("left_on", Day),
    Column("listed", Boolean),
    Column("updated_at", UtcTime),
)

calving = _table(
    "calving",
    Column("cow", Text, primary_key=True),
    Column("calved_on", Day, primary_key=True),
    Column("parity", Integer),
)

clip = _table(
    "clip",
    _id("clip_id"),
    Column("sha256", Text),
    Column("name", Text),
    Column("filmed_at", UtcTime),
    Column("added_at", UtcTime),
    Column("added_by", Text),
    Column("stored_as", Text),
    Column("info", Json),
)

walk = _table(
    "walk",
    _id("pass_id"),
    Column("clip_id", Integer),
    Column("number", Integer),
    Column("start_s", Float),
    Column("end_s", Float),
    Column("heading", Text),
    Column("observed_at", UtcTime),
    Column("usable", Boolean),
    Column("problems", Json),
    Column("measures", Json),
    Column("files", Json),
    Column("added_at", UtcTime),
)

proposal = _table(
    "proposal",
    _id("proposal_id"),
    Column("pass_id", Integer),
    Column("model_version", Text),
    Column("made_at", UtcTime),
    Column("body", Json),
)

identity = _table(
    "identity",
    _id("identity_id"),
    Column("pass_id", Integer),
    Column("cow", Text),
    Column("source", Text),
    Column("who", Text),
    Column("at", UtcTime),
    Column("doubtful", Boolean),
    Column("candidates", Json),
    Column("note", Text),
)

decision = _table(
    "decision",
    _id("decision_id"),
    Column("uid", Text),
    Column("pass_id", Integer),
    Column("version", Integer),
    Column("kind", Text),
    Column("who", Text),
    Column("at", UtcTime),
    Column("score", Integer),
    Column("reason", Text),
    Column("blind", Boolean),
    Column("model_version", Text),
    Column("proposed", Integer),
    Column("undoes", Text),
)

pass_state = _table(
    "pass_state",
    Column("pass_id", Integer, primary_key=True, autoincrement=False),
    Column("clip_id", Integer),
    Column("cow", Text),
    Column("observed_at", UtcTime),
    Column("usable", Boolean),
    Column("status", Text),
    Column("score", Integer),
    Column("version", Integer),
    Column("wants_second_opinion", Boolean),
    Column("identity_doubtful", Boolean),
    Column("decided_at", UtcTime),
    Column("decided_by", Text),
    Column("decided_blind", Boolean),
    Column("proposed", Integer),
    Column("confidence", Float),
    Column("low", Integer),
    Column("high", Integer),
    Column("model_version", Text),
    Column("priority", Float),
)

cow_state = _table(
    "cow_state",
    Column("cow", Text, primary_key=True),
    Column("pass_id", Integer),
    Column("score", Integer),
    Column("observed_at", UtcTime),
)

person = _table(
    "person",
    Column("name", Text, primary_key=True),
    Column("roles", Json),
    Column("pin_hash", Text),
    Column("active", Boolean),
    Column("failed_tries", Integer),
    Column("locked_until", UtcTime),
)

setting = _table(
    "setting",
    _id("setting_id"),
    Column("name", Text),
    Column("value", Json),
    Column("who", Text),
    Column("at", UtcTime),
)

job = _table(
    "job",
    _id("job_id"),
    Column("job_key", Text),
    Column("kind", Text),
    Column("payload", Json),
    Column("state", Text),
    Column("progress", Float),
    Column("message", Text),
    Column("attempts", Integer),
    Column("worker", Text),
    Column("created_at", UtcTime),
    Column("beat_at", UtcTime),
    Column("result", Json),
)

trim_day = _table(
    "trim_day",
    _id("trim_day_id"),
    Column("on_day", Day),
    Column("trimmer", Text),
    Column("capacity", Integer),
    Column("note", Text),
    Column("closed", Boolean),
)

trim_entry = _table(
    "trim_entry",
    Column("trim_day_id", Integer, primary_key=True, autoincrement=False),
    Column("cow", Text, primary_key=True),
    Column("reason", Text),
    Column("why", Text),
    Column("position", Integer),
    Column("state", Text),
)

trim = _table(
    "trim",
    _id("trim_id"),
    Column("uid", Text),
    Column("cow", Text),
    Column("on_day", Day),
    Column("at", UtcTime),
    Column("who", Text),
    Column("reason", Text),
    Column("trim_day_id", Integer),
    Column("medicine", Text),
    Column("withdrawal_until", Day),
    Column("withdrawal_source", Text),
    Column("next_step", Text),
    Column("recheck_on", Day),
    Column("note", Text),
    Column("corrects", Text),
)

finding = _table(
    "finding",
    _id("finding_id"),
    Column("trim_id", Integer),
    Column("foot", Text),
    Column("claw", Text),
    Column("zone", Text),
    Column("code", Text),
    Column("stage", Text),
    Column("severity", Text),
    Column("block", Boolean),
    Column("block_claw", Text),
    Column("bandage", Boolean),
    Column("toe_length_mm", Float),
    Column("sole_mm", Float),
    Column("note", Text),
)

recheck = _table(
    "recheck",
    _id("recheck_id"),
    Column("cow", Text),
    Column("due_on", Day),
    Column("why", Text),
    Column("opened_at", UtcTime),
    Column("opened_by", Text),
    Column("state", Text),
    Column("outcome", Text),
    Column("closed_at", UtcTime),
    Column("closed_by", Text),
    Column("trim_uid", Text),
)

conflict = _table(
    "conflict",
    _id("conflict_id"),
    Column("pass_id", Integer),
    Column("seen_version", Integer),
    Column("found_version", Integer),
    Column("at", UtcTime),
    Column("who", Text),
    Column("kind", Text),
    Column("score", Integer),
    Column("reason", Text),
    Column("blind", Boolean),
    Column("settled_at", UtcTime),
    Column("settled_by", Text),
)

score_model = _table(
    "score_model",
    Column("version", Text, primary_key=True),
    Column("body", Json),
    Column("note", Text),
    Column("who", Text),
    Column("at", UtcTime),
)
