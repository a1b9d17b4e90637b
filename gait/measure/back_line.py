"""The back line: upper edge of the cow from withers to tailhead, finer than a pixel.

The network's silhouette says where the edge lies to about one cell of its coarse grid, and now and
then leaves out a patch of the coat. A smooth curve through what is sound of it, held by the
landmarks of the back, is therefore only where `back_edge` begins to look in the full picture.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np
import numpy.typing as npt

from gait.landmarks import INDEX
from gait.measure.back_edge import Strip, find_edge, sample, smooth_over

if TYPE_CHECKING:
    from gait.pose import Silhouette
    from gait.track.behind import EmptyLane

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
SHORTEST_TRUNK_PX = 25.0
LANDMARK_ERROR, CONTOUR_ERROR = 0.018, 0.010
"""Usual height errors of a landmark of the back and of a sound contour, trunk lengths; ours."""
FAR_ABOVE, FAR_BELOW = 0.035, 0.015
"""A contour so far from the landmarks' curve is a thing behind the cow, or a missed patch."""
SOUND = 0.008
"""A contour so close to the smooth curve through it all is followed."""
BENDS = 4
"""Degree of that curve: withers that stand out, a dip, a round rump. On 25 outlined photos never
trained on the line lies 0.71 % of the trunk length off, on 139 others 0.53 % (2: 0.78 and 0.72)."""


def trace_back_line(
    image: Image, silhouette: Silhouette, points: FloatArray, lane: EmptyLane | None = None
) -> FloatArray:
    """Trace the upper edge of the cow from withers to tailhead.

    Parameters
    ----------
    image : ndarray of uint8, shape (h, w, 3)
        The full frame, BGR.
    silhouette : Silhouette
        Probability of cow on the network's grid, with the affine to frame px.
    points : ndarray, shape (18, 2)
        Landmarks, frame px; those of the back are used.
    lane : EmptyLane, optional
        What is behind the cow, where the camera saw it before.

    Returns
    -------
    ndarray, shape (64, 2)
        Frame px, evenly spaced along the line, withers first. NaN beyond the frame; all NaN when
        withers or tailhead are unknown, the cow is too small, or her contour is not seen.

    Notes
    -----
    Where the picture shows no step (a black cow in a dark barn) the silhouette's own contour
    is kept, because a coarse edge without bias is worth more than none. What is above the cow
    (a raised tail, a rail, another cow behind) does not matter: the contour is the first edge
    met from inside the body upwards.
    """
    nothing = np.full((POINTS, 2), np.nan)
    withers, tailhead = points[INDEX["withers"]], points[INDEX["tailhead"]]
    trunk = float(np.hypot(*(tailhead - withers)))
    if not np.isfinite(trunk) or trunk < SHORTEST_TRUNK_PX:
        return nothing
    u = np.linspace(-BEYOND, 1 + BEYOND, COLUMNS)
    strip = Strip.between(withers, tailhead, u)
    contour = _coarse_contour(silhouette, strip)
    if np.isfinite(contour).sum() < COLUMNS // 2:
        return nothing
    middle, error = _expected(u, contour, _landmark_heights(strip, points))
    height, inside = find_edge(image, strip, middle, error, lane)
    return _evenly(strip.at(height), inside, u)


def _coarse_contour(silhouette: Silhouette, strip: Strip) -> FloatArray:
    """Return the height of the silhouette's upper contour over the chord, NaN where not found.

    Heights are in trunk lengths. Each column is read upwards from inside the body, and the
    contour is where the probability first falls through one half.
    """
    v = np.linspace(LOWEST, HIGHEST, COARSE_STEPS)
    spots = strip.at(np.broadcast_to(v, (COLUMNS, COARSE_STEPS)))
    to_grid = cv2.invertAffineTransform(np.asarray(silhouette.to_frame, np.float64))
    inside = sample(silhouette.probability, spots @ to_grid[:, :2].T + to_grid[:, 2])
    leaves = (inside[:, :-1] >= 0.5) & (inside[:, 1:] < 0.5)
    first = np.argmax(leaves, axis=1)
    rows = np.arange(COLUMNS)
    high, low = inside[rows, first], inside[rows, first + 1]
    share = (high - 0.5) / np.maximum(high - low, 1e-6)
    return np.where(leaves.any(axis=1), v[first] + share * (v[1] - v[0]), np.nan)


def _landmark_heights(strip: Strip, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return place along the chord and height over it of the known landmarks of the back."""
    names = ("withers", "mid_back", "loin", "tailhead")
    u, v = strip.inverse(points[[INDEX[name] for name in names]])
    known = np.isfinite(u) & (np.abs(v) < HIGHEST)
    return u[known], v[known]


def _expected(
    u: FloatArray, contour: FloatArray, landmarks: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Return where the edge is expected in each column and how far off that may be.

    A curve of few bends goes through contour and landmarks; columns whose contour lies far from
    it (a patch of the coat left out, a thing behind the cow) do not count.
    """
    at_u, at_v = landmarks
    known = np.isfinite(contour)
    filled = np.where(known, contour, 0.0)
    design = np.vander(np.concatenate([u, at_u]) - 0.5, BENDS + 1)
    height = np.concatenate([filled, at_v])
    # all landmarks together are worth a third of the contour's columns
    worth = COLUMNS / 3 / max(len(at_u), 1) * (CONTOUR_ERROR / LANDMARK_ERROR) ** 2
    base = np.concatenate([known.astype(float), np.full(len(at_u), worth)])
    # landmarks laid on each other say no more than one
    apart = len(np.unique(at_u.round(1)))
    curve = np.polyval(np.polyfit(at_u, at_v, min(apart - 1, BENDS)), u)
    weight = base.copy()
    rest = filled - curve
    weight[:COLUMNS] *= _belief(rest, np.where(rest > 0, FAR_ABOVE, FAR_BELOW))
    for scale in (2.0, 1.5, 1.5):
        root = np.sqrt(weight)
        fit = np.linalg.lstsq(design * root[:, None], height * root, rcond=None)[0]
        curve = design[:COLUMNS] @ fit
        weight[:COLUMNS] = base[:COLUMNS] * _belief(filled - curve, scale * SOUND)
    sound = known & (np.abs(filled - curve) < SOUND)
    middle = smooth_over(np.where(sound, filled, curve), np.where(sound, 1.0, 0.3), 30.0)
    error = np.where(sound, CONTOUR_ERROR, 2.2 * CONTOUR_ERROR)
    return middle, error


def _belief(rest: FloatArray, scale: FloatArray | float) -> FloatArray:
    """Return weights that fall from 1 to 0 as a height lies off by more than `scale` (Tukey)."""
    result: FloatArray = np.clip(1 - (rest / (2 * scale)) ** 2, 0, 1) ** 2
    return result


def _evenly(line: FloatArray, inside: BoolArray, u: FloatArray) -> FloatArray:
    """Return 64 evenly spaced points from withers to tailhead, NaN beyond the frame."""
    gaps = np.hypot(*np.diff(line, axis=0).T)
    length = np.concatenate([[0.0], np.cumsum(gaps)])
    first, last = np.interp([0.0, 1.0], u, length)
    at = np.linspace(first, last, POINTS)
    even = np.stack([np.interp(at, length, line[:, 0]), np.interp(at, length, line[:, 1])], axis=1)
    even[np.interp(at, length, (~inside).astype(float)) > 0.5] = np.nan
    return even
