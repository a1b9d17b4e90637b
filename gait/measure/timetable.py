"""The timetable of a pass: one stride duration, and where in the stride each hoof comes and goes.

All hoof-on and hoof-off moments of all legs are fitted together: each is the phase of its leg
and kind plus a whole number of strides, on a clock that all legs share and that runs now faster,
now slower, as the cow does. Every timing measure is then a function of that one fit, and its error
follows from the fit's covariance. A leg that is missing for a stride, or an event that is timed
badly, costs precision but does not spoil the rest.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from gait.measure.hoof_events import LEGS
from gait.measure.swing_fit import Swing

FloatArray = npt.NDArray[np.float64]
Kind = Literal["on", "off"]

STRIDE_WANDER = 0.004
"""Stride-to-stride spread of an event's phase in a steady walk, share of the stride; ours."""
OWN_SHARE = 0.2
"""Share of an uneven walk that counts as error. What events are off beyond their timing error is
the cow's own, and part of what is measured, but which strides are seen whole is chance: means of
n and of n - 1 events differ by a variance of s^2 / (n (n - 1)), a third to a half of s^2 / n, and
about half of the legs have such an event at the picture's edge."""
OUT_OF_BEAT = 0.27
"""A swing farther than this (strides) from a whole number of strides is out of beat; ours."""
CLOCK_WANDER = 0.02
"""Spread of single strides about their mean that the shared clock allows for, share; ours."""
KNOTS_A_STRIDE = 2


@dataclass(frozen=True, kw_only=True, eq=False)
class Timetable:
    """Fitted phases of the hoof events.

    Parameters
    ----------
    stride_s : float
        Stride duration, mean of the pass.
    knots_s : ndarray
        Times at which the clock's delay is fitted; 0 at the first, straight between them.
    column : dict
        Place of each known (leg, "on" or "off") in `fitted`.
    fitted : ndarray
        Phases in seconds in the order of `column`, then stride duration, then the clock's delay at
        all knots but the first, s.
    covariance : ndarray
        Covariance of `fitted`, s^2.
    strides : dict
        Number of whole strides seen of each leg.
    single_strides_s : ndarray
        Duration of every whole stride seen, of all legs, from hoof-on to hoof-on and from
        hoof-off to hoof-off.
    single_weights : ndarray
        How much each of them counts: 1 over the variance of its two events, 1/s^2.
    """

    stride_s: float
    knots_s: FloatArray
    column: dict[tuple[str, Kind], int]
    fitted: FloatArray
    covariance: FloatArray
    strides: dict[str, int]
    single_strides_s: FloatArray
    single_weights: FloatArray

    def knows(self, *events: tuple[str, Kind]) -> bool:
        """Tell whether all these events were seen at least once."""
        return all(event in self.column for event in events)

    def phase_s(self, fitted: FloatArray, leg: str, kind: Kind) -> float:
        """Return the phase of an event from a (perhaps varied) vector of fitted values."""
        return float(fitted[self.column[leg, kind]])

    def measure(self, of_fitted: Callable[[FloatArray], float]) -> tuple[float, float]:
        """Return a function of the fitted values and its standard error (delta method)."""
        value = of_fitted(self.fitted)
        step = 1e-4
        slope = np.array(
            [
                (of_fitted(self.fitted + step * unit) - of_fitted(self.fitted - step * unit)) / 2
                for unit in np.eye(len(self.fitted))
            ]
        )
        slope /= step
        return value, float(np.sqrt(max(slope @ self.covariance @ slope, 0.0)))

    def stride_of(self, fitted: FloatArray) -> float:
        """Return the stride duration from a vector of fitted values."""
        return float(fitted[len(self.column)])

    def strides_done(self, time_s: FloatArray) -> FloatArray:
        """Return how many strides have passed at each time, counted from the first known phase.

        Parameters
        ----------
        time_s : ndarray
            Times, s.

        Returns
        -------
        ndarray
            Strides; a whole number each time the first event of `column` comes round.
        """
        delays = np.concatenate([[0.0], self.fitted[len(self.column) + 1 :]])
        late = np.interp(time_s, self.knots_s, delays)
        result: FloatArray = (time_s - late - self.fitted[0]) / self.stride_s
        return result


@dataclass(frozen=True, kw_only=True)
class _Event:
    leg: str
    kind: Kind
    time_s: float
    se_s: float
    count: int


def fit_timetable(swings: dict[str, list[Swing]]) -> Timetable | None:
    """Fit the timetable of a pass.

    Parameters
    ----------
    swings : dict
        Swings of each leg in order of time, in beat (`keep_regular`).

    Returns
    -------
    Timetable or None
        None when no leg shows one whole stride.
    """
    guess = _rough_stride(swings)
    if guess is None:
        return None
    swing_s = _usual_swing_s(swings)
    events = [event for leg in LEGS for event in _numbered(leg, swings[leg], guess, swing_s)]
    column = _columns(events)
    if len(events) < len(column) + 1:
        return None
    times = np.array([e.time_s for e in events])
    knots = np.arange(times.min(), times.max() + guess / KNOTS_A_STRIDE, guess / KNOTS_A_STRIDE)
    design = _design(events, column, knots)
    sure = 1 / np.array([e.se_s**2 + (STRIDE_WANDER * guess) ** 2 for e in events])
    steady = _steadiness(len(column) + 1, len(knots) - 1, guess)
    fitted, covariance = _robust_fit(design, times, sure, steady, (STRIDE_WANDER * guess) ** 2)
    singles = [pair for leg in LEGS for pair in _neighbours(events, leg)]
    return Timetable(
        stride_s=float(fitted[len(column)]),
        knots_s=knots,
        column=column,
        fitted=fitted,
        covariance=covariance,
        strides={leg: _whole_strides(events, leg) for leg in LEGS},
        single_strides_s=np.array([b.time_s - a.time_s for a, b in singles]),
        single_weights=1
        / np.array([a.se_s**2 + b.se_s**2 + (STRIDE_WANDER * guess) ** 2 for a, b in singles]),
    )


def keep_regular(swings: dict[str, list[Swing]]) -> dict[str, list[Swing]]:
    """Leave out swings that do not fit into the beat of their leg.

    Parameters
    ----------
    swings : dict
        Swings of each leg in order of time.

    Returns
    -------
    dict
        For each leg the longest run of swings in which each follows the one before by about a
        whole number of strides. What is left out belongs to another leg, or to a cow that
        stopped in the middle of the pass.
    """
    stride_s = _rough_stride(swings)
    if stride_s is None:
        return swings
    swing_s = _usual_swing_s(swings)
    return {leg: _longest_run(swings[leg], stride_s, swing_s) for leg in LEGS}


def _longest_run(swings: list[Swing], stride_s: float, swing_s: float) -> list[Swing]:
    """Return the longest chain of swings in beat; a swing seen whole counts double."""
    best: list[tuple[int, list[Swing]]] = []
    for swing in swings:
        worth = 2 if np.isfinite(swing.off_s + swing.on_s) else 1
        options = [(worth, [swing])]
        for score, run in best:
            count = _strides_between(run[-1], swing, stride_s, swing_s)
            if round(count) >= 1 and abs(count - round(count)) < OUT_OF_BEAT:
                options.append((score + worth, [*run, swing]))
        best.append(max(options, key=lambda option: option[0]))
    return max(best, key=lambda option: option[0])[1] if best else []


def _strides_between(first: Swing, second: Swing, stride_s: float, swing_s: float) -> float:
    return (_middle(second, swing_s) - _middle(first, swing_s)) / stride_s


def _middle(swing: Swing, swing_s: float) -> float:
    """Return the middle of a swing, also when only one end of it was seen."""
    ends = [swing.off_s + swing_s / 2, swing.on_s - swing_s / 2]
    return float(np.mean([t for t in ends if np.isfinite(t)]))


def _usual_swing_s(swings: dict[str, list[Swing]]) -> float:
    lengths = np.array([s.on_s - s.off_s for leg in LEGS for s in swings[leg]])
    lengths = lengths[np.isfinite(lengths)]
    return float(np.median(lengths)) if lengths.size else 0.45


def _rough_stride(swings: dict[str, list[Swing]]) -> float | None:
    """Return the usual time between like events of a leg; missed swings double it, so look low.

    Short gaps come from a swing of another leg: they do not count.
    """
    gaps = np.concatenate(
        [
            np.diff([getattr(s, name) for s in swings[leg]])
            for leg in LEGS
            for name in ("on_s", "off_s")
        ]
    )
    gaps = gaps[np.isfinite(gaps)]
    if gaps.size == 0:
        return None
    middle = float(np.median(gaps))
    low = float(np.percentile(gaps[gaps > 0.65 * middle], 25))
    return float(np.median(gaps[(gaps > 0.75 * low) & (gaps < 1.4 * low)]))


def _numbered(leg: str, swings: list[Swing], stride_s: float, swing_s: float) -> list[_Event]:
    """Give each swing of a leg its whole number of strides from the first."""
    events: list[_Event] = []
    kinds: tuple[Kind, ...] = ("off", "on")
    count = 0
    for k, swing in enumerate(swings):
        if k:
            count += round(_strides_between(swings[k - 1], swing, stride_s, swing_s))
        for kind in kinds:
            time_s, se_s = getattr(swing, f"{kind}_s"), getattr(swing, f"{kind}_se_s")
            if np.isfinite(time_s):
                events.append(_Event(leg=leg, kind=kind, time_s=time_s, se_s=se_s, count=count))
    return events


def _columns(events: list[_Event]) -> dict[tuple[str, Kind], int]:
    keys = dict.fromkeys((event.leg, event.kind) for event in events)
    return {key: i for i, key in enumerate(keys)}


def _design(
    events: list[_Event], column: dict[tuple[str, Kind], int], knots: FloatArray
) -> FloatArray:
    design = np.zeros((len(events), len(column) + len(knots)))
    for row, event in enumerate(events):
        design[row, column[event.leg, event.kind]] = 1
        design[row, len(column)] = event.count
    times = np.array([e.time_s for e in events])
    for k, hat in enumerate(np.eye(len(knots))[1:]):
        design[:, len(column) + 1 + k] = np.interp(times, knots, hat)
    return design


def _steadiness(before: int, knots: int, stride_s: float) -> FloatArray:
    """Return rows that draw each knot's delay to that of the knot before (a random walk)."""
    rows: FloatArray = np.zeros((knots, before + knots))
    rows[:, before:] = np.eye(knots) - np.eye(knots, k=-1)
    rows /= CLOCK_WANDER * stride_s / np.sqrt(KNOTS_A_STRIDE)
    return rows


def _robust_fit(
    design: FloatArray, times: FloatArray, sure: FloatArray, steady: FloatArray, wander: float
) -> tuple[FloatArray, FloatArray]:
    """Return weighted least squares with Huber weights and the covariance of the result.

    `sure` is 1 over each event's variance, of which `wander` is the cow's own, s^2; `steady` are
    rows of which each should give 0 with a variance of 1.
    """
    weight = sure.copy()
    for _ in range(8):
        root = np.sqrt(weight)
        rows = np.concatenate([design * root[:, None], steady])
        wanted = np.concatenate([times * root, np.zeros(len(steady))])
        fitted = np.linalg.lstsq(rows, wanted, rcond=None)[0]
        rest = (times - design @ fitted) * np.sqrt(sure)
        scale = max(1.4826 * float(np.median(np.abs(rest))), 0.5)
        weight = sure * np.minimum(1.0, 2.0 * scale / np.maximum(np.abs(rest), 1e-9))
    told = (design.T * weight) @ design
    free = np.asarray(np.linalg.pinv(told + steady.T @ steady), np.float64)
    spare = len(times) - float(np.trace(free @ told))
    # few events say little about their own spread, so it is pulled towards the usual one
    spread = (float((weight / sure * rest**2).sum()) + 4.0) / (spare + 4.0)
    timing = 1 - wander * float(sure.mean())
    spread = min(spread, timing) + OWN_SHARE * max(spread - timing, 0.0)
    return np.asarray(fitted, np.float64), free * spread


def _neighbours(events: list[_Event], leg: str) -> list[tuple[_Event, _Event]]:
    """Return pairs of like events of a leg one stride apart, none missed between."""
    own = [[e for e in events if e.leg == leg and e.kind == kind] for kind in ("on", "off")]
    return [(a, b) for row in own for a, b in pairwise(row) if b.count - a.count == 1]


def _whole_strides(events: list[_Event], leg: str) -> int:
    """Return the whole strides of a leg: the longer of on to on and off to off."""
    kinds = [a.kind for a, _ in _neighbours(events, leg)]
    return max(kinds.count("on"), kinds.count("off"))
