"""Back arch of a pass or a photo: mean, swing within the stride, and while she stands."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from gait.measure.back_arch import arch_by_spline, arch_of_line, sagitta_pct
from gait.measure.head_bob import fit_harmonics
from gait.measure.lane import Lane
from gait.measure.result import Measure, known, missing
from gait.measure.rhythm import stride_count
from gait.measure.timetable import Timetable

if TYPE_CHECKING:
    from gait.track.passes import Pass

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

LEAST_FRAMES = 8
STANDING_BL_S = 0.06
STANDING_FRAMES = 10
ARCH_ERROR = 0.004
"""Error of the arch that all frames share: the edge's own bias; ours, from drawn films."""
END_ERROR, END_POINTS = 0.018, 2
"""How far along her back all frames alike may put withers and tailhead wrong, trunk lengths, and
how many points of the line are left off to see what that does to the arch. Between what two kinds
of cow want: the 90 % interval holds in 0.90 of films of the rigged cow, in 0.99 of the drawn.
Measured: 0.010 on drawn films, 0.016 and 0.023 on those of the rigged cow, 0.022 and 0.024 on
single renders, 0.025 and 0.028 on photos never trained on."""
CHECK_SHARE, SPREAD_SHARE = 0.5, 0.25
"""What share of the gap between circle and smooth curve, and of the frames' spread, is error."""
MOST_SPREAD = 0.2
"""Frames that disagree more than this about the arch saw something else than her back; ours."""
CLEAN = 0.02
"""Circle and smooth curve may differ by this much in a frame whose edge went nowhere astray."""
PHOTO_ARCH_ERROR = 0.1
"""One frame: the stage of the stride, the angle of view and where the back begins and ends add to
the error. Of 25 photos outlined by hand and never trained on 88 % lie within 1.645 times this."""
SAGITTA_PCT_PER_ARCH = 12.5
"""Sagitta as % of the chord is 100 / 8 of the arch for small arches."""

NOT_TRACED = (
    "The upper edge of her back could not be traced. Film her clear of rails, other cows and "
    "dark corners."
)


def measure_back(pass_: Pass, lane: Lane, table: Timetable | None) -> dict[str, Measure]:
    """Measure the arch of the back over a pass.

    Parameters
    ----------
    pass_ : Pass
        With traced back lines.
    lane : Lane
        The cow in lane coordinates, for her speed.
    table : Timetable or None
        Gives the stride; None when no stride was seen.

    Returns
    -------
    dict of str to Measure
        ``back_arch`` (curvature times chord, middle of the frames), ``back_arch_spline`` (the
        same from a smooth curve, as a check), ``back_sagitta_pct`` (% of chord),
        ``back_arch_swing`` (highest minus lowest within the stride) and ``back_arch_standing``
        (mean over the frames in which she stands).
    """
    arch = np.where(pass_.cut, np.nan, arch_of_line(pass_.back_line))
    strides = 0 if table is None else stride_count(table)
    seen = np.isfinite(arch)
    if seen.sum() < LEAST_FRAMES:
        return _not_traced(strides)
    speed = np.abs(_speed(lane))
    walking = seen & ~(speed < STANDING_BL_S)
    chosen = walking if walking.sum() >= LEAST_FRAMES else seen
    spline = arch_by_spline(pass_.back_line[chosen])
    belief = 1 / (CLEAN**2 + (spline - arch[chosen]) ** 2)
    value, error = _steady_middle(arch[chosen], belief)
    sagitta, _ = _steady_middle(sagitta_pct(arch[chosen]), belief)
    check, _ = _steady_middle(spline, belief)
    spread = _spread(arch[chosen], value)
    if spread > MOST_SPREAD:
        return _not_traced(strides)
    # where circle and spline differ, the line is no arch or went astray; and what makes frames
    # disagree, a wall's edge behind the back, moves their middle as well
    doubts = [CHECK_SHARE * (check - value), SPREAD_SHARE * spread]
    parts = [error, ARCH_ERROR, _ends_error(pass_.back_line[chosen], arch[chosen]), *doubts]
    error = float(np.linalg.norm(parts))
    return {
        "back_arch": known(value, error, "1", strides),
        "back_arch_spline": known(check, error, "1", strides),
        "back_sagitta_pct": known(sagitta, SAGITTA_PCT_PER_ARCH * error, "% of chord", strides),
        "back_arch_swing": _swing(pass_, arch, table, strides),
        "back_arch_standing": _standing(pass_.back_line, arch, seen & (speed < STANDING_BL_S)),
    }


def _ends_error(lines: FloatArray, arch: FloatArray) -> float:
    """Return what withers and tailhead put a little before or behind leave open of the arch."""
    shorter = (lines[:, END_POINTS:], lines[:, :-END_POINTS])
    changes = [float(np.nanmedian(arch_of_line(line) - arch)) for line in shorter]
    per_trunk = (lines.shape[1] - 1) / END_POINTS
    return float(END_ERROR * per_trunk * np.linalg.norm(changes))


def _not_traced(strides: int) -> dict[str, Measure]:
    shapes = ("back_arch", "back_arch_spline", "back_arch_swing", "back_arch_standing")
    units = dict.fromkeys(shapes, "1") | {"back_sagitta_pct": "% of chord"}
    return {name: missing(unit, NOT_TRACED, strides) for name, unit in units.items()}


def photo_back(back_line: FloatArray) -> dict[str, Measure]:
    """Measure the arch of the back on one picture.

    Parameters
    ----------
    back_line : ndarray, shape (64, 2)
        Traced back line, px.

    Returns
    -------
    dict of str to Measure
        ``back_arch`` and ``back_sagitta_pct`` with the wide error of a single look.
    """
    arch = float(arch_of_line(back_line))
    if not np.isfinite(arch):
        return {
            "back_arch": missing("1", NOT_TRACED),
            "back_sagitta_pct": missing("% of chord", NOT_TRACED),
        }
    sagitta, sagitta_error = float(sagitta_pct(arch)), SAGITTA_PCT_PER_ARCH * PHOTO_ARCH_ERROR
    return {
        "back_arch": known(arch, PHOTO_ARCH_ERROR, "1", 0),
        "back_sagitta_pct": known(sagitta, sagitta_error, "% of chord", 0),
    }


def _speed(lane: Lane) -> FloatArray:
    speed: FloatArray = lane.speed_at(lane.time_s, 0.25) / lane.body_length_px
    return speed


def _steady_middle(values: FloatArray, belief: FloatArray) -> tuple[float, float]:
    """Return the weighted median and its error for frames that err alike.

    A wall's edge that goes by behind the back spoils many frames at a time, so not their mean.
    """
    order = np.argsort(values)
    share = np.cumsum(belief[order]) / belief.sum()
    middle = float(values[order][np.searchsorted(share, 0.5)])
    rest = values - middle
    spread = max(_spread(values, middle), 1e-9)
    rest = rest * np.minimum(1.0, 2.0 * spread / np.maximum(np.abs(rest), 1e-12))
    square = float(rest @ rest)
    memory = float(rest[1:] @ rest[:-1]) / max(square, 1e-12)
    memory = min(max(memory, 0.0), 0.95)
    independent = max(len(values) * (1 - memory) / (1 + memory), 1.0)
    # a median is a quarter less certain than a mean
    return middle, float(1.25 * np.std(rest) / np.sqrt(independent))


def _spread(values: FloatArray, middle: float) -> float:
    """Return the standard deviation about the middle that single bad frames do not move."""
    return 1.4826 * float(np.median(np.abs(values - middle)))


def _swing(pass_: Pass, arch: FloatArray, table: Timetable | None, strides: int) -> Measure:
    if table is None or strides < 1:
        return missing("1", "No whole stride was seen, so there is no swing within it.", strides)
    fit = fit_harmonics(table.strides_done(pass_.time_s), arch)
    curve = fit.curve(np.linspace(0, 1, 200, endpoint=False))
    error = 2 * float(np.hypot(fit.first_se, fit.second_se))
    return known(np.ptp(curve), np.hypot(error, 0.005), "1", strides)


def _standing(lines: FloatArray, arch: FloatArray, standing: BoolArray) -> Measure:
    if standing.sum() < STANDING_FRAMES:
        return missing("1", "She does not stand still in this film.")
    values = arch[standing]
    value, error = _steady_middle(values, np.ones(len(values)))
    error = float(np.linalg.norm([error, ARCH_ERROR, _ends_error(lines[standing], values)]))
    return known(value, error, "1", 0)
