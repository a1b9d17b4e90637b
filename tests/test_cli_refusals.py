"""Every bad film gives its own sentence and exit code 2: perfectly seen, and by our network."""

from __future__ import annotations

from pathlib import Path

import pytest

from gait import bulk, places
from gait.cli import main
from synthetic_clips.scene import Scene
from tests.glue_world import TruthNetwork, small, write_coded_film

SCENES = {
    "no_cow": lambda: small("no_cow", seconds=2.0),
    "standing": lambda: small("standing", seconds=3.0, width=640, height=360),
    "two_abreast": lambda: small("two_abreast", width=640, height=360),
    "head_on": lambda: small("head_on", width=640, height=360),
    "too_dark": lambda: small("too_dark", seconds=3.0),
    "short": lambda: small("short", width=640, height=360),
}
SENTENCES = {
    "no_cow": "No cow was found",
    "standing": "stands still",
    "two_abreast": "Two cows overlap",
    "head_on": "from the front or",
    "too_dark": "too dark",
    "short": "stride",
}
MODEL = places.models() / "cow_side.tflite"


@pytest.fixture(scope="module")
def films(tmp_path_factory):
    folder = tmp_path_factory.mktemp("refusals")

    def film(name: str) -> Path:
        path = folder / f"{name}.mp4"
        if not path.exists():
            scene: Scene = SCENES[name]()
            write_coded_film(scene, path)
        return path

    return film


def sentence_of(capsys, film: Path) -> str:
    code = main(["score", str(film)])
    told = capsys.readouterr()
    assert code == 2, told.out
    lines = told.err.splitlines()
    assert len(set(lines)) == 1, told.err
    return lines[0]


@pytest.mark.parametrize("name", SCENES)
def test_seen_perfectly_the_reason_is_the_right_one(name, films, capsys, monkeypatch):
    film = films(name)
    monkeypatch.setattr(bulk, "_network", lambda: TruthNetwork([film]))
    assert SENTENCES[name] in sentence_of(capsys, film)


@pytest.mark.skipif(not MODEL.exists(), reason="the network file is not there yet")
@pytest.mark.parametrize("name", SCENES)
def test_seen_by_our_network_the_reason_is_the_right_one(name, films, capsys):
    assert SENTENCES[name] in sentence_of(capsys, films(name))
