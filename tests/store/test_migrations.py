"""Records of every earlier version are brought up to the present one, and nothing is lost."""

from __future__ import annotations

import pytest
from sqlalchemy import inspect, text

from gait.errors import StoreError
from gait.herd.records import Finding
from gait.store import Store, open_store, tables
from gait.store.database import Database
from gait.store.migrations import MIGRATIONS, migrate, version_of

_OLD_ROWS = (
    "INSERT INTO cow (number, listed, updated_at) VALUES ('0412', {yes}, '2026-03-02T12:00:00Z')",
    "INSERT INTO clip (sha256, name, added_at, added_by, info) "
    "VALUES ('aa', 'lane.webm', '2026-03-02T12:00:00.000000Z', 'Ann', '{{}}')",
    "INSERT INTO walk (clip_id, number, start_s, end_s, observed_at, usable, problems, measures, "
    "files, added_at) VALUES (1, 1, 0, 4, '2026-03-02T12:00:00.000000Z', {yes}, '[]', "
    "'{{}}', '{{}}', '2026-03-02T12:00:00.000000Z')",
    "INSERT INTO identity (pass_id, cow, source, who, at, doubtful, candidates, note) "
    "VALUES (1, '0412', 'person', 'Ann', '2026-03-02T12:00:00.000000Z', {no}, '[]', '')",
    "INSERT INTO decision (uid, pass_id, version, kind, who, at, score, reason, blind) "
    "VALUES ('d1', 1, 1, 'confirmed', 'Ann', '2026-03-02T12:05:00.000000Z', 4, '', {no})",
)


@pytest.mark.parametrize("version", range(1, len(MIGRATIONS) + 1))
def test_records_of_each_earlier_version_open_and_keep_their_decisions(
    farm: tuple[str, str], version: int
) -> None:
    old = Database(*farm, up_to_version=version)
    with old.write() as connection:
        assert version_of(connection) == version
        truths = {"yes": "true", "no": "false"}
        for statement in _OLD_ROWS:
            connection.execute(text(statement.format(**truths)))
    old.close()
    with open_store(*farm) as store:
        with store.database.read() as connection:
            assert version_of(connection) == len(MIGRATIONS)
        store.bulk.recount()
        assert [(s.cow, s.score) for s in store.scores.latest()] == [("0412", 4)]
        store.decisions.add(1, kind="second_opinion", score=3, who="Vet", expected_version=1)
        assert store.rechecks.all() == []
        assert store.decisions.conflicts() == []


def test_the_tables_are_as_they_are_declared(store: Store) -> None:
    with store.database.read() as connection:
        found = inspect(connection)
        made = {
            name: sorted(c["name"] for c in found.get_columns(name))
            for name in found.get_table_names()
            if name != "schema_version"
        }
    declared = {
        name: sorted(c.name for c in table.columns)
        for name, table in tables.METADATA.tables.items()
    }
    assert made == declared


def test_every_step_is_written_down_once_by_name(store: Store) -> None:
    with store.database.write() as connection:
        migrate(connection)
    with store.database.read() as connection:
        names = connection.scalars(text("SELECT name FROM schema_version ORDER BY version"))
        assert list(names) == [step.__name__ for step in MIGRATIONS]


def test_records_of_a_newer_program_are_left_alone(farm: tuple[str, str]) -> None:
    with open_store(*farm) as store, store.database.write() as connection:
        connection.execute(text("INSERT INTO schema_version VALUES (99, 'later', 'x')"))
    with pytest.raises(StoreError, match="newer version"):
        open_store(*farm)


def test_older_records_that_cannot_be_written_to_are_named_as_such(tmp_path) -> None:
    Database(tmp_path, up_to_version=1).close()
    with pytest.raises(StoreError, match="older version"):
        open_store(tmp_path, read_only=True)


def test_a_step_that_fails_leaves_the_records_as_they_were(
    farm: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    Database(*farm, up_to_version=1).close()

    def breaks(connection) -> None:
        connection.execute(text("CREATE TABLE half_done (x INTEGER)"))
        raise StoreError("This step fails.", "")

    monkeypatch.setattr("gait.store.migrations.MIGRATIONS", (MIGRATIONS[0], breaks))
    with pytest.raises(StoreError, match="This step fails"):
        open_store(*farm)
    monkeypatch.undo()
    again = Database(*farm, up_to_version=1)
    with again.read() as connection:
        assert version_of(connection) == 1
        assert not inspect(connection).has_table("half_done")
    again.close()


def test_a_block_written_before_it_had_its_own_claw_stays_as_it_was(farm: tuple[str, str]) -> None:
    old = Database(*farm, up_to_version=4)
    with old.write() as connection:
        for statement in (
            _OLD_ROWS[0],
            "INSERT INTO trim (uid, cow, on_day, at, who, reason, medicine, withdrawal_source, "
            "next_step, note) VALUES ('t1', '0412', '2026-03-02', '2026-03-02T12:00:00.000000Z', "
            "'Tom', 'therapeutic', '', '', '', '')",
            "INSERT INTO finding (trim_id, foot, claw, code, block, bandage, note) "
            "VALUES (1, 'LH', 'both', 'DD', {no}, {no}, ''), "
            "(1, 'LH', 'outer', 'SU', {yes}, {no}, '')",
        ):
            connection.execute(text(statement.format(yes="true", no="false")))
    old.close()
    with open_store(*farm) as store:
        (trim,) = store.trims.of_cows(["0412"])
    assert trim.findings == (
        Finding(foot="LH", claw="both", code="DD"),
        Finding(foot="LH", claw="outer", code="SU", block=True),
    )
