"""The cow's head, ears and horns."""

from __future__ import annotations

import numpy as np

from .curves import through, tube
from .pose import HEAD_LENGTH, Pose
from .walk import Floats

# Head, by share from poll to nose: forehead line and jaw below it, half width (withers heights).
_HEAD_SHARE = np.array([-0.06, 0.0, 0.12, 0.28, 0.45, 0.62, 0.80, 0.92, 1.0, 1.025])
_HEAD_TOP = np.array([0.050, 0.0, -0.004, 0.000, 0.010, 0.014, 0.014, 0.012, 0.030, 0.062])
_HEAD_JAW = np.array([0.090, 0.135, 0.178, 0.195, 0.180, 0.150, 0.125, 0.124, 0.112, 0.072])
_HEAD_WIDE = np.array([0.030, 0.055, 0.078, 0.082, 0.072, 0.056, 0.050, 0.054, 0.042, 0.008])

_AT = np.concatenate(
    [
        [-0.06, -0.05, -0.03],
        np.linspace(-0.01, 0.97, 18),
        [0.985, 1.0, 1.01, 1.02, 1.025],
    ]
)
HEAD_RINGS = _AT.size
_TOP, _JAW, _WIDE = (
    through(_HEAD_SHARE, values, _AT)[:, None] for values in (_HEAD_TOP, _HEAD_JAW, _HEAD_WIDE)
)
_EAR_AT = np.linspace(0, 1, 9)
_EAR_WIDE = through(
    np.array([0, 0.2, 0.55, 0.85, 1]), np.array([0.020, 0.036, 0.044, 0.026, 0.003]), _EAR_AT
)[:, None, None]


def head_grid(pose: Pose) -> Floats:
    """Return the head (rings, around, 3), from the poll to the nose."""
    height = pose.cow.withers_height_m
    along = pose.poll + _AT[:, None] * pose.head_axis * HEAD_LENGTH * height
    top = along + _TOP * pose.head_down * height
    jaw = along + _JAW * pose.head_down * height
    return tube(top, jaw, _WIDE[:, 0] * height, 24, pose.head_side)


def ear_grid(pose: Pose, sign: float) -> Floats:
    """Return the left (sign +1) or right (-1) ear (rings, around, 3)."""
    height = pose.cow.withers_height_m
    root = pose.poll + height * (
        0.05 * pose.head_axis + 0.055 * pose.head_down + sign * 0.062 * pose.head_side
    )
    back = -0.45 * np.array([1.0, 0, 0]) + sign * 0.85 * pose.head_side + [0, 0, -0.12]
    line = root + np.outer(_EAR_AT, back / np.linalg.norm(back)) * 0.145 * height
    angle = np.linspace(-np.pi, np.pi, 10)
    flat, thick = np.array([-0.25, 0, 1.0]), np.array([1.0, 0, 0.25])
    ring = np.outer(np.cos(angle), flat) + 0.25 * np.outer(np.sin(angle) * sign, thick)
    return line[:, None] + _EAR_WIDE * height * ring


def horn_grid(pose: Pose, sign: float) -> Floats:
    """Return the left (sign +1) or right (-1) horn; shrunk to nothing on a polled cow."""
    height = pose.cow.withers_height_m * (1.0 if pose.cow.horned else 1e-3)
    share = np.linspace(0, 1, 7)
    root = pose.poll + pose.cow.withers_height_m * (
        0.03 * pose.head_axis + 0.03 * pose.head_down + sign * 0.05 * pose.head_side
    )
    bend = np.stack([0.05 * share**2, sign * 0.08 * share, 0.10 * share**1.5], -1) * height
    wide = 0.017 * (1 - share * 0.85)
    angle = np.linspace(-np.pi, np.pi, 8)
    ring = np.stack([np.cos(angle), 0 * angle, np.sin(angle)], -1)
    return root + bend[:, None] + wide[:, None, None] * height * ring
