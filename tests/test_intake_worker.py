"""Films handed in are kept first, then worked off; a refusal keeps its sentence."""

from __future__ import annotations

import hashlib
import io
import os
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

import gait.pose
from gait import worker
from gait.errors import ClipUnreadable, StoreReadOnly
from gait.intake import date_films, filmed_of, incoming_file, take_in, take_in_folder
from gait.store import open_store
from gait.store.types import utc_now
from tests.glue_world import TruthNetwork, small, write_coded_film

FILMED = datetime(2026, 11, 26, 4, 50, tzinfo=UTC)
CHECKOUT = Path(__file__).resolve().parent.parent


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "farm") as opened:
        yield opened


@pytest.fixture
def _truth_is_seen(coded_film, monkeypatch):
    monkeypatch.setattr(gait.pose, "CowNetwork", lambda: TruthNetwork([coded_film]))


def hand_in(store, film: Path, name: str | None = None):
    with film.open("rb") as content:
        return take_in(store, content, name or film.name, who="Ann", filmed=FILMED)


def test_the_file_is_safe_before_the_work_is_queued(store, coded_film):
    taken = hand_in(store, coded_film)
    assert taken.is_new
    assert taken.job.state == "waiting"
    kept = incoming_file(store, taken.job.payload["file"])
    assert kept.read_bytes() == coded_film.read_bytes()
    assert kept.stem == hashlib.sha256(coded_film.read_bytes()).hexdigest()


def test_the_same_film_twice_is_one_piece_of_work(store, coded_film):
    first, second = hand_in(store, coded_film), hand_in(store, coded_film, "again.mp4")
    assert first.job.job_id == second.job.job_id
    assert len(list((store.folder / "incoming").iterdir())) == 1


@pytest.mark.parametrize(
    "name",
    [
        "../../outside.mp4",
        "..\\..\\outside.mp4",
        "/etc/cron.d/outside.mp4",
        "C:\\Windows\\outside.mp4",
        "a\0b.mp4",
        "x" * 300 + ".mp4",
        "con.mp4",
        "-rf.mp4",
        "<script>alert(1)</script>.mp4",
    ],
)
def test_a_name_is_never_used_as_a_path(store, tmp_path, name):
    taken = take_in(store, io.BytesIO(b"content"), name, who="Ann")
    found = [f for f in tmp_path.rglob("*") if f.is_file() and "records" not in f.name]
    expected = hashlib.sha256(b"content").hexdigest() + ".mp4"
    assert [f.relative_to(tmp_path).as_posix() for f in found] == [f"farm/incoming/{expected}"]
    assert "/" not in taken.job.payload["name"]
    assert "\\" not in taken.job.payload["name"]


@pytest.mark.parametrize("name", ["cows.csv", "film", "film.mp4.exe", ".mp4", ""])
def test_only_films_and_photos_are_taken_in(store, name):
    with pytest.raises(ClipUnreadable, match="neither a film nor a photo"):
        take_in(store, io.BytesIO(b"content"), name, who="Ann")
    assert not (store.folder / "incoming").exists()


def test_no_room_leaves_no_half_file(store):
    class FullDisk(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            if self.tell() > 2_000_000:
                raise OSError(28, "No space left on device")
            return super().read(size)

    with pytest.raises(StoreReadOnly, match="could not be kept"):
        take_in(store, FullDisk(b"x" * 5_000_000), "film.mp4", who="Ann")
    assert list((store.folder / "incoming").iterdir()) == []
    assert store.jobs.all() == []


def test_a_watched_folder_leaves_files_alone_that_are_still_being_copied(store, tmp_path):
    folder = tmp_path / "camera"
    folder.mkdir()
    for name in ("old.mp4", "new.mp4", "notes.txt"):
        (folder / name).write_bytes(name.encode())
    now = time.time()
    os.utime(folder / "old.mp4", (now - 60, now - 60))
    taken = take_in_folder(store, folder, who="Ann", now_s=now)
    assert [t.job.payload["name"] for t in taken] == ["old.mp4"]
    assert filmed_of(taken[0].job) == datetime.fromtimestamp(now - 60, UTC)


@pytest.mark.usefixtures("_truth_is_seen")
def test_the_worker_scores_files_and_clears_away(store, coded_film):
    taken = hand_in(store, coded_film)
    assert worker.work(store.folder, idle_s=0.2) == 1
    job = store.jobs.get(taken.job.job_id)
    assert job.state == "done"
    (pass_id,) = job.result["passes"]
    assert store.passes.get(pass_id).summary.proposed is not None
    assert store.passes.get(pass_id).clip.name == "cow_0412.mp4"
    assert list((store.folder / "incoming").iterdir()) == []


@pytest.mark.usefixtures("_truth_is_seen")
def test_a_film_without_a_date_waits_for_it_and_is_filed_with_it(store, coded_film):
    with coded_film.open("rb") as content:
        job = take_in(store, content, "late.mp4", who="Ann").job
    assert job.state == "undated"
    assert worker.work(store.folder, idle_s=0.1) == 0
    date_films(store, [job], FILMED)
    assert worker.work(store.folder, idle_s=0.1) == 1
    (clip,) = store.clips.all()
    assert clip.filmed_at == FILMED
    (one,) = store.passes.of_clip(clip.clip_id)
    assert timedelta(0) <= one.observed_at - FILMED < timedelta(seconds=10)


@pytest.mark.usefixtures("_truth_is_seen")
def test_a_refused_film_keeps_its_sentence_and_its_file(store, tmp_path):
    film = tmp_path / "noise.mp4"
    film.write_bytes(b"no film at all" * 100)
    job_id = hand_in(store, film).job.job_id
    worker.work(store.folder, idle_s=0.2)
    job = store.jobs.get(job_id)
    assert job.state == "failed"
    assert "neither a film nor a photo" in job.message
    assert job.payload["name"] in job.message  # not the name of the copy, which nobody knows
    assert str(job.payload["file"]) not in job.message
    assert store.clips.all() == []
    assert incoming_file(store, job.payload["file"]).exists()


def test_a_film_without_a_cow_is_refused_with_its_sentence(store, tmp_path, monkeypatch):
    film = write_coded_film(small("no_cow", seconds=1.5), tmp_path / "lane.mp4")
    monkeypatch.setattr(gait.pose, "CowNetwork", lambda: TruthNetwork([film]))
    job_id = hand_in(store, film).job.job_id
    worker.work(store.folder, idle_s=0.2)
    assert store.jobs.get(job_id).message.startswith("No cow was found")
    assert store.clips.all() == []


def test_handing_a_refused_film_in_again_tries_again(store, tmp_path):
    film = tmp_path / "noise.mp4"
    film.write_bytes(b"no film at all" * 100)
    job_id = hand_in(store, film).job.job_id
    worker.work(store.folder, idle_s=0.1)
    assert hand_in(store, film).job.state == "waiting"
    assert store.jobs.get(job_id).attempts == 0


def test_a_photo_called_a_film_is_mended_by_its_right_name(store):
    photo = b"\xff\xd8\xff" + b"photo" * 100
    first = take_in(store, io.BytesIO(photo), "photo.mp4", who="Ann", filmed=FILMED).job
    worker.work(store.folder, idle_s=0.1)
    assert "rename it to end in .jpg" in store.jobs.get(first.job_id).message
    again = take_in(store, io.BytesIO(photo), "photo.jpg", who="Bert").job
    assert again.job_id == first.job_id
    assert (again.state, again.payload["name"]) == ("waiting", "photo.jpg")
    assert filmed_of(again) == FILMED, "it is not asked again"
    assert [f.suffix for f in (store.folder / "incoming").iterdir()] == [".jpg"]
    worker.work(store.folder, idle_s=0.1)
    message = store.jobs.get(first.job_id).message
    assert message.startswith("photo.jpg")
    assert "though its name" not in message


def test_a_film_put_away_comes_back_when_chosen_again_but_not_from_the_watched_folder(
    store, tmp_path
):
    folder = tmp_path / "camera"
    folder.mkdir()
    film = folder / "noise.mp4"
    film.write_bytes(b"no film at all" * 100)
    job_id = hand_in(store, film).job.job_id
    worker.work(store.folder, idle_s=0.1)
    store.jobs.put_away(job_id, who="Ann")
    take_in_folder(store, folder, who="Ann", now_s=time.time() + 60)
    assert store.jobs.get(job_id).state == "put_away"
    assert hand_in(store, film).job.state == "waiting"


def test_a_fault_of_ours_fails_one_job_and_not_the_worker(store, coded_film, tmp_path, monkeypatch):
    def broken():
        raise ZeroDivisionError("fault")

    monkeypatch.setattr(gait.pose, "CowNetwork", broken)
    job_id = hand_in(store, coded_film).job.job_id
    other = tmp_path / "other.mp4"
    other.write_bytes(b"no film at all" * 100)
    hand_in(store, other)
    assert worker.work(store.folder, idle_s=0.2) == 2
    assert "the program met a fault (ZeroDivisionError" in store.jobs.get(job_id).message


def test_work_of_a_kind_unknown_to_this_version_is_refused(store):
    job = store.jobs.add("x", "paint_clip", {"file": "x", "name": "x", "who": "Ann"})
    worker.work(store.folder, idle_s=0.1)
    assert store.jobs.get(job.job_id).state == "failed"


@pytest.mark.usefixtures("_truth_is_seen")
def test_a_worker_overtaken_by_another_stops_and_files_nothing(store, coded_film, monkeypatch):
    monkeypatch.setattr(worker, "BEAT_S", 0.0)
    job = hand_in(store, coded_film).job
    late = store.jobs.claim("slow one")
    later = utc_now() + timedelta(minutes=10)
    assert store.jobs.claim("quick one", now=later) is not None
    worker.do(store, late, "slow one")
    assert store.jobs.get(job.job_id).state == "running"
    assert store.jobs.get(job.job_id).worker == "quick one"
    assert store.clips.all() == []


SLOW_WORKER = """
import sys, time
import gait.pose
from pathlib import Path
from tests.glue_world import TruthNetwork

class Slow(TruthNetwork):
    def look(self, image, box):
        time.sleep(0.2)
        return super().look(image, box)

gait.pose.CowNetwork = lambda: Slow([Path(sys.argv[2])])
from gait.worker import work
work(sys.argv[1], idle_s=1.0, name="first")
"""


@pytest.mark.usefixtures("_truth_is_seen")
def test_a_film_killed_on_the_way_is_taken_up_by_the_next_worker(store, coded_film, monkeypatch):
    job_id = hand_in(store, coded_film).job.job_id
    child = subprocess.Popen(
        [sys.executable, "-c", SLOW_WORKER, str(store.folder), str(coded_film)],
        env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
    )
    try:
        while store.jobs.get(job_id).state != "running":
            assert child.poll() is None
            time.sleep(0.05)
        time.sleep(0.5)
    finally:
        child.kill()
        child.wait()
    assert store.jobs.get(job_id).state == "running", "nobody has noticed yet"
    assert worker.work(store.folder, idle_s=0.2) == 0, "it is not yet taken for crashed"
    soon = utc_now() + timedelta(minutes=6)
    job = store.jobs.claim("second", now=soon)
    worker.do(store, job, "second")
    assert store.jobs.get(job_id).state == "done"
    assert store.jobs.get(job_id).attempts == 2
    assert len(store.clips.all()) == 1
    assert len(store.passes.of_clip(store.clips.all()[0].clip_id)) == 1
