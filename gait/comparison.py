"""A pass held against this cow's own past and against the herd, measure by measure."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Any, Literal

from gait.farm import model_in_use
from gait.statistics.spread import TWO_SIDED_90

if TYPE_CHECKING:
    from gait.herd.records import PassRecord
    from gait.store import Store

Worse = Literal["higher", "lower"]

SHOWN: Mapping[str, Worse] = {
    "back_arch": "higher",
    "head_bob_a1_pct": "higher",
    "step_time_asymmetry_pct": "higher",
    "stance_time_asymmetry_pct": "higher",
    "tracking_up_pct": "lower",
    "stride_length_bl": "lower",
    "stride_duration_s": "higher",
    "speed_bl_s": "lower",
    "triple_support_pct": "higher",
    "stance_share_pct": "higher",
    "head_height_ratio": "lower",
}
"""Measures that people are shown, in this order, and which way lame cows differ."""
HERD_NEEDED = 20
"""Fewer walks of the herd than this are no yardstick."""


@dataclass(frozen=True, kw_only=True)
class Against:
    """One measure of one pass beside what is known of this cow and of the herd.

    ``value`` and ``se`` are NaN where nothing was measured; ``reason`` then says why. ``place``,
    ``place_low`` and ``place_high`` say where the value and the ends of its 90 % interval stand
    among the herd's walks, 0 to 100, always so that more is more like a lame cow. They and
    ``herd_median`` are NaN with fewer than `HERD_NEEDED` walks. ``own_places`` are those of her
    earlier walks, newest first. ``sound`` is what the score model takes as typical of a sound
    cow, NaN where it does not say.
    """

    name: str
    value: float
    se: float
    unit: str
    reason: str
    worse: Worse
    place: float
    place_low: float
    place_high: float
    own_places: tuple[float, ...]
    own_median: float
    herd_median: float
    herd_walks: int
    sound: float


def compare_pass(store: Store, record: PassRecord) -> list[Against]:
    """Return the measures of a pass against her own past and the herd.

    Parameters
    ----------
    store : Store
    record : PassRecord

    Returns
    -------
    list of Against
        Only measures that the pass holds, in the order of `SHOWN`.
    """
    summary = record.summary
    own: Sequence[Mapping[str, Any]] = []
    if summary.cow is not None:
        past = store.passes.measures_of_cow(summary.cow, limit=30)
        own = [measures for at, measures in past if at < summary.observed_at]
    herd = store.passes.measures_of_herd()
    sound = {term.name: float(term.typical[0]) for term in model_in_use(store).terms}
    return [
        against(name, record.measures[name], own, herd, sound.get(name, math.nan))
        for name in SHOWN
        if name in record.measures
    ]


def against(
    name: str,
    measure: Mapping[str, Any],
    own: Sequence[Mapping[str, Any]],
    herd: Sequence[Mapping[str, Any]],
    sound: float = math.nan,
) -> Against:
    """Return one measure against her own earlier walks and the herd's.

    Parameters
    ----------
    name : str
        Of `SHOWN`.
    measure : mapping
        value, se, unit, and reason where nothing was measured.
    own, herd : sequence of mapping
        Measures by name, of her earlier walks and of the herd's.
    sound : float
        Typical value of a sound cow.
    """
    value, se = _number(measure.get("value")), _number(measure.get("se"))
    mine, theirs = _values(own, name), sorted(_values(herd, name))
    worse = SHOWN[name]
    spread = TWO_SIDED_90 * se if math.isfinite(se) else 0.0
    ends = sorted(place_among(theirs, value + sign * spread, worse) for sign in (-1, 1))
    return Against(
        name=name,
        value=value,
        se=se,
        unit=str(measure.get("unit") or ""),
        reason=str(measure.get("reason") or ""),
        worse=worse,
        place=place_among(theirs, value, worse),
        place_low=ends[0],
        place_high=ends[1],
        own_places=tuple(place_among(theirs, v, worse) for v in mine),
        own_median=median(mine) if mine else math.nan,
        herd_median=median(theirs) if len(theirs) >= HERD_NEEDED else math.nan,
        herd_walks=len(theirs),
        sound=sound,
    )


def place_among(ordered: Sequence[float], value: float, worse: Worse) -> float:
    """Return where a value stands among others, 0 to 100; equal ones count half.

    Parameters
    ----------
    ordered : sequence of float
        Rising.
    value : float
    worse : {'higher', 'lower'}
        Which way lame cows differ: 100 is always the lame end.

    Returns
    -------
    float
        NaN for no value or fewer than `HERD_NEEDED` others.
    """
    if not math.isfinite(value) or len(ordered) < HERD_NEEDED:
        return math.nan
    below, upto = bisect_left(ordered, value), bisect_right(ordered, value)
    share = 100.0 * (below + upto) / (2 * len(ordered))
    return share if worse == "higher" else 100.0 - share


def _values(measures: Sequence[Mapping[str, Any]], name: str) -> list[float]:
    found = (_number((m.get(name) or {}).get("value")) for m in measures)
    return [v for v in found if math.isfinite(v)]


def _number(value: Any) -> float:
    return float(value) if value is not None else math.nan
