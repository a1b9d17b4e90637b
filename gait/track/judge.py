"""From a followed cow to a pass: what she did, what is wrong with it, or that she was none."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from gait.pose import Box
from gait.track import problems
from gait.track.cow import SMOOTHING, Followed, Row, middle_x
from gait.track.passes import Pass
from gait.track.view import settle_views

FloatArray = npt.NDArray[np.float64]

SHORTEST_S = 1.0
"""Cows followed for less than this are dropped: nothing can be said of them."""
STANDING_S = 2.0
"""A cow that does not travel is reported only when seen for at least this long."""
LEAST_CONFIDENCE = 0.24
"""Median landmark confidence under which what was followed was no cow. Ours: a goat and bare rock
gave 0.18, a camel 0.42, cows 0.45-0.55 with the first network."""
SLIVER_ASPECT = 0.7
"""Width over height under which what shows of her, always cut by the frame, is no pass."""
SLIVER_SHARE, SLIVER_CONFIDENCE, SLIVER_CUT = 0.25, 0.45, 0.8
"""The same for what is never wider than this share of the frame, never surer than this, and mostly
cut: the tail end of a cow who has just left."""
STOPPED_S = 1.5
"""Time without progress from which a cow on her way is said to have stopped."""
TRAVELS = 0.2
"""Share of her own visible length, nose to tail, she must travel to count as walking."""
OVERLAPS = 0.25
"""Share of her box covered by another cow's from which the two overlap."""
SOME_OF_THE_WAY, ALL_THE_WAY = 0.1, 0.6
"""Shares of frames with another cow from which it is noted and from which the pass is refused."""
LEGS_SHARE = 0.45
"""From this share of frames with a hoof too many on, another cow goes beside her all the way. Ours,
on drawn cows: single cows give up to 0.12, cows close behind each other and crossing 0-0.4, cows
abreast 0.55-0.9."""
LEAST_LIKENESS, LEAST_FINDS = 0.6, 4
"""What the finder, asked at least so often, gives a cow in the middle at the least. Ours: real cows
in photos 0.69 up (99 of 100), passes of drawn and rigged cows 0.71 up, 0.65 from far and slantwise;
film of a camel and a goat 0.43-0.47, a cut-out of a dog 0.54, but of a sheep and a pig 0.6-0.7 and
of a horse and a donkey 0.7-0.8."""
DARK_LEVEL, DIM_LEVEL = 8.0, 20.0
"""Mean grey level of her box under which she is refused, and under which only if also unsure. Real
cows in a dark barn have 22-32 and are seen well."""
SEEN_IN_DIM = 0.5
BLURRED_SHARPNESS = 0.09
"""Sharpness under which she is blurred. Ours: real photos give 0.4-1.3, the same photos blurred
by 0.3 % of their width 0.05-0.13."""
HEAD_ON_ASPECT = 0.85
"""Width over height of the whole cow under which she is seen from front or behind."""


@dataclass(frozen=True, kw_only=True)
class _Verdict:
    problems: list[str]
    usable: bool


def make_pass(
    cow: Followed,
    image_size: tuple[int, int],
    fps: float,
    *,
    keep_silhouettes: bool = False,
) -> Pass | None:
    """Turn a followed cow into a pass, or return None when it was no cow walking or standing.

    Parameters
    ----------
    cow : Followed
        Ended.
    image_size : tuple of int
        Width and height of the frames, px.
    fps : float
        Frames a second.
    keep_silhouettes : bool
        Whether to keep her outline in every frame.

    Returns
    -------
    Pass or None
        With number 0; the caller numbers passes in order of appearance.
    """
    rows = _without_coasting(cow.rows)
    if len(rows) < 3 or rows[-1].time_s - rows[0].time_s < SHORTEST_S:
        return None
    to_ground = settle_views([row.view for row in rows], image_size)
    draft = _as_pass(rows, to_ground, image_size, fps, keep_silhouettes)
    travelled = _travelled(draft)
    duration = float(draft.time_s[-1] - draft.time_s[0])
    if abs(travelled) < TRAVELS and duration < STANDING_S:
        return None
    if np.median(draft.confidence) < LEAST_CONFIDENCE:
        return None
    if _is_sliver(draft) or _is_glimpse_of_others(draft, cow):
        return None
    verdict = _judge(draft, cow, rows, travelled)
    return _with(draft, heading=_heading(draft, travelled), verdict=verdict)


def _is_sliver(draft: Pass) -> bool:
    """Tell whether only a strip of her ever showed at the frame's edge: part of another pass."""
    size = draft.box[:, 2:] - draft.box[:, :2]
    narrow = np.percentile(size[:, 0] / size[:, 1], 95) < SLIVER_ASPECT
    small = size[:, 0].max() < SLIVER_SHARE * draft.image_size[0]
    unsure = np.median(draft.confidence) < SLIVER_CONFIDENCE
    # between two cows close behind each other the end of the one can look like a third
    mostly_small = np.median(size[:, 0]) < SLIVER_SHARE * draft.image_size[0]
    between = mostly_small and _overlapped_share(draft) > 0.5
    cut = draft.cut.mean()
    return bool((cut > 0.95 and narrow) or (cut > SLIVER_CUT and ((small and unsure) or between)))


def _is_glimpse_of_others(draft: Pass, cow: Followed) -> bool:
    """Tell whether what was followed was never clearly a cow and mostly lay over cows that were."""
    never_sure = cow.is_glimpse and max(cow.likeness, default=0.0) < LEAST_LIKENESS
    unsure = np.median(draft.confidence) < SLIVER_CONFIDENCE
    return bool(never_sure and unsure and _overlapped_share(draft) > 0.5)


def _overlapped_share(draft: Pass) -> float:
    """Return the share of her frames in which the finder sees another cow over or behind her."""
    return float((draft.overlap > OVERLAPS).mean())


def _without_coasting(rows: list[Row]) -> list[Row]:
    """Drop uncertain sightings at both ends, where she is not yet or no longer to be seen."""
    sure = [i for i, row in enumerate(rows) if row.seen.box.confidence >= 0.2]
    return rows[sure[0] : sure[-1] + 1] if sure else []


def _as_pass(
    rows: list[Row],
    to_ground: FloatArray,
    image_size: tuple[int, int],
    fps: float,
    keep_silhouettes: bool,
) -> Pass:
    seen = [row.seen for row in rows]
    outlines = to_frame = None
    if keep_silhouettes:
        outlines = np.stack([row.outline for row in rows if row.outline is not None])
        to_frame = np.stack([s.silhouette.to_frame for s in seen])
    return Pass(
        number=0,
        frame=np.array([row.frame for row in rows], np.int64),
        time_s=np.array([row.time_s for row in rows]),
        points=np.stack([s.points for s in seen]),
        confidence=np.stack([s.confidence for s in seen]),
        box=np.array([[s.box.x0, s.box.y0, s.box.x1, s.box.y1] for s in seen]),
        to_ground=to_ground,
        back_line=np.stack([s.back_line for s in seen]),
        cut=np.array([s.cut for s in seen]),
        image_size=image_size,
        fps=fps,
        heading="right",
        brightness=np.array([s.brightness for s in seen]),
        sharpness=np.array([s.sharpness for s in seen]),
        overlap=np.array([row.overlap for row in rows]),
        silhouettes=outlines,
        silhouette_to_frame=to_frame,
    )


def _length_px(draft: Pass) -> float:
    """Return her visible length: the box's width where she is whole, else where she is widest."""
    width = draft.box[:, 2] - draft.box[:, 0]
    whole = width[~draft.cut]
    return float(np.median(whole)) if len(whole) >= 5 else float(np.percentile(width, 95))


def _middle_x(draft: Pass) -> FloatArray:
    """Return the place of her middle along the lane, ground px, shape (n,)."""
    length, width = _length_px(draft), draft.image_size[0]
    boxes = [Box(x0=x0, y0=y0, x1=x1, y1=y1) for x0, y0, x1, y1 in draft.box.tolist()]
    middle = np.array([[middle_x(box, length, width), box.centre[1]] for box in boxes])
    x: FloatArray = draft.ground(middle)[:, 0]
    # a running median: single wild boxes must not look like motion
    around = np.pad(x, SMOOTHING // 2, mode="edge")
    smooth: FloatArray = np.median(sliding_window_view(around, SMOOTHING), axis=1)
    return smooth


def _travelled(draft: Pass) -> float:
    """Return the farthest she went, in her own visible lengths; positive to the right."""
    x = _middle_x(draft)
    right = float((x - np.minimum.accumulate(x)).max())
    left = float((np.maximum.accumulate(x) - x).max())
    return (right if right >= left else -left) / max(_length_px(draft), 1.0)


def _faces(draft: Pass) -> float:
    """Return the share of frames with the head to the right minus those with it to the left."""
    ahead = draft.point("poll")[:, 0] - draft.point("tailhead")[:, 0]
    ahead = ahead[~np.isnan(ahead)]
    return float(np.sign(ahead).mean()) if len(ahead) else 0.0


def _heading(draft: Pass, travelled: float) -> Literal["left", "right"]:
    way = travelled if abs(travelled) >= TRAVELS else _faces(draft)
    return "right" if way >= 0 else "left"


def _judge(draft: Pass, cow: Followed, rows: list[Row], travelled: float) -> _Verdict:
    head_on = _is_head_on(draft)
    companion = _companion_share(draft, rows, count_legs=not head_on)
    refusals = [
        *_movement_refusals(draft, cow, travelled),
        *([problems.OVERLAP] if companion > ALL_THE_WAY else []),
        *([problems.HEAD_ON] if head_on else []),
        *([problems.DARK] if _is_too_dark(draft) else []),
    ]
    if not refusals and _is_unlike_a_cow(cow):
        refusals = [problems.NO_COW_PERHAPS]
    notes = _notes(draft, rows, companion, cow.ended)
    return _Verdict(problems=refusals + notes, usable=not refusals)


def _movement_refusals(draft: Pass, cow: Followed, travelled: float) -> list[str]:
    found = []
    if abs(travelled) < TRAVELS:
        found.append(problems.TURNS if cow.ended == "turned" else problems.STANDS)
    elif _faces(draft) * np.sign(travelled) < -0.6:
        found.append(problems.BACKWARDS)
    return found


def _companion_share(draft: Pass, rows: list[Row], *, count_legs: bool) -> float:
    """Return the share of her frames in which another cow is over or behind her.

    The finder tells two cows apart while their middles are; cows abreast are told by their legs,
    which can be counted from the side only.
    """
    legs = np.array([row.seen.extra_hooves > 0 for row in rows])
    whole = legs[~draft.cut] if (~draft.cut).sum() >= 10 else legs
    abreast = count_legs and whole.mean() > LEGS_SHARE
    return 1.0 if abreast else _overlapped_share(draft)


def _is_head_on(draft: Pass) -> bool:
    size = draft.box[:, 2:] - draft.box[:, :2]
    whole = ~draft.cut
    aspect = size[whole, 0] / size[whole, 1]
    return bool(whole.sum() >= 3 and np.median(aspect) < HEAD_ON_ASPECT)


def _is_too_dark(draft: Pass) -> bool:
    brightness, confidence = np.nanmedian(draft.brightness), np.median(draft.confidence)
    unsure = confidence < SEEN_IN_DIM
    return bool(brightness < DARK_LEVEL or (brightness < DIM_LEVEL and unsure))


def _is_unlike_a_cow(cow: Followed) -> bool:
    asked = len(cow.likeness) >= LEAST_FINDS
    return bool(asked and np.median(cow.likeness) < LEAST_LIKENESS)


def _notes(draft: Pass, rows: list[Row], companion: float, ended: str) -> list[str]:
    notes = []
    if SOME_OF_THE_WAY < companion <= ALL_THE_WAY:
        notes.append(problems.PART_OVERLAP.format(share=companion))
    if ended == "turned" and abs(_travelled(draft)) >= TRAVELS:
        notes.append(problems.TURNS_LATER)
    standing = _standing_s(draft)
    if standing > STOPPED_S and abs(_travelled(draft)) >= TRAVELS:
        notes.append(problems.STOPS.format(seconds=standing))
    sharpness = draft.sharpness[~np.isnan(draft.sharpness)]
    if len(sharpness) and np.median(sharpness) < BLURRED_SHARPNESS:
        notes.append(problems.BLURRED)
    frozen = sum(row.repeat for row in rows)
    if frozen > max(5, 0.1 * len(rows)):
        notes.append(problems.FROZEN.format(frames=frozen))
    return notes


def _standing_s(draft: Pass) -> float:
    """Return the longest time, seconds, in which she moves by less than a tenth of her length."""
    x, t = _middle_x(draft), draft.time_s
    reach, longest, first = 0.1 * _length_px(draft), 0.0, 0
    for last in range(len(x)):
        while x[first : last + 1].max() - x[first : last + 1].min() > reach:
            first += 1
        longest = max(longest, float(t[last] - t[first]))
    return longest


def _with(draft: Pass, *, heading: Literal["left", "right"], verdict: _Verdict) -> Pass:
    return dataclasses.replace(
        draft, heading=heading, problems=tuple(verdict.problems), usable=verdict.usable
    )
