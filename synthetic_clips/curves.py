"""Curves through a few points, and tubes around a curve."""

from __future__ import annotations

from functools import cache

import numpy as np
from scipy.interpolate import CubicSpline, PchipInterpolator

from .walk import Floats


def through(knots: Floats, values: Floats, places: Floats) -> Floats:
    """Return a smooth curve without overshoot through (knots, values), at the places."""
    return np.asarray(PchipInterpolator(knots, values)(places))


def blend_of(knots: Floats, places: Floats) -> Floats:
    """Return the matrix (places, knots) that turns values at knots into a smooth curve.

    Half cubic spline, half straight lines: rounded at joints, little overshoot. One matrix
    product a frame instead of a new spline.
    """
    unit = np.eye(len(knots))
    straight = np.stack([np.interp(places, knots, row) for row in unit], axis=1)
    return np.asarray(0.5 * CubicSpline(knots, unit, bc_type="natural")(places) + 0.5 * straight)


@cache
def _section(around: int) -> tuple[Floats, Floats]:
    angle = np.linspace(-np.pi, np.pi, around)
    depth = (1 - np.cos(angle)) / 2
    # Pointed at the top (spine), round at the bottom.
    power = 1 + 0.45 * np.cos(angle / 2) ** 4
    return depth, np.sign(np.sin(angle)) * np.abs(np.sin(angle)) ** power


def tube(top: Floats, bottom: Floats, half_width: Floats, around: int, side: Floats) -> Floats:
    """Lay rings between top and bottom points (rings, 3); the seam runs along the bottom."""
    depth, across = _section(around)
    line = top[:, None] + (bottom - top)[:, None] * depth[None, :, None]
    return np.asarray(line + (half_width[:, None] * across[None, :])[..., None] * side)
