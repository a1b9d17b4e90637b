"""Score many clips: in this process, in several, or on several machines, through one seam.

The seam is :class:`concurrent.futures.Executor`. Local processes are the default; a Dask cluster
gives the same interface through ``Client.get_executor(pure=False)``.
"""

from __future__ import annotations

import functools
import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from gait import places
from gait.errors import ClipError, GaitError

if TYPE_CHECKING:
    from gait.pipeline import ClipReport
    from gait.pose import CowNetwork
    from gait.score import ScoreModel


@dataclass(frozen=True, kw_only=True)
class Options:
    """What scoring a clip needs to know besides the clip."""

    keep_silhouettes: bool = False
    withers_height_m: float | None = None
    score_model: Path | None = None


def score_clips(
    clips: Sequence[Path],
    *,
    workers: int = 1,
    executor: Executor | None = None,
    on_progress: Callable[[Path, float], None] | None = None,
    keep_silhouettes: bool = False,
    withers_height_m: float | None = None,
    score_model: Path | None = None,
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
    keep_silhouettes : bool
        Keep every frame's silhouette with the passes.
    withers_height_m : float, optional
        Height of the withers, m.
    score_model : Path, optional
        The score model; the shipped one if not given.

    Yields
    ------
    tuple of Path and ClipReport or GaitError
        In the order of `clips` in this process, else as they are done.
    """
    options = Options(
        keep_silhouettes=keep_silhouettes,
        withers_height_m=withers_height_m,
        score_model=score_model,
    )
    if executor is None and workers <= 1:
        for clip in clips:
            tell = functools.partial(on_progress, clip) if on_progress else None
            yield clip, score_one(clip, options, on_progress=tell)
        return
    if executor is not None:
        yield from _spread(clips, options, executor)
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context) as pool:
        yield from _spread(clips, options, pool)


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
            keep_silhouettes=options.keep_silhouettes,
            withers_height_m=options.withers_height_m,
        )
    except GaitError as refusal:
        return refusal
    except OSError as trouble:
        return ClipError(
            f"The file {clip} could not be read ({trouble.strerror or trouble}).",
            "Check the card or disk it is on and try again.",
        )


def _spread(
    clips: Sequence[Path], options: Options, executor: Executor
) -> Iterator[tuple[Path, ClipReport | GaitError]]:
    waiting = {executor.submit(score_one, clip, options): clip for clip in clips}
    for done in as_completed(waiting):
        yield waiting[done], done.result()


@functools.cache
def _network() -> CowNetwork:
    """Return this process's network; loading it once a process is enough."""
    from gait.pose import CowNetwork

    return CowNetwork()


@functools.lru_cache(maxsize=2)
def _model(path: Path | None) -> ScoreModel:
    from gait.score import ScoreModel

    return ScoreModel.load(path or places.score_model())
