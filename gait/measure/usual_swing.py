"""What the swings of one pass are like: how long, how far, how hooves leave and meet the floor.

Hooves of one cow swing much alike, so the swings that were seen whole steady the others, and one
curve is fitted to all of them.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from gait.measure.swing_fit import Swing, SwingShape, Usual, Window, solve

FloatArray = npt.NDArray[np.float64]

EASINGS = np.linspace(0.3, 1.0, 6)
EASING_SPREAD, USUAL_UNLIKE = 0.2, 0.05
"""Curves that are tried, how far a pass may lie from the usual one, and how far the legs of like
swings seem to spread; ours. Drawn cows have 0.85, a rigged cow with planted hooves about 0.4."""
FINE = 0.05
"""Step of the second look around the best curve."""
LEAST_WHOLE_SWINGS = 3


def usual_swing(swings: list[Swing | None]) -> Usual | None:
    """Return the median of some swings; None when hardly any was seen whole."""
    whole = [s for s in swings if s is not None and np.isfinite(s.off_s + s.on_s)]
    if len(whole) < 2:
        return None
    return Usual(
        swing_s=float(np.median([s.on_s - s.off_s for s in whole])),
        way_px=float(np.median([s.to_px - s.from_px for s in whole])),
    )


def usual_shape(windows: Mapping[str, list[Window]], noise: tuple[float, float]) -> SwingShape:
    """Return the curve that fits all swings of the pass best, and how unlike the legs swing.

    How suddenly hooves leave and meet the floor moves both ends of every swing: the wrong curve
    makes stances too short or too long. Between two curves there may be a hump, so all are tried.

    Parameters
    ----------
    windows : mapping of str to list of Window
        The frames of each swing, by leg.
    noise : tuple of float
        From `landmark_noise`.

    Returns
    -------
    SwingShape
        The usual one when fewer than three swings were seen whole.
    """
    whole = {k: [w for w in ws if w.has_before and w.has_after] for k, ws in windows.items()}
    if sum(map(len, whole.values())) < LEAST_WHOLE_SWINGS:
        return SwingShape()
    costs = {leg: _costs(seen, noise, EASINGS) for leg, seen in whole.items()}
    own = [
        _lowest(EASINGS, _strangeness(EASINGS) + c)
        for leg, c in costs.items()
        if len(whole[leg]) >= LEAST_WHOLE_SWINGS
    ]
    unlike = float(np.std(own)) if len(own) > 1 else 0.0
    rough = _lowest(EASINGS, _strangeness(EASINGS) + np.sum(list(costs.values()), axis=0))
    near = np.clip(rough, FINE, 1 - FINE) + FINE * np.array([-1.0, 0.0, 1.0])
    every = [w for seen in whole.values() for w in seen]
    easing = _lowest(near, _strangeness(near) + _costs(every, noise, near))
    return SwingShape(easing=easing, unlike=max(unlike - USUAL_UNLIKE, 0.0))


def _strangeness(easings: FloatArray) -> FloatArray:
    """Return the cost of a curve for being unlike the usual one."""
    cost: FloatArray = ((easings - SwingShape.easing) / EASING_SPREAD) ** 2 / 2
    return cost


def _costs(windows: list[Window], noise: tuple[float, float], easings: FloatArray) -> FloatArray:
    """Return how badly each curve fits some swings, shape (curves,)."""
    spread, memory = noise
    costs = np.zeros(len(easings))
    for window in windows:
        start = None
        for k, easing in enumerate(easings):
            found = solve(window, SwingShape(easing=float(easing)), None, spread, start)
            costs[k] += found.cost / memory
            start = found.x  # the next curve is nearly the same
    return costs


def _lowest(at: FloatArray, costs: FloatArray) -> float:
    """Return where evenly spaced costs are lowest, between them too: a parabola's foot."""
    k = int(np.clip(np.argmin(costs), 1, len(at) - 2))
    before, here, after = costs[k - 1 : k + 2]
    bend = before - 2 * here + after
    step = (before - after) / (2 * bend) if bend > 0 else float(np.argmin(costs) - k)
    return float(at[k] + np.clip(step, -1, 1) * (at[1] - at[0]))
