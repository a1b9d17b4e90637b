"""Films are kept as long as the farm says and no longer; what people decided stays for good."""

from __future__ import annotations

import os
import time
from datetime import timedelta

import pytest

import gait.pose
from gait import worker
from gait.blur import SETTING as BLUR
from gait.errors import StoreReadOnly
from gait.filing import file_report
from gait.intake import take_in
from gait.keeping import (
    KEEP_DAYS_SETTING,
    KEEP_REVIEW_DAYS_SETTING,
    drop_old_clips,
    keep_days,
    old_clips,
)
from gait.store import open_store
from gait.store.types import utc_now
from tests.glue_world import TruthNetwork

LATER = timedelta(days=31)


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "farm") as opened:
        yield opened


def suffixes(store) -> set[str]:
    return {
        f"{path.parent.parent.name if 'review' in path.parts else path.parent.name}{path.suffix}"
        for path in store.folder.rglob("*.*")
        if path.is_file() and "records" not in path.name
    }


def test_by_default_films_are_kept_for_good(store, coded_report):
    file_report(store, coded_report)
    assert keep_days(store) is None
    assert drop_old_clips(store, utc_now() + timedelta(days=3650)).files == 0
    assert suffixes(store) == {"clips.mp4", "review.webm", "review.jpg", "review.json"}


def test_films_go_after_their_days_and_not_before(store, coded_report):
    store.settings.put(KEEP_DAYS_SETTING, 30, who="Ann")
    file_report(store, coded_report, films=False)
    size = coded_report.info.path.stat().st_size
    assert old_clips(store, utc_now() + timedelta(days=29)).files == 0
    assert old_clips(store, utc_now() + LATER).size == size
    dropped = drop_old_clips(store, utc_now() + LATER)
    assert (dropped.files, dropped.size) == (1, size)
    assert suffixes(store) == set()
    assert drop_old_clips(store, utc_now() + LATER).files == 0


def test_review_films_have_days_of_their_own_and_decisions_stay(store, coded_report):
    (pass_id,) = file_report(store, coded_report).pass_ids
    store.decisions.add(pass_id, kind="overridden", score=4, who="Ann", reason="stiff")
    store.settings.put(KEEP_REVIEW_DAYS_SETTING, 30, who="Ann")
    drop_old_clips(store, utc_now() + LATER)
    assert suffixes(store) == {"clips.mp4", "review.json"}
    kept = store.passes.get(pass_id)
    assert kept.summary.score == 4
    assert kept.measures["back_arch"]["value"] is not None
    assert len(store.decisions.of_pass(pass_id)) == 1


def test_with_zero_days_the_film_is_never_copied(store, coded_report):
    store.settings.put(KEEP_DAYS_SETTING, 0, who="Ann")
    (pass_id,) = file_report(store, coded_report).pass_ids
    assert store.passes.get(pass_id).clip.stored_as is None
    assert "clips.mp4" not in suffixes(store)
    assert "review.webm" in suffixes(store), "people can still look at the pass"


def test_the_worker_deletes_what_is_past_its_time(store, coded_film, monkeypatch):
    monkeypatch.setattr(gait.pose, "CowNetwork", lambda: TruthNetwork([coded_film]))
    store.settings.put(KEEP_DAYS_SETTING, 0, who="Ann")
    store.settings.put(BLUR, True, who="Ann")
    old = store.folder / "clips" / f"{'a' * 64}.mp4"
    old.parent.mkdir()
    old.write_bytes(b"old")
    yesterday = utc_now() - timedelta(days=1)
    added = store.clips.add(
        sha256="a" * 64, name="old.mp4", who="Ann", stored_as=f"clips/{old.name}"
    )
    assert added.clip.added_at > yesterday
    with coded_film.open("rb") as film:
        take_in(store, film, "cow_0412.mp4", who="Ann", filmed=utc_now())
    worker.work(store.folder, idle_s=0.1)
    assert not old.exists()
    assert suffixes(store) == {"review.webm", "review.jpg", "review.json"}


def test_an_upload_that_is_filed_already_is_a_leftover_and_goes(store, coded_report, coded_film):
    file_report(store, coded_report, films=False)
    incoming = store.folder / "incoming"
    incoming.mkdir()
    (incoming / f"{coded_report.info.sha256}.mp4").write_bytes(coded_film.read_bytes())
    assert drop_old_clips(store).files == 1
    assert suffixes(store) == {"clips.mp4"}


def test_an_upload_that_waits_or_was_refused_stays(store):
    import io

    job = take_in(store, io.BytesIO(b"no film"), "x.mp4", who="Ann", filmed=utc_now()).job
    store.jobs.claim("w")
    store.jobs.failed(job.job_id, "No film.", worker="w")
    assert drop_old_clips(store, utc_now() + timedelta(days=3650)).files == 0
    assert suffixes(store) == {"incoming.mp4"}


def test_half_written_copies_go_after_a_day(store):
    (store.folder / "clips").mkdir()
    fresh, broken = (store.folder / "clips" / name for name in ("fresh.part", "broken.part"))
    for path in (fresh, broken):
        path.write_bytes(b"half")
    long_ago = time.time() - 2 * 86400
    os.utime(broken, (long_ago, long_ago))
    assert drop_old_clips(store).files == 1
    assert fresh.exists()
    assert not broken.exists()


def test_a_film_that_cannot_be_deleted_is_told(store, coded_report, monkeypatch):
    from pathlib import Path

    store.settings.put(KEEP_DAYS_SETTING, 1, who="Ann")
    file_report(store, coded_report, films=False)

    def denied(self, missing_ok=False):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "unlink", denied)
    with pytest.raises(StoreReadOnly, match="could not be deleted"):
        drop_old_clips(store, utc_now() + LATER)
