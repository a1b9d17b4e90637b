"""Score many clips: in this process, in several, or on several machines, through one seam.

The seam is :class:`concurrent.futures.Executor`. Local processes are the default; a Dask cluster
gives the same interface, see :func:`cluster`. Whatever happens to a process or machine on the way,
every clip comes back exactly once, with its report or with the reason why there is none.
"""

from __future__ import annotations

import contextlib
import functools
import logging
import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gait import places
from gait.errors import ClipError, ClipUnreadable, GaitError

if TYPE_CHECKING:
    from gait.pipeline import ClipReport
    from gait.pose import CowNetwork
    from gait.score import ScoreModel

Scorer = Callable[[Path, "Options"], "ClipReport | GaitError"]
MOST_CRASHES = 2
"""So often is the whole rest begun anew; after that each clip gets a process to itself."""


@dataclass(frozen=True, kw_only=True)
class Options:
    """What scoring a clip needs to know besides the clip."""

    every_frame: bool = False
    keep_silhouettes: bool = False
    withers_height_m: float | None = None
    score_model: Path | None = None
    fps: float | None = None


def score_clips(
    clips: Sequence[Path],
    *,
    workers: int = 1,
    executor: Executor | None = None,
    on_progress: Callable[[Path, float], None] | None = None,
    every_frame: bool = False,
    keep_silhouettes: bool = False,
    withers_height_m: float | None = None,
    score_model: Path | None = None,
    fps: float | None = None,
) -> Iterator[tuple[Path, ClipReport | GaitError]]:
    """Yield each clip with its report, or with the reason why it was refused.

    Parameters
    ----------
    clips : sequence of Path
        Films and photos.
    workers : int
        Processes of this machine; ignored when an executor is given.
    executor : Executor, optional
        Anything with ``submit``, for instance a Dask cluster's.
    on_progress : callable, optional
        Told the clip and the share done; only when scoring in this process.
    every_frame : bool
        Look at every frame of a fast film too.
    keep_silhouettes : bool
        Do so, and keep every frame's silhouette with the passes.
    withers_height_m : float, optional
        Height of the withers, m.
    score_model : Path, optional
        The score model; the shipped one if not given.
    fps : float, optional
        Frames a second of folders of numbered photos.

    Yields
    ------
    tuple of Path and ClipReport or GaitError
        In the order of `clips` in this process, else as they are done.
    """
    options = Options(
        every_frame=every_frame,
        keep_silhouettes=keep_silhouettes,
        withers_height_m=withers_height_m,
        score_model=score_model,
        fps=fps,
    )
    if executor is None and workers <= 1:
        try:
            for clip in clips:
                tell = functools.partial(on_progress, clip) if on_progress else None
                yield clip, score_one(clip, options, on_progress=tell)
        finally:
            _close_network()
        return
    if executor is None:
        yield from spread_over_processes(clips, options, workers)
        return
    for clip, outcome in _spread(clips, options, executor):
        yield clip, outcome or _crashed(clip)


def score_one(
    clip: Path, options: Options, on_progress: Callable[[float], None] | None = None
) -> ClipReport | GaitError:
    """Score one clip; a refusal is returned, not raised, so that a batch goes on."""
    from gait.pipeline import score_clip

    try:
        return score_clip(
            clip,
            _network(),
            _model(options.score_model),
            on_progress=on_progress,
            every_frame=options.every_frame,
            keep_silhouettes=options.keep_silhouettes,
            withers_height_m=options.withers_height_m,
            fps=options.fps,
        )
    except GaitError as refusal:
        return refusal
    except OSError as trouble:
        return ClipError(
            f"The file {clip} could not be read ({trouble.strerror or trouble}).",
            "Check the card or disk it is on and try again.",
        )
    except Exception as fault:  # a fault of ours in one clip must not lose the others
        return unexpected(clip, fault)


def unexpected(clip: Path, fault: Exception) -> ClipError:
    """Return the sentence for a fault of the program; the log has the rest."""
    logging.getLogger(__name__).debug("%s could not be scored", clip, exc_info=fault)
    return ClipError(
        f"{clip.name} could not be scored: the program met a fault ({type(fault).__name__}: "
        f"{fault}).",
        "Please report it with the film; the other films are not touched.",
    )


def spread_over_processes(
    clips: Sequence[Path], options: Options, workers: int, scorer: Scorer = score_one
) -> Iterator[tuple[Path, ClipReport | GaitError]]:
    """Score in processes of this machine; a process that is killed loses no clip.

    Parameters
    ----------
    clips : sequence of Path
    options : Options
    workers : int
        Processes at a time.
    scorer : callable
        What each process does with a clip; a function of a module.

    Yields
    ------
    tuple of Path and ClipReport or GaitError
        As they are done.
    """
    context = multiprocessing.get_context("spawn")
    left = list(clips)
    for _ in range(MOST_CRASHES):
        lost: list[Path] = []
        with ProcessPoolExecutor(workers, mp_context=context) as pool:
            for clip, outcome in _spread(left, options, pool, scorer):
                if outcome is None:
                    lost.append(clip)
                else:
                    yield clip, outcome
        left = lost
    for clip in left:
        with ProcessPoolExecutor(1, mp_context=context) as pool:
            ((_, outcome),) = _spread([clip], options, pool, scorer)
        yield clip, outcome or _crashed(clip)


@contextlib.contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """Give the seam to a Dask cluster; the clips must lie where every machine sees them.

    Parameters
    ----------
    address : str
        Of the scheduler, such as ``tcp://10.0.0.5:8786``.

    Raises
    ------
    GaitError
        The part for several machines is not installed, or nobody answers.
    """
    try:
        import distributed
    except ImportError as error:
        raise GaitError(
            "The part for several machines is not installed.",
            "Install it with: pip install 'exitlane[spread]'",
        ) from error
    connect: Any = distributed.Client
    try:
        client = connect(address, timeout=20, set_as_default=False)
    except (OSError, ValueError) as error:
        raise GaitError(
            f"No Dask scheduler answers at {address}.", "Start it with: dask scheduler"
        ) from error
    with client:
        # pure=False: asking twice for the same clip is two pieces of work, never a merged one
        yield client.get_executor(pure=False)


def _spread(
    clips: Sequence[Path], options: Options, executor: Executor, scorer: Scorer = score_one
) -> Iterator[tuple[Path, ClipReport | GaitError | None]]:
    """Yield each clip with what came of it; None where its process or machine was lost."""
    waiting = {}
    for clip in clips:
        try:
            waiting[executor.submit(scorer, clip, options)] = clip
        except BrokenProcessPool:
            yield clip, None
    for done in as_completed(list(waiting)):
        clip = waiting.pop(done)  # a report is let go of once it is handed on
        try:
            yield clip, done.result()
        except Exception as lost:  # each kind of executor has its own name for a lost worker
            logging.getLogger(__name__).debug("%s was lost", clip, exc_info=lost)
            yield clip, None


def _crashed(clip: Path) -> ClipError:
    return ClipUnreadable(
        f"The process that scored {clip.name} was ended again and again.",
        "The machine may be short of memory; score this film alone, or copy it from the camera "
        "again.",
    )


_open: dict[str, CowNetwork] = {}


def _network() -> CowNetwork:
    """Return this process's network; loading it once a process is enough."""
    from gait.pose import CowNetwork

    if "network" not in _open:
        _open["network"] = CowNetwork()
    return _open["network"]


def _close_network() -> None:
    """Close it while MediaPipe's threads still run; at the interpreter's end it is too late."""
    network = _open.pop("network", None)
    if network is not None:
        network.close()


@functools.lru_cache(maxsize=2)
def _model(path: Path | None) -> ScoreModel:
    from gait.score import ScoreModel

    return ScoreModel.load(path or places.score_model())
