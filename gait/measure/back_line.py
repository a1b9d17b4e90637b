"""The back line: upper edge of the cow from withers to tailhead, finer than a pixel.

The network's silhouette says where the edge lies to about one cell of its coarse grid. The true
edge is then looked for in the full picture, along short lines across that contour: a step between
the colours of the coat below and of what is behind the cow above. All lines are decided together
(dynamic programming), because an edge that jumps from line to line is a fly, a rail or a spot.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np
import numpy.typing as npt

from gait.landmarks import INDEX

if TYPE_CHECKING:
    from gait.pose import Silhouette

Image = npt.NDArray[np.uint8]
FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

POINTS = 64
COLUMNS = 96
"""Lines across the contour, evenly spaced from a little before the withers to past the tailhead."""
BEYOND = 0.04
"""How far they reach past both ends, share of the trunk length."""
LOWEST, HIGHEST = -0.16, 0.30
"""Where the contour is looked for, above the chord of withers and tailhead, trunk lengths."""
COARSE_STEPS = 70
REACH = 0.035
"""How far from the silhouette's contour the edge may lie, trunk lengths."""
FINE_STEPS = 41
SHORTEST_TRUNK_PX = 25.0
SILHOUETTE_ERROR = 0.010
"""Usual distance of the silhouette's contour from the edge, trunk lengths; ours."""
STEP_SHARE = 0.16
"""Half height of the step that is matched, as a share of the search window."""
CLEAR_STEP = 12.0
"""Colour step, grey levels, from which an edge counts as clear; ours."""


def trace_back_line(image: Image, silhouette: Silhouette, points: FloatArray) -> FloatArray:
    """Trace the upper edge of the cow from withers to tailhead.

    Parameters
    ----------
    image : ndarray of uint8, shape (h, w, 3)
        The full frame, BGR.
    silhouette : Silhouette
        Probability of cow on the network's grid, with the affine to frame px.
    points : ndarray, shape (18, 2)
        Landmarks, frame px; withers and tailhead are used.

    Returns
    -------
    ndarray, shape (64, 2)
        Frame px, evenly spaced along the line, withers first. NaN where the edge is unsure;
        all NaN when withers or tailhead are unknown or the cow is too small.

    Notes
    -----
    Where the picture shows no step (a black cow in a dark barn) the silhouette's own contour
    is kept, because a coarse edge without bias is worth more than none. What is above the cow
    (a raised tail, a rail, another cow behind) does not matter: the contour is the first edge
    met from inside the body upwards.
    """
    nothing = np.full((POINTS, 2), np.nan)
    withers, tailhead = points[INDEX["withers"]], points[INDEX["tailhead"]]
    chord = tailhead - withers
    trunk = float(np.hypot(*chord))
    if not np.isfinite(trunk) or trunk < SHORTEST_TRUNK_PX:
        return nothing
    along = chord / trunk
    upward = np.array([along[1], -along[0]])
    upward = -upward if upward[1] > 0 else upward
    u = np.linspace(-BEYOND, 1 + BEYOND, COLUMNS)
    contour = _coarse_contour(silhouette, withers, chord, upward * trunk, u)
    if np.isfinite(contour).sum() < COLUMNS // 2:
        return nothing
    smooth = _fill_and_smooth(u, contour)
    offset, sure = _refine(image, withers, chord, upward * trunk, u, smooth)
    line = withers + u[:, None] * chord + (smooth + offset)[:, None] * (upward * trunk)
    known = sure & np.isfinite(contour)
    return _evenly(line, known, u)


def _sample(image: npt.NDArray[np.generic], at: FloatArray) -> npt.NDArray[np.float32]:
    """Return the picture's values between pixels at points (..., 2), edges repeated."""
    spots = at.astype(np.float32)
    return np.asarray(
        cv2.remap(
            np.asarray(image),
            spots[..., 0],
            spots[..., 1],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        dtype=np.float32,
    )


def _coarse_contour(
    silhouette: Silhouette,
    withers: FloatArray,
    chord: FloatArray,
    upward: FloatArray,
    u: FloatArray,
) -> FloatArray:
    """Return the height of the silhouette's upper contour over the chord, NaN where not found.

    Heights are in trunk lengths. Each column is read upwards from inside the body, and the
    contour is where the probability first falls through one half.
    """
    v = np.linspace(LOWEST, HIGHEST, COARSE_STEPS)
    spots = withers + u[:, None, None] * chord + v[None, :, None] * upward
    to_grid = cv2.invertAffineTransform(np.asarray(silhouette.to_frame, np.float64))
    grid = spots @ to_grid[:, :2].T + to_grid[:, 2]
    inside = _sample(silhouette.probability, grid)
    leaves = (inside[:, :-1] >= 0.5) & (inside[:, 1:] < 0.5)
    first = np.argmax(leaves, axis=1)
    rows = np.arange(len(u))
    high, low = inside[rows, first], inside[rows, first + 1]
    share = (high - 0.5) / np.maximum(high - low, 1e-6)
    height = v[first] + share * (v[1] - v[0])
    # a hole or a missed patch below the back must not become the back: start inside the cow
    found = leaves.any(axis=1) & (inside[:, : COARSE_STEPS // 6].max(axis=1) >= 0.5)
    return np.where(found, height, np.nan)


def _fill_and_smooth(u: FloatArray, height: FloatArray) -> FloatArray:
    """Return a smooth curve through the contour that single bad columns do not bend."""
    known = np.isfinite(height)
    weight = known.astype(float)
    filled = np.interp(u, u[known], height[known])
    smooth = filled
    for _ in range(4):
        smooth = _whittaker(filled, weight, 30.0)
        rest = np.abs(filled - smooth)
        spread = max(1.4826 * float(np.median(rest[known])), 1e-4)
        weight = known * np.minimum(1.0, 2.5 * spread / np.maximum(rest, 1e-12)) ** 2
    return smooth


def _smoothing_bands() -> FloatArray:
    """Return D'D of second differences for the fixed number of columns."""
    second = np.diff(np.eye(COLUMNS), 2, axis=0)
    bands: FloatArray = second.T @ second
    return bands


_BENDING = _smoothing_bands()


def _whittaker(values: FloatArray, weight: FloatArray, stiffness: float) -> FloatArray:
    """Return the smoothing spline of values on an even grid (Whittaker 1923)."""
    system = np.diag(weight + 1e-9) + stiffness * _BENDING
    return np.asarray(np.linalg.solve(system, weight * values), np.float64)


def _refine(
    image: Image,
    withers: FloatArray,
    chord: FloatArray,
    upward: FloatArray,
    u: FloatArray,
    contour: FloatArray,
) -> tuple[FloatArray, BoolArray]:
    """Return the edge's height over the contour in trunk lengths, and where it is sure."""
    steps = np.linspace(-REACH, REACH, FINE_STEPS)
    reach = round(STEP_SHARE * FINE_STEPS)
    wide = np.arange(-reach, FINE_STEPS + reach) * (steps[1] - steps[0]) + steps[0]
    heights = contour[:, None] + wide[None, :]
    spots = withers + u[:, None, None] * chord + heights[..., None] * upward
    inside_frame = (
        (spots[..., 0] > 0)
        & (spots[..., 1] > 0)
        & (spots[..., 0] < image.shape[1] - 1)
        & (spots[..., 1] < image.shape[0] - 1)
    )
    colours = _sample(image, spots)
    strength = _step_strength(colours, reach)
    gain = _gain(strength, steps)
    path = _best_path(gain)
    offset = _between_steps(gain, path) * (steps[1] - steps[0]) + steps[0]
    clear = np.take_along_axis(strength, path[:, None], axis=1)[:, 0]
    trust = clear / (clear + CLEAR_STEP)
    smooth = _settle(offset * trust, trust)
    return smooth, inside_frame.all(axis=1)


def _step_strength(colours: npt.NDArray[np.float32], reach: int) -> FloatArray:
    """Return the colour step at each height: mean just below against mean just above.

    Neighbouring columns are averaged first: the edge runs along them, a fly or a hair does not.
    """
    blurred = cv2.blur(colours, (1, 5))  # five columns, one height
    total = np.concatenate(
        [np.zeros_like(blurred[:, :1]), np.cumsum(blurred, axis=1, dtype=np.float64)], axis=1
    )
    below = total[:, reach:-reach] - total[:, : -2 * reach]
    above = total[:, 2 * reach :] - total[:, reach:-reach]
    step = above - below
    strength: FloatArray = np.sqrt((step**2).sum(axis=-1)) / reach
    return strength[:, :FINE_STEPS]


def _gain(strength: FloatArray, steps: FloatArray) -> FloatArray:
    """Return how good each height is: a clear step, near where the silhouette puts the edge."""
    clear = strength / (strength + 2 * CLEAR_STEP)
    far = (steps / SILHOUETTE_ERROR) ** 2
    gain: FloatArray = clear - 0.06 * far
    return gain


def _best_path(gain: FloatArray) -> npt.NDArray[np.intp]:
    """Return the height index of each column that gives the most gain with the fewest jumps."""
    columns, heights = gain.shape
    jumps = np.arange(-2, 3)
    price = 0.05 * jumps**2
    best = gain[0]
    back = np.zeros((columns, heights), dtype=np.intp)
    index = np.arange(heights)
    rows = np.clip(index[None, :] + jumps[:, None], 0, heights - 1)
    for column in range(1, columns):
        options = best[rows] - price[:, None]
        choice = options.argmax(axis=0)
        back[column] = rows[choice, index]
        best = options[choice, index] + gain[column]
    path = np.empty(columns, dtype=np.intp)
    path[-1] = int(best.argmax())
    for column in range(columns - 1, 0, -1):
        path[column - 1] = back[column, path[column]]
    return path


def _between_steps(gain: FloatArray, path: npt.NDArray[np.intp]) -> FloatArray:
    """Return the place of the gain's peak between heights, from a parabola through three."""
    middle = np.clip(path, 1, gain.shape[1] - 2)
    rows = np.arange(len(path))
    low, top, high = (gain[rows, middle + d] for d in (-1, 0, 1))
    bend = low - 2 * top + high
    shift = np.where(bend < -1e-9, 0.5 * (low - high) / np.minimum(bend, -1e-9), 0.0)
    between: FloatArray = middle + np.clip(shift, -0.5, 0.5)
    return between


def _settle(offset_times_trust: FloatArray, trust: FloatArray) -> FloatArray:
    """Return the smooth offset: the clear columns lead, the others lean on the silhouette."""
    system = np.diag(trust + 0.1 * (1 - trust)) + 3.0 * _BENDING
    return np.asarray(np.linalg.solve(system, offset_times_trust), np.float64)


def _evenly(line: FloatArray, known: BoolArray, u: FloatArray) -> FloatArray:
    """Return 64 evenly spaced points from withers to tailhead, NaN beside unknown columns."""
    gaps = np.hypot(*np.diff(line, axis=0).T)
    length = np.concatenate([[0.0], np.cumsum(gaps)])
    first, last = np.interp([0.0, 1.0], u, length)
    at = np.linspace(first, last, POINTS)
    even = np.stack([np.interp(at, length, line[:, 0]), np.interp(at, length, line[:, 1])], axis=1)
    unsure = np.interp(at, length, (~known).astype(float)) > 0.5
    even[unsure] = np.nan
    return even
