"""Many clips in several processes: every clip comes back once, whatever happens to a process."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from concurrent.futures import Executor, Future
from pathlib import Path

import pytest

from gait import bulk, places
from gait.bulk import Options, score_clips, score_one, spread_over_processes
from gait.errors import ClipError, GaitError
from gait.store import open_store
from tests import bulk_scorers
from tests.farms import add_pass
from tests.glue_world import TruthNetwork, small, write_coded_film

CHECKOUT = Path(__file__).resolve().parent.parent
MODEL = places.models() / "cow_side.tflite"
no_kill = pytest.mark.skipif(os.name != "posix", reason="kill -9 needs a posix system")


def clips_in(folder: Path, *names: str) -> list[Path]:
    return [folder / f"{name}.mp4" for name in names]


def spread(clips, scorer, workers=2):
    return list(spread_over_processes(clips, Options(), workers, scorer))


def test_every_clip_is_scored_once_by_two_processes(tmp_path):
    clips = clips_in(tmp_path, *"abcdefgh")
    found = spread(clips, bulk_scorers.slow)
    assert Counter(path for path, _ in found) == Counter(clips)
    assert all(outcome.message == f"{path.name} seen" for path, outcome in found)
    assert sorted(bulk_scorers.noted(tmp_path)) == sorted(c.name for c in clips)
    assert len({outcome.hint for _, outcome in found}) == 2, "both processes had work"


def test_the_same_clip_asked_for_twice_comes_back_twice(tmp_path):
    (clip,) = clips_in(tmp_path, "a")
    assert [path for path, _ in spread([clip, clip], bulk_scorers.quick)] == [clip, clip]


@no_kill
def test_a_killed_process_loses_no_clip(tmp_path):
    clips = clips_in(tmp_path, "a", "b", "deadly", "c", "d", "e")
    found = spread(clips, bulk_scorers.killed_once)
    assert Counter(path for path, _ in found) == Counter(clips)
    assert all(outcome.message == f"{path.name} seen" for path, outcome in found)


@no_kill
def test_a_clip_that_kills_its_process_each_time_is_refused_alone(tmp_path):
    clips = clips_in(tmp_path, "a", "deadly", "b", "c")
    found = dict(spread(clips, bulk_scorers.killed_always))
    assert found.keys() == set(clips)
    assert "ended again and again" in found[clips[1]].message
    assert all(found[c].message == f"{c.name} seen" for c in clips if c.stem != "deadly")


class Refusing(Executor):
    """An executor whose machine goes away with every piece of work."""

    def submit(self, fn, /, *args, **kwargs):
        future: Future = Future()
        future.set_exception(ConnectionError("machine gone"))
        return future


def test_an_executor_that_loses_its_machine_gives_a_sentence_for_each_clip(tmp_path):
    clips = clips_in(tmp_path, "a", "b")
    found = dict(score_clips(clips, executor=Refusing()))
    assert found.keys() == set(clips)
    assert all(isinstance(outcome, ClipError) for outcome in found.values())


def test_a_fault_of_ours_in_one_clip_does_not_stop_the_others(coded_film, tmp_path, monkeypatch):
    broken = tmp_path / "broken.mp4"
    broken.write_bytes(coded_film.read_bytes())
    truth = TruthNetwork([coded_film])
    networks = iter([ZeroDivisionError("fault"), truth])

    def network():
        found = next(networks)
        if isinstance(found, Exception):
            raise found
        return found

    monkeypatch.setattr(bulk, "_network", network)
    (_, first), (_, second) = score_clips([broken, coded_film])
    assert isinstance(first, GaitError)
    assert "met a fault (ZeroDivisionError: fault)" in str(first)
    assert not isinstance(second, GaitError)


@pytest.mark.skipif(not MODEL.exists(), reason="the network file is not there yet")
def test_two_processes_give_what_one_gives(tmp_path):
    scene = small("sound", seconds=1.6)
    clips = [write_coded_film(scene, tmp_path / "a.mp4"), tmp_path / "b.mp4", tmp_path / "none.mp4"]
    clips[1].write_bytes(clips[0].read_bytes() + b"\0\0\0\x08free")
    alone = dict(score_clips(clips))
    spread_out = dict(score_clips(clips, workers=2))
    assert spread_out.keys() == alone.keys()
    for clip in clips[:2]:
        assert spread_out[clip].to_json() == alone[clip].to_json()
    assert str(spread_out[clips[2]]) == str(alone[clips[2]])


PAGE = """
import sys, time
from gait.store import open_store
with open_store(sys.argv[1]) as store:
    print("open", flush=True)
    for number in range(40):
        began = time.monotonic()
        store.decisions.add(int(sys.argv[2]), kind="overridden", score=4, who="Ann", reason="stiff")
        store.queue.to_check(limit=20)
        print(round(time.monotonic() - began, 3), flush=True)
        time.sleep(0.03)
"""


def test_page_and_bulk_write_the_same_farm_side_by_side(tmp_path, coded_report):
    """One process decides while the other files clips; neither fails, nothing is missing."""
    from dataclasses import replace

    from gait.filing import file_report

    farm = tmp_path / "farm"
    with open_store(farm) as store:
        pass_id = add_pass(store, "0412")
    page = subprocess.Popen(
        [sys.executable, "-c", PAGE, str(farm), str(pass_id)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
    )
    assert page.stdout is not None
    assert page.stdout.readline() == "open\n"
    filed = 0
    with open_store(farm) as store:
        while page.poll() is None and filed < 400:
            info = replace(coded_report.info, sha256=f"{filed:064x}")
            file_report(store, replace(coded_report, info=info), films=False)
            filed += 1
            time.sleep(0.01)
    assert len(page.stdout.read().splitlines()) == 40
    page.stdout.close()
    assert page.wait() == 0
    with open_store(farm) as store:
        assert len(store.decisions.of_pass(pass_id)) == 40
        assert len(store.clips.all(limit=1000)) == filed + 1
    assert filed > 3
    raw = sqlite3.connect(farm / "records.sqlite")
    assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    raw.close()


def test_scoring_one_clip_returns_the_refusal(tmp_path, monkeypatch, coded_film):
    monkeypatch.setattr(bulk, "_network", lambda: TruthNetwork([coded_film]))
    refusal = score_one(tmp_path / "none.mp4", Options())
    assert isinstance(refusal, ClipError)
