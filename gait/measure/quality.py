"""What is wrong with a pass: refuse it, or widen the errors of what was measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from gait.measure.lane import LEAST_WHOLE_FRAMES, MOST_TILT_DEG, Lane
from gait.measure.result import Measure
from gait.measure.rhythm import stance_share, stride_count, too_few_strides
from gait.measure.timetable import Timetable

if TYPE_CHECKING:
    from gait.track.passes import Pass

LEAST_BODY_RATIO, SHORT_BODY_RATIO = 0.55, 0.7
"""Body length over withers height: about 1 square from the side, less when seen at an angle."""
MOST_SCALE_CHANGE = 0.25
LEAST_CONFIDENCE, LOW_CONFIDENCE = 0.2, 0.4
LEAST_BODY_PX, SMALL_BODY_PX = 60.0, 120.0
LEAST_STANCE_PCT = 45.0
"""Walking means that each hoof stands for more than half of its stride (Usherwood & Self Davies
2017, eLife 6:e29495); what is left is for errors of the hoof events."""
ERROR_GROWTH = 1.25
"""Every problem that does not refuse a pass multiplies its errors by this; ours."""


@dataclass(frozen=True, kw_only=True)
class Quality:
    """What a pass can carry.

    Parameters
    ----------
    usable : bool
        False when the measures must not be scored.
    problems : tuple of str
        Sentences: what is wrong and what to do next, refusals first.
    error_factor : float
        By how much every standard error is multiplied, >= 1.
    """

    usable: bool
    problems: tuple[str, ...]
    error_factor: float


def judge(pass_: Pass, lane: Lane, table: Timetable | None) -> Quality:
    """Tell what a pass can carry.

    Parameters
    ----------
    pass_ : Pass
    lane : Lane
        The same pass in lane coordinates.
    table : Timetable or None
        Its hoof events.

    Returns
    -------
    Quality
    """
    refusals = [r for r in (_too_small(lane), _oblique(lane), _cut(pass_), _unsure(pass_)) if r]
    too_short = too_few_strides(table)
    steps = too_short if too_short is not None else _no_walk(table)
    if steps is not None:
        refusals.append(steps)
    doubts = [
        d
        for d in (
            _a_little_oblique(lane),
            _scale_changes(pass_, lane),
            _tilted(lane),
            _small(lane),
            _a_little_unsure(pass_),
            _one_or_two_strides(table),
            _odd_order(table),
        )
        if d
    ]
    # what the tracking found wrong (blur, dark, another cow before her) counts as well
    worse = len(doubts) + len(pass_.problems)
    return Quality(
        usable=not refusals, problems=(*refusals, *doubts), error_factor=ERROR_GROWTH**worse
    )


def widen(measures: Mapping[str, Measure], quality: Quality) -> dict[str, Measure]:
    """Return the measures with their errors multiplied by the quality's factor."""
    return {
        name: replace(m, se=m.se * quality.error_factor) if m.is_known else m
        for name, m in measures.items()
    }


def judge_photo(lane: Lane) -> Quality:
    """Tell what a photo can carry by the angle she is seen at (errors: ``foreshortening``)."""
    refusal, doubt = _oblique(lane), _a_little_oblique(lane)
    problems = tuple(p for p in (refusal, doubt) if p)
    return Quality(usable=refusal is None, problems=problems, error_factor=1.0)


def foreshortening(lane: Lane) -> float:
    """Return the share, 0 to 1, by which a back seen at an angle looks shorter than it is.

    The line from withers to tailhead shortens and the arch above it does not, so a back arch
    appears greater by up to this share. Zero unless she is plainly seen at an angle.
    """
    ratio = _body_ratio(lane)
    return 1.0 - ratio if ratio < SHORT_BODY_RATIO else 0.0


# --- refusals ---------------------------------------------------------------------------------


def _too_small(lane: Lane) -> str | None:
    if not np.isfinite(lane.body_length_px):
        return "Withers and tailhead were never seen together. Film the whole cow from the side."
    if lane.body_length_px < LEAST_BODY_PX:
        return "The cow is too small in the picture. Go closer or zoom in."
    return None


def _body_ratio(lane: Lane) -> float:
    return lane.body_length_px / lane.withers_height_px


def _oblique(lane: Lane) -> str | None:
    if _body_ratio(lane) < LEAST_BODY_RATIO:
        return "She is seen from the front or from behind. Film square from the side of the lane."
    return None


def _cut(pass_: Pass) -> str | None:
    if int((~pass_.cut).sum()) < LEAST_WHOLE_FRAMES:
        return "She is never wholly in the picture. Stand farther back or turn the phone sideways."
    return None


def _confidence(pass_: Pass) -> float:
    return float(np.median(pass_.confidence)) if len(pass_) else 0.0


def _unsure(pass_: Pass) -> str | None:
    if _confidence(pass_) < LEAST_CONFIDENCE:
        return "Her joints cannot be made out. Film her in better light, in focus, from the side."
    return None


def _no_walk(table: Timetable | None) -> str | None:
    if table is None:
        return None
    share = stance_share(table)
    if share.is_known and share.value < LEAST_STANCE_PCT:
        return (
            "Her hooves hardly stand still on the floor, so this is no walk, or the camera moved "
            "along with her. Let her walk calmly and hold the camera still."
        )
    return None


# --- doubts -----------------------------------------------------------------------------------


def _a_little_oblique(lane: Lane) -> str | None:
    if LEAST_BODY_RATIO <= _body_ratio(lane) < SHORT_BODY_RATIO:
        return "She is seen at an angle, so the measures are less sure. Film square to the lane."
    return None


def _scale_changes(pass_: Pass, lane: Lane) -> str | None:
    size = pass_.box[:, 3] - pass_.box[:, 1]
    size = size[~pass_.cut & np.isfinite(size)]
    third = len(size) // 3
    if third < 3:
        return None
    change = float(np.median(size[-third:]) / np.median(size[:third]))
    if abs(np.log(change)) > MOST_SCALE_CHANGE:
        return "She comes nearer or goes away, so lengths are less sure. Film square to the lane."
    return None


def _tilted(lane: Lane) -> str | None:
    if abs(lane.tilt_deg) > MOST_TILT_DEG / 2:
        return "The floor is not level in the picture, so heights are less sure. Level the camera."
    return None


def _small(lane: Lane) -> str | None:
    if LEAST_BODY_PX <= lane.body_length_px < SMALL_BODY_PX:
        return "The cow is small in the picture, so the measures are less sure. Go closer."
    return None


def _a_little_unsure(pass_: Pass) -> str | None:
    if LEAST_CONFIDENCE <= _confidence(pass_) < LOW_CONFIDENCE:
        return "Her joints are hard to make out, so the measures are less sure. Use better light."
    return None


def _one_or_two_strides(table: Timetable | None) -> str | None:
    if table is not None and stride_count(table) == 2:
        return "Only two strides were seen, so the measures are less sure. Film a longer stretch."
    return None


def _odd_order(table: Timetable | None) -> str | None:
    """Doubt a pass whose hooves do not come down in the order of the walk.

    In a walk a fore hoof comes down within the half stride after the hind hoof of its side.
    """
    if table is None:
        return None
    for side in ("near", "far"):
        if not table.knows((f"{side}_hind", "on"), (f"{side}_fore", "on")):
            continue
        hind, fore = (
            table.phase_s(table.fitted, f"{side}_{end}", "on") for end in ("hind", "fore")
        )
        if (fore - hind) / table.stride_s % 1 > 0.6:
            return "The legs could not be told apart for certain. Film her with no cow behind her."
    return None
