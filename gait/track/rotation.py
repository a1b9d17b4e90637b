"""A camera that turns and zooms but does not walk: the geometry, and fitting it to points.

A point at ``p`` px from the picture's middle is seen along the ray ``(p / (f z), 1)`` with the
focal length ``f`` and the zoom ``z``. Turned by the camera's rotation the ray meets the picture
of another moment at ``f`` times its first two parts over its third. Unlike a shift this keeps the
lane straight and the cow's length true when a phone is swung after her.

References
----------
Hartley and Zisserman, Multiple View Geometry, 2nd ed. 2004, section 8.4 (rotation about the camera
centre), for the model.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

USUAL_FOCAL = 0.95
"""Focal length over picture width taken until the film tells: a phone's main camera in video."""
FOCAL_RANGE = (0.5, 16.0)
"""The upper end is a camera carried along with the cow: the view shifts and hardly turns."""
ROUNDS = 4
_STEP = 1e-5
_HUBER_PX = 1.0


def homography(turn: FloatArray, focal: float) -> FloatArray:
    """Return the homography of a turn, px from the picture's middle, shape (3, 3).

    Parameters
    ----------
    turn : ndarray, shape (4,)
        Rotation vector, radians, and the logarithm of the zoom.
    focal : float
        Focal length, px.
    """
    rotation = np.asarray(cv2.Rodrigues(turn[:3].reshape(3, 1))[0], np.float64)
    into_picture = np.diag([focal, focal, 1.0])
    into_rays = np.diag([1 / (focal * np.exp(turn[3])), 1 / (focal * np.exp(turn[3])), 1.0])
    matrix: FloatArray = into_picture @ rotation @ into_rays
    matrix /= matrix[2, 2]
    return matrix


def warp(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Take points (..., 2) through a homography (3, 3)."""
    moved = points @ matrix[:, :2].T + matrix[:, 2]
    warped: FloatArray = moved[..., :2] / moved[..., 2:]
    return warped


def fit_turn(
    seen: FloatArray, reference: FloatArray, focal: float, start: FloatArray
) -> tuple[FloatArray, float]:
    """Fit the turn that takes points of one picture to the same points of another.

    Parameters
    ----------
    seen, reference : ndarray, shape (n, 2)
        Px from the picture's middle.
    focal : float
        Focal length, px.
    start : ndarray, shape (4,)
        Where to begin.

    Returns
    -------
    turn : ndarray, shape (4,)
    misfit : float
        Mean Huber loss, px squared; outliers count linearly.
    """
    turn = start.copy()
    for _ in range(ROUNDS):
        off = _off(turn, seen, reference, focal)
        slope = np.stack(
            [
                (_off(turn + step, seen, reference, focal) - off) / _STEP
                for step in np.eye(4) * _STEP
            ],
            -1,
        )
        far = np.hypot(off[:, 0], off[:, 1])
        weight = np.repeat(np.minimum(1.0, _HUBER_PX / np.maximum(far, 1e-9)), 2)
        jacobian = slope.reshape(-1, 4)
        normal = jacobian.T @ (weight[:, None] * jacobian) + 1e-9 * np.eye(4)
        turn = turn - np.linalg.solve(normal, jacobian.T @ (weight * off.ravel()))
    far = np.hypot(*_off(turn, seen, reference, focal).T)
    loss = np.where(far < _HUBER_PX, 0.5 * far**2, _HUBER_PX * (far - 0.5 * _HUBER_PX))
    return turn, float(loss.mean())


def _off(turn: FloatArray, seen: FloatArray, reference: FloatArray, focal: float) -> FloatArray:
    return warp(homography(turn, focal), seen) - reference


def fit_focal(matches: Sequence[tuple[FloatArray, FloatArray]], width: float) -> float:
    """Return the focal length, px, that lets turns explain the matches best.

    Parameters
    ----------
    matches : sequence of (seen, reference)
        Points of pictures turned against each other, px from the middle; the more they are
        turned, the more they tell.
    width : float
        Of the picture, px.

    Returns
    -------
    float
        The usual focal length when the matches cannot tell it.
    """

    def misfit(factor: float) -> float:
        return sum(
            fit_turn(s, r, factor * width, _first_guess(s, r, factor * width))[1]
            for s, r in matches
        )

    usual = misfit(USUAL_FOCAL)
    grid = np.geomspace(*FOCAL_RANGE, 13)
    losses = [misfit(float(factor)) for factor in grid]
    best = int(np.argmin(losses))
    low, high = grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)]
    for _ in range(6):
        third = (high / low) ** (1 / 3)
        if misfit(float(low * third)) < misfit(float(high / third)):
            high = high / third
        else:
            low = low * third
    factor = float(np.sqrt(low * high))
    return width * (factor if misfit(factor) < 0.9 * usual else USUAL_FOCAL)


def _first_guess(seen: FloatArray, reference: FloatArray, focal: float) -> FloatArray:
    shift = np.median(reference - seen, axis=0)
    return np.array([-shift[1] / focal, shift[0] / focal, 0.0, 0.0])
