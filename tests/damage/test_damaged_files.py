"""Damaged films, lists and models: a sentence, quickly, with little memory, records unchanged.

A part of ``python3 -m tests.damage``, which does the same with 500 films and 500 lists.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from gait import bulk
from gait.store import open_store
from tests.damage import films, lists, watch

FILMS = range(55)
LISTS = range(120)
ONCE_AT_FAULT = (175, 205, 216, 256, 339, 368, 436, 506)
"""Seeds that were told as a fault of the program before it was put right."""


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    with open_store(tmp_path_factory.mktemp("farm")) as store:
        yield store


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("lists")


def test_every_kind_of_damage_is_among_the_films_tried():
    assert {films.kind_of(seed) for seed in FILMS} == {d.__name__ for d in films.DAMAGES}


@pytest.mark.parametrize("seed", FILMS)
def test_a_damaged_film_is_refused_in_plain_words(seed, farm, tmp_path, monkeypatch):
    monkeypatch.setattr(bulk, "_network", watch.SeesNothing)
    path = films.write_film(seed, tmp_path)
    found = watch.watched(path.name, films.kind_of(seed), farm, watch.score_into(path, farm.folder))
    assert found.fault == ""
    assert found.said, "no film among these shows a cow, so each is refused"


@pytest.mark.parametrize("seed", [*LISTS, *ONCE_AT_FAULT])
def test_a_damaged_list_or_model_is_read_or_refused_in_plain_words(seed, farm, folder):
    path = lists.write_list(seed, folder)
    found = watch.watched(
        path.name, lists.kind_of(seed), farm, lambda: lists.read_list(seed, path, folder)
    )
    assert found.fault == ""


@pytest.mark.parametrize("kind", lists.KINDS)
def test_undamaged_the_same_files_are_read(kind, tmp_path):
    """Or else the tests above would pass on a program that refuses everything."""
    path = tmp_path / f"sound{lists.KINDS[kind].suffix}"
    lists.KINDS[kind].make(path)
    lists.KINDS[kind].read(path, tmp_path)


@pytest.mark.parametrize("suffix", films.SUFFIXES)
def test_undamaged_the_same_films_are_read(suffix, tmp_path):
    from gait.clip import read_frames

    path: Path = tmp_path / f"sound{suffix}"
    path.write_bytes(films.whole(suffix))
    frames = sum(1 for _ in read_frames(path))
    assert frames == (1 if suffix in (".jpg", ".png") else films.FRAMES)


def test_the_watch_notices_what_must_not_happen(farm):
    def broken() -> None:
        raise ZeroDivisionError

    def changes() -> None:
        farm.settings.put("changed", 1, who="Ann")

    def mumbles() -> None:
        from gait.errors import GaitError

        raise GaitError("error 17")

    assert "ZeroDivisionError" in watch.watched("x", "x", farm, broken).fault
    assert watch.watched("x", "x", farm, changes).fault == "the records changed"
    assert "no sentence" in watch.watched("x", "x", farm, mumbles).fault
