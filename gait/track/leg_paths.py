"""The path of one leg along the lane, from its prints, and the sightings that lie on it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from gait.track.footing import Print

FloatArray = npt.NDArray[np.float64]
IndexArray = npt.NDArray[np.intp]

PLANTED = 0.05
"""How far from its print a standing hoof may be sighted, trunk lengths."""
IN_AIR = 0.16
"""How far from the smooth curve between two prints a swinging hoof may be sighted."""
BEYOND = 0.35
"""How far from its first or last print a leg may be sighted before and after."""
EDGE = 0.15
"""Share of a swing by which it may begin earlier or end later than thought."""
MET = 0.06
"""A sighting so close to a tried path counts for it, trunk lengths."""
SLOW_END = 0.15
"""Share of a swing at either end in which the hoof seems still, or already, on its print."""
SWING_S = (0.3, 0.8)
"""Shortest and longest usual swing of a walking cow, s; ours."""
UNSEEN = 1.0
"""Price of leaving a leg unseen in a frame; a sighting at the limit of its reach costs the same."""
AGAINST_NAMES = 0.05
OPTIONS = np.array([[0, 1], [1, 0], [0, -1], [1, -1], [-1, 0], [-1, 1], [-1, -1]])
"""Which name's sighting the near and the far leg take; -1 for none."""


@dataclass(frozen=True, kw_only=True, eq=False)
class LegPath:
    """Where one leg's hoof must be at any time.

    Parameters
    ----------
    prints : list of Print
        Its prints in order; at least one.
    off_s, on_s : ndarray, shape (prints - 1,)
        When the hoof leaves each print and when it comes down in the next.
    """

    prints: list[Print]
    off_s: FloatArray
    on_s: FloatArray

    def place(self, time_s: FloatArray) -> FloatArray:
        """Return the hoof's place at each time, trunk lengths: prints joined by cycloids."""
        places = np.array([p.place for p in self.prints])
        result = np.full(len(time_s), places[0])
        for k, (off, on) in enumerate(zip(self.off_s, self.on_s, strict=True)):
            result += _cycloid(time_s, off, on) * (places[k + 1] - places[k])
        return result

    def looseness(self, time_s: FloatArray) -> FloatArray:
        """Return how far from `place` the hoof may be sighted at each time, trunk lengths."""
        loose = np.full(len(time_s), PLANTED)
        for off, on in zip(self.off_s, self.on_s, strict=True):
            edge = EDGE * (on - off)
            loose[(time_s > off - edge) & (time_s < on + edge)] = IN_AIR
        if len(self.off_s):
            loose[(time_s < self.off_s[0]) | (time_s > self.on_s[-1])] = BEYOND
        return loose


def _cycloid(time_s: FloatArray, off_s: float, on_s: float) -> FloatArray:
    """Return the share of the way done at each time, 0 before `off_s` and 1 after `on_s`."""
    share = np.clip((time_s - off_s) / max(on_s - off_s, 1e-6), 0, 1)
    result: FloatArray = share - np.sin(2 * np.pi * share) / (2 * np.pi)
    return result


def usual_swing_s(legs: list[list[Print]]) -> float:
    """Return how long a swing usually takes, from the shorter times between prints of a leg.

    A print is seen late or left early when the other leg hides it, so that the time between
    prints is the visible part of a swing or more, hardly ever less.
    """
    gaps = [b.first_s - a.last_s for leg in legs for a, b in pairwise(leg)]
    if not gaps:
        return float(np.mean(SWING_S))
    return float(np.clip(np.percentile(gaps, 25) / (1 - 2 * SLOW_END), *SWING_S))


def find_path(
    prints: list[Print], swing_s: float, stride: float, time_s: FloatArray, sightings: FloatArray
) -> LegPath:
    """Fit the swings between the prints of a leg to what was sighted there.

    Parameters
    ----------
    prints : list of Print
        Prints of the leg in order.
    swing_s : float
        How long a swing usually takes.
    stride : float
        Usual way between two prints of a leg, trunk lengths.
    time_s : ndarray, shape (n,)
        Time stamps.
    sightings : ndarray, shape (n, 2)
        What the network named near and far of the pair's hooves, along the lane. NaN unseen.

    Returns
    -------
    LegPath
    """
    row = _with_unseen_prints(prints, stride, swing_s)
    swings = [_find_swing(a, b, swing_s, time_s, sightings) for a, b in pairwise(row)]
    times = np.array(swings, dtype=float).reshape(-1, 2)
    return LegPath(prints=row, off_s=times[:, 0], on_s=times[:, 1])


def usual_stride(legs: list[list[Print]]) -> float:
    """Return the usual way between two prints of a leg, trunk lengths; NaN if none is known."""
    ways = [b.place - a.place for leg in legs for a, b in pairwise(leg)]
    return float(np.median(ways)) if ways else float("nan")


def _with_unseen_prints(prints: list[Print], stride: float, swing_s: float) -> list[Print]:
    """Add the print before the first and the one after the last, where the hoof came from or went.

    They may lie beyond the edge of the picture or the ends of the film.
    """
    if not np.isfinite(stride):
        return prints
    first, last = prints[0], prints[-1]
    slack = 2.5 * swing_s
    before = replace(
        first, place=first.place - stride, first_s=-np.inf, last_s=first.first_s - slack
    )
    after = replace(last, place=last.place + stride, first_s=last.last_s + slack, last_s=np.inf)
    return [before, *prints, after]


def _find_swing(
    first: Print, second: Print, swing_s: float, time_s: FloatArray, sightings: FloatArray
) -> tuple[float, float]:
    """Return hoof-off and hoof-on between two prints: the moments that meet most sightings."""
    begin, end = first.last_s - SLOW_END * swing_s, second.first_s + SLOW_END * swing_s
    if end - begin <= 1.1 * swing_s:
        return begin, end
    way = second.place - first.place
    about = (time_s > begin) & (time_s < end)
    seen, t = sightings[about], time_s[about]
    best, best_count = (begin, end), -1.0
    for off in np.linspace(begin, end - swing_s, 16):
        at = first.place + way * _cycloid(t, off, off + swing_s)
        moving = (t > off) & (t < off + swing_s)
        met = np.nanmin(np.abs(np.nan_to_num(seen, nan=np.inf) - at[:, None]), axis=1, initial=9.0)
        count = float((moving & (met < MET)).sum())
        if count > best_count:
            best, best_count = (float(off), float(off + swing_s)), count
    return best


def name_sightings(sightings: FloatArray, at: FloatArray, loose: FloatArray) -> IndexArray:
    """Give sightings to the legs on whose paths they lie.

    Parameters
    ----------
    sightings : ndarray, shape (n, 2)
        What the network named near and far, along the lane. NaN unseen.
    at, loose : ndarray, shape (n, 2)
        Where the near and the far leg should be, and how far from there they may be.

    Returns
    -------
    ndarray of int, shape (n, 2)
        For the near and the far leg: 0 takes the sighting named near, 1 that named far, -1 none.
    """
    away = ((sightings[:, None, :] - at[:, :, None]) / loose[:, :, None]) ** 2  # [frame, leg, name]
    away = np.where(np.isfinite(away), away, np.inf)
    price = np.zeros((len(sightings), len(OPTIONS)))
    for o, option in enumerate(OPTIONS):
        for leg, name in enumerate(option):
            price[:, o] += UNSEEN if name < 0 else away[:, leg, name]
            price[:, o] += AGAINST_NAMES * (name == 1 - leg)
    # two names on one hoof are one sighting, unless the legs are just passing each other
    one = np.abs(sightings[:, 0] - sightings[:, 1]) < PLANTED / 2
    one &= np.abs(at[:, 0] - at[:, 1]) > 2 * PLANTED
    price[one, :2] = np.inf
    return np.asarray(OPTIONS[price.argmin(axis=1)], np.intp)
