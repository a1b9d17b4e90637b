"""A full disk, a folder that cannot be written, a clip taken away, a locked file, a moved clock."""

from __future__ import annotations

import itertools
import os
import sqlite3
import subprocess
import sys
import threading
import time
from datetime import timedelta
from pathlib import Path

import pytest

import gait.pose
import gait.store.decisions
import gait.store.jobs
from gait import bulk, worker
from gait.cli import main
from gait.errors import StoreError, StoreReadOnly
from gait.filing import file_report
from gait.intake import take_in
from gait.store import open_store
from gait.store.types import utc_now
from tests.farms import add_pass
from tests.glue_world import TruthNetwork

CHECKOUT = Path(__file__).resolve().parent.parent


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "farm") as opened:
        yield opened


def files_below(folder: Path) -> set[str]:
    return {p.name for p in folder.rglob("*") if p.is_file() and "records" not in p.name}


# --- the disk ------------------------------------------------------------------------------------

SMALL_DISK = """
import resource, signal, sys
from pathlib import Path
from gait.errors import StoreReadOnly
from gait.intake import take_in
from gait.store import open_store
from tests.farms import add_pass

with open_store(sys.argv[1]) as store:
    pass_id = add_pass(store, "0412")
    print("pass", pass_id, flush=True)
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (600_000, 600_000))
    with Path(sys.argv[2]).open("rb") as film:
        try:
            take_in(store, film, "cow_0412.mp4", who="Ann")
            print("film taken", flush=True)
        except StoreReadOnly as refusal:
            print("film refused:", refusal, flush=True)
    for number in range(5000):
        try:
            made = store.decisions.add(
                pass_id, kind="overridden", score=4, who="Ann", reason="x" * 2000
            )
        except StoreReadOnly as refusal:
            print("decision refused:", refusal, flush=True)
            break
        print("decided", made.uid, flush=True)
    print("readable", store.passes.get(pass_id).summary.score, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no limit of file size on Windows")
def test_on_a_full_disk_what_was_acknowledged_stays_and_reading_goes_on(tmp_path):
    """The limit of file size stands for a full disk: writes fail in the middle."""
    film = tmp_path / "film.mp4"
    film.write_bytes(b"\0" * 2_000_000)
    done = subprocess.run(
        [sys.executable, "-c", SMALL_DISK, str(tmp_path / "farm"), str(film)],
        env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    lines = done.stdout.splitlines()
    decided = [line.split()[1] for line in lines if line.startswith("decided")]
    assert any(line.startswith("film refused: The file could not be kept") for line in lines)
    assert any(line.startswith("decision refused:") for line in lines), lines[-3:]
    assert lines[-1] == "readable 4"
    assert len(decided) > 3
    pass_id = int(lines[0].split()[1])
    with open_store(tmp_path / "farm") as store:
        kept = [d.uid for d in store.decisions.of_pass(pass_id)]
        assert kept == decided
        assert files_below(tmp_path / "farm") == set()
        store.decisions.add(pass_id, kind="overridden", score=3, who="Ann", reason="room again")


def test_a_farm_that_cannot_be_written_takes_no_film_and_copies_nothing(
    store, coded_report, coded_film
):
    with open_store(store.folder, read_only=True) as frozen:
        with pytest.raises(StoreReadOnly, match="for reading only"):
            file_report(frozen, coded_report)
        with coded_film.open("rb") as film, pytest.raises(StoreReadOnly):
            take_in(frozen, film, coded_film.name, who="Ann", filmed=utc_now())
    assert files_below(store.folder) == set()


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_without_the_right_to_write_is_a_plain_sentence(store, coded_film):
    store.folder.chmod(0o500)
    try:
        with coded_film.open("rb") as film, pytest.raises(StoreReadOnly):
            take_in(store, film, coded_film.name, who="Ann", filmed=utc_now())
    finally:
        store.folder.chmod(0o700)


# --- the clip ------------------------------------------------------------------------------------


def test_a_clip_taken_away_while_it_is_scored_is_told_and_the_others_go_on(
    coded_film, tmp_path, capsys, monkeypatch
):
    card = tmp_path / "card"
    card.mkdir()
    gone, kept = card / "a_gone.mp4", card / "b_kept.mp4"
    gone.write_bytes(coded_film.read_bytes() + b"\0\0\0\x09free1")
    kept.write_bytes(coded_film.read_bytes())

    class Pulled(TruthNetwork):
        def look(self, image, box):
            gone.unlink(missing_ok=True)
            return super().look(image, box)

    network = Pulled([coded_film])
    monkeypatch.setattr(bulk, "_network", lambda: network)
    assert main(["score", str(card), "--farm", str(tmp_path / "farm")]) == 2
    told = capsys.readouterr()
    assert told.err.splitlines() == [
        f"{gone} was taken away while it was scored, so it was not filed. "
        "Bring it back and score it again."
    ]
    assert "b_kept.mp4" in told.out
    with open_store(tmp_path / "farm") as store:
        assert [c.name for c in store.clips.all()] == ["b_kept.mp4"]


def test_a_clip_taken_away_before_its_turn_is_one_sentence(tmp_path, capsys):
    assert main(["score", str(tmp_path / "gone.mp4")]) == 2
    assert capsys.readouterr().err.count("There is no file") == 1


def test_a_film_in_the_queue_that_somebody_deleted_is_told_so(store, coded_film, monkeypatch):
    monkeypatch.setattr(gait.pose, "CowNetwork", lambda: TruthNetwork([coded_film]))
    with coded_film.open("rb") as film:
        job = take_in(store, film, coded_film.name, who="Ann", filmed=utc_now()).job
    for path in (store.folder / "incoming").iterdir():
        path.unlink()
    worker.work(store.folder, idle_s=0.1)
    found = store.jobs.get(job.job_id)
    assert found.state == "failed"
    assert "There is no file" in found.message


# --- the lock ------------------------------------------------------------------------------------


def _hold_lock(folder: Path, seconds: float) -> threading.Thread:
    taken = threading.Event()

    def hold() -> None:
        other = sqlite3.connect(folder / "records.sqlite", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        taken.set()
        time.sleep(seconds)
        other.execute("ROLLBACK")
        other.close()

    thread = threading.Thread(target=hold)
    thread.start()
    assert taken.wait(10)
    return thread


def _impatient(store) -> None:
    """Wait a fifth of a second instead of fifteen for the lock, on the pooled connection."""
    raw = store.database.engine.raw_connection()
    raw.cursor().execute("PRAGMA busy_timeout = 200")
    raw.close()


def test_a_short_lock_is_waited_for(store):
    pass_id = add_pass(store, "0412")
    holding = _hold_lock(store.folder, 0.5)
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
    holding.join()
    assert len(store.decisions.of_pass(pass_id)) == 1


def test_a_long_lock_is_told_loses_nothing_and_reading_goes_on(store):
    pass_id = add_pass(store, "0412")
    _impatient(store)
    holding = _hold_lock(store.folder, 1.5)
    with pytest.raises(StoreError, match="Another program is writing"):
        store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
    assert store.passes.get(pass_id).summary.cow == "0412"
    holding.join()
    assert store.read_only_because == "", "a lock is no reason to stop writing for good"
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")


def test_the_worker_outlives_a_lock_and_takes_the_work_up_again(store, coded_film, monkeypatch):
    monkeypatch.setattr(gait.pose, "CowNetwork", lambda: TruthNetwork([coded_film]))
    with coded_film.open("rb") as film:
        job = take_in(store, film, coded_film.name, who="Ann", filmed=utc_now()).job
    claim, calls = gait.store.jobs.Jobs.claim, itertools.count()

    def locked_once(jobs, *arguments, **more):
        if next(calls) == 0:
            raise StoreError("Another program is writing.", "Wait.")
        return claim(jobs, *arguments, **more)

    monkeypatch.setattr(gait.store.jobs.Jobs, "claim", locked_once)
    assert worker.work(store.folder, idle_s=0.8) == 1
    assert store.jobs.get(job.job_id).state == "done"


# --- the clock -----------------------------------------------------------------------------------


def test_with_the_clock_moved_back_the_newest_decision_still_stands(store, monkeypatch):
    pass_id = add_pass(store, "0412")
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
    yesterday = utc_now() - timedelta(days=1)
    monkeypatch.setattr(gait.store.decisions, "utc_now", lambda: yesterday)
    store.decisions.add(pass_id, kind="overridden", score=1, who="Ann", reason="walks well")
    assert store.passes.get(pass_id).summary.score == 1
    assert [d.version for d in store.decisions.of_pass(pass_id)] == [1, 2]


def test_work_marked_in_the_future_is_taken_up_once_the_clock_is_right(store):
    job = store.jobs.add("x", "score_clip", {"file": "x.mp4", "name": "x.mp4", "who": "Ann"})
    ahead = utc_now() + timedelta(days=365)
    assert store.jobs.claim("crashed", now=ahead) is not None
    again = store.jobs.claim("second")
    assert again is not None
    assert again.job_id == job.job_id


def test_work_under_way_is_left_alone_when_the_clock_moves_by_a_minute(store):
    store.jobs.add("x", "score_clip", {"file": "x.mp4", "name": "x.mp4", "who": "Ann"})
    assert store.jobs.claim("first") is not None
    for minutes in (-1, 1):
        assert store.jobs.claim("second", now=utc_now() + timedelta(minutes=minutes)) is None


def test_a_film_from_the_future_is_filed(store, coded_report, coded_film):
    later = time.time() + 10 * 365 * 86400
    before = coded_film.stat()
    os.utime(coded_film, (later, later))
    try:
        filed = file_report(store, coded_report, films=False)
    finally:
        os.utime(coded_film, (before.st_atime, before.st_mtime))
    assert len(filed.pass_ids) == 1
