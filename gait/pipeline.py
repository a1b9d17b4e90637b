"""The whole way from a film or photo to scored passes: clip, pose, track, measure, score.

Nothing is stored here; :mod:`gait.filing` does that.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gait.errors import ClipError, ClipUnusable
from gait.kinds import FILM_SUFFIXES, PHOTO_SUFFIXES

if TYPE_CHECKING:
    from gait.clip import Clip, ClipInfo, Frame
    from gait.measure import Measure
    from gait.pose import CowNetwork
    from gait.score import Proposal, ScoreModel
    from gait.track import Pass

Progress = Callable[[float], None]
"""Told the share of the clip that is done, 0 to 1."""

LOOKS_PER_S = 15.0
"""Looks a second at the least; of a faster film only every second, third ... frame is looked at. On
160 drawn clips of 24 to 60 frames a second step time asymmetry then errs by 1.26 % instead of 1.19
(root mean square), triple support by 2.9 instead of 2.5, stride duration by 4.0 ms instead of 5.3,
and the rest as before; 39 films of the rigged cow show no difference."""
PHOTO_ONLY = (
    "A photo shows posture only, so no score is proposed. Look at the cow and score her yourself, "
    "or film her walking past."
)


@dataclass(frozen=True, kw_only=True)
class PassReport:
    """What came out of one pass."""

    track: Pass
    cow: str | None
    usable: bool
    problems: tuple[str, ...]
    measures: Mapping[str, Measure]
    proposal: Proposal | None

    def to_json(self) -> dict[str, Any]:
        """Return the pass in the published JSON form; NaN becomes null."""
        track = self.track
        return {
            "pass": track.number,
            "start_s": round(float(track.time_s[0]), 3),
            "end_s": round(float(track.time_s[-1]), 3),
            "cow": self.cow,
            "heading": track.heading,
            "usable": self.usable,
            "problems": list(self.problems),
            "measures": {name: measure_json(m) for name, m in self.measures.items()},
            "score": proposal_json(self.proposal),
        }


@dataclass(frozen=True, kw_only=True)
class ClipReport:
    """What came out of one film or photo."""

    info: ClipInfo
    frames: int
    passes: Sequence[PassReport]
    problems: tuple[str, ...] = ()
    extra: Mapping[str, Any] = field(default_factory=dict)

    @property
    def refused(self) -> bool:
        """True when nothing in the clip could be judged."""
        return not any(p.usable for p in self.passes)

    def to_json(self) -> dict[str, Any]:
        """Return the clip in the published JSON form."""
        return {
            "clip": str(self.info.path),
            "frames": self.frames,
            "fps": _number(self.info.fps),
            "photo": self.info.is_photo,
            "problems": list(self.problems),
            "passes": [p.to_json() for p in self.passes],
        }


def measure_json(measure: Measure) -> dict[str, Any]:
    """Return one measure as plain JSON; a missing value is null and carries its reason."""
    plain = measure.as_json()
    return {**plain, "value": _number(measure.value), "se": _number(measure.se)}


def proposal_json(proposal: Proposal | None) -> dict[str, Any] | None:
    """Return a proposed score as plain JSON, or None where none is proposed."""
    if proposal is None or proposal.value is None:
        return None
    return {
        "value": proposal.value,
        "confidence": _number(proposal.confidence),
        "probabilities": [_number(p) for p in proposal.probabilities],
        "plausible": list(proposal.plausible),
        "reasons": list(proposal.reasons),
        "contributions": {k: _number(v) for k, v in proposal.contributions.items()},
        "model": proposal.model_version,
    }


def find_clips(paths: Sequence[Path]) -> list[Path]:
    """Return the films and photos among files and folders, folders searched to the bottom.

    A folder of numbered frames counts as one film.

    Raises
    ------
    ClipError
        A folder holds no film or photo.
    """
    from gait.clip import is_frame_folder

    found: list[Path] = []
    for path in paths:
        if not path.is_dir() or is_frame_folder(path):
            found.append(path)
            continue
        inside = [p for p in sorted(path.rglob("*")) if _is_clip(p)]
        if not inside:
            raise ClipError(
                f"There is no film or photo in the folder {path}.", "Choose another folder."
            )
        found.extend(inside)
    return found


def score_clip(
    path: Path,
    network: CowNetwork,
    model: ScoreModel,
    *,
    on_progress: Progress | None = None,
    every_frame: bool = False,
    keep_silhouettes: bool = False,
    withers_height_m: float | None = None,
    name: str | None = None,
    fps: float | None = None,
) -> ClipReport:
    """Find every cow that walks past in a film, measure her and propose a score.

    Parameters
    ----------
    path : Path
        A film or photo.
    network : CowNetwork
        The open network.
    model : ScoreModel
        The score model.
    on_progress : callable, optional
        Told the share done.
    every_frame : bool
        Look at every frame of a fast film too, not at `LOOKS_PER_S` only.
    keep_silhouettes : bool
        Do so, and keep the silhouette of every frame with the passes (much memory on long films).
    withers_height_m : float, optional
        Height of the withers, m, to give lengths in metres as well.
    name : str, optional
        The file's name as the person knows it, which may hold the cow's number; else its own.
    fps : float, optional
        Frames a second of a folder of numbered photos (25 when not given); films have their own.

    Returns
    -------
    ClipReport

    Raises
    ------
    ClipError
        The file cannot be used at all; the message says why and what to do.
    """
    from gait.clip import Clip
    from gait.track import follow

    cow = written_cow((Path(name) if name else path).stem)
    looks_per_s = None if every_frame or keep_silhouettes else LOOKS_PER_S
    with Clip(path, fps, looks_per_s=looks_per_s) as clip:
        if clip.info.is_photo:
            clip.close()
            return _score_photo(clip.info, network, cow, keep_silhouettes)
        measured: list[Future[PassReport]] = []
        problem = ""
        # one cow is measured while the next one walks
        with ThreadPoolExecutor(1, thread_name_prefix="measure") as measuring:
            try:
                frames = _Told(clip, on_progress)
                for track in follow(frames, network, keep_silhouettes=keep_silhouettes):
                    measured.append(measuring.submit(_report, track, model, cow, withers_height_m))
            except ClipError as error:
                # of a film that breaks off the first part stands; one that cannot be timed has none
                if not measured or isinstance(error, ClipUnusable):
                    raise
                problem = str(error)
        passes = [one.result() for one in measured]
        return _film_report(clip, passes, problem)


def _film_report(clip: Clip, passes: list[PassReport], problem: str) -> ClipReport:
    from gait.track.problems import NO_COW

    problems = (problem,) if problem else () if passes else (NO_COW,)
    return ClipReport(info=clip.info, frames=clip.count, passes=passes, problems=problems)


class _Told:
    """Frames of a film, with progress told as they are read."""

    def __init__(self, clip: Clip, on_progress: Progress | None) -> None:
        self.clip, self.on_progress = clip, on_progress

    def __iter__(self) -> Iterator[Frame]:
        total = max(1, self.clip.info.frames_declared or 1)
        for read, frame in enumerate(self.clip.frames(), 1):
            if self.on_progress and read % 10 == 0:
                self.on_progress(min(1.0, self.clip.count / total))
            yield frame
        if self.on_progress:
            self.on_progress(1.0)


def _report(
    track: Pass, model: ScoreModel, cow: str | None, withers_height_m: float | None
) -> PassReport:
    from gait.measure import measure_pass
    from gait.track import settle_legs

    if not track.usable:
        return PassReport(
            track=track.slim(),
            cow=cow,
            usable=False,
            problems=track.problems,
            measures={},
            proposal=None,
        )
    settled = settle_legs(track)
    measured = measure_pass(settled, withers_height_m=withers_height_m)
    proposal = model.propose(measured.measures) if measured.usable else None
    problems = (*settled.problems, *measured.problems)
    if proposal is not None and proposal.value is None:
        problems = (*problems, *proposal.reasons)
    return PassReport(
        track=settled.slim(),
        cow=cow,
        usable=measured.usable,
        problems=problems,
        measures=measured.measures,
        proposal=proposal,
    )


def _score_photo(
    info: ClipInfo, network: CowNetwork, cow: str | None, keep_silhouettes: bool
) -> ClipReport:
    from gait.measure import measure_posture
    from gait.pose import CarefulNetwork
    from gait.track import photo_pass

    track = photo_pass(info, CarefulNetwork(network), keep_silhouettes=keep_silhouettes)
    measured = measure_posture(track)
    report = PassReport(
        track=track,
        cow=cow,
        usable=track.usable and measured.usable,
        problems=(*track.problems, *measured.problems, PHOTO_ONLY),
        measures=measured.measures,
        proposal=None,
    )
    return ClipReport(info=info, frames=1, passes=[report])


def written_cow(name: str) -> str | None:
    """Return the animal number that a file name spells out, such as ``cow_0412``, else None.

    Only a number behind one of the words cow, tag, nr or animal counts here; filing on a farm also
    knows the herd list.
    """
    found = re.search(r"(?i)(?:^|[^a-z])(?:cow|tag|nr|animal)[ _.-]*(\d+)(?!\d)", name)
    return found[1] if found else None


def _is_clip(path: Path) -> bool:
    return path.is_file() and path.suffix.lower() in FILM_SUFFIXES | PHOTO_SUFFIXES


def _number(value: float) -> float | None:
    return round(float(value), 5) if math.isfinite(value) else None
