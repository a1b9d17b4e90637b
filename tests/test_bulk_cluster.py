"""Many clips on a Dask cluster through the same seam: one worker killed midway, nothing lost."""

from __future__ import annotations

import os
import signal
import warnings
from collections import Counter
from pathlib import Path

import pytest

from gait import bulk
from gait.bulk import Options, cluster
from gait.cli import build_parser
from gait.errors import GaitError
from tests import bulk_scorers

distributed = pytest.importorskip("distributed", reason="the part for several machines is absent")
CLIPS = 16


@pytest.fixture
def two_workers():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the cluster's own start and end
        local = distributed.LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            processes=True,
            dashboard_address=None,
            host="127.0.0.1",
        )
        try:
            yield local
        finally:
            local.close()


def _kill_one(local) -> int:
    pid = next(iter(local.workers.values())).pid
    os.kill(pid, signal.SIGKILL)
    return pid


@pytest.mark.skipif(os.name != "posix", reason="kill -9 needs a posix system")
def test_one_of_two_workers_killed_midway_loses_no_clip(two_workers, tmp_path):
    clips = [tmp_path / f"clip_{n:02d}.mp4" for n in range(CLIPS)]
    found: list[tuple[Path, GaitError]] = []
    killed = 0
    with cluster(two_workers.scheduler_address) as executor:
        for path, outcome in bulk._spread(clips, Options(), executor, bulk_scorers.slow):
            found.append((path, outcome))
            if len(found) == 3:
                killed = _kill_one(two_workers)
    assert killed
    assert Counter(path for path, _ in found) == Counter(clips)
    assert all(outcome.message == f"{path.name} seen" for path, outcome in found)
    assert set(bulk_scorers.noted(tmp_path)) == {c.name for c in clips}
    # only the clip that was on the killed worker may have been begun twice
    begun = Counter(bulk_scorers.noted(tmp_path, "began"))
    assert sum(begun.values()) - CLIPS <= 2


def test_asking_twice_for_the_same_clip_is_two_pieces_of_work(two_workers, tmp_path):
    """Dask merges equal calls unless told not to; a clip copied over in between is another."""
    clip = tmp_path / "clip.mp4"
    with cluster(two_workers.scheduler_address) as executor:
        done = list(bulk._spread([clip, clip], Options(), executor, bulk_scorers.quick))
    assert len(done) == 2
    assert bulk_scorers.noted(tmp_path) == ["clip.mp4", "clip.mp4"]


def test_a_scheduler_that_does_not_answer_is_a_plain_sentence(monkeypatch):
    def nobody(*_, **__):
        raise OSError("timed out")

    monkeypatch.setattr(distributed, "Client", nobody)
    with (
        pytest.raises(GaitError, match="No Dask scheduler answers"),
        cluster("tcp://127.0.0.1:1"),
    ):
        pass


def test_the_command_line_takes_the_address():
    args = build_parser().parse_args(["score", "x.mp4", "--dask", "tcp://10.0.0.5:8786"])
    assert args.dask == "tcp://10.0.0.5:8786"
