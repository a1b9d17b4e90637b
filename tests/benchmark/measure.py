"""One measurement in a process of its own: ``python -m tests.benchmark.measure WHAT FILM``."""

from __future__ import annotations

import cProfile
import json
import os
import pstats
import resource
import sys
import time
from pathlib import Path
from typing import Any

from tests.benchmark.films import read

LOOKS, KEPT = 80, 16


def cpu_s() -> float:
    """Return the processor time of this process and the children that have ended, seconds."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def decode(film: Path) -> int:
    """Decode with OpenCV and do nothing with it."""
    return sum(1 for _ in read(film))


def clip(film: Path) -> int:
    """Read through our own decoding process, with its checks."""
    from gait.clip import read_frames

    return sum(1 for _ in read_frames(film))


def network(film: Path) -> tuple[int, float, float]:
    """Look at the cow in frames already decoded, two tasks in two threads."""
    import itertools

    from gait.pose import Box, CowNetwork

    kept = list(itertools.islice(read(film), KEPT))
    frames = [kept[i % KEPT] for i in range(LOOKS)]
    height, width = frames[0].shape[:2]
    box = Box(x0=0.1 * width, y0=0.1 * height, x1=0.9 * width, y1=0.9 * height)
    with CowNetwork(tasks=2) as net:
        net.look_many([(frames[0], box)] * 4)
        began, spent = time.perf_counter(), cpu_s()
        net.look_many([(frame, box) for frame in frames])
        return len(frames), time.perf_counter() - began, cpu_s() - spent


def pipeline(film: Path, *, tell: bool = False) -> tuple[int, float, float, int]:
    """Score the film; the network is loaded before the clock starts."""
    from gait import places
    from gait.pipeline import score_clip
    from gait.pose import CowNetwork
    from gait.score import ScoreModel

    model = ScoreModel.load(places.score_model())
    with CowNetwork() as net:
        profile = cProfile.Profile() if tell else None
        began, spent = time.perf_counter(), cpu_s()
        if profile:
            profile.enable()
        report = score_clip(film, net, model)
        wall_s, spent = time.perf_counter() - began, cpu_s() - spent
        if profile:
            profile.disable()
            pstats.Stats(profile, stream=sys.stderr).sort_stats("cumulative").print_stats(45)
        return report.frames, wall_s, spent, len(report.passes)


def main(what: str, film: Path) -> dict[str, Any]:
    """Measure and return frames, seconds, memory."""
    began, spent = time.perf_counter(), cpu_s()
    passes = None
    if what == "network":
        frames, wall_s, spent = network(film)
    elif what in ("pipeline", "profile"):
        frames, wall_s, spent, passes = pipeline(film, tell=what == "profile")
    else:
        frames = {"decode": decode, "clip": clip}[what](film)
        wall_s, spent = time.perf_counter() - began, cpu_s() - spent
    own, child = (
        resource.getrusage(who).ru_maxrss / 1024
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    return {
        "frames": frames,
        "wall_s": wall_s,
        "per_s": frames / wall_s,
        "cpu_ms": 1000 * spent / frames,
        "own_mb": own,
        "child_mb": child,
        "passes": passes,
    }


if __name__ == "__main__":
    print(json.dumps(main(sys.argv[1], Path(sys.argv[2]))))
