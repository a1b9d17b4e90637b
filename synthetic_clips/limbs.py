"""The cow's legs, hooves, tail and udder."""

from __future__ import annotations

import numpy as np

from .curves import blend_of, through
from .pose import Pose
from .walk import HOOF_HALF_LENGTH, Floats

# Legs, by bone and share of it: half lengths ahead, behind and sideways (withers heights).
_HIND_RADII = (
    (0.0, 0.120, 0.155, 0.004),
    (0.5, 0.150, 0.185, 0.076),
    (1.0, 0.105, 0.165, 0.076),
    (1.35, 0.080, 0.102, 0.060),
    (1.7, 0.050, 0.058, 0.040),
    (2.0, 0.037, 0.046, 0.032),
    (2.35, 0.029, 0.031, 0.025),
    (2.7, 0.026, 0.028, 0.024),
    (3.0, 0.032, 0.036, 0.031),
    (3.5, 0.030, 0.034, 0.029),
    (4.0, 0.038, 0.040, 0.037),
)
_FORE_RADII = (
    (0.0, 0.105, 0.110, 0.004),
    (0.5, 0.100, 0.100, 0.058),
    (1.0, 0.094, 0.084, 0.058),
    (1.4, 0.056, 0.056, 0.046),
    (1.7, 0.041, 0.044, 0.037),
    (2.0, 0.039, 0.038, 0.036),
    (2.3, 0.027, 0.030, 0.026),
    (2.7, 0.024, 0.027, 0.024),
    (3.0, 0.031, 0.034, 0.031),
    (3.5, 0.029, 0.032, 0.029),
    (4.0, 0.037, 0.038, 0.037),
)
LEG_BONES = np.concatenate(
    [
        [0, 0.15, 0.3, 0.5, 0.7, 0.85, 1, 1.15, 1.3, 1.5, 1.7, 1.82, 1.9, 2, 2.1, 2.18, 2.3],
        [2.5, 2.7, 2.85, 2.94, 3, 3.1, 3.3, 3.5, 3.75, 4.0],
    ]
)
"""Places of the rings along a leg: whole numbers are the joints from hip or scapula down."""
LEG_AROUND = 18


_ANGLE = np.linspace(-np.pi, np.pi, LEG_AROUND)
_COS, _SIN = np.cos(_ANGLE), np.sin(_ANGLE)
_CHAIN = blend_of(np.arange(5.0), LEG_BONES)
_RADII = tuple(
    through(np.array(table)[:, 0], np.array(table)[:, 1:], LEG_BONES)
    for table in (_HIND_RADII, _FORE_RADII)
)
_THICK = np.clip(LEG_BONES - 1, 0, 1)[:, None]
# Thick thighs and forearms are cut level, or their rings would fold at the bend.
_LEVEL = np.clip((1.7 - LEG_BONES) / 0.8, 0, 1)[:, None]
_BUTTOCK = np.clip((1.75 - LEG_BONES) / 0.45, 0, 1)
_FOOT = np.clip((LEG_BONES - 3.3) / 0.6, 0, 1)[:, None]
_TAIL_AT = np.linspace(0, 1, 22)
_TAIL_KNOTS = np.array([0, 0.08, 0.2, 0.5, 0.8, 1.0])
_TAIL_X = through(_TAIL_KNOTS, np.array([-0.010, -0.066, -0.092, -0.094, -0.088, -0.080]), _TAIL_AT)
_TAIL_Z = through(_TAIL_KNOTS, np.array([-0.030, -0.045, -0.12, -0.34, -0.56, -0.70]), _TAIL_AT)
_TAIL_WIDE = through(
    np.array([0, 0.1, 0.5, 0.72, 0.85, 1]),
    np.array([0.020, 0.021, 0.013, 0.014, 0.027, 0.004]),
    _TAIL_AT,
)[:, None, None]


def leg_grids(pose: Pose, leg: int) -> tuple[Floats, Floats]:
    """Return the rings of a leg down to the coronet, and of its hoof."""
    cow, joints = pose.cow, pose.joints[leg]
    height = cow.withers_height_m
    chain = joints[:5].copy()
    if leg % 2 == 0:
        chain[1] += np.array([-0.045, 0, 0.0]) * height
    else:
        chain[0] = 0.62 * chain[0] + 0.38 * (
            pose.withers + np.array([-0.04 * height, chain[0, 1], 0])
        )
        chain[1] += np.array([0.035, 0, 0.01]) * height
    radii = _RADII[leg % 2] * height * (1 + (cow.leg_thickness - 1) * _THICK)
    line = _CHAIN @ chain
    if leg % 2 == 0:
        radii = radii.copy()
        radii[:, 1] += _BUTTOCK * np.maximum(
            line[:, 0] - _rear_edge(pose, leg, line) - radii[:, 1], 0
        )
    ahead = _across(np.gradient(line, LEG_BONES, axis=0))
    pitch = float(pose.hoof_pitch[leg])
    ahead = (1 - _FOOT) * ahead + _FOOT * np.array([np.cos(pitch), 0, -np.sin(pitch)])
    ahead = _LEVEL * np.array([1.0, 0, 0]) + (1 - _LEVEL) * ahead
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    reach = np.where(_COS > 0, radii[:, :1], radii[:, 1:2]) * _COS
    rings = line[:, None] + reach[..., None] * ahead[:, None]
    rings[..., 1] += radii[:, 2:] * _SIN
    return rings, _hoof(joints, pitch, height)


def _rear_edge(pose: Pose, leg: int, line: Floats) -> Floats:
    """Return x of the thigh's rear edge: from the pin bone down to the point of the hock."""
    height, hock = pose.cow.withers_height_m, pose.joints[leg, 2]
    pin = pose.tailhead + np.array([-0.045, 0, -0.14]) * height
    heel = hock + np.array([-0.050, 0, 0.03]) * height
    share = np.clip((pin[2] - line[:, 2]) / (pin[2] - heel[2]), 0, 1)
    hollow = 0.03 * height * np.sin(np.pi * share**1.6)
    return np.asarray(pin[0] + share * (heel[0] - pin[0]) + hollow)


def _across(tangent: Floats) -> Floats:
    """Return unit vectors ahead of a leg, square to its line, in the fore-and-aft plane."""
    ahead = np.stack([-tangent[:, 2], np.zeros(len(tangent)), tangent[:, 0]], -1)
    return ahead / np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-9)


def _hoof(joints: Floats, pitch: float, height: float) -> Floats:
    cos, sin = np.cos(pitch), np.sin(pitch)
    ahead, up = np.array([cos, 0, -sin]), np.array([sin, 0, cos])
    sole, coronet = joints[5], joints[4]
    rings = []
    for share, long, wide in ((0.0, 0.037, 0.035), (0.35, 0.040, 0.037), (0.97, 0.047, 0.040)):
        centre = coronet + (sole - coronet) * share + ahead * 0.004 * height * share
        ring = np.outer(_COS * long, ahead) * height
        ring[:, 1] += _SIN * wide * height
        rings.append(centre + ring)
    edge = HOOF_HALF_LENGTH * height
    flat = sole + np.outer(_COS * edge, ahead)
    flat[:, 1] += _SIN * 0.040 * height
    rings.append(flat)
    rings.append(np.repeat((sole + up * 0.001)[None], LEG_AROUND, axis=0))
    return np.stack(rings)


def tail_grid(pose: Pose) -> Floats:
    """Return the tail (rings, around, 3), from its root just below the tailhead."""
    height = pose.cow.withers_height_m
    y = np.sin(pose.tail_swing) * _TAIL_AT**1.5 * 0.5
    line = np.stack([_TAIL_X, y, _TAIL_Z], -1) * height + pose.tailhead
    angle = np.linspace(-np.pi, np.pi, 8)
    ring = np.stack([np.cos(angle), np.sin(angle), np.zeros_like(angle)], -1)
    return line[:, None] + _TAIL_WIDE * height * ring


def udder_grid(pose: Pose) -> Floats:
    """Return the udder (rings, around, 3)."""
    cow, height = pose.cow, pose.cow.withers_height_m
    size = cow.udder_size
    down, turn = np.meshgrid(
        np.linspace(0.02, np.pi - 0.02, 14), np.linspace(-np.pi, np.pi, 18), indexing="ij"
    )
    sway = pose.withers[2] - height
    shape = np.stack(
        [
            0.150 * size * np.sin(down) * np.cos(turn),
            0.125 * size * np.sin(down) * np.sin(turn),
            0.125 * size * np.cos(down),
        ],
        -1,
    )
    return shape * height + np.array([0.265, 0.0, 0.545 - 0.05 * size]) * height + [0, 0, sway]
