"""Filing a scored clip: nothing twice, nothing half, and a plain sentence when there is no room."""

from __future__ import annotations

import shutil
from collections import namedtuple
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from gait import filing
from gait.clip import read_frames
from gait.errors import StoreReadOnly
from gait.filing import file_report, keep_clip, read_traces
from gait.herd.records import Cow
from gait.store import open_store
from tests.test_clip_filmed import EPOCH

FILMED = datetime(2026, 11, 2, 6, 30, tzinfo=UTC)


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "farm") as opened:
        yield opened


def files_below(folder: Path) -> set[str]:
    return {
        f.relative_to(folder).as_posix()
        for f in folder.rglob("*")
        if f.is_file() and not f.name.startswith("records.sqlite")
    }


def test_clip_passes_and_review_films_are_filed(store, coded_report):
    filed = file_report(store, coded_report, who="Ann", filmed_at=FILMED)
    assert filed.is_new
    (pass_id,) = filed.pass_ids
    kept = store.passes.get(pass_id)
    assert kept.clip.sha256 == coded_report.info.sha256
    assert kept.clip.added_by == "Ann"
    assert kept.summary.proposed == coded_report.passes[0].proposal.value
    assert kept.model_version == coded_report.passes[0].proposal.model_version
    start = coded_report.passes[0].track.time_s[0]
    assert (kept.summary.observed_at - FILMED).total_seconds() == pytest.approx(start, abs=1e-3)
    copy = store.folder / kept.clip.stored_as
    assert copy.name == f"{coded_report.info.sha256}.mp4"
    assert copy.read_bytes() == coded_report.info.path.read_bytes()
    assert set(kept.files) >= {"film", "still", "traces"}
    film = list(read_frames(store.folder / kept.files["film"]))
    assert len(film) >= len(coded_report.passes[0].track)
    assert read_traces(store.folder, kept.files) is not None


def test_a_film_that_tells_when_it_began_is_believed_before_its_file(store, coded_report, tmp_path):
    began = datetime.now(UTC).replace(microsecond=0) - timedelta(days=3)
    film = bytearray(coded_report.info.path.read_bytes())
    told = film.index(b"mvhd") + 8
    film[told : told + 4] = int((began - EPOCH).total_seconds()).to_bytes(4, "big")
    (tmp_path / "told.mp4").write_bytes(film)
    report = replace(coded_report, info=replace(coded_report.info, path=tmp_path / "told.mp4"))
    filed = file_report(store, report, films=False)
    assert store.clips.get(filed.clip_id).filmed_at == began


def test_filed_measures_are_those_of_the_json(store, coded_report):
    (pass_id,) = file_report(store, coded_report, films=False).pass_ids
    kept = store.passes.get(pass_id)
    (published,) = coded_report.to_json()["passes"]
    assert kept.measures == published["measures"]
    assert kept.proposal == published["score"]


def test_the_same_content_is_filed_once_under_any_name(store, coded_report):
    first = file_report(store, coded_report, films=False)
    second = file_report(store, coded_report, films=False, name="renamed.mp4")
    assert not second.is_new
    assert list(second.pass_ids) == list(first.pass_ids)
    assert len(store.clips.all()) == 1
    assert len(files_below(store.folder)) == 1


def test_the_file_name_names_the_cow_of_the_herd_list(store, coded_report):
    store.cows.put([Cow(number="0412")])
    (pass_id,) = file_report(store, coded_report, films=False).pass_ids
    assert store.passes.get(pass_id).summary.cow == "0412"


@pytest.mark.parametrize("herd", [(), ("0412",)])
@pytest.mark.parametrize(
    "film", [("107.mp4", None), ("cow_107.mp4", "107"), ("tag 107 take 2.mp4", "107")]
)
def test_a_number_that_no_herd_list_holds_is_offered_and_not_taken(store, coded_report, herd, film):
    store.cows.put([Cow(number=number) for number in herd])
    name, spelled_out = film
    report = replace(coded_report, passes=[replace(coded_report.passes[0], cow=spelled_out)])
    (pass_id,) = file_report(store, report, films=False, name=name).pass_ids
    summary = store.passes.get(pass_id).summary
    assert (summary.cow, summary.identity_doubtful) == (None, True)
    assert store.identities.of_pass(pass_id)[-1].candidates == ("107",)
    assert store.cows.get("107") is None


def test_another_name_of_the_same_film_tells_the_cow_where_nobody_has(store, coded_report):
    report = replace(coded_report, passes=[replace(coded_report.passes[0], cow=None)])
    (pass_id,) = file_report(store, report, films=False, name="lane.mp4").pass_ids
    assert store.identities.of_pass(pass_id) == []
    file_report(store, report, films=False, name="5123.mp4")
    assert store.identities.of_pass(pass_id)[-1].candidates == ("5123",)
    file_report(store, report, films=False, name="5124.mp4")
    assert len(store.identities.of_pass(pass_id)) == 1


def test_a_failing_copy_files_nothing_at_all(store, coded_report, monkeypatch):
    def no_room(source, target):
        Path(target).write_bytes(Path(source).read_bytes()[:1000])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shutil, "copyfile", no_room)
    with pytest.raises(StoreReadOnly, match="No space left") as told:
        file_report(store, coded_report)
    assert "nothing was lost" in told.value.hint
    assert store.clips.all() == []
    assert files_below(store.folder) == set()
    monkeypatch.undo()
    assert file_report(store, coded_report, films=False).is_new


def test_a_failing_review_film_files_nothing_in_the_records(store, coded_report, monkeypatch):
    def no_room(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_text", no_room)
    with pytest.raises(StoreReadOnly):
        file_report(store, coded_report)
    assert store.clips.all() == []
    monkeypatch.undo()
    filed = file_report(store, coded_report)
    assert set(store.passes.get(filed.pass_ids[0]).files) >= {"film", "still", "traces"}


def test_films_are_refused_before_the_disk_is_so_full_that_decisions_are(
    store, coded_report, monkeypatch
):
    spare = filing.KEEP_FREE + coded_report.info.path.stat().st_size
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(10**12, 0, spare - 1))
    with pytest.raises(StoreReadOnly, match="The disk is almost full"):
        file_report(store, coded_report, films=False)
    assert store.clips.all() == []
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(10**12, 0, spare))
    assert file_report(store, coded_report, films=False).is_new


def test_a_copy_cut_off_by_a_power_failure_is_written_anew(store, coded_report):
    (store.folder / filing.CLIPS).mkdir(parents=True)
    sha256 = coded_report.info.sha256
    (store.folder / filing.CLIPS / f"{sha256}.part").write_bytes(b"half")
    kept = keep_clip(store, coded_report.info.path, sha256)
    assert (store.folder / kept).read_bytes() == coded_report.info.path.read_bytes()
    assert list(filing.unfinished(store.folder)) == []


def test_the_clip_never_lands_outside_the_farm_folder(store, coded_report, tmp_path):
    evil = "../../../outside/cow_7.mp4"
    filed = file_report(store, coded_report, films=False, name=evil)
    assert files_below(tmp_path) == {
        f"farm/clips/{coded_report.info.sha256}.mp4",
    }
    assert store.clips.get(filed.clip_id).name == evil
