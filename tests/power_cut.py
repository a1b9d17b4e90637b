"""``python3 -m tests.power_cut``: end the program with kill -9 at random moments, 100 times over.

A child hands films in, works them off and decides on what was found, and says a line after each
step that it was told is done. It is ended at a random moment and begun anew. After every end all
that was acknowledged must still be there; after the last run every film is filed exactly once.
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

import numpy as np

from gait.clip import read_frames, read_info
from gait.herd.records import Job
from gait.store import Store, open_store
from gait.store.types import utc_now

CHECKOUT = Path(__file__).resolve().parent.parent
FILMS = 3


class Lost(AssertionError):
    """Something acknowledged is gone, or something is there twice."""


# --- the child -----------------------------------------------------------------------------------


def child(farm: Path, film: Path) -> None:
    """Hand in, work off, decide; tell each step once it is done."""
    import gait.pose
    from gait.intake import take_in
    from gait.worker import do
    from tests.glue_world import TruthNetwork

    gait.pose.CowNetwork = lambda: TruthNetwork([film])  # type: ignore[assignment, misc]
    with open_store(farm) as store:
        for copy in sorted(film.parent.glob("copy_*.mp4")):
            with copy.open("rb") as content:
                job = take_in(store, content, copy.name, who="Ann", filmed=utc_now()).job
            tell("taken", job.key)
        while job := _next_job(store):
            do(store, job, "child")
            found = store.jobs.get(job.job_id)
            if found is None or found.state != "done":
                tell("again", job.key)
                store.jobs.again(job.job_id)
                continue
            for pass_id in (found.result or {})["passes"]:
                tell("filed", f"{job.key} {pass_id}")
                made = store.decisions.add(pass_id, kind="overridden", score=4, who="Ann",
                                           reason="stiff")  # fmt: skip
                tell("decided", f"{pass_id} {made.uid}")
    tell("end", "")


def _next_job(store: Store) -> Job | None:
    """Take the next film; one that was ended three times is handed in again, as people would."""
    job = store.jobs.claim("child", stale_after=timedelta(0))
    for failed in store.jobs.all(state="failed") if job is None else ():
        tell("again", failed.key)
        store.jobs.again(failed.job_id)
        job = store.jobs.claim("child")
    return job


def tell(word: str, what: str) -> None:
    """Acknowledge a step."""
    sys.stdout.write(f"{word} {what}\n")
    sys.stdout.flush()


# --- the parent ----------------------------------------------------------------------------------


def cut_power(runs: int, folder: Path, seed: int = 0) -> dict[str, int]:
    """End the child ``runs`` times; return how often each step had been acknowledged.

    Raises
    ------
    Lost
        A promise was broken.
    """
    from tests.glue_world import small, write_coded_film

    rng = np.random.default_rng((seed, 403))
    film = write_coded_film(small("sound", seconds=3.0, fps=12.0), folder / "films.mp4")
    told: dict[str, set[str]] = {word: set() for word in ("taken", "again", "filed", "decided")}
    farm, batch, ended = folder / "farm", 0, 0
    while ended < runs:
        for number in range(FILMS):
            _copy(film, folder / f"copy_{batch * FILMS + number:03d}.mp4")
        batch += 1
        while True:
            # at any step: while films are taken in, scored, filed, or decided on
            steps, after_s = int(rng.integers(1, FILMS + 4)), float(rng.uniform(0, 1.2))
            whole = _one_run(farm, film, told, steps, after_s, last=ended >= runs)
            with open_store(farm) as store:
                check(store, told)
            if whole:
                break
            ended += 1
        with open_store(farm) as store:
            check_all_filed(store, batch * FILMS)
        for copy in folder.glob("copy_*.mp4"):
            copy.unlink()
    return {"kills": ended} | {word: len(lines) for word, lines in told.items()}


def _copy(film: Path, path: Path) -> None:
    """Make a film of other content that looks the same: a free part at its end."""
    note = path.name.encode()
    path.write_bytes(film.read_bytes() + (8 + len(note)).to_bytes(4, "big") + b"free" + note)


def _one_run(
    farm: Path, film: Path, told: dict[str, set[str]], steps: int, after_s: float, *, last: bool
) -> bool:
    """Run the child until it ends by itself (True), or end it some time after a step (False)."""
    command = [sys.executable, "-m", "tests.power_cut", "--child", str(farm), str(film)]
    surroundings = {**os.environ, "PYTHONPATH": str(CHECKOUT)}
    running = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=surroundings
    )
    assert running.stdout is not None
    lines = [running.stdout.readline() for _ in range(0 if last else steps)]
    if not last:
        time.sleep(after_s)
        running.send_signal(signal.SIGKILL)
    lines += [*running.stdout.read().splitlines(keepends=True)]
    running.stdout.close()
    code = running.wait()
    if code not in (0, -signal.SIGKILL):
        raise Lost(f"the program ended with {code}")
    for line in lines:
        word, _, what = line.partition(" ")
        if line.endswith("\n") and word in told:
            told[word].add(what.strip())
    return code == 0


def check(store: Store, told: dict[str, set[str]]) -> None:
    """Hold the records to everything that was acknowledged.

    Raises
    ------
    Lost
        See the message.
    """
    assert store.folder is not None
    jobs = {job.key: job for job in store.jobs.all(limit=100_000)}
    clips = {clip.sha256: clip for clip in store.clips.all(limit=100_000)}
    for key in told["taken"]:
        if key not in jobs:
            raise Lost(f"the film {key} was taken in and is not in the queue")
        kept = [store.folder / "incoming" / f"{key}.mp4", store.folder / "clips" / f"{key}.mp4"]
        if not any(path.exists() for path in kept):
            raise Lost(f"the film {key} was taken in and its file is gone")
    for line in told["filed"]:
        key, pass_id = line.split()
        passes = [p.pass_id for p in store.passes.of_clip(clips[key].clip_id)]
        if passes != [int(pass_id)]:
            raise Lost(f"the film {key} has the passes {passes}, acknowledged was {pass_id}")
    for line in told["decided"]:
        pass_id, uid = line.split()
        if uid not in {d.uid for d in store.decisions.of_pass(int(pass_id))}:
            raise Lost(f"the decision {uid} is gone")


def check_all_filed(store: Store, films: int) -> None:
    """Hold the farm to having every film once, whole, with its pass.

    Raises
    ------
    Lost
        See the message.
    """
    assert store.folder is not None
    clips = store.clips.all(limit=100_000)
    if len(clips) != films:
        raise Lost(f"{len(clips)} films are filed, {films} were handed in")
    for clip in clips:
        (walk,) = store.passes.of_clip(clip.clip_id)
        if read_info(store.folder / str(clip.stored_as)).sha256 != clip.sha256:
            raise Lost(f"the kept copy of {clip.name} is not what was handed in")
        film = store.passes.get(walk.pass_id).files["film"]
        if sum(1 for _ in read_frames(store.folder / film)) < 5:
            raise Lost(f"the film to look at of {clip.name} is not whole")


def main() -> int:
    """Cut the power as often as asked for and print what was acknowledged meanwhile."""
    if sys.argv[1:2] == ["--child"]:
        child(Path(sys.argv[2]), Path(sys.argv[3]))
        return 0
    parser = argparse.ArgumentParser(prog="python3 -m tests.power_cut", description=__doc__)
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--seed", type=int, default=0)
    args = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="power_cut_"))
    try:
        told = cut_power(args.runs, folder, args.seed)
    except Lost as loss:
        print(f"LOST: {loss}   (see {folder})")
        return 1
    shutil.rmtree(folder)
    print(", ".join(f"{count} {word}" for word, count in told.items()) + "; nothing lost")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
