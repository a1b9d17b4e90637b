"""The edge between cow and background, looked for in the full picture along short lines.

Across each line the edge is a step between the coat below and what is behind the cow above. A step
counts less the farther it lies from where it is expected, and the less the colour just above it
is like the background higher up: below the white patch of a black cow there is a clear step
too, but above that step is white. Where the camera saw the lane without the cow (`EmptyLane`),
what is above the step must look as it did then, and what is below must not, so that a wall's edge
behind her is not taken for her back. All lines are decided together (dynamic programming), because
an edge that jumps from line to line is a fly, a rail or a spot.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING

import cv2
import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from gait.track.behind import EmptyLane

Image = npt.NDArray[np.uint8]
FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IndexArray = npt.NDArray[np.intp]

REACH = 0.045
"""How far from where it is expected the edge may lie, trunk lengths."""
FINE_STEPS = 49
STEP_SHARE = 0.12
"""Half height of the step that is matched, as a share of the search window."""
CLEAR_STEP = 7.0
"""Colour step, grey levels, from which an edge counts as clear; ours."""
FAR_PRICE = 0.06
"""Price of an edge one usual error away from where it is expected."""
JUMP_PRICE = 0.12
LARGEST_JUMP = 2
BACKGROUND_BANDS = 3
"""Bands above the search window in which the background's colour is read."""
BACKGROUND_SHARE = 0.5
"""Share of a step by which what is above it may differ from the background higher up."""
LEAST_CHANGE, NOISES = 6.0, 3.0
"""Change against the empty lane that is as likely a cow as not: grey levels, and as a multiple of
what changes above her; ours."""
MOST_CHANGE = 10.0
"""Grey levels by which the lane above the cow may differ from the empty lane, its mean aside."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Strip:
    """Coordinates along and over the chord from withers to tailhead, in trunk lengths.

    Parameters
    ----------
    withers, chord, upward : ndarray, shape (2,)
        Start, the vector to the tailhead and the vector of the same length upwards, frame px.
    u : ndarray, shape (columns,)
        Places of the columns along the chord; 0 withers, 1 tailhead.
    """

    withers: FloatArray
    chord: FloatArray
    upward: FloatArray
    u: FloatArray

    @classmethod
    def between(cls, withers: FloatArray, tailhead: FloatArray, u: FloatArray) -> Strip:
        """Return the strip over the chord of two points, px."""
        chord = tailhead - withers
        upward = np.array([chord[1], -chord[0]])
        return cls(withers=withers, chord=chord, upward=-upward if upward[1] > 0 else upward, u=u)

    def at(self, height: FloatArray) -> FloatArray:
        """Return frame px of heights (columns,) or (columns, m) over the columns."""
        u = self.u.reshape(-1, *[1] * (height.ndim - 1))
        spots: FloatArray = (
            self.withers + u[..., None] * self.chord + height[..., None] * self.upward
        )
        return spots

    def inverse(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return place along and height over the chord of points (m, 2), px."""
        square = float(self.chord @ self.chord)
        offset = points - self.withers
        return offset @ self.chord / square, offset @ self.upward / square


def sample(image: npt.NDArray[np.generic], at: FloatArray) -> npt.NDArray[np.float32]:
    """Return the picture's values between pixels at points (..., 2), edges repeated."""
    spots = at.astype(np.float32)
    x, y = spots[..., 0], spots[..., 1]
    values = cv2.remap(np.asarray(image), x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(values, dtype=np.float32)


def find_edge(
    image: Image,
    strip: Strip,
    middle: FloatArray,
    error: FloatArray,
    lane: EmptyLane | None = None,
) -> tuple[FloatArray, BoolArray]:
    """Find the edge near where it is expected.

    Parameters
    ----------
    image : ndarray of uint8, shape (h, w, 3)
        Full frame, BGR.
    strip : Strip
        The columns.
    middle, error : ndarray, shape (columns,)
        Expected height of the edge over the chord and its usual error, trunk lengths.
    lane : EmptyLane, optional
        What is behind the cow.

    Returns
    -------
    height : ndarray, shape (columns,)
        The edge's height, trunk lengths.
    inside : ndarray of bool, shape (columns,)
        False where the search left the frame.
    """
    steps = np.linspace(-REACH, REACH, FINE_STEPS)
    step = float(steps[1] - steps[0])
    reach = round(STEP_SHARE * FINE_STEPS)
    above = round(0.075 / step)
    wide = np.arange(-reach, FINE_STEPS + reach + above) * step + steps[0]
    spots = strip.at(middle[:, None] + wide[None, :])
    # the edge runs along the columns, a hair does not
    colours = np.asarray(cv2.blur(sample(image, spots), (1, 5)), np.float32)
    change = _change(lane, spots, colours, reach)
    far = FAR_PRICE * (steps / error[:, None]) ** 2
    if change is None:
        strength, gain = _before_anything(colours, reach)
        path = _best_path(gain - far)
    else:
        path = _best_path(_before_the_lane(change, reach) - far)
        strength = _first_step(change, path, reach)
    path = _steepest_near(strength, path)
    # the step of index i lies between samples i - 1 and i
    offset = (_between_steps(strength, path) - 0.5) * step + steps[0]
    clear = np.take_along_axis(strength, path[:, None], axis=1)[:, 0]
    trust = clear / (clear + CLEAR_STEP)
    # clear columns lead, the others lean on what was expected
    settled = smooth_over(
        offset * trust / (trust + 0.1 * (1 - trust)), trust + 0.1 * (1 - trust), 3
    )
    return middle + settled, _in_frame(image, spots[:, : FINE_STEPS + reach])


def _in_frame(image: Image, spots: FloatArray) -> BoolArray:
    height, width = image.shape[:2]
    x, y = spots[..., 0], spots[..., 1]
    inside: BoolArray = ((x > 0) & (y > 0) & (x < width - 1) & (y < height - 1)).all(axis=1)
    return inside


def _sides(values: npt.NDArray[np.float32], reach: int) -> tuple[FloatArray, FloatArray]:
    """Return the means below and above each height, (columns, `FINE_STEPS`) or with colours."""
    total = np.cumsum(values[:, : FINE_STEPS + 2 * reach], axis=1, dtype=np.float64)
    total = np.concatenate([np.zeros_like(total[:, :1]), total], axis=1)
    rows = np.arange(FINE_STEPS) + reach
    below = (total[:, rows] - total[:, rows - reach]) / reach
    over = (total[:, rows + reach] - total[:, rows]) / reach
    return below, over


def _before_anything(colours: npt.NDArray[np.float32], reach: int) -> tuple[FloatArray, FloatArray]:
    """Return each height's step, grey levels, and how good it is, with an unknown background.

    A good step is clear, and what is above it is like the background higher up.
    """
    below, over = _sides(colours, reach)
    strength = _length(over - below)
    edges = np.linspace(FINE_STEPS + reach, colours.shape[1], BACKGROUND_BANDS + 1).astype(int)
    bands = [colours[:, a:b].mean(axis=1, keepdims=True) for a, b in pairwise(edges)]
    unlike = np.min([_length(over - band) for band in bands], axis=0)
    like = np.exp(-((unlike / (BACKGROUND_SHARE * strength + CLEAR_STEP)) ** 2))
    return strength, _clear(strength) * (0.15 + 0.85 * like)


def _before_the_lane(change: npt.NDArray[np.float32], reach: int) -> FloatArray:
    """Return how good each height's step is, from how much has changed against the empty lane.

    A good step is clear, and parts what is there now and was not before from what has not changed;
    by how much it has changed does not matter, so a white patch on a black back is as good a back.
    """
    noise = float(np.median(change[:, FINE_STEPS + reach :]))
    limit = max(LEAST_CHANGE, NOISES * noise)
    hers, lanes = _sides(change**2 / (change**2 + limit**2), reach)
    below, over = _sides(change, reach)
    parts: FloatArray = np.clip(hers - lanes, 0, 1) * _clear(np.abs(below - over))
    return parts


def _first_step(change: npt.NDArray[np.float32], path: IndexArray, reach: int) -> FloatArray:
    """Return each height's step, grey levels, in a change that grows no more below the path.

    Half way up that step is the edge, whatever comes farther down: another patch, a wall's edge.
    """
    just_below = np.take_along_axis(change, path[:, None] + np.arange(reach - 1), axis=1)
    most = np.quantile(just_below, 0.3, axis=1)[:, None]
    below, over = _sides(np.minimum(change, most), reach)
    first: FloatArray = np.clip(below - over, 0, None)
    return first


def _length(colours: npt.NDArray[np.floating]) -> FloatArray:
    # several times as fast as np.linalg.norm along an axis of three
    length: FloatArray = np.sqrt(np.einsum("...c,...c->...", colours, colours))
    return length


def _clear(strength: FloatArray) -> FloatArray:
    clear: FloatArray = strength / (strength + 2 * CLEAR_STEP)
    return clear


def _change(
    lane: EmptyLane | None, spots: FloatArray, colours: npt.NDArray[np.float32], reach: int
) -> npt.NDArray[np.float32] | None:
    """Return how much has changed against the empty lane in the light of this frame, grey levels.

    None where it was not seen without cows, or where it has changed by more than its light: the
    camera moved, or something else stands there now.
    """
    if lane is None or not lane.covers(spots):
        return None
    change = colours - cv2.blur(sample(lane.picture, lane.places(spots)), (1, 5))
    light = np.median(change[:, FINE_STEPS + reach :], axis=(0, 1))
    size = np.asarray(_length(change - light), np.float32)
    return None if np.median(size[:, FINE_STEPS + reach :]) > MOST_CHANGE else size


def _best_path(gain: FloatArray) -> IndexArray:
    """Return the height index of each column that gives the most gain with the fewest jumps."""
    columns, heights = gain.shape
    price = JUMP_PRICE * np.arange(-LARGEST_JUMP, LARGEST_JUMP + 1) ** 2
    index = np.arange(heights)
    # beyond both ends there is nothing to come from
    padded = np.full(heights + 2 * LARGEST_JUMP, -np.inf)
    best = padded[LARGEST_JUMP:-LARGEST_JUMP]
    before = np.lib.stride_tricks.sliding_window_view(padded, len(price))
    options = np.empty(before.shape)
    back = np.zeros((columns, heights), dtype=np.intp)
    best[:] = gain[0]
    for column in range(1, columns):
        np.subtract(before, price, out=options)
        choice = options.argmax(axis=1, out=back[column])
        np.add(options[index, choice], gain[column], out=best)
    back += index - LARGEST_JUMP
    path = np.empty(columns, dtype=np.intp)
    path[-1] = int(best.argmax())
    for column in range(columns - 1, 0, -1):
        path[column - 1] = back[column, path[column]]
    return path


def _steepest_near(strength: FloatArray, path: IndexArray) -> IndexArray:
    """Return the height of the clearest step within three of the path, where that one is a peak.

    The path leans outwards, because only wholly outside is the colour all background.
    """
    near = np.clip(path[:, None] + np.arange(-3, 4), 0, strength.shape[1] - 1)
    rows = np.arange(len(path))
    place = np.take_along_axis(strength, near, axis=1).argmax(axis=1)
    peak = (place > 0) & (place < near.shape[1] - 1)
    return np.where(peak, near[rows, place], path)


def _between_steps(strength: FloatArray, path: IndexArray) -> FloatArray:
    """Return the place of the step's peak between heights, from a parabola through three."""
    middle = np.clip(path, 1, strength.shape[1] - 2)
    rows = np.arange(len(path))
    low, top, high = (strength[rows, middle + d] for d in (-1, 0, 1))
    bend = low - 2 * top + high
    shift = np.where(bend < -1e-9, 0.5 * (low - high) / np.minimum(bend, -1e-9), 0.0)
    between: FloatArray = middle + np.clip(shift, -0.5, 0.5)
    return between


def smooth_over(
    values: FloatArray, weight: FloatArray, stiffness: float, order: int = 2
) -> FloatArray:
    """Return the smoothing spline of values on an even grid (Whittaker 1923).

    Parameters
    ----------
    values, weight : ndarray, shape (n,)
        Values and their weights, > 0.
    stiffness : float
        Price of the differences.
    order : int
        Order of the differences; 3 leaves an arch as it is, 2 only a straight line.
    """
    system = np.diag(weight) + stiffness * _bending(len(values), order)
    return np.asarray(np.linalg.solve(system, weight * values), np.float64)


@lru_cache(maxsize=8)
def _bending(count: int, order: int) -> FloatArray:
    """Return the price of differences of `count` values as a square matrix."""
    differences = np.diff(np.eye(count), order, axis=0)
    return np.asarray(differences.T @ differences, np.float64)
