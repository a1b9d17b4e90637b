"""What a pass shows when its film or picture is gone, in both languages."""

from __future__ import annotations

import json
import math
import shutil
from pathlib import Path

import pytest

from app import session
from app.parts import look
from gait.herd.records import NewPass
from gait.store import Store
from tests.app.conftest import OpenPage, words_of
from tests.farms import add_pass

FILM, STILL = "review/a/pass_1.webm", "review/a/pass_1.jpg"
ICON = Path(look.__file__).parent / "icon.png"
DELETED = {
    "en": "The film of this pass was deleted: films are kept only as long as Settings says.",
    "de": "Der Film von diesem Vorbeigehen wurde gelöscht",
}


def in_language(page: OpenPage, language: str, name: str = "to_check") -> str:
    at = page(name)
    at.session_state["language"] = language
    return words_of(at.run())


@pytest.mark.parametrize("language", DELETED)
def test_a_film_that_was_deleted_is_told(farm: Store, page: OpenPage, language: str) -> None:
    add_pass(farm, "0412", files={"film": FILM, "still": STILL})
    assert DELETED[language] in in_language(page, language)


def test_nobody_is_sent_to_a_film_that_is_not_there(farm: Store, page: OpenPage) -> None:
    add_pass(farm, "0412", proposal=None, files={"film": FILM})
    told = in_language(page, "en")
    assert "No score is proposed for this pass. Look at the cow herself" in told
    assert "Look at the film" not in told


def test_a_film_that_is_there_is_played_and_nothing_told(farm: Store, page: OpenPage) -> None:
    add_pass(farm, "0412", files={"film": FILM})
    assert farm.folder is not None
    (farm.folder / FILM).parent.mkdir(parents=True)
    (farm.folder / FILM).write_bytes(b"a film")
    told = in_language(page, "en")
    assert "deleted" not in told
    assert "No film or picture" not in told


@pytest.mark.parametrize(
    ("files", "sentence"),
    [
        ({}, "No film or picture was kept"),
        ({"still": STILL}, "The picture of this pass was deleted"),
    ],
)
def test_a_photo_without_its_picture_tells_which_it_is(
    farm: Store, page: OpenPage, files: dict[str, str], sentence: str
) -> None:
    add_pass(farm, "0412", files=files)
    assert sentence in in_language(page, "en")


def test_problems_of_a_pass_are_said_in_german(farm: Store, page: OpenPage) -> None:
    problem = "The cow is too small in the picture. Go closer or zoom in."
    add_pass(farm, "0412", proposal=None, problems=(problem,))
    told = in_language(page, "de")
    assert "Die Kuh ist zu klein im Bild. Näher herangehen oder heranzoomen." in told
    assert problem not in told


def test_a_refused_film_is_told_in_german(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(session, "wake_worker", lambda: None)
    job = farm.jobs.add("k", "score_clip", {"name": "dark.webm", "file": "x", "who": "Ann"})
    farm.jobs.claim("w")
    why = "dark.webm is too dark to see a cow. Film with the lane lights on."
    farm.jobs.failed(job.job_id, why, worker="w")
    assert "**dark.webm** ist zu dunkel, um eine Kuh zu sehen. Mit Licht im Gang filmen." in (
        in_language(page, "de", "film")
    )


def test_a_misread_head_does_not_flatten_the_nod_and_is_told(farm: Store, page: OpenPage) -> None:
    assert farm.folder is not None
    head = [5 + math.sin(i / 4) for i in range(100)]
    head[7] = 45.7
    traces = {"time_s": [i / 25 for i in range(100)], "head_pct": head, "hooves": {}}
    (farm.folder / "traces.json").write_text(json.dumps(traces), encoding="utf-8")
    add_pass(farm, "0412", files={"traces": "traces.json"})
    at = page("to_check")
    assert "1 frame lies outside this picture, at 46 %" in words_of(at)
    (chart,) = at.get("vega_lite_chart")
    low, high = json.loads(chart.proto.spec)["encoding"]["y"]["scale"]["domain"]
    assert 4 <= low < high <= 6


def test_a_photo_is_called_a_photo(farm: Store, page: OpenPage) -> None:
    assert farm.folder is not None
    (farm.folder / STILL).parent.mkdir(parents=True)
    shutil.copy(ICON, farm.folder / STILL)
    clip = farm.clips.add(sha256="ab" * 32, name="gate.jpg", who="Ann", info={"is_photo": True})
    walk = NewPass(number=1, files={"still": STILL})
    (pass_id,) = farm.passes.add(clip.clip.clip_id, [walk])
    told = in_language(page, "en")
    assert "gate.jpg · photo" in told
    assert "0.0 to 0.0 s" not in told
    assert "No score is proposed for this pass. Look at the picture" in told
    at = page("to_check")
    at.button(key=f"check_unusable_{pass_id}").click().run()
    assert farm.decisions.of_pass(pass_id)[0].reason == "cannot be judged from this photo"
