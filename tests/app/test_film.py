"""Film: kept first, queued once, refused with a sentence, taken from a watched folder."""

from __future__ import annotations

import os
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from app import session
from gait.herd.records import NewPass
from gait.intake import filmed_of, incoming_file
from gait.store import Store
from tests.app.conftest import OpenPage, words_of
from tests.test_clip_filmed import mp4

WEBM = b"\x1a\x45\xdf\xa3"
"""How such a film begins."""
FILM = ("cow_0412.webm", WEBM + b"a film", "video/webm")


@pytest.fixture(autouse=True)
def wakes(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Count how often the worker is woken instead of starting it."""
    calls: list[int] = []
    monkeypatch.setattr(session, "wake_worker", lambda: calls.append(1))
    return calls


def say_when(farm: Store, at: AppTest) -> AppTest:
    """Say that the undated films were filmed at midnight."""
    newest = max(job.job_id for job in farm.jobs.all())
    at.time_input(key=f"filmed_time_{newest}").set_value(clock(0, 0))
    return at.button(key="filmed_keep").click().run()


def test_dropped_film_is_kept_on_disk_and_queued_once(
    farm: Store, page: OpenPage, wakes: list[int]
) -> None:
    at = page("film")
    at.file_uploader(key="film_files").set_value([FILM]).run()
    assert "cow_0412.webm is safe. Say when it was filmed" in words_of(at)
    say_when(farm, at)
    assert "cow_0412.webm is safe and waits to be watched." in words_of(at)
    (job,) = farm.jobs.all()
    assert incoming_file(farm, str(job.payload["file"])).read_bytes() == FILM[1]
    assert job.payload["name"] == "cow_0412.webm"
    assert wakes
    at.run()
    again = page("film")
    again.file_uploader(key="film_files").set_value([FILM]).run()
    assert len(farm.jobs.all()) == 1


def test_day_is_asked_once_for_all_films_that_do_not_tell_it(farm: Store, page: OpenPage) -> None:
    other = ("cow_0417.webm", WEBM + b"another film", "video/webm")
    at = page("film")
    at.file_uploader(key="film_files").set_value([FILM, other]).run()
    newest = max(job.job_id for job in farm.jobs.all())
    before = date.today() - timedelta(days=2)
    at.date_input(key=f"filmed_day_{newest}").set_value(before)
    at.time_input(key=f"filmed_time_{newest}").set_value(clock(5, 10))
    at = at.button(key="filmed_keep").click().run()
    wanted = datetime.combine(before, clock(5, 10)).astimezone()
    assert [filmed_of(job) for job in farm.jobs.all(state="waiting")] == [wanted, wanted]
    assert f"Filmed {before} 05:10." in words_of(at)
    assert "filmed_keep" not in [b.key for b in at.button]


def test_a_time_of_filming_is_chosen_and_not_still_to_come(farm: Store, page: OpenPage) -> None:
    at = page("film")
    at = at.file_uploader(key="film_files").set_value([FILM]).run()
    (job,) = farm.jobs.all()
    assert at.time_input(key=f"filmed_time_{job.job_id}").value is None
    at = at.button(key="filmed_keep").click().run()
    assert "Choose the time of day too" in words_of(at)
    later = datetime.now() + timedelta(minutes=30)
    if later.date() == date.today():  # not in the last half hour of a day
        at.time_input(key=f"filmed_time_{job.job_id}").set_value(later.time())
        at = at.button(key="filmed_keep").click().run()
        assert "still to come" in words_of(at)
    assert [kept.state for kept in farm.jobs.all()] == ["undated"]


@pytest.mark.parametrize(
    ("content", "why"), [(b"", "is empty"), (b"animal,score\n", "is neither a film nor a photo")]
)
def test_what_is_plainly_no_film_is_refused_at_once(
    farm: Store, page: OpenPage, content: bytes, why: str
) -> None:
    at = page("film").file_uploader(key="film_files").set_value([("107.mp4", content, "")]).run()
    assert f"107.mp4 {why}" in words_of(at)
    assert "is safe" not in words_of(at)
    assert farm.jobs.all() == []


@pytest.mark.parametrize("names", [("5123.webm", "lane.webm"), ("lane.webm", "5123.webm")])
def test_one_film_under_two_names_is_told_and_keeps_the_number(
    farm: Store, page: OpenPage, names: tuple[str, str]
) -> None:
    files = [(name, FILM[1], "video/webm") for name in names]
    at = page("film").file_uploader(key="film_files").set_value(files).run()
    assert f"{names[1]} is the same film as {names[0]}" in words_of(at)
    (job,) = farm.jobs.all()
    assert job.payload["name"] == "5123.webm"


def test_film_that_tells_its_day_is_not_asked_about(farm: Store, page: OpenPage) -> None:
    told = datetime.now(UTC).replace(microsecond=0) - timedelta(days=3)
    at = page("film")
    at.file_uploader(key="film_files").set_value([("a.mp4", mp4(told), "video/mp4")]).run()
    (job,) = farm.jobs.all()
    assert (job.state, filmed_of(job)) == ("waiting", told)
    assert f"Filmed {told.astimezone():%Y-%m-%d %H:%M}." in words_of(at)


def test_film_known_by_its_content_is_told_under_any_name(farm: Store, page: OpenPage) -> None:
    import hashlib

    farm.clips.add(sha256=hashlib.sha256(FILM[1]).hexdigest(), name="x.webm", who="Ann")
    at = page("film")
    at.file_uploader(key="film_files").set_value([("other.webm", FILM[1], "video/webm")]).run()
    assert "other.webm is the same film as x.webm, under another name." in words_of(at)


def test_refused_film_says_why_and_can_be_tried_again(farm: Store, page: OpenPage) -> None:
    job = farm.jobs.add("k", "score_clip", {"name": "dark.webm", "file": "x", "who": "Ann"})
    farm.jobs.claim("w")
    farm.jobs.failed(job.job_id, "It is too dark. Switch the light on.", worker="w")
    at = page("film")
    assert "dark.webm" in words_of(at)
    assert "It is too dark. Switch the light on." in words_of(at)
    at.button(key=f"again_{job.job_id}").click().run()
    kept = farm.jobs.get(job.job_id)
    assert kept is not None
    assert kept.state == "waiting"


def test_line_of_a_dropped_film_tells_how_it_stands_now(farm: Store, page: OpenPage) -> None:
    at = page("film")
    at.file_uploader(key="film_files").set_value([FILM]).run()
    say_when(farm, at)
    (job,) = farm.jobs.all()
    farm.jobs.claim("w")
    assert "is safe and is being watched" in words_of(at.run())
    farm.jobs.failed(job.job_id, "It is too dark.", worker="w")
    shown = words_of(at.run())
    assert "cow_0412.webm could not be used" in shown
    assert "is safe" not in shown


def test_refused_film_can_be_taken_off_the_list(farm: Store, page: OpenPage) -> None:
    job = farm.jobs.add("k", "score_clip", {"name": "dark.webm", "file": "x", "who": "Ann"})
    farm.jobs.claim("w")
    farm.jobs.failed(job.job_id, "It is too dark.", worker="w")
    at = page("film")
    at.button(key=f"put_away_{job.job_id}").click().run()
    assert "dark.webm" not in words_of(page("film"))
    kept = farm.jobs.get(job.job_id)
    assert kept is not None
    assert kept.state == "put_away"


def test_name_is_asked_for_on_the_spot(farm: Store, page: OpenPage) -> None:
    farm.people.put("Ann", ["herdsperson"])
    at = page("film")
    assert not at.file_uploader
    at.selectbox(key="name_here_identify").select("Ann").run()
    assert at.file_uploader


def test_progress_of_each_film_is_shown(farm: Store, page: OpenPage) -> None:
    job = farm.jobs.add("k", "score_clip", {"name": "lane.webm", "file": "x", "who": "Ann"})
    farm.jobs.claim("w")
    farm.jobs.progress(job.job_id, 0.4, "Watching", worker="w")
    (bar,) = page("film").get("progress")
    assert bar.proto.value == 40
    assert bar.proto.text == "lane.webm: being watched".replace(".", "\\.", 1)
    farm.jobs.done(job.job_id, {"passes": [1, 2, 3]}, worker="w")
    assert "3 cows walked past." in words_of(page("film"))


def test_film_scored_from_the_command_line_is_listed_too(farm: Store, page: OpenPage) -> None:
    clip = farm.clips.add(sha256="ab" * 32, name="gate.avi", who="exitlane").clip
    farm.passes.add(clip.clip_id, [NewPass(number=n, start_s=0, end_s=1) for n in (1, 2)])
    told = words_of(page("film"))
    assert "gate.avi" in told
    assert "2 cows walked past." in told
    assert "No film yet" not in told  # no film went through the queue
    farm.jobs.add("ab" * 32, "score_clip", {"name": "gate.avi", "file": "x", "who": "Ann"})
    assert "2 cows walked past." not in words_of(page("film"))  # its line is the queue's now


def test_a_photo_is_told_as_a_photo_whichever_way_it_came(farm: Store, page: OpenPage) -> None:
    for key, name in (("ab" * 32, "gate.jpg"), ("cd" * 32, "dropped.jpg")):
        clip = farm.clips.add(sha256=key, name=name, who="Ann", info={"is_photo": True}).clip
        ids = farm.passes.add(clip.clip_id, [NewPass(number=1)])
    job = farm.jobs.add("cd" * 32, "score_clip", {"name": "dropped.jpg", "file": "x", "who": "Ann"})
    farm.jobs.claim("w")
    farm.jobs.done(job.job_id, {"passes": ids}, worker="w")
    told = words_of(page("film"))
    for name in ("gate.jpg", "dropped.jpg"):
        assert f"**{name}** A photo: it shows her posture only, so no score is proposed." in told
    assert "walked past" not in told


def test_watched_folder_is_looked_through(farm: Store, page: OpenPage, tmp_path: Path) -> None:
    card = tmp_path / "card"
    farm.settings.put("watched_folder", str(card), who="Ann")
    assert "is not there. Plug in the card" in words_of(page("film"))
    card.mkdir()
    for name in ("a.webm", "b.mp4", "list.txt"):
        (card / name).write_bytes(name.encode())
        os.utime(card / name, (1, 1))
    page("film").button(key="look_now").click().run()
    assert {job.payload["name"] for job in farm.jobs.all()} == {"a.webm", "b.mp4"}
    assert (card / "a.webm").exists()
