"""When and where each hoof is set down and lifted, finer than the frames are apart.

Swings are first found roughly: a hoof that moves forward faster than most of the trunk's speed
is in the air. Then `swing_fit` times both ends of each.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from gait.measure.lane import Lane
from gait.measure.swing_fit import (
    LEAST_FRAMES,
    LEAST_SWING_S,
    Swing,
    SwingShape,
    Usual,
    Window,
    fit_swing,
    landmark_noise,
)
from gait.measure.usual_swing import usual_shape, usual_swing

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

LEGS: tuple[str, ...] = ("near_hind", "near_fore", "far_hind", "far_fore")

SWING_SPEED = 0.8
"""A hoof swings when it is faster than this share of the trunk's speed (at 1 it overtakes it)."""
LEAST_STANCE_S = 0.12
LEAST_SWING_BL = 0.2
"""Shortest way of a swing; shorter moves are a shuffle or an error of the landmark. Ours."""
COMPANY_S = 0.15
EVENT_ERROR_S, PART_ERROR_S = 0.003, 0.025
"""What the network adds to an event's error, and to that of one seen in part or at the edge of
the picture; from drawn films."""
CURVE_SHIFT = 0.3
"""Either end of a swing moves by this share of its time when the curve's easing changes by 1."""
STOP_SHARE, STOP_S = 0.25, 0.5
"""A stop: less than this share of the usual speed for so long; ours."""
LONGEST_LOOK_S = 0.4
"""How far before and after the swing the planted hoof is looked at."""


def find_swings(lane: Lane) -> dict[str, list[Swing]]:
    """Find every swing of every hoof in a pass.

    Parameters
    ----------
    lane : Lane
        Landmarks in lane coordinates, near and far legs settled.

    Returns
    -------
    dict
        For each of `LEGS` its swings in order of time; empty when the cow does not walk.
    """
    windows = {leg: _rough_swings(lane, leg) for leg in LEGS}
    noise = landmark_noise(w for leg in LEGS for w in windows[leg])

    def fit(shape: SwingShape, usual: dict[str, Usual | None]) -> dict[str, list[Swing | None]]:
        return {
            leg: [fit_swing(w, shape, usual.get(leg[-4:]), noise) for w in windows[leg]]
            for leg in LEGS
        }

    shape = usual_shape(windows, noise)
    fits = fit(shape, {})
    for _ in range(2):
        usual = {
            end: usual_swing([s for leg in LEGS if leg.endswith(end) for s in fits[leg]])
            for end in ("hind", "fore")
        }
        fits = fit(shape, usual)
    swings = {leg: [s for s in fits[leg] if s is not None] for leg in LEGS}
    known = [u.swing_s for u in usual.values() if u is not None]
    curve_s = CURVE_SHIFT * shape.unlike * float(np.mean(known)) if known else 0.0
    return {leg: [_as_sure_as_seen(s, lane, curve_s) for s in swings[leg]] for leg in LEGS}


def _as_sure_as_seen(swing: Swing, lane: Lane, curve_s: float) -> Swing:
    """Widen errors: of a swing seen in part, of events while the frame cuts her, of odd curves."""
    whole = lane.time_s[lane.whole]
    begin, end = (whole[0], whole[-1]) if whole.size else (np.inf, -np.inf)
    part = not np.isfinite(swing.off_s + swing.on_s)

    def widened(time_s: float, error_s: float) -> float:
        beyond = not begin <= time_s <= end
        floor = PART_ERROR_S if part or beyond else EVENT_ERROR_S
        return float(np.linalg.norm([error_s, floor, curve_s]))

    return replace(
        swing,
        off_se_s=widened(swing.off_s, swing.off_se_s),
        on_se_s=widened(swing.on_s, swing.on_se_s),
    )


def longest_walk(lane: Lane, swings: dict[str, list[Swing]]) -> dict[str, list[Swing]]:
    """Keep the swings of the longest stretch that the cow walks without a stop.

    Before and after a stop the legs keep different time, so they cannot be timed together.

    Parameters
    ----------
    lane : Lane
        The cow in lane coordinates.
    swings : dict
        Swings of each leg.

    Returns
    -------
    dict
        The swings that lie between two stops, or between a stop and an end of the pass.
    """
    speed = np.abs(lane.speed_at(lane.time_s, 0.25)) / lane.body_length_px
    usual = np.nanpercentile(speed, 70) if np.isfinite(speed).any() else np.nan
    stops = [
        (lane.time_s[first], lane.time_s[last])
        for first, last in _runs(speed < STOP_SHARE * usual, lane.time_s)
        if lane.time_s[last] - lane.time_s[first] > STOP_S
    ]
    if not stops:
        return swings
    middles = [(start + end) / 2 for start, end in stops]
    walks: list[dict[str, list[Swing]]] = [
        {leg: [s for s in swings[leg] if begin <= swing_time(s) < end] for leg in LEGS}
        for begin, end in pairwise([-np.inf, *middles, np.inf])
    ]
    return max(walks, key=lambda walk: sum(len(walk[leg]) for leg in LEGS))


def swing_time(swing: Swing) -> float:
    """Return the middle of a swing, or the end of it that was seen."""
    return float(np.mean([t for t in (swing.off_s, swing.on_s) if np.isfinite(t)]))


# --- rough swings -----------------------------------------------------------------------------


def robust_speed(time_s: FloatArray, along: FloatArray, half_window: int) -> FloatArray:
    """Return the median of the slopes between all frames around each frame (Theil-Sen).

    Parameters
    ----------
    time_s, along : ndarray, shape (n,)
        Time stamps and places, NaN where unseen.
    half_window : int
        Frames on each side.

    Returns
    -------
    ndarray, shape (n,)
        Speed in units of `along` per second; NaN where fewer than three slopes are known.
    """
    pad = np.full(half_window, np.nan)
    size = 2 * half_window + 1
    t = np.lib.stride_tricks.sliding_window_view(np.concatenate([pad, time_s, pad]), size)
    x = np.lib.stride_tricks.sliding_window_view(np.concatenate([pad, along, pad]), size)
    i, j = np.triu_indices(size, 1)
    slopes = (x[:, j] - x[:, i]) / (t[:, j] - t[:, i])
    count = np.isfinite(slopes).sum(axis=1)
    ordered = np.sort(slopes, axis=1)  # NaN goes last
    low = np.maximum((count - 1) // 2, 0)[:, None]
    high = np.maximum(count // 2, 0)[:, None]
    middle = (np.take_along_axis(ordered, low, 1) + np.take_along_axis(ordered, high, 1))[:, 0] / 2
    return np.where(count >= 3, middle, np.nan)


def _rough_swings(lane: Lane, leg: str) -> list[Window]:
    along, _ = lane.of(f"{leg}_hoof")
    known = np.isfinite(along)
    known &= _has_company(lane.time_s, known)
    if known.sum() < 2 * LEAST_FRAMES or not np.isfinite(lane.body_length_px):
        return []
    t, x = lane.time_s[known], along[known]
    frame_s = float(np.median(np.diff(t)))
    speed = robust_speed(t, x, max(2, round(0.07 / frame_s)))
    trunk = lane.speed_at(t)
    # a standing cow moves no trunk: then only a real step counts as a swing
    limit = np.maximum(SWING_SPEED * trunk, 0.25 * lane.body_length_px)
    runs = _runs(speed > limit, t)
    runs = _join(runs, t, LEAST_STANCE_S)
    runs = [run for run in runs if _is_a_step(run, t, x, lane.body_length_px)]
    still = speed < 0.4 * limit
    return [_window(runs, k, t, x, still) for k in range(len(runs))]


def _has_company(t: FloatArray, known: BoolArray) -> BoolArray:
    """Return which frames have two others close in time: a lone sighting is a mistake."""
    if known.sum() < LEAST_FRAMES:
        return known
    seen = t[known]
    near = max(COMPANY_S, 2.5 * float(np.median(np.diff(t))))
    around = np.searchsorted(seen, t + near, "right") - np.searchsorted(seen, t - near, "left")
    company: BoolArray = around >= LEAST_FRAMES
    return company


def _runs(flag: BoolArray, t: FloatArray) -> list[tuple[int, int]]:
    """Return first and last index of each run of True."""
    edges = np.diff(np.concatenate([[0], flag.astype(int), [0]]))
    return list(zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1, strict=True))


def _join(runs: list[tuple[int, int]], t: FloatArray, least_s: float) -> list[tuple[int, int]]:
    """Join runs parted by less than the shortest stance."""
    joined: list[tuple[int, int]] = []
    for first, last in runs:
        if joined and t[first] - t[joined[-1][1]] < least_s:
            joined[-1] = (joined[-1][0], last)
        else:
            joined.append((first, last))
    return joined


def _is_a_step(run: tuple[int, int], t: FloatArray, x: FloatArray, body_length: float) -> bool:
    first, last = run
    before, after = x[max(first - 3, 0) : first + 1], x[last : last + 4]
    way = float(np.median(after) - np.median(before))
    at_edge = first <= 1 or last >= len(t) - 2
    return way > LEAST_SWING_BL * body_length and (
        at_edge or t[last] - t[first] > LEAST_SWING_S * 0.5
    )


def _window(
    runs: list[tuple[int, int]], k: int, t: FloatArray, x: FloatArray, still: BoolArray
) -> Window:
    first, last = runs[k]
    # from the nearest frames in which it was seen on, for it may be hidden for a while
    begin = t[max(first - 1, 0)] - LONGEST_LOOK_S
    end = t[min(last + 1, len(t) - 1)] + LONGEST_LOOK_S
    if k > 0:
        begin = max(begin, (t[runs[k - 1][1]] + t[first]) / 2)
    if k + 1 < len(runs):
        end = min(end, (t[last] + t[runs[k + 1][0]]) / 2)
    inside = (t >= begin) & (t <= end)
    # the limit is passed within the swing, so it begins a little earlier and ends a little later
    slack = 0.1 * (t[last] - t[first])
    off, on = t[first] - slack, t[last] + slack
    return Window(
        time_s=t[inside],
        along=x[inside],
        rough_off_s=off,
        rough_on_s=on,
        # a hoof that comes into the picture in the air was not seen planted before
        has_before=int((still & inside & (t < off)).sum()) >= LEAST_FRAMES,
        has_after=int((still & inside & (t > on)).sum()) >= LEAST_FRAMES,
    )
