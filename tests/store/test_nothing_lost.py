"""What was acknowledged survives being killed; a full disk stops nobody from reading."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from gait.errors import StoreError, StoreReadOnly
from gait.store import Store, open_store
from tests.farms import add_pass

_WRITER = """
import sys
from gait.store import open_store
with open_store(sys.argv[1], sys.argv[2]) as store:
    for number in range(200):
        score = number % 5 + 1
        made = store.decisions.add(int(sys.argv[3]), kind="confirmed", score=score, who="Ann")
        sys.stdout.write(made.uid + "\\n")
        sys.stdout.flush()
"""


@pytest.mark.skipif(os.name != "posix", reason="kill -9 needs a posix system")
def test_kill_in_the_middle_of_200_decisions_loses_none_that_was_acknowledged(
    farm: tuple[str, str],
) -> None:
    with open_store(*farm) as store:
        pass_id = add_pass(store, "0412")
    writer = subprocess.Popen(
        [sys.executable, "-c", _WRITER, *farm, str(pass_id)], stdout=subprocess.PIPE, text=True
    )
    assert writer.stdout is not None
    acknowledged = [writer.stdout.readline().strip() for _ in range(60)]
    writer.send_signal(signal.SIGKILL)
    # What the pipe still holds was acknowledged too.
    acknowledged += [line.strip() for line in writer.stdout.read().splitlines() if len(line) == 32]
    writer.stdout.close()
    assert writer.wait() == -signal.SIGKILL
    assert 60 <= len(acknowledged) < 200
    with open_store(*farm) as store:
        kept = [d.uid for d in store.decisions.of_pass(pass_id)]
        assert kept[: len(acknowledged)] == acknowledged
        assert len(kept) - len(acknowledged) <= 1  # kept, but killed before it could say so
        last = store.decisions.of_pass(pass_id)[-1]
        assert store.passes.get(pass_id).summary.score == last.score
        store.decisions.add(pass_id, kind="confirmed", score=2, who="Bob")


def _fill_disk(store: Store) -> None:
    raw = store.database.engine.raw_connection()
    pages = raw.cursor().execute("PRAGMA page_count").fetchone()[0]
    raw.cursor().execute(f"PRAGMA max_page_count = {pages}")
    raw.close()  # back to the pool: the next user meets the same limit


def test_a_full_disk_makes_the_farm_read_only_and_keeps_what_is_there(
    small_store: Store,
) -> None:
    pass_id = add_pass(small_store, "0412")
    small_store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
    _fill_disk(small_store)
    with pytest.raises(StoreReadOnly, match="disk is full"):
        small_store.settings.put("note", "x" * 800_000, who="Ann")
    assert "disk is full" in small_store.read_only_because
    with pytest.raises(StoreReadOnly):
        small_store.decisions.add(pass_id, kind="confirmed", score=2, who="Ann")
    assert [s.score for s in small_store.scores.latest()] == [3]
    small_store.close()  # a new connection has no limit: as if room had been made
    assert small_store.try_writing_again()
    small_store.decisions.add(pass_id, kind="confirmed", score=2, who="Ann")
    assert [s.score for s in small_store.scores.latest()] == [2]


_READER = """
import os, sys
from gait.errors import StoreReadOnly
from gait.store import open_store
open_store(sys.argv[1], read_only=True).close()  # so that everything is imported
os.setgid(65534); os.setuid(65534)
with open_store(sys.argv[1]) as store:
    print(store.read_only_because)
    print([s.score for s in store.scores.latest()])
    try:
        store.decisions.add_by_eye("1", score=3, who="Ann")
    except StoreReadOnly as told:
        print(told)
"""


@pytest.mark.skipif(
    os.name != "posix" or os.geteuid() != 0, reason="only root can act as another user"
)
def test_a_folder_that_cannot_be_written_to_can_be_read(tmp_path: Path) -> None:
    farm = tmp_path / "farm"
    with open_store(farm) as store:
        store.decisions.add_by_eye("0412", score=3, who="Ann")
    for folder in (farm, tmp_path, *tmp_path.parents[:3]):  # pytest's own, a process's among them
        folder.chmod(folder.stat().st_mode | 0o055)
    (farm / "records.sqlite").chmod(0o644)
    done = subprocess.run(
        [sys.executable, "-c", _READER, str(farm)],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parents[2],
    )
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert "cannot be written to" in lines[0]
    assert lines[1] == "[3]"
    assert "cannot be written to" in lines[2]


def test_opening_for_reading_only_writes_nothing(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.decisions.add_by_eye("0412", score=3, who="Ann")
    before = (tmp_path / "records.sqlite").read_bytes()
    with open_store(tmp_path, read_only=True) as store:
        assert len(store.scores.latest()) == 1
        with pytest.raises(StoreReadOnly, match="reading only"):
            store.settings.put("a", 1, who="Ann")
    assert (tmp_path / "records.sqlite").read_bytes() == before
    with pytest.raises(StoreError, match="no records"):
        open_store(tmp_path / "elsewhere", read_only=True)


def test_damaged_records_are_refused_at_the_start(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        for number in range(60):
            store.settings.put(f"setting {number}", "x" * 500, who="Ann")
    file = tmp_path / "records.sqlite"
    content = bytearray(file.read_bytes())
    middle = len(content) // 2 // 4096 * 4096
    content[middle : middle + 8192] = b"\x5a" * 8192
    file.write_bytes(content)
    with pytest.raises(StoreError, match="damaged"):
        open_store(tmp_path)
    file.write_bytes(b"this is no database at all, only text" * 50)
    with pytest.raises(StoreError, match="damaged"):
        open_store(tmp_path)


def test_half_a_transaction_is_not_kept(store: Store) -> None:
    def stop_half_way() -> None:
        with store.database.write() as connection:
            connection.exec_driver_sql(
                "INSERT INTO setting (name, value, who, at) VALUES ('a', '1', 'Ann', 'now')"
            )
            raise RuntimeError("the program stops here")

    with pytest.raises(RuntimeError):
        stop_half_way()
    assert store.settings.get("a") is None
