"""Backup and restore: everything, on either database, and damage is found before it matters."""

from __future__ import annotations

import zipfile
from datetime import date
from pathlib import Path

import pytest

from gait.errors import ExchangeError, StoreError
from gait.exchange.backup import check_backup, restore_backup, write_backup
from gait.exchange.history import cow_history, history_csv, time_line
from gait.herd.records import Cow, Finding, Trim, TrimEntry
from gait.store import Store, open_store
from gait.store.copying import ORDER, all_records
from gait.store.tables import METADATA
from tests.farms import NOON, add_pass


def _live_a_little(store: Store) -> None:
    store.cows.put([Cow(number="0412", calved_on=date(2026, 1, 12), parity=3)])
    first = add_pass(store, "0412", "a")
    add_pass(store, None, "b")
    store.decisions.add(first, kind="confirmed", score=4, who="Ann")
    store.decisions.undo(first, who="Ann")
    store.decisions.add(first, kind="overridden", score=3, who="Ann", reason="ünïcödé = ok")
    with pytest.raises(StoreError):
        store.decisions.add(first, kind="second_opinion", score=5, who="Vet", expected_version=0)
    day = store.trim_days.plan(date(2026, 3, 4), trimmer="Tom", capacity=8)
    entry = TrimEntry(
        trim_day_id=day.trim_day_id, cow="0412", reason="therapeutic", why="Score 3", position=1
    )
    store.trim_days.put_entries(day.trim_day_id, [entry])
    store.trims.add(
        Trim(
            cow="0412",
            on=date(2026, 3, 4),
            at=NOON,
            who="Tom",
            reason="therapeutic",
            trim_day_id=day.trim_day_id,
            findings=(Finding(foot="RH", claw="outer", code="SU", block=False),),
            recheck_on=date(2026, 3, 18),
        )
    )
    store.people.put("Ann", ["herdsperson"], pin="4711")
    store.settings.put("rules", {"recheck_days": 10}, who="Ann")
    store.jobs.add("aa", "score", {"clip": 1})
    store.models.put("h1", {"coefficients": [1.5]}, who="Ann")


def _everything(store: Store) -> dict[str, list[dict]]:
    with all_records(store.database) as (_, tables):
        return {name: [dict(row) for row in rows] for name, rows in tables}


def test_a_backup_brings_every_record_back(store: Store, tmp_path: Path) -> None:
    _live_a_little(store)
    report = write_backup(store, tmp_path / "farm.zip")
    assert all(report.rows[name] for name in ORDER), report.rows
    restored = restore_backup(tmp_path / "farm.zip", tmp_path / "other")
    assert restored.rows == report.rows
    with open_store(tmp_path / "other") as other:
        assert _everything(other) == _everything(store)
        assert other.scores.latest() == store.scores.latest()
        assert other.queue.to_check() == store.queue.to_check()
        assert other.people.sign_in("Ann", "4711").name == "Ann"
        assert cow_history(other, "0412") == cow_history(store, "0412")


def test_a_farm_can_move_to_another_database_and_go_on(
    farm: tuple[str, str], tmp_path: Path
) -> None:
    with open_store(tmp_path / "first") as first:
        _live_a_little(first)
        write_backup(first, tmp_path / "farm.zip")
        before = _everything(first)
    restore_backup(tmp_path / "farm.zip", *farm)
    with open_store(*farm) as moved:
        assert _everything(moved) == before
        new = add_pass(moved, "0412", "c")
        moved.decisions.add(new, kind="confirmed", score=2, who="Bob")
        assert len(moved.decisions.of_cow("0412")) == 4


def test_every_table_with_truths_of_its_own_is_in_the_backup() -> None:
    assert set(ORDER) == set(METADATA.tables) - {"pass_state", "cow_state"}


def test_kept_films_come_along_and_missing_ones_are_named(
    small_store: Store, tmp_path: Path
) -> None:
    assert small_store.folder is not None
    film = small_store.folder / "clips" / "ab.webm"
    film.parent.mkdir()
    film.write_bytes(b"film")
    small_store.clips.add(sha256="ab", name="a.webm", who="Ann", stored_as="clips/ab.webm")
    small_store.clips.add(sha256="cd", name="gone.webm", who="Ann", stored_as="clips/cd.webm")
    report = write_backup(small_store, tmp_path / "farm.zip")
    assert (report.clips, report.missing_clips) == (1, ("gone.webm",))
    restore_backup(tmp_path / "farm.zip", tmp_path / "other")
    assert (tmp_path / "other" / "clips" / "ab.webm").read_bytes() == b"film"


def test_a_backup_is_made_while_somebody_has_the_farm_open(
    small_store: Store, tmp_path: Path
) -> None:
    pass_id = add_pass(small_store, "0412")
    with all_records(small_store.database) as (_, tables):
        with open_store(tmp_path / "farm") as beside:
            beside.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
        held = {name: list(rows) for name, rows in tables}
    assert held["decision"] == []  # one unchanging picture
    assert len(small_store.decisions.of_pass(pass_id)) == 1


def test_damage_is_found_before_anything_is_restored(small_store: Store, tmp_path: Path) -> None:
    _live_a_little(small_store)
    backup = tmp_path / "farm.zip"
    write_backup(small_store, backup)
    content = bytearray(backup.read_bytes())
    content[content.index(b"tables/decision.jsonl") + 90] ^= 0xFF
    (tmp_path / "damaged.zip").write_bytes(content)
    with pytest.raises(ExchangeError, match="damaged"):
        restore_backup(tmp_path / "damaged.zip", tmp_path / "other")
    assert not (tmp_path / "other").exists()
    (tmp_path / "half.zip").write_bytes(backup.read_bytes()[: len(content) // 2])
    with pytest.raises(ExchangeError, match="no backup, or it is damaged"):
        check_backup(tmp_path / "half.zip")


def test_a_changed_row_is_found_by_its_hash(small_store: Store, tmp_path: Path) -> None:
    _live_a_little(small_store)
    write_backup(small_store, tmp_path / "farm.zip")
    forged = tmp_path / "forged.zip"
    with zipfile.ZipFile(tmp_path / "farm.zip") as old, zipfile.ZipFile(forged, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "tables/decision.jsonl":
                content = content.replace(b'"score": 3', b'"score": 1')
            new.writestr(name, content)
    with pytest.raises(ExchangeError, match=r"damaged in tables/decision\.jsonl"):
        check_backup(forged)


def test_a_backup_is_not_restored_over_records(small_store: Store, tmp_path: Path) -> None:
    add_pass(small_store, "0412")
    write_backup(small_store, tmp_path / "farm.zip")
    with pytest.raises(StoreError, match="records here already"):
        restore_backup(tmp_path / "farm.zip", tmp_path / "farm")
    assert len(small_store.queue.to_check()) == 1


def test_another_zip_file_is_no_backup(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as bag:
        bag.writestr("notes.txt", "hello")
    with pytest.raises(ExchangeError, match="no backup of this program"):
        check_backup(tmp_path / "other.zip")
    with pytest.raises(ExchangeError, match="cannot be read"):
        check_backup(tmp_path / "none.zip")


def test_the_time_line_of_a_cow_tells_what_happened_newest_first(small_store: Store) -> None:
    _live_a_little(small_store)
    lines = time_line(small_store, "0412")
    assert [line.at for line in lines] == sorted((line.at for line in lines), reverse=True)
    whats = {line.what for line in lines}
    assert {"confirmed", "undo", "overridden", "therapeutic trim", "calving"} <= whats
    assert "right hind: sole ulcer" in history_csv(lines)
