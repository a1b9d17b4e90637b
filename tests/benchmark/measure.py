"""One measurement in a process of its own: ``python -m tests.benchmark.measure WHAT FILM``."""

from __future__ import annotations

import cProfile
import itertools
import json
import os
import pstats
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from tests.benchmark.films import FPS, read

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
    """Score the film; program and network are loaded before the clock starts."""
    import gait.measure  # what a program that scores one film after another has loaded
    import gait.track  # noqa: F401
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


def parts(film: Path) -> dict[str, float]:
    """Return processor time of the steps taken for one frame or one pass, ms."""
    from gait.clip import Frame
    from gait.measure import measure_pass
    from gait.pipeline import LOOKS_PER_S
    from gait.pose import CowNetwork
    from gait.pose.crop import cut
    from gait.track import follow, settle_legs
    from gait.track.camera import CameraMotion
    from gait.track.seen import look_closely

    frames = list(itertools.islice(read(film), 60, 60 + KEPT))
    took: dict[str, float] = {}
    with CowNetwork(tasks=1) as net:
        image = frames[0]
        box = max(net.find(image), key=lambda b: b.area)
        rgb, _ = cut(image, box, (net.card.width, net.card.height), net.card.crop_growth)
        took["arithmetic"] = _ms(_arithmetic(net.card.file, rgb))
        with net._borrowed() as segmenter:
            took["segment"] = _ms(lambda: segmenter.maps(rgb, range(19)))
        took["look"] = _ms(lambda: net.look(image, box))
        took["close look"] = _ms(lambda: look_closely(net, image, box))
        took["find"] = _ms(lambda: net.find(image))
        camera, turns = CameraMotion(), itertools.cycle(frames)
        took["camera"] = _ms(lambda: camera.update(next(turns), [box]))
        stamped = (Frame(index=i, time_s=i / FPS, image=f) for i, f in enumerate(read(film)))
        (walk, *_) = list(follow(itertools.islice(stamped, 0, None, round(FPS / LOOKS_PER_S)), net))
    took["measures"] = _ms(lambda: measure_pass(settle_legs(walk)), times=2)
    return took


def _arithmetic(network: Path, rgb: npt.NDArray[np.uint8]) -> Callable[[], None]:
    """Return the network alone in LiteRT on one core, for what MediaPipe adds to it."""
    from ai_edge_litert.interpreter import Interpreter

    alone = Interpreter(str(network), num_threads=1)
    alone.allocate_tensors()
    picture = (rgb.astype(np.float32) - 127) / 128
    alone.set_tensor(alone.get_input_details()[0]["index"], picture[None])
    return alone.invoke


def _ms(step: Callable[[], Any], times: int = 30) -> float:
    """Return the least processor time of a step in three rounds, ms."""
    step()
    least = float("inf")
    for _ in range(3):
        began = time.process_time()
        for _ in range(max(times // 3, 1)):
            step()
        least = min(least, (time.process_time() - began) / max(times // 3, 1))
    return 1000 * least


def own_mb() -> float:
    """Return the most memory this program ever had, MB.

    Linux counts to a process what its parent had at its start, which may just have drawn the films.
    The kernel's own record of the program (``VmHWM``) begins with the program.
    """
    status = Path("/proc/self/status")
    if status.exists():
        lines = status.read_text(encoding="ascii", errors="replace").splitlines()
        most = next(line for line in lines if line.startswith("VmHWM"))
        return int(most.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(what: str, film: Path) -> dict[str, Any]:
    """Measure and return frames, seconds, memory; or what the single steps take."""
    if what == "parts":
        return parts(film)
    began, spent = time.perf_counter(), cpu_s()
    passes = None
    if what == "network":
        frames, wall_s, spent = network(film)
    elif what in ("pipeline", "profile"):
        frames, wall_s, spent, passes = pipeline(film, tell=what == "profile")
    else:
        frames = {"decode": decode, "clip": clip}[what](film)
        wall_s, spent = time.perf_counter() - began, cpu_s() - spent
    return {
        "frames": frames,
        "wall_s": wall_s,
        "per_s": frames / wall_s,
        "cpu_ms": 1000 * spent / frames,
        "own_mb": own_mb(),
        "child_mb": resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024,
        "passes": passes,
    }


if __name__ == "__main__":
    print(json.dumps(main(sys.argv[1], Path(sys.argv[2]))))
