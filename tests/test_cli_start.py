"""``exitlane start`` and ``renumber``: what they do, leave alone, and say."""

from __future__ import annotations

import hashlib
import shutil

import pytest

from gait import bulk
from gait.cli import main
from gait.clip import Clip
from gait.errors import ClipUnusable
from gait.filing import file_report
from gait.herd.records import Cow
from gait.store import open_store


def test_a_film_that_the_farm_has_is_not_watched_again(
    tmp_path, coded_film, coded_report, monkeypatch, capsys
):
    farm = tmp_path / "farm"
    with open_store(farm) as store:
        file_report(store, coded_report, films=False)
    renamed = tmp_path / "again.mp4"
    shutil.copyfile(coded_film, renamed)
    monkeypatch.setattr(bulk, "score_clips", lambda *_, **__: pytest.fail("it was watched again"))
    assert main(["start", str(renamed), "--farm", str(farm), "--no-page"]) == 0
    told = capsys.readouterr().out
    assert "again.mp4 was watched before" in told
    reason = coded_report.passes[0].proposal.reasons[0]
    assert reason.split(" ")[0] in told, "the table is printed all the same"


def test_a_film_new_to_the_farm_is_read_once_to_know_its_content(tmp_path, coded_film, monkeypatch):
    film = tmp_path / "new.mp4"
    shutil.copyfile(coded_film, film)
    read, digest = [], hashlib.file_digest
    monkeypatch.setattr(
        hashlib, "file_digest", lambda file, kind: read.append(file.name) or digest(file, kind)
    )

    def look_only(clips, **_):
        for path in clips:
            with Clip(path) as clip:
                assert clip.info.width
            yield path, ClipUnusable("Not for this test.", "")

    monkeypatch.setattr(bulk, "score_clips", look_only)
    assert main(["start", str(film), "--farm", str(tmp_path / "farm"), "--no-page"]) == 2
    assert len(read) == 1


def test_a_film_that_cannot_be_read_still_says_why(tmp_path, capsys):
    broken = tmp_path / "noise.mp4"
    broken.write_bytes(hashlib.sha256(b"noise").digest() * 100)
    assert main(["start", str(broken), "--farm", str(tmp_path / "farm"), "--no-page"]) == 2
    assert "neither a film nor a photo" in capsys.readouterr().out


def test_a_cow_is_renumbered_and_who_did_so_is_kept(tmp_path, capsys):
    farm = str(tmp_path / "farm")
    with open_store(farm) as store:
        store.cows.put([Cow(number="184"), Cow(number="185")])
    assert main(["renumber", "184", "184-old", "--by", "Ann", "--farm", farm]) == 0
    assert main(["renumber", "7", "8", "--by", "Ann", "--farm", farm]) == 2
    assert "There is no cow 7." in capsys.readouterr().err
    with open_store(farm, read_only=True) as store:
        assert [c.number for c in store.cows.all()] == ["185", "184-old"]
        assert [who for _, who, _ in store.settings.history("renumbered_cow")] == ["Ann"]
