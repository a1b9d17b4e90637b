"""``python3 -m tests.benchmark``: how fast, how much memory, and how both grow.

Decoding by OpenCV alone, the network alone and the whole pipeline are measured one after the other
on the same film, each in a process of its own. The table goes to ``tests/benchmark/RESULTS.md``.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import socket
import statistics
import subprocess
import sys
import time
import urllib.request
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path
from typing import Any

CHECKOUT = Path(__file__).resolve().parents[2]
RESULTS = Path(__file__).with_name("RESULTS.md")
TRIED = (
    "Fewer looks still were tried and left: at 7.5 a second while the picture's edge cuts her, a "
    "quarter of the looks are saved, and of 838 hoof-ons in 70 drawn clips six are missed instead "
    "of none."
)
PACKAGES = ("opencv-python", "mediapipe", "numpy", "scikit-learn", "streamlit")


def main() -> int:
    """Measure everything and write the table."""
    from gait import environment

    parser = argparse.ArgumentParser(prog="python3 -m tests.benchmark", description=__doc__)
    parser.add_argument("--rounds", type=int, default=3, help="best of so many (default 3)")
    parser.add_argument("--profile", metavar="FILM", help="cow or empty: where the time goes")
    parser.add_argument("--film", type=Path, help="measure a film of your own as well")
    parser.add_argument("--out", type=Path, default=RESULTS)
    args = parser.parse_args()
    try:
        python = environment.ensure("test")
    except environment.SetupFailed as problem:
        print(problem, file=sys.stderr)
        return 1
    if Path(sys.prefix).resolve() != python.parent.parent.resolve():
        return environment.run(python, ["-m", "tests.benchmark", *sys.argv[1:]])
    from tests.benchmark import films

    found = films.all_films(lambda text: print(text, flush=True))
    if args.profile:
        measured("profile", found[args.profile], 1)
        return 0
    if args.film:
        found[f"own {args.film.name}"] = args.film
    before = os.getloadavg()
    table = everything(found, args.rounds)
    args.out.write_text(report(table, before, os.getloadavg(), args.rounds), encoding="utf-8")
    print(args.out.read_text(encoding="utf-8"))
    return 0


def measured(what: str, film: Path, rounds: int) -> dict[str, Any]:
    """Measure in fresh processes and return the quickest round."""
    best: dict[str, Any] = {}
    for _ in range(rounds):
        one = in_own_process(what, film)
        print(f"{what:<10}{film.stem:<12}{one['per_s']:>8.1f} frames/s {one['cpu_ms']:>8.1f} ms",
              flush=True)  # fmt: skip
        if not best or one["per_s"] > best["per_s"]:
            best = one
    return best


def in_own_process(what: str, film: Path) -> dict[str, Any]:
    """Measure once in a fresh process."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmark.measure", what, str(film)],
        stdout=subprocess.PIPE,
        stderr=None if what == "profile" else subprocess.DEVNULL,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
    )
    answer: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answer


def everything(found: dict[str, Path], rounds: int) -> dict[str, dict[str, Any]]:
    """Measure every line of the table."""
    table = {}
    for film in ("cow", "empty"):
        for what in ("decode", "clip", "network", "pipeline"):
            table[f"{what}: {film}"] = measured(what, found[film], rounds)
    for name, path in found.items():
        if name not in ("cow", "empty"):
            for what in ("decode", "pipeline"):
                times = rounds if name == "length 4" else 1
                table[f"{what}: {name}"] = measured(what, path, times)
    table["parts: cow"] = in_own_process("parts", found["cow"])
    table["start: help"] = {"seconds": help_seconds()}
    table["start: page"] = {"seconds": [page_seconds() for _ in range(rounds)]}
    return table


def help_seconds(times: int = 9) -> list[float]:
    """Return how long ``exitlane --help`` takes, seconds, several times."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "gait.cli", "--help"],
            stdout=subprocess.DEVNULL,
            check=True,
            env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
        )
        taken.append(time.perf_counter() - began)
    return taken


def page_seconds() -> float:
    """Return the time from the command until the page answers, seconds."""
    import tempfile

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with tempfile.TemporaryDirectory() as farm:
        began = time.perf_counter()
        running = subprocess.Popen(
            [sys.executable, "-m", "gait.cli", "start", "--page-only", "--port", str(port),
             "--farm", farm],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
            start_new_session=True,
        )  # fmt: skip
        try:
            while True:
                try:
                    with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=5) as answer:
                        answer.read()
                        return time.perf_counter() - began
                except OSError:
                    if running.poll() is not None:
                        raise
                    time.sleep(0.05)
        finally:
            os.killpg(running.pid, 15)
            running.wait(30)


# --- the report ----------------------------------------------------------------------------------


def report(
    table: dict[str, dict[str, Any]],
    before: tuple[float, ...],
    after: tuple[float, ...],
    rounds: int,
) -> str:
    """Return the results as Markdown."""
    from tests.benchmark.films import kind

    versions = ", ".join(f"{name} {metadata.version(name)}" for name in PACKAGES)
    lines = [
        "# Speed and memory",
        "",
        f"Measured {datetime.now(UTC):%Y-%m-%d %H:%M} UTC by `python3 -m tests.benchmark`, "
        f"best of {rounds} rounds (growth, but for the longest film: one round), each in a process "
        "of its own.",
        "",
        f"Machine: {machine()}. Python {platform.python_version()}, {versions}.",
        f"Load average before {before[0]:.1f}, after {after[0]:.1f} (other work on the machine "
        "slows every figure; the ratios are less touched by it).",
        "",
        f"Films are drawn: 1080p, 30 frames a second; a cow in view throughout, or none. {kind()}.",
        "",
        *_targets(table),
        "",
        "Processor time a frame is the time of all cores together; unlike frames/s it hardly "
        "depends on what else the machine does. Two idle cores cannot do more than 2000 divided "
        "by it. The memory of the decoder is the most it ever had; in the pipeline that is the "
        "instant of its start, when it shares the memory of the program that starts it.",
        "",
        *_where(table),
        "",
        "| measured on | what | frames/s | CPU ms a frame | frames | MB | decoder, MB | passes |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for name, row in table.items():
        if "per_s" in row:  # not the times to start, nor the parts
            what, film = name.split(": ")
            passes = "" if row["passes"] is None else row["passes"]
            child = f"{row['child_mb']:.0f}" if what in ("clip", "pipeline") else ""
            lines.append(
                f"| {film} | {what} | {row['per_s']:.1f} | {row['cpu_ms']:.1f} | {row['frames']} "
                f"| {row['own_mb']:.0f} | {child} | {passes} |"
            )
    return "\n".join(lines) + "\n"


def _targets(table: dict[str, dict[str, Any]]) -> list[str]:
    """Return the lines that hold what was measured against what is wanted."""
    cow, empty = (table[f"pipeline: {film}"]["per_s"] for film in ("cow", "empty"))
    share = cow / table["decode: cow"]["per_s"]
    share_empty = empty / table["decode: empty"]["per_s"]
    most, most_empty = (2000 / table[f"pipeline: {film}"]["cpu_ms"] for film in ("cow", "empty"))
    one, four = (_memory(table[f"pipeline: length {n}"]) for n in (1, 4))
    start = statistics.median(table["start: help"]["seconds"])
    page = statistics.median(table["start: page"]["seconds"])
    rows = [
        ("frames/s with a cow in view", f"{cow:.1f}", ">= 30", cow >= 30),
        ("frames/s with none", f"{empty:.1f}", ">= 100", empty >= 100),
        ("the same by processor time, cow in view, two idle cores", f"{most:.0f}", ">= 30",
         most >= 30),
        ("the same by processor time, none in view", f"{most_empty:.0f}", ">= 100",
         most_empty >= 100),
        ("share of the pure decoding rate, cow in view", f"{share:.2f}", ">= 0.5", share >= 0.5),
        ("the same with none in view", f"{share_empty:.2f}", ">= 0.5", share_empty >= 0.5),
        ("memory of a film four times as long", f"{four / one:.2f} x", "<= 1.1 x",
         four / one <= 1.1),
        ("`exitlane --help`, median", f"{start:.2f} s", "< 0.3 s", start < 0.3),
        ("the page answers, median", f"{page:.1f} s", "< 5 s", page < 5),
    ]  # fmt: skip
    lines = ["| target | measured | wanted | met |", "|---|---|---|---|"]
    return lines + [f"| {n} | {m} | {w} | {'yes' if ok else '**no**'} |" for n, m, w, ok in rows]


def _where(table: dict[str, dict[str, Any]]) -> list[str]:
    """Return the table of where the time goes with a cow in view."""
    from gait.pipeline import LOOKS_PER_S

    took, decode = table["parts: cow"], table["decode: cow"]["cpu_ms"]
    look = f"every look, {LOOKS_PER_S:g} a second"
    rows = [
        ("decoding by OpenCV alone", decode, "every frame"),
        ("handing frames over from the decoding process, its start included",
         table["clip: cow"]["cpu_ms"] - decode, "every frame"),
        ("the network's own arithmetic (LiteRT, one core)", took["arithmetic"], look),
        ("MediaPipe around it", took["segment"] - took["arithmetic"], look),
        ("cutting her out; landmarks and silhouette from the maps", took["look"] - took["segment"],
         look),
        ("back line in the full picture, box, light", took["close look"] - took["look"], look),
        ("the finder", took["find"], "once to four times a second"),
        ("camera motion", took["camera"], f"{look}, mean of a still camera"),
        ("legs, measures", took["measures"], "once a pass"),
    ]  # fmt: skip
    lines = ["| where the time goes, cow in view | CPU ms | how often |", "|---|---|---|"]
    lines += [f"| {what} | {ms:.1f} | {often} |" for what, ms, often in rows]
    long = table["pipeline: length 4"]["per_s"] / table["decode: length 4"]["per_s"]
    return [
        *lines,
        "",
        "Before the first frame of a film and while its last cow is measured one core has nothing "
        f"to do. On the film of four cows, 28 s, the share of the decoding rate is {long:.2f}.",
        "",
        TRIED,
    ]


def _memory(row: dict[str, Any]) -> float:
    return float(row["own_mb"] + row["child_mb"])


def machine() -> str:
    """Return processor, cores and memory."""
    model = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        names = [line.split(":", 1)[1].strip() for line in info.read_text().splitlines()
                 if line.startswith("model name")]  # fmt: skip
        model = names[0] if names else model
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    return f"{model}, {os.cpu_count()} cores, {memory:.0f} GB, {platform.system()}"


if __name__ == "__main__":
    raise SystemExit(main())
