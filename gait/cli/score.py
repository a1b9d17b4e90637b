"""``exitlane score``: score films and photos."""

from __future__ import annotations

import argparse
import contextlib
import json
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gait.cli.dates import moment
from gait.errors import ClipError, ClipMissing, GaitError

if TYPE_CHECKING:
    from gait.pipeline import ClipReport, PassReport


def add_commands(commands: Any) -> None:
    """Add ``score`` to the parser."""
    parser = commands.add_parser("score", help="score films and photos")
    parser.add_argument("paths", nargs="+", type=Path, metavar="FILE_OR_FOLDER")
    parser.add_argument("--json", action="store_true", help="print one JSON document")
    parser.add_argument("--landmarks", type=Path, metavar="FILE.csv", help="landmarks, every frame")
    parser.add_argument("--silhouettes", type=Path, metavar="DIR", help="write a mask per frame")
    parser.add_argument("--overlay", type=Path, metavar="FILE.webm", help="write the drawn film")
    parser.add_argument("--farm", type=Path, metavar="FOLDER", help="file the passes on this farm")
    parser.add_argument("--exit-order", type=Path, metavar="FILE.csv", help="time, animal number")
    parser.add_argument(
        "--filmed-at", type=moment, metavar="2026-11-28T05:30",
        help="when the film began, for --farm; else as the film itself tells, or the file's time",
    )  # fmt: skip
    parser.add_argument("--workers", type=int, default=1, metavar="N", help="clips at a time")
    parser.add_argument("--dask", metavar="ADDRESS", help="score on a Dask cluster's machines")
    parser.add_argument("--withers-height", type=float, metavar="M", help="metres, for lengths")
    parser.add_argument(
        "--fps", type=float, metavar="F", help="frames a second of a folder of frames (25)"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Score, print and write what was asked for; 2 if any clip was refused."""
    from gait.pipeline import find_clips

    clips = find_clips(args.paths)
    _check_outputs(args, clips)
    documents: list[dict[str, Any]] = []
    refused = False
    for path, outcome in _scored(clips, args):
        if isinstance(outcome, GaitError):
            print(outcome if str(path) in str(outcome) else f"{path}: {outcome}", file=sys.stderr)
            refused = True
            continue
        refused |= outcome.refused or bool(outcome.problems)
        try:
            _keep(outcome, args, several=len(clips) > 1)
        except ClipError as problem:  # its clip went away: the others are still there
            print(problem, file=sys.stderr)
            refused = True
            continue
        if args.json:
            documents.append(outcome.to_json())
        else:
            print_report(outcome)
        for sentence in _refusals(outcome):
            print(f"{path}: {sentence}", file=sys.stderr)
    if args.json:
        print(json.dumps({"clips": documents}, indent=1, allow_nan=False))
    return 2 if refused else 0


def _keep(outcome: ClipReport, args: argparse.Namespace, *, several: bool) -> None:
    """Write and file what was asked for.

    Raises
    ------
    ClipMissing
        The clip is no longer there.
    """
    if not outcome.info.path.exists():
        raise ClipMissing(
            f"{outcome.info.path} was taken away while it was scored, so it was not filed.",
            "Bring it back and score it again.",
        )
    _write_extras(outcome, args, several=several)
    if args.farm is not None and outcome.passes:
        _file(outcome, args)


def _scored(
    clips: Sequence[Path], args: argparse.Namespace
) -> Iterator[tuple[Path, ClipReport | GaitError]]:
    """Score the clips as asked for, with a progress bar where a person is watching."""
    from rich.console import Console
    from rich.progress import Progress

    from gait.bulk import cluster, score_clips

    done = 0
    with contextlib.ExitStack() as stack:
        executor = stack.enter_context(cluster(args.dask)) if args.dask else None
        watched = sys.stderr.isatty()
        console = Console(stderr=True)
        bar = stack.enter_context(Progress(console=console, transient=True, disable=not watched))
        task = bar.add_task("Watching", total=len(clips))

        def tell(clip: Path, share: float) -> None:
            bar.update(task, completed=done + share, description=f"Watching {clip.name}")

        for path, outcome in score_clips(
            clips,
            workers=args.workers,
            executor=executor,
            on_progress=tell,
            every_frame=args.landmarks is not None,
            keep_silhouettes=args.silhouettes is not None,
            withers_height_m=args.withers_height,
            fps=args.fps,
        ):
            done += 1
            bar.update(task, completed=done)
            yield path, outcome


def print_report(report: ClipReport) -> None:
    """Print one line per pass: cow, score, confidence and reasons."""
    name = report.info.path.name
    for p in report.passes:
        print(f"{name}  {pass_line(p)}")


def pass_line(p: PassReport) -> str:
    """Return the line of one pass."""
    from gait.statistics.spread import TWO_SIDED_90

    start, end = p.track.time_s[0], p.track.time_s[-1]
    head = f"pass {p.track.number:>3}  {start:6.1f}-{end:.1f} s  cow {p.cow or 'not named'}"
    if p.proposal is None or p.proposal.value is None:
        text = " ".join(p.problems) or "No score."
        arch = p.measures.get("back_arch")
        if arch is not None and arch.reason is None:
            text = f"back arch {arch.value:.2f} (give or take {TWO_SIDED_90 * arch.se:.2f}). {text}"
        return f"{head}  no score  {text}"
    score = p.proposal
    reasons = "; ".join(score.reasons)
    plausible = f"{score.plausible[0]}-{score.plausible[-1]}"
    return (
        f"{head}  score {score.value}  sure {score.confidence:.0%}  "
        f"plausible {plausible}  {reasons}"
    )


def _refusals(report: ClipReport) -> Iterable[str]:
    """Return what ails the clip as a whole, and why none of its passes can be judged."""
    passes = report.passes if report.refused else ()
    return dict.fromkeys([*report.problems, *(s for p in passes for s in p.problems[:1])])


def _check_outputs(args: argparse.Namespace, clips: list[Path]) -> None:
    if args.fps is not None and not any(clip.is_dir() for clip in clips):
        raise ClipError(
            "--fps is for a folder of numbered frames; a film carries its own times.",
            "Leave it out.",
        )
    if args.filmed_at is not None and len(clips) > 1:
        raise ClipError("--filmed-at tells the time of one clip only.", "Name one clip.")
    if args.filmed_at is not None:
        from gait.intake import refuse_to_come

        refuse_to_come(args.filmed_at)
    if args.overlay is not None and len(clips) > 1:
        raise ClipError("One overlay film can be written for one clip only.", "Name one clip.")
    if args.overlay is not None and args.overlay.suffix.lower() != ".webm":
        raise ClipError("The overlay film must end in .webm.", "Choose a name such as drawn.webm.")
    if args.landmarks is not None:
        args.landmarks.unlink(missing_ok=True)
    if args.silhouettes is not None:
        args.silhouettes.mkdir(parents=True, exist_ok=True)


def _write_extras(report: ClipReport, args: argparse.Namespace, *, several: bool) -> None:
    from gait.landmark_csv import write_landmarks
    from gait.overlay import frames_to_draw, write_overlay
    from gait.silhouette_png import write_silhouettes

    tracks = [p.track for p in report.passes]
    stem = report.info.path.stem
    if args.landmarks is not None:
        write_landmarks(tracks, args.landmarks, clip=stem if several else None)
    if args.silhouettes is not None:
        folder = args.silhouettes / stem if several else args.silhouettes
        write_silhouettes(tracks, folder, frames=report.frames)
    if args.overlay is not None:
        frames = frames_to_draw(report.info.path, args.fps)
        write_overlay(
            frames, tracks, args.overlay, fps=report.info.fps if report.info.fps > 0 else 1.0
        )


def _file(report: ClipReport, args: argparse.Namespace) -> None:
    from gait.filing import file_report
    from gait.store import open_store

    with open_store(args.farm) as store:
        file_report(store, report, filmed_at=args.filmed_at, exit_order=args.exit_order)
