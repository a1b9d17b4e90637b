"""The curve of one swing, fitted between two prints: moments of hoof-off and hoof-on.

A hoof stands still on the floor, then moves to its next print along a smooth curve, so the
moments come from all frames of the swing together, not from the one frame that happens to lie
nearest.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.optimize import OptimizeResult, least_squares

FloatArray = npt.NDArray[np.float64]

LEAST_SWING_S = 0.12
MOST_MISS = 3.0
"""A fit that misses the frames by more than so many usual errors is not of one swing."""
LEAST_FRAMES = 3
"""Frames needed on the floor beside an event, and in the air, before it is timed."""
ALIKE = np.array([10.0, 10.0, 0.01, 0.01])
"""Changes of prints (px) and moments (s) that matter alike; a fit finds its way sooner by them."""


@dataclass(frozen=True, kw_only=True)
class SwingShape:
    """How a hoof speeds up and slows down in its swing.

    Parameters
    ----------
    easing : float
        0 is constant speed from print to print, 1 a cycloid, which starts and ends at rest.
        Living hooves lie between: they leave and meet the floor with some forward speed.
    unlike : float
        How far the legs' own easings spread beyond what poor films make of like legs.
    """

    easing: float = 0.85
    unlike: float = 0.0

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
class Usual:
    """What a swing of this pass is usually like; steadies those that are only partly seen."""

    swing_s: float
    way_px: float
    spread: float = 0.15

    def is_like(self, fitted: FloatArray) -> bool:
        """Tell whether fitted prints and moments are a whole swing, not half of one or two."""
        way, swing_s = fitted[1] - fitted[0], fitted[3] - fitted[2]
        return bool(0.65 < way / self.way_px < 1.5 and 0.55 < swing_s / self.swing_s < 1.8)


@dataclass(frozen=True, kw_only=True, eq=False)
class Window:
    """The frames around one rough swing of one leg.

    Parameters
    ----------
    time_s, along : ndarray, shape (n,)
        Time stamps, and places along the lane in ground px.
    rough_off_s, rough_on_s : float
        About when the hoof is in the air.
    has_before, has_after : bool
        Whether the hoof was seen planted before and after.
    """

    time_s: FloatArray
    along: FloatArray
    rough_off_s: float
    rough_on_s: float
    has_before: bool
    has_after: bool

    def views(self) -> Iterator[Window]:
        """Yield the window with every planted hoof seen, then with only one end of the swing.

        The second and third look are for a hoof that comes into the picture, or leaves it, in
        the air: what seemed to be planted there is another leg.
        """
        if self.has_before and self.has_after:
            yield self
        if self.has_after:
            yield self._only(self.time_s > self.rough_off_s, has_before=False)
        if self.has_before:
            yield self._only(self.time_s < self.rough_on_s, has_after=False)

    def _only(self, frames: npt.NDArray[np.bool_], **seen: bool) -> Window:
        return replace(self, time_s=self.time_s[frames], along=self.along[frames], **seen)


# --- fine times -------------------------------------------------------------------------------


def landmark_noise(windows: Iterable[Window]) -> tuple[float, float]:
    """Return spread (px) of planted hooves about their prints and how far it is remembered.

    The second figure multiplies the variance of a mean: (1 + r) / (1 - r) for errors that carry
    over from frame to frame with correlation r.
    """
    rests = []
    for window in windows:
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


def fit_swing(
    window: Window, shape: SwingShape, usual: Usual | None, noise: tuple[float, float]
) -> Swing | None:
    """Fit prints and moments of one swing.

    Parameters
    ----------
    window : Window
        The frames around the swing.
    shape : SwingShape
        The curve from print to print.
    usual : Usual or None
        What swings of this pair are like; without it only a swing seen whole is fitted.
    noise : tuple of float
        From `landmark_noise`.

    Returns
    -------
    Swing or None
        None when it is too poorly seen.
    """
    for view in window.views():
        if usual is None and not (view.has_before and view.has_after):
            continue
        swing = _fit(view, shape, usual, noise)
        if swing is not None:
            return swing
    return None


def _fit(
    window: Window, shape: SwingShape, usual: Usual | None, noise: tuple[float, float]
) -> Swing | None:
    spread, memory = noise
    result = solve(window, shape, usual, spread)
    miss = float(np.median(np.abs(result.fun[: len(window.time_s)])))
    if usual is not None and not (usual.is_like(result.x) and miss < MOST_MISS):
        return None
    return _as_swing(result.x, result.jac, window, memory, spread)


def solve(
    window: Window,
    shape: SwingShape,
    usual: Usual | None,
    spread: float,
    start: FloatArray | None = None,
) -> OptimizeResult:
    """Fit prints and moments (from, to, off, on); residuals in usual errors of a frame."""
    t, x = window.time_s, window.along
    if start is None:
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

    return least_squares(
        residual, start, jacobian, x_scale=ALIKE, loss="soft_l1", f_scale=2.0, max_nfev=30
    )


def _first_guess(window: Window, usual: Usual | None) -> FloatArray:
    off, on = window.rough_off_s, window.rough_on_s
    x, t = window.along, window.time_s
    before = float(np.median(x[t < off])) if window.has_before else float("nan")
    after = float(np.median(x[t > on])) if window.has_after else float("nan")
    if usual is not None and not window.has_before:
        before, off = after - usual.way_px, on - usual.swing_s
    if usual is not None and not window.has_after:
        after, on = before + usual.way_px, off + usual.swing_s
    return np.array([before, after, off, max(on, off + 0.05)])


def _usual_rest(usual: Usual | None, swing_s: float, way_px: float) -> FloatArray:
    if usual is None:
        return np.zeros(0)
    return np.array([swing_s / usual.swing_s - 1, way_px / usual.way_px - 1]) / usual.spread


def _usual_slopes(usual: Usual | None) -> FloatArray:
    if usual is None:
        return np.zeros((0, 4))
    by_s, by_px = 1 / (usual.swing_s * usual.spread), 1 / (usual.way_px * usual.spread)
    return np.array([[0, 0, -by_s, by_s], [-by_px, by_px, 0, 0]])


def _as_swing(
    theta: FloatArray, jacobian: FloatArray, window: Window, memory: float, spread: float
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
