"""All measurements of a pass, or of a photo, and what is wrong with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from gait.measure.back import measure_back, photo_back
from gait.measure.head_bob import measure_head
from gait.measure.hoof_events import find_swings, longest_walk
from gait.measure.lane import Lane, see_in_lane
from gait.measure.prints import measure_prints
from gait.measure.quality import Quality, foreshortening, judge, judge_photo, widen
from gait.measure.result import Measure, known, missing
from gait.measure.rhythm import measure_rhythm
from gait.measure.swing_fit import Swing
from gait.measure.timetable import fit_timetable, keep_regular

if TYPE_CHECKING:
    from gait.track.passes import Pass


@dataclass(frozen=True, kw_only=True)
class Measurements:
    """What was measured of one pass.

    Parameters
    ----------
    measures : mapping of str to Measure
        Every measure by name; those that could not be had carry the reason.
    usable : bool
        False when the pass cannot carry a score.
    problems : tuple of str
        What is wrong and what to do next, worst first.
    """

    measures: Mapping[str, Measure]
    usable: bool
    problems: tuple[str, ...]


def measure_pass(pass_: Pass, withers_height_m: float | None = None) -> Measurements:
    """Measure one walk past the camera.

    Parameters
    ----------
    pass_ : Pass
        One cow walking past, near and far legs settled (`gait.track.settle_legs`).
    withers_height_m : float, optional
        The cow's withers height in metres; gives stride length and speed in metres too.

    Returns
    -------
    Measurements
        All measures of the package's description, each with error, strides and unit, or reason.
    """
    lane = see_in_lane(pass_)
    swings = regular_swings(lane)
    table = fit_timetable(swings)
    measures = (
        measure_back(pass_, lane, table)
        | measure_head(lane, table)
        | measure_rhythm(swings, table)
        | measure_prints(lane, swings, table)
    )
    quality = judge(pass_, lane, table)
    measures = widen(measures, quality)
    if withers_height_m is not None:
        measures |= _in_metres(measures, lane, withers_height_m)
    return Measurements(measures=measures, usable=quality.usable, problems=quality.problems)


def regular_swings(lane: Lane) -> dict[str, list[Swing]]:
    """Return the swings that are measured: those of the longest walk without a stop, in beat."""
    return keep_regular(longest_walk(lane, find_swings(lane)))


def measure_posture(pass_: Pass) -> Measurements:
    """Measure the posture on a photo: back arch and head carriage, with wide errors.

    Parameters
    ----------
    pass_ : Pass
        A single frame.

    Returns
    -------
    Measurements
        ``back_arch``, ``back_sagitta_pct`` and ``head_height_ratio``; all missing when she is
        seen from the front or behind, the back with a wider error when seen at an angle.
    """
    lane = see_in_lane(pass_)
    quality = judge_photo(lane)
    head = measure_head(lane, None)["head_height_ratio"]
    measures = photo_back(pass_.back_line[0]) | {"head_height_ratio": head}
    if not quality.usable:
        measures = {k: missing(m.unit, quality.problems[0]) for k, m in measures.items()}
    else:
        shorter = foreshortening(lane)
        for name in ("back_arch", "back_sagitta_pct"):
            back = measures[name]
            measures[name] = replace(back, se=float(np.hypot(back.se, shorter * back.value)))
    reasons = [*quality.problems, *(m.reason for m in measures.values() if m.reason is not None)]
    if bool(pass_.cut[0]):
        reasons.append("The cow is cut by the edge of the picture. Take in the whole cow.")
    usable = any(m.is_known for m in measures.values())
    return Measurements(measures=measures, usable=usable, problems=tuple(dict.fromkeys(reasons)))


def _in_metres(measures: Mapping[str, Measure], lane: Lane, height_m: float) -> dict[str, Measure]:
    """Return stride length and speed in metres, from a known withers height."""
    metres_per_bl = height_m * lane.body_length_px / lane.withers_height_px
    result = {}
    for name, new_name, unit in (
        ("stride_length_bl", "stride_length_m", "m"),
        ("speed_bl_s", "speed_m_s", "m/s"),
    ):
        old = measures[name]
        if not old.is_known or not np.isfinite(metres_per_bl):
            reason = old.reason or "The withers height could not be seen in the picture."
            result[new_name] = missing(unit, reason, old.strides)
            continue
        # the landmarks' share in the height's error comes on top
        error = float(np.hypot(old.se * metres_per_bl, 0.02 * old.value * metres_per_bl))
        result[new_name] = known(old.value * metres_per_bl, error, unit, old.strides)
    return result


__all__ = ["Measurements", "Quality", "measure_pass", "measure_posture"]
