"""How much the back is arched: a circle through the top line from withers to tailhead.

Curvature times chord is a pure number: it does not change with the size of the picture, its
tilt, or the way the cow walks. A straight back gives 0, an arched back is positive, a hollow
back negative. For small arches it is eight times the sagitta over the chord.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from gait.measure.back_edge import smooth_over

FloatArray = npt.NDArray[np.float64]

SPLINE_STIFFNESS = 3e5
"""Price of third differences: waves shorter than a third of the back are smoothed away; ours."""


def fit_circle_curvature(points: FloatArray) -> FloatArray:
    """Fit a circle to points of a plane by Pratt's method and return its curvature.

    Parameters
    ----------
    points : ndarray, shape (..., m, 2)
        At least three points each; a row with NaN is left out of its own fit.

    Returns
    -------
    ndarray, shape (...)
        1 / radius in 1 / unit of the points, >= 0. Points on a line give 0. NaN when fewer than
        three points are known.

    Notes
    -----
    Unlike a fit of centre and radius, Pratt's has no trouble with a straight line, which is
    the back of a sound cow.

    References
    ----------
    Pratt V. Direct least-squares fitting of algebraic surfaces. Computer Graphics 21 (1987).
    """
    curvature: FloatArray = np.linalg.norm(_bend(points), axis=-1)
    return curvature


def _bend(points: FloatArray) -> FloatArray:
    """Return curvature times the direction in which the circle's centre lies, shape (..., 2)."""
    stack = np.asarray(points, float).reshape(-1, *np.shape(points)[-2:])
    bends = np.array([_pratt(one[np.isfinite(one).all(axis=1)]) for one in stack])
    return bends.reshape(*np.shape(points)[:-2], 2)


def _pratt(points: FloatArray) -> FloatArray:
    unknown = np.full(2, np.nan)
    if len(points) < 3:
        return unknown
    centred = points - points.mean(axis=0)
    size = float(np.sqrt((centred**2).sum(axis=1).mean()))
    if size == 0:
        return unknown
    x, y = (centred / size).T
    z = x * x + y * y
    design = np.stack([z, x, y, np.ones_like(x)], axis=1)
    # Minimise |design @ a| with B^2 + C^2 - 4 A D = 1 (a generalised eigenproblem).
    constraint_inverse = np.array([[0, 0, 0, -0.5], [0, 1, 0, 0], [0, 0, 1, 0], [-0.5, 0, 0, 0]])
    scatter = design.T @ design
    values, vectors = np.linalg.eig(constraint_inverse @ scatter)
    values, vectors = values.real, vectors.real
    quadric = _norm(vectors)
    fits = (quadric > 1e-12) & (values > -1e-9 * np.abs(values).max())
    if not fits.any():
        return unknown
    best = np.flatnonzero(fits)[np.argmin(values[fits])]
    a, *towards, _ = vectors[:, best]
    away = float(np.hypot(*towards))
    curvature = 2 * a / np.sqrt(quadric[best]) / size
    # the centre lies at -(b, c) / 2a; a curve that bends nowhere has none
    bend: FloatArray = -curvature * np.array(towards) / away if away > 0 else np.zeros(2)
    return bend


def _norm(vectors: FloatArray) -> FloatArray:
    """Return B^2 + C^2 - 4 A D of each column (A, B, C, D)."""
    a, b, c, d = vectors
    result: FloatArray = b * b + c * c - 4 * a * d
    return result


def arch_of_line(back_line: FloatArray) -> FloatArray:
    """Return curvature times chord of back lines.

    Parameters
    ----------
    back_line : ndarray, shape (..., m, 2)
        Top line from withers to tailhead, px, y down, in either walking direction. NaN where
        untraced.

    Returns
    -------
    ndarray, shape (...)
        Dimensionless, positive when arched upwards, that is when the circle's centre lies on
        the floor's side of the chord. NaN where less than two thirds of the line is known or an
        end is missing.

    References
    ----------
    Curvature of a circle through the back as a measure of lameness: Poursaberi et al. 2010,
    Viazzi et al. 2013. Curvature times chord as the pure number: ours.
    """
    line = np.asarray(back_line, float)
    chord, bend = _chord(line), _bend(line)
    size = np.linalg.norm(bend, axis=-1) * np.linalg.norm(chord, axis=-1)
    # The circle itself says which way the back bends: the height over the chord does not where
    # the withers stand out, as they do on many cows.
    side = chord[..., 0] * bend[..., 1] - chord[..., 1] * bend[..., 0]
    arch: FloatArray = size * np.sign(side * chord[..., 0])
    return arch


def arch_by_spline(back_line: FloatArray) -> FloatArray:
    """Return curvature times chord from a smooth curve instead of a circle, as a check.

    Parameters
    ----------
    back_line : ndarray, shape (..., m, 2)
        As for `arch_of_line`.

    Returns
    -------
    ndarray, shape (...)
        Dimensionless, positive when arched upwards; for a circle the same as `arch_of_line`.
        NaN where that is.

    Notes
    -----
    A smoothing spline (Whittaker 1923) of the height over the chord; its mean second
    derivative over the inner nine tenths. A back that is bent in one spot, or a line that went
    astray at one end, gives another value than the circle.
    """
    line = np.asarray(back_line, float)
    shape = line.shape[:-2]
    flat = line.reshape(-1, *line.shape[-2:])
    good = np.isfinite(_chord(flat)).all(axis=-1)
    result = np.full(len(flat), np.nan)
    result[good] = [_mean_bend(one[np.isfinite(one).all(axis=1)]) for one in flat[good]]
    return result.reshape(shape)


def _mean_bend(points: FloatArray) -> float:
    along = points[-1] - points[0]
    square = float(along @ along)
    offset = points - points[0]
    u = offset @ along / square
    v = (along[0] * offset[:, 1] - along[1] * offset[:, 0]) / square * -np.sign(along[0])
    even = np.linspace(0, 1, 65)
    smooth = smooth_over(np.interp(even, u, v), np.ones(len(even)), SPLINE_STIFFNESS, order=3)
    inner = (even >= 0.05) & (even <= 0.95)
    slope = np.gradient(smooth, even)[inner]
    # the turn of the tangent between the ends of the inner part, over its length
    turn = np.arctan(slope[0]) - np.arctan(slope[-1])
    bend = turn / np.hypot(np.ptp(even[inner]), smooth[inner][-1] - smooth[inner][0])
    return float(bend)


def sagitta_pct(arch: npt.ArrayLike) -> FloatArray:
    """Return the height of the arch over its chord, as % of the chord.

    Parameters
    ----------
    arch : array_like
        Curvature times chord, as `arch_of_line` gives it.

    Returns
    -------
    ndarray
        %, with the sign of the arch: that of the circle fitted to the line, so that one bump does
        not make it.

    Notes
    -----
    With k the curvature and c the chord, s = (1 - sqrt(1 - (k c / 2)^2)) / k.
    """
    half = np.clip(np.abs(arch) / 2, 0, 1)
    # the same formula written so that a straight back (half = 0) needs no division by zero
    result: FloatArray = np.sign(arch) * 50 * half / (1 + np.sqrt(1 - half**2))
    return result


def _chord(line: FloatArray) -> FloatArray:
    """Return the way from the first to the last point, px; NaN where too little is known."""
    known: npt.NDArray[np.bool_] = np.asarray(np.isfinite(line).all(axis=-1))
    chord = _end(line, known, forward=False) - _end(line, known, forward=True)
    enough = known.sum(axis=-1) >= max(3, 2 * line.shape[-2] / 3)
    result: FloatArray = np.where(enough[..., None], chord, np.nan)
    return result


def _end(line: FloatArray, known: npt.NDArray[np.bool_], *, forward: bool) -> FloatArray:
    """Return the outermost known point, NaN when it lies further in than a tenth of the line."""
    order = known if forward else known[..., ::-1]
    points = line if forward else line[..., ::-1, :]
    place = np.argmax(order, axis=-1)
    end = np.take_along_axis(points, place[..., None, None], axis=-2)[..., 0, :]
    near = order.any(axis=-1) & (place <= line.shape[-2] // 10)
    return np.where(near[..., None], end, np.nan)
