"""When and where each hoof is set down and lifted, finer than the frames are apart.

A hoof stands still on the floor, then moves to its next print along a smooth curve. The curve
between two prints is fitted to the hoof's place along the lane, so that the moments of hoof-off
and hoof-on come from all frames of the swing together, not from the one frame that happens to
lie nearest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from gait.measure.lane import Lane

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

LEGS: tuple[str, ...] = ("near_hind", "near_fore", "far_hind", "far_fore")

SWING_SPEED = 0.8
"""A hoof swings when it is faster than this share of the trunk's speed (at 1 it overtakes it)."""
LEAST_SWING_S = 0.12
LEAST_STANCE_S = 0.12
LEAST_SWING_BL = 0.2
"""Shortest way of a swing; shorter moves are a shuffle or an error of the landmark. Ours."""
LEAST_FRAMES = 3
"""Frames needed on the floor beside an event, and in the air, before it is timed."""
LONGEST_LOOK_S = 0.4
"""How far before and after the swing the planted hoof is looked at."""


@dataclass(frozen=True, kw_only=True)
class SwingShape:
    """How a hoof speeds up and slows down in its swing.

    Parameters
    ----------
    easing : float
        0 is constant speed from print to print, 1 a cycloid, which starts and ends at rest.
        Living hooves lie between: they leave and meet the floor with some forward speed.
    """

    easing: float = 0.9

    def way(self, share: FloatArray) -> FloatArray:
        """Return the share of the way done at a share of the swing's time, both 0 to 1."""
        u = np.clip(share, 0, 1)
        result: FloatArray = u - self.easing * np.sin(2 * np.pi * u) / (2 * np.pi)
        return result

    def speed(self, share: FloatArray) -> FloatArray:
        """Return the derivative of `way`; 0 outside the swing."""
        inside = (share > 0) & (share < 1)
        return np.where(inside, 1 - self.easing * np.cos(2 * np.pi * share), 0.0)


@dataclass(frozen=True, kw_only=True)
class Swing:
    """One swing of one hoof, from print to print.

    Parameters
    ----------
    off_s, on_s : float
        Moments of hoof-off and hoof-on. NaN when the film begins or ends within the swing so
        that this end of it was not seen.
    off_se_s, on_se_s : float
        Their standard errors.
    from_px, to_px : float
        Prints along the lane, ground px. NaN when that print was not seen.
    print_se_px : float
        Standard error of a print.
    """

    off_s: float
    on_s: float
    off_se_s: float
    on_se_s: float
    from_px: float
    to_px: float
    print_se_px: float


@dataclass(frozen=True, kw_only=True)
class _Usual:
    """What a swing of this pass is usually like; steadies those that are only partly seen."""

    swing_s: float
    way_px: float
    spread: float = 0.15


@dataclass(frozen=True, kw_only=True, eq=False)
class _Window:
    """The frames around one rough swing of one leg."""

    time_s: FloatArray
    along: FloatArray
    rough_off_s: float
    rough_on_s: float
    has_before: bool
    has_after: bool


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
    noise = _noise(windows)
    shape = SwingShape()
    fits = {leg: _fit_all(windows[leg], shape, None, noise) for leg in LEGS}
    shape = _usual_shape(windows, fits, shape)
    for _ in range(2):
        usual = {end: _usual_swing(fits, end) for end in ("hind", "fore")}
        fits = {leg: _fit_all(windows[leg], shape, usual[leg[-4:]], noise) for leg in LEGS}
    return {leg: [fit for fit in fits[leg] if fit is not None] for leg in LEGS}


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


def _rough_swings(lane: Lane, leg: str) -> list[_Window]:
    along, _ = lane.of(f"{leg}_hoof")
    known = np.isfinite(along)
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
    return [_window(runs, k, t, x) for k in range(len(runs))]


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


def _window(runs: list[tuple[int, int]], k: int, t: FloatArray, x: FloatArray) -> _Window:
    first, last = runs[k]
    begin, end = t[first] - LONGEST_LOOK_S, t[last] + LONGEST_LOOK_S
    if k > 0:
        begin = max(begin, (t[runs[k - 1][1]] + t[first]) / 2)
    if k + 1 < len(runs):
        end = min(end, (t[last] + t[runs[k + 1][0]]) / 2)
    inside = (t >= begin) & (t <= end)
    # the limit is passed within the swing, so it begins a little earlier and ends a little later
    slack = 0.1 * (t[last] - t[first])
    off, on = t[first] - slack, t[last] + slack
    return _Window(
        time_s=t[inside],
        along=x[inside],
        rough_off_s=off,
        rough_on_s=on,
        has_before=int((t[inside] < off).sum()) >= LEAST_FRAMES,
        has_after=int((t[inside] > on).sum()) >= LEAST_FRAMES,
    )


# --- fine times -------------------------------------------------------------------------------


def _noise(windows: dict[str, list[_Window]]) -> tuple[float, float]:
    """Return spread (px) of planted hooves about their prints and how far it is remembered.

    The second figure multiplies the variance of a mean: (1 + r) / (1 - r) for errors that carry
    over from frame to frame with correlation r.
    """
    rests = []
    for window in (w for ws in windows.values() for w in ws):
        for still in (
            window.along[window.time_s < window.rough_off_s],
            window.along[window.time_s > window.rough_on_s],
        ):
            if len(still) >= 4:
                rests.append(still - np.median(still))
    if not rests:
        return 1.0, 2.0
    spread = 1.4826 * float(np.median(np.abs(np.concatenate(rests))))
    product = np.concatenate([r[1:] * r[:-1] for r in rests])
    square = np.concatenate([r[1:] ** 2 for r in rests])
    limit = (4 * spread) ** 2 + 1e-12
    carried = np.clip(product, -limit, limit).mean()
    memory = float(carried / (np.clip(square, 0, limit).mean() + 1e-12))
    memory = min(max(memory, 0.0), 0.8)
    return max(spread, 0.3), (1 + memory) / (1 - memory)


def _fit_all(
    windows: list[_Window], shape: SwingShape, usual: _Usual | None, noise: tuple[float, float]
) -> list[Swing | None]:
    return [_fit(window, shape, usual, noise) for window in windows]


def _fit(
    window: _Window, shape: SwingShape, usual: _Usual | None, noise: tuple[float, float]
) -> Swing | None:
    """Fit prints and moments of one swing; None when it is too poorly seen."""
    if not (window.has_before or window.has_after):
        return None
    if usual is None and not (window.has_before and window.has_after):
        return None
    t, x = window.time_s, window.along
    spread, memory = noise
    start = _first_guess(window, usual)

    def split(theta: FloatArray) -> tuple[FloatArray, float, float]:
        length = max(theta[3] - theta[2], 0.03)
        return (t - theta[2]) / length, length, theta[1] - theta[0]

    def residual(theta: FloatArray) -> FloatArray:
        share, length, way = split(theta)
        rest = (x - theta[0] - way * shape.way(share)) / spread
        return np.concatenate([rest, _usual_rest(usual, length, way)])

    def jacobian(theta: FloatArray) -> FloatArray:
        share, length, way = split(theta)
        done, speed = shape.way(share), shape.speed(share)
        by_time = way * speed / length
        rows = np.stack([done - 1, -done, by_time * (1 - share), by_time * share], axis=1) / spread
        return np.concatenate([rows, _usual_slopes(usual)])

    result = least_squares(residual, start, jacobian, loss="soft_l1", f_scale=2.0, max_nfev=30)
    return _as_swing(result.x, result.jac, window, memory, spread)


def _first_guess(window: _Window, usual: _Usual | None) -> FloatArray:
    off, on = window.rough_off_s, window.rough_on_s
    x, t = window.along, window.time_s
    before = float(np.median(x[t < off])) if window.has_before else float("nan")
    after = float(np.median(x[t > on])) if window.has_after else float("nan")
    if usual is not None and not window.has_before:
        before, off = after - usual.way_px, on - usual.swing_s
    if usual is not None and not window.has_after:
        after, on = before + usual.way_px, off + usual.swing_s
    return np.array([before, after, off, max(on, off + 0.05)])


def _usual_rest(usual: _Usual | None, swing_s: float, way_px: float) -> FloatArray:
    if usual is None:
        return np.zeros(0)
    return np.array([swing_s / usual.swing_s - 1, way_px / usual.way_px - 1]) / usual.spread


def _usual_slopes(usual: _Usual | None) -> FloatArray:
    if usual is None:
        return np.zeros((0, 4))
    by_s, by_px = 1 / (usual.swing_s * usual.spread), 1 / (usual.way_px * usual.spread)
    return np.array([[0, 0, -by_s, by_s], [-by_px, by_px, 0, 0]])


def _as_swing(
    theta: FloatArray, jacobian: FloatArray, window: _Window, memory: float, spread: float
) -> Swing | None:
    before, after, off, on = (float(v) for v in theta)
    in_air = int(((window.time_s > off) & (window.time_s < on)).sum())
    if not (after > before and on - off > LEAST_SWING_S and in_air >= LEAST_FRAMES):
        return None
    error = np.sqrt(np.diag(np.linalg.pinv(jacobian.T @ jacobian)) * memory)
    nan = float("nan")
    return Swing(
        off_s=off if window.has_before else nan,
        on_s=on if window.has_after else nan,
        off_se_s=float(error[2]),
        on_se_s=float(error[3]),
        from_px=before if window.has_before else nan,
        to_px=after if window.has_after else nan,
        print_se_px=float(spread * np.sqrt(memory / 6)),
    )


# --- what swings of this pass are like ---------------------------------------------------------


def _usual_swing(fits: dict[str, list[Swing | None]], end: str) -> _Usual | None:
    """Return the median swing of the fore or the hind pair; None when hardly any was seen."""
    whole = [
        s
        for leg in LEGS
        if leg.endswith(end)
        for s in fits[leg]
        if s is not None and np.isfinite(s.off_s + s.on_s)
    ]
    if len(whole) < 2:
        return None
    return _Usual(
        swing_s=float(np.median([s.on_s - s.off_s for s in whole])),
        way_px=float(np.median([s.to_px - s.from_px for s in whole])),
    )


def _usual_shape(
    windows: dict[str, list[_Window]], fits: dict[str, list[Swing | None]], shape: SwingShape
) -> SwingShape:
    """Fit one swing curve to all swings of the pass laid over each other."""
    shares, ways = [], []
    for leg in LEGS:
        for window, swing in zip(windows[leg], fits[leg], strict=True):
            if swing is None or not np.isfinite(swing.off_s + swing.on_s):
                continue
            shares.append((window.time_s - swing.off_s) / (swing.on_s - swing.off_s))
            ways.append((window.along - swing.from_px) / (swing.to_px - swing.from_px))
    if len(shares) < 3:
        return shape
    share, way = np.concatenate(shares), np.concatenate(ways)
    spread = max(1.4826 * float(np.median(np.abs(way - shape.way(share)))), 1e-3)

    def rest(theta: FloatArray) -> FloatArray:
        easing, early, late = theta
        moved = (share + early) / (1 + early + late)
        miss = (way - SwingShape(easing=easing).way(moved)) / spread
        # easing and length of the swing look alike in a poor film: pull towards the usual
        return np.concatenate([miss, [(easing - shape.easing) / 0.04, early / 0.05, late / 0.05]])

    bounds = ([0.4, -0.2, -0.2], [1.0, 0.2, 0.2])
    fit = least_squares(rest, [shape.easing, 0.0, 0.0], bounds=bounds, loss="soft_l1")
    return SwingShape(easing=float(fit.x[0]))
