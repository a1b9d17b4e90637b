"""Timing of the walk: stride duration, stance, triple support, left-right asymmetry, regularity."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
import numpy.typing as npt

from gait.measure.hoof_events import LEGS
from gait.measure.result import Measure, known, missing
from gait.measure.swing_fit import Swing
from gait.measure.timetable import Kind, Timetable

FloatArray = npt.NDArray[np.float64]
OfPair = Callable[[Timetable, str, FloatArray], float]

LEAST_STRIDES = 2
LEAST_SINGLE_STRIDES = 6
"""Strides of single legs, all legs together, from which their variation is told."""
USUAL_VARIATION_PCT = 1.0
"""Stride-to-stride variation taken where too few strides show it; ours."""
ONE_LEGS_OWN = 1.1
"""Hoof-ons of one leg err partly alike on all prints, which their mean does not mend; ours, from
drawn films."""
CLOCK_ERROR = 0.002
"""Relative error of a film's clock: consumer cameras are not exact (Teeple 2009); our figure."""
EVENT_BIAS_S = 0.0065
"""What hoof-on and hoof-off may be off in the same way on all legs: a hoof that rolls over its
toe before it leaves has no sharp moment (horse walk: 4-7 ms, Olsen 2012)."""

UNITS = {
    "stride_duration_s": "s",
    "stance_share_pct": "% of stride",
    "triple_support_pct": "%",
    "step_time_asymmetry_pct": "%",
    "stance_time_asymmetry_pct": "%",
    "stride_variation_pct": "% of stride duration",
}
MORE_STRIDES = (
    "Film a longer stretch of lane, square from the side, so that she takes three or more."
)


def measure_rhythm(swings: dict[str, list[Swing]], table: Timetable | None) -> dict[str, Measure]:
    """Measure the timing of the walk.

    Parameters
    ----------
    swings : dict
        Swings of each leg.
    table : Timetable or None
        The fitted timetable of the pass; None when no whole stride was seen.

    Returns
    -------
    dict of str to Measure
        The measures named in `UNITS`.

    Notes
    -----
    ``step_time_asymmetry_pct``: for the two legs of a pair, t1 is the time from hoof-on of the
    one to the next hoof-on of the other and t2 from there to the next hoof-on of the first, on a
    clock that all legs share (`Timetable`), so that strides that differ are not taken for a limp;
    100 |t1 - t2| / ((t1 + t2) / 2). The larger of hind and fore pair, with
    the part that timing errors alone add to its square taken off. ``stance_time_asymmetry_pct``
    likewise from the stance times. ``triple_support_pct``: share of the stride in which
    exactly three hooves are on the floor.

    References
    ----------
    Flower et al. 2005 (stride, triple support), Alsaaod et al. 2017 (relative difference of
    stance times of a pair), Van Nuffel et al. 2013 (stride-to-stride variation).
    """
    reason = too_few_strides(table)
    if table is None or reason is not None:
        return {name: missing(unit, reason or "", _count(table)) for name, unit in UNITS.items()}
    variation = _variation(table, swings)
    return {
        "stride_duration_s": _stride_duration(table, variation),
        "stance_share_pct": stance_share(table),
        "triple_support_pct": _triple_support(table),
        "step_time_asymmetry_pct": _larger_asymmetry(table, "step_time_asymmetry_pct", _step),
        "stance_time_asymmetry_pct": _larger_asymmetry(table, "stance_time_asymmetry_pct", _stance),
        "stride_variation_pct": variation,
    }


def stride_count(table: Timetable) -> int:
    """Return how many whole strides a pass shows: the median over the legs, rounded down."""
    return int(np.median(list(table.strides.values())))


def _count(table: Timetable | None) -> int:
    return 0 if table is None else stride_count(table)


def too_few_strides(table: Timetable | None) -> str | None:
    """Return the sentence that refuses a pass with fewer than two strides, else None."""
    if table is None:
        return f"No whole stride was seen. {MORE_STRIDES}"
    if stride_count(table) < LEAST_STRIDES:
        return f"Fewer than two strides were seen. {MORE_STRIDES}"
    return None


def mean_stride_s(table: Timetable) -> tuple[float, float]:
    """Return the mean of the single strides of this pass and the error of their timing, s."""
    single = table.single_strides_s
    middle = float(np.median(single))
    like = np.abs(single - middle) < 0.25 * middle
    value = float(np.average(single[like], weights=table.single_weights[like]))
    _, timing = table.measure(table.stride_of)
    return value, float(np.hypot(timing, CLOCK_ERROR * value))


def _stride_duration(table: Timetable, variation: Measure) -> Measure:
    """Return the mean stride; its error holds timing, the film's clock, and the choice of strides.

    A stride at the edge of the picture may be counted or not: about half of the legs have one.
    Means of n - 1 and of n strides differ by s / sqrt(n (n - 1)), s being their spread.
    """
    value, timing = mean_stride_s(table)
    strides = stride_count(table)
    spread = USUAL_VARIATION_PCT if not variation.is_known else variation.value
    choice = 0.5 * spread / 100 * value / np.sqrt(strides * (strides - 1))
    return known(value, np.hypot(timing, choice), UNITS["stride_duration_s"], strides)


# --- stance -----------------------------------------------------------------------------------


def _stance_s(table: Timetable, leg: str, fitted: FloatArray) -> float:
    """Return the stance time of a leg from a vector of fitted values."""
    stride = table.stride_of(fitted)
    on, off = (table.phase_s(fitted, leg, kind) for kind in ("on", "off"))
    return (off - on) % stride


def stance_share(table: Timetable) -> Measure:
    """Return how much of a stride the hooves stand, mean of the legs that were seen, %."""
    unit = UNITS["stance_share_pct"]
    legs = [leg for leg in LEGS if table.knows((leg, "on"), (leg, "off"))]
    if not any("hind" in leg for leg in legs) or not any("fore" in leg for leg in legs):
        return missing(unit, f"No leg of one pair was seen on and off the floor. {MORE_STRIDES}")

    def share(fitted: FloatArray) -> float:
        stances = [_stance_s(table, leg, fitted) for leg in legs]
        return 100 * float(np.mean(stances)) / table.stride_of(fitted)

    value, error = table.measure(share)
    bias = 100 * np.sqrt(2) * EVENT_BIAS_S / table.stride_s
    return known(value, float(np.hypot(error, bias)), unit, stride_count(table))


def _triple_support(table: Timetable) -> Measure:
    unit = UNITS["triple_support_pct"]
    if not table.knows(*((leg, kind) for leg in LEGS for kind in _KINDS)):
        return missing(unit, f"One leg was never seen coming down and lifting. {MORE_STRIDES}")

    def share(fitted: FloatArray) -> float:
        stride = table.stride_of(fitted)
        on = np.array([table.phase_s(fitted, leg, "on") for leg in LEGS]) % stride
        stance = np.array([_stance_s(table, leg, fitted) for leg in LEGS])
        return 100 * _share_with_three(on / stride, stance / stride)

    value, error = table.measure(share)
    # each of the four stances is off by the same bias, and each adds to the triple support
    bias = 100 * 4 * np.sqrt(2) * EVENT_BIAS_S / table.stride_s
    return known(value, float(np.hypot(error, bias)), unit, stride_count(table))


_KINDS: tuple[Kind, Kind] = ("on", "off")


def _share_with_three(on: FloatArray, stance: FloatArray) -> float:
    """Return the share of a cycle in which exactly three hooves stand; phases in cycles."""
    edges = np.unique(np.concatenate([[0.0, 1.0], on % 1, (on + stance) % 1]))
    middle = (edges[1:] + edges[:-1]) / 2
    standing = ((middle[:, None] - on) % 1 < stance).sum(axis=1)
    return float(np.diff(edges)[standing == 3].sum())


# --- asymmetry --------------------------------------------------------------------------------


def _step(table: Timetable, pair: str, fitted: FloatArray) -> float:
    stride = table.stride_of(fitted)
    near, far = (table.phase_s(fitted, f"{side}_{pair}", "on") for side in ("near", "far"))
    first = (far - near) % stride
    return 100 * (2 * first - stride) / (stride / 2)


def _stance(table: Timetable, pair: str, fitted: FloatArray) -> float:
    near, far = (_stance_s(table, f"{side}_{pair}", fitted) for side in ("near", "far"))
    return 100 * (near - far) / ((near + far) / 2)


def _larger_asymmetry(table: Timetable, name: str, of_pair: OfPair) -> Measure:
    """Return the larger of the two pairs' asymmetries, noise taken off its square."""
    kinds: tuple[Kind, ...] = ("on",) if of_pair is _step else _KINDS
    found = []
    for pair in ("hind", "fore"):
        if table.knows(*((f"{side}_{pair}", k) for side in ("near", "far") for k in kinds)):
            found.append(table.measure(partial(of_pair, table, pair)))
    if not found:
        return missing(UNITS[name], f"No pair of legs was seen well enough. {MORE_STRIDES}")
    value, error = max(found, key=lambda f: abs(f[0]))
    if of_pair is _step:
        error *= ONE_LEGS_OWN
    # noise alone makes a sound cow uneven: its part in the square is taken off
    value = np.sqrt(max(value**2 - error**2, 0.0))
    return known(value, error, UNITS[name], stride_count(table))


# --- regularity -------------------------------------------------------------------------------


def _variation(table: Timetable, swings: dict[str, list[Swing]]) -> Measure:
    """Return the spread of the single strides' durations with the events' own errors taken off."""
    unit = UNITS["stride_variation_pct"]
    single = table.single_strides_s
    if len(single) < LEAST_SINGLE_STRIDES:
        return missing(unit, f"Too few strides to tell how regular they are. {MORE_STRIDES}")
    middle = float(np.median(single))
    share = single[np.abs(single - middle) < 0.25 * middle] / middle - 1
    errors = [s.on_se_s**2 + s.off_se_s**2 for leg in LEGS for s in swings[leg]]
    noise = float(np.mean(errors)) / middle**2
    # all legs go through the same few strides, so the spread has few degrees of freedom
    strides = stride_count(table)
    usual = (USUAL_VARIATION_PCT / 100) ** 2
    seen = max(float(np.var(share)) * strides / max(strides - 1, 1) - noise, 0.0)
    value = 100 * np.sqrt((strides * seen + 2 * usual) / (strides + 2))
    error = np.hypot(value, 100 * np.sqrt(noise)) / np.sqrt(2 * strides)
    return known(value, error, unit, strides)
