"""Lengths of the walk: stride length, speed, and where the hind hoof lands behind the fore."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gait.measure.hoof_events import LEGS
from gait.measure.lane import Lane
from gait.measure.result import Measure, known, missing
from gait.measure.rhythm import MORE_STRIDES, mean_stride_s, stride_count, too_few_strides
from gait.measure.swing_fit import Swing
from gait.measure.timetable import Timetable

FloatArray = npt.NDArray[np.float64]

LENGTH_ERROR = 0.016
"""Relative error of the body length on the picture, from withers and tailhead landmarks; between
what two kinds of cow want: the speed is 2.2 % off on 30 films of the rigged cow (root mean square),
body length 0.9 % on drawn films. On single looks at 30 photos that five readers marked it is 2.8 %
(their own error in it)."""
LEAST_WHOLE_SHARE = 0.3
"""Frames that hold the whole cow give the speed if they span this share of the pass."""
TRUNK_UNSEEN = "The trunk was hardly seen. Film her clear of posts and other cows."
PRINT_BIAS_BL = 0.004
"""What fore and hind hoof landmarks may lie apart in the same way on all prints, bl; ours."""


def measure_prints(
    lane: Lane, swings: dict[str, list[Swing]], table: Timetable | None
) -> dict[str, Measure]:
    """Measure stride length, speed and tracking up.

    Parameters
    ----------
    lane : Lane
        The cow in lane coordinates.
    swings : dict
        Swings of each leg.
    table : Timetable or None
        The fitted timetable.

    Returns
    -------
    dict of str to Measure
        ``stride_length_bl``, ``speed_bl_s``, ``tracking_up_pct``. A body length (bl) is the
        straight distance from withers to tailhead (trunk length).

    Notes
    -----
    The stride length is the way of the trunk in a stride, not that between prints: the trunk gives
    the scale, and to a camera that looks down a length on the floor is farther off and smaller.
    Prints serve as a check; where they say otherwise the error grows.

    References
    ----------
    Flower et al. 2005 (stride length, speed), Flower et al. 2007 (stride overlap; positive when
    the hind hoof lands ahead of the fore print of its side).
    """
    reason = too_few_strides(table)
    if table is None or reason is not None:
        units = {"stride_length_bl": "bl", "speed_bl_s": "bl/s", "tracking_up_pct": _TRACKING_UNIT}
        return {name: missing(unit, reason or "") for name, unit in units.items()}
    strides = stride_count(table)
    return {
        "stride_length_bl": _stride_length(lane, swings, table),
        "speed_bl_s": _speed(lane, strides),
        "tracking_up_pct": _tracking_up(lane, swings, table),
    }


_TRACKING_UNIT = "% of trunk length"


def _stride_length(lane: Lane, swings: dict[str, list[Swing]], table: Timetable) -> Measure:
    strides = stride_count(table)
    speed, speed_error = _trunk_speed(lane, strides)
    if not np.isfinite(speed):
        return missing("bl", TRUNK_UNSEEN, strides)
    stride_s, stride_error = mean_stride_s(table)
    value = speed * stride_s
    ways = [_print_way(lane, swings, side) for side in ("near", "far")]
    doubt = abs(float(np.mean(ways)) - value) / 2 if np.isfinite(ways).all() else 0.02 * value
    parts = [speed_error * stride_s, stride_error * speed, LENGTH_ERROR * value, doubt]
    return known(value, float(np.linalg.norm(parts)), "bl", strides)


def _print_way(lane: Lane, swings: dict[str, list[Swing]], side: str) -> float:
    """Return the mean way from print to print of the legs of a side, bl; NaN if none was seen."""
    ways = np.array([s.to_px - s.from_px for leg in LEGS if side in leg for s in swings[leg]])
    ways = ways[np.isfinite(ways)]
    return float(ways.mean() / lane.body_length_px) if ways.size else float("nan")


def _mean_of_groups(groups: list[FloatArray], usual_spread: float) -> tuple[float, float]:
    """Return the mean of the groups' means and its error.

    The spread within groups is pulled towards the usual one, worth four values, because two or
    three values say little about their own spread.
    """
    spare = sum(len(g) - 1 for g in groups)
    square = sum(float(((g - g.mean()) ** 2).sum()) for g in groups)
    spread = (square + 4 * usual_spread**2) / (spare + 4)
    error = np.sqrt(sum(spread / len(g) for g in groups)) / len(groups)
    return float(np.mean([g.mean() for g in groups])), float(error)


def _speed(lane: Lane, strides: int) -> Measure:
    speed, error = _trunk_speed(lane, strides)
    if not np.isfinite(speed):
        return missing("bl/s", TRUNK_UNSEEN)
    return known(speed, float(np.hypot(error, LENGTH_ERROR * speed)), "bl/s", strides)


def _trunk_speed(lane: Lane, strides: int) -> tuple[float, float]:
    """Return the trunk's speed, bl/s, and the error of its fit; NaN where it was hardly seen."""
    seen = np.isfinite(lane.trunk)
    whole = seen & lane.whole
    # where the frame cuts her, the end of the trunk beyond it is a guess
    if whole.any() and np.ptp(lane.time_s[whole]) > LEAST_WHOLE_SHARE * np.ptp(lane.time_s[seen]):
        seen = whole
    if seen.sum() < 5:
        return float("nan"), float("nan")
    t, x = lane.time_s[seen], lane.trunk[seen] / lane.body_length_px
    t = t - t.mean()
    slope, start = np.polyfit(t, x, 1)
    rest = x - slope * t - start
    # the trunk sways with the stride: neighbouring frames share their deviation
    independent = max(2.0 * strides, 2.0)
    return float(slope), float(np.sqrt(rest.var() / independent / t.var()))


@dataclass(frozen=True, kw_only=True)
class _Print:
    """A place where a hoof stood, and from when to when (NaN: not seen)."""

    along_px: float
    on_s: float
    off_s: float


def _prints(swings: list[Swing]) -> list[_Print]:
    """Return the prints of one leg: where a swing ended, where one began, joined if the same."""
    found = []
    for k, swing in enumerate(swings):
        before = swings[k - 1] if k else None
        joined = before is not None and abs(before.to_px - swing.from_px) < 0.3 * abs(
            swing.to_px - swing.from_px
        )
        found.append(
            _Print(
                along_px=swing.from_px,
                on_s=before.on_s if joined and before is not None else float("nan"),
                off_s=swing.off_s,
            )
        )
    if swings:
        found.append(_Print(along_px=swings[-1].to_px, on_s=swings[-1].on_s, off_s=float("nan")))
    return [p for p in found if np.isfinite(p.along_px)]


def _tracking_up(lane: Lane, swings: dict[str, list[Swing]], table: Timetable) -> Measure:
    groups = []
    for side in ("near", "far"):
        fore = _prints(swings[f"{side}_fore"])
        gaps = [_overlap(hind, fore, table.stride_s) for hind in swings[f"{side}_hind"]]
        known_gaps = np.array([g for g in gaps if np.isfinite(g)])
        if known_gaps.size:
            groups.append(100 * known_gaps / lane.body_length_px)
    if not groups:
        reason = f"No hind print was seen beside a fore print of the same side. {MORE_STRIDES}"
        return missing(_TRACKING_UNIT, reason)
    value, error = _mean_of_groups(groups, 1.0)
    error = float(np.hypot(error, 100 * PRINT_BIAS_BL))
    return known(value, error, _TRACKING_UNIT, stride_count(table))


def _overlap(hind: Swing, fore: list[_Print], stride_s: float) -> float:
    """Return how far a hind hoof lands ahead of the fore print it follows, px; NaN if unknown.

    That print is the one the fore hoof leaves about when the hind hoof comes down.
    """
    if not np.isfinite(hind.on_s + hind.to_px):
        return float("nan")
    left = [p for p in fore if abs(p.off_s - hind.on_s) < 0.35 * stride_s]
    if not left:
        return float("nan")
    nearest = min(left, key=lambda p: abs(p.off_s - hind.on_s))
    return hind.to_px - nearest.along_px
