"""The cow's trunk and neck as one tube, its crest the pose's top line."""

from __future__ import annotations

import numpy as np

from .curves import blend_of, through, tube
from .pose import Pose
from .walk import Floats

BACK_RINGS = 36
"""Rings between tailhead and withers."""
_REAR, _NECK = 6, 22
TRUNK_RINGS = _REAR + BACK_RINGS + _NECK
TRUNK_AROUND = 40

# Trunk, by share of the back (0 tailhead, 1 withers): belly point x (body lengths) and height,
# half width (both withers heights). Our own proportions of a dairy cow, drawn by eye.
_SHARE = np.array([-0.06, -0.03, 0.0, 0.08, 0.2, 0.28, 0.35, 0.5, 0.7, 0.85, 0.95, 1.0])
_BELLY_X = np.array(
    [-0.065, -0.055, -0.020, 0.065, 0.19, 0.275, 0.347, 0.495, 0.71, 0.87, 0.97, 1.02]
)
_BELLY_Z = np.array(
    [0.800, 0.740, 0.700, 0.610, 0.510, 0.460, 0.425, 0.392, 0.396, 0.405, 0.405, 0.412]
)
_HALF_WIDTH = np.array(
    [0.001, 0.070, 0.100, 0.128, 0.158, 0.178, 0.186, 0.205, 0.205, 0.166, 0.128, 0.116]
)
_AT = np.concatenate([np.linspace(-0.06, 0, _REAR, endpoint=False), np.linspace(0, 1, BACK_RINGS)])
_BEHIND = np.maximum(-_AT, 0)
_DROP = (1 - np.sqrt(np.maximum(1 - (_BEHIND / 0.0601) ** 2, 0))) * 0.10
_X, _Z, _WIDE = (through(_SHARE, values, _AT) for values in (_BELLY_X, _BELLY_Z, _HALF_WIDTH))
_NECK_AT = np.linspace(0.05, 1, _NECK)
_NECK_CURVE = blend_of(np.array([0, 0.15, 0.3, 0.45, 0.75, 1.0]), _NECK_AT)


def _modelling() -> Floats:
    """Return sideways gain (rings, around): hooks, pins, flank, ribs, shoulder."""
    share = np.concatenate([_AT, np.linspace(1.05, 2, _NECK)])
    angle = np.abs(np.linspace(-180, 180, TRUNK_AROUND))
    shapes = (  # place along, place around (degrees from the spine), their widths, sideways gain
        (0.255, 52, 0.040, 16, 0.20),
        (-0.02, 50, 0.035, 18, 0.30),
        (0.38, 70, 0.060, 24, -0.10),
        (0.13, 60, 0.055, 25, -0.07),
        (0.62, 100, 0.15, 40, 0.06),
        (0.99, 45, 0.06, 30, 0.10),
        (0.86, 60, 0.05, 40, -0.06),
    )
    gain = np.ones((TRUNK_RINGS, TRUNK_AROUND))
    for along, around, wide, high, amount in shapes:
        gain += amount * np.outer(
            np.exp(-(((share - along) / wide) ** 2)), np.exp(-(((angle - around) / high) ** 2))
        )
    return gain


_GAIN = _modelling()


def trunk_grid(pose: Pose) -> Floats:
    """Return trunk and neck (rings, around, 3), from the rump to the poll."""
    cow, height = pose.cow, pose.cow.withers_height_m
    top = pose.top_line(np.clip(_AT, 0, 1))
    top[:, 0] -= _BEHIND * cow.trunk_length * height
    top[:, 2] -= _DROP * height
    lift = pose.withers[2] - height
    z = (0.72 - (0.72 - _Z) * cow.body_depth) * height + lift
    bottom = np.stack([_X * cow.trunk_length * height, np.zeros_like(z), z], -1)
    wide = _WIDE * height * cow.body_width
    neck_top, neck_bottom, neck_wide = _neck(pose, top[-1], bottom[-1], float(wide[-1]))
    rings = tube(
        np.concatenate([top, neck_top]),
        np.concatenate([bottom, neck_bottom]),
        np.concatenate([wide, neck_wide]),
        TRUNK_AROUND,
        np.array([0.0, 1.0, 0.0]),
    )
    rings[..., 1] *= _GAIN
    return rings


def _neck(
    pose: Pose, top_end: Floats, bottom_end: Floats, width_end: float
) -> tuple[Floats, Floats, Floats]:
    """Return top, bottom and half width of the neck's rings, withers to poll."""
    height = pose.cow.withers_height_m
    poll_end = pose.poll + height * (0.012 * pose.head_axis + 0.022 * pose.head_down)
    throat = pose.poll + height * (0.055 * pose.head_axis + 0.205 * pose.head_down)
    throat[1] = poll_end[1] = 0.0
    span = pose.poll[0] - top_end[0]
    lead = top_end + np.array([0.40 * span, 0, 0.02 * height - 0.04 * span])
    arrive = poll_end - np.array([0.40 * span, 0, 0.40 * (poll_end[2] - top_end[2])])
    top = _bezier(top_end, lead, arrive, poll_end, _NECK_AT)
    steps = np.array([[0, 0, 0], [0.050, 0, 0.022], [0.092, 0, 0.092], [0.120, 0, 0.185]])
    chest = bottom_end + steps * height
    middle = 0.5 * (chest[-1] + throat) + np.array([0.0, 0, -0.02]) * height
    bottom = _NECK_CURVE @ np.vstack([chest, middle, throat])
    wide = np.array([width_end / height, 0.118, 0.112, 0.100, 0.078, 0.070])
    return top, bottom, _NECK_CURVE @ wide * height


def _bezier(a: Floats, b: Floats, c: Floats, d: Floats, share: Floats) -> Floats:
    s = share[:, None]
    return a * (1 - s) ** 3 + 3 * b * s * (1 - s) ** 2 + 3 * c * s**2 * (1 - s) + d * s**3
