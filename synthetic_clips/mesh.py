"""The cow's skin: a few tubes of rings laid around the skeleton, one fixed net of triangles.

Each part is a grid of points (rings, around, 3). The upper edge of the trunk between tailhead and
withers is the pose's top line itself, so the drawn edge and the truth are one curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from .pose import HEAD_LENGTH, Pose
from .walk import HOOF_HALF_LENGTH, Floats

BACK_RINGS = 36
"""Rings between tailhead and withers."""
_REAR, _NECK = 6, 22
_AROUND = 40

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
# Head, by share from poll to nose: forehead line and jaw below it, half width (withers heights).
_HEAD_SHARE = np.array([-0.06, 0.0, 0.12, 0.28, 0.45, 0.62, 0.80, 0.92, 1.0, 1.025])
_HEAD_TOP = np.array([0.050, 0.0, -0.004, 0.000, 0.010, 0.014, 0.014, 0.012, 0.030, 0.062])
_HEAD_JAW = np.array([0.090, 0.135, 0.178, 0.195, 0.180, 0.150, 0.125, 0.124, 0.112, 0.072])
_HEAD_WIDE = np.array([0.030, 0.055, 0.078, 0.082, 0.072, 0.056, 0.050, 0.054, 0.042, 0.008])

# Legs, by bone and share of it: half lengths ahead, behind and sideways (withers heights).
_HIND_RADII = (
    (0.0, 0.120, 0.155, 0.004),
    (0.5, 0.150, 0.185, 0.076),
    (1.0, 0.105, 0.165, 0.076),
    (1.35, 0.072, 0.095, 0.056),
    (1.7, 0.046, 0.054, 0.038),
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
LEG_BONES = np.array(
    [
        0,
        0.15,
        0.3,
        0.5,
        0.7,
        0.85,
        1,
        1.15,
        1.3,
        1.5,
        1.7,
        1.82,
        1.9,
        2,
        2.1,
        2.18,
        2.3,
        2.5,
        2.7,
        2.85,
        2.94,
        3,
        3.1,
        3.3,
        3.5,
        3.75,
        4.0,
    ]
)
_LEG_AROUND = 18


@dataclass(frozen=True, kw_only=True)
class Part:
    """One tube of the net: its name, its first vertex, its grid size and its place in the coat."""

    name: str
    first: int
    rings: int
    around: int
    patch: tuple[float, float, float, float]


def _layout() -> tuple[Part, ...]:
    """Parts in a fixed order with their patches u0, v0, u1, v1 of the coat picture."""
    trunk = _REAR + BACK_RINGS + _NECK
    sizes = [("trunk", trunk, _AROUND, (0.0, 0.0, 1.0, 0.42))]
    sizes += [("head", 26, 24, (0.0, 0.44, 0.48, 0.62)), ("udder", 14, 18, (0.5, 0.44, 0.73, 0.62))]
    sizes += [("tail", 22, 8, (0.75, 0.44, 0.98, 0.50))]
    sizes += [
        (f"ear_{side}", 9, 10, (0.75, v, 0.98, v + 0.05)) for side, v in (("l", 0.51), ("r", 0.57))
    ]
    for leg in range(4):
        v = 0.64 + 0.075 * leg
        sizes += [(f"leg_{leg}", LEG_BONES.size, _LEG_AROUND, (0.0, v, 0.82, v + 0.065))]
        sizes += [(f"hoof_{leg}", 5, _LEG_AROUND, (0.85, v, 0.98, v + 0.065))]
    for side, v in (("l", 0.945), ("r", 0.97)):
        sizes += [(f"horn_{side}", 7, 8, (0.0, v, 0.2, v + 0.02))]
    parts, first = [], 0
    for name, rings, around, patch in sizes:
        parts.append(Part(name=name, first=first, rings=rings, around=around, patch=patch))
        first += rings * around
    return tuple(parts)


PARTS: tuple[Part, ...] = _layout()
VERTEX_COUNT = PARTS[-1].first + PARTS[-1].rings * PARTS[-1].around


def triangles(pose: Pose) -> np.ndarray:
    """Return vertex numbers (triangles, 3) int32 of the whole net.

    Every triangle runs the same way round seen from outside; the pose only serves to find out
    which way that is for each part.
    """
    skin = grids(pose)
    blocks = []
    for part in PARTS:
        ring = np.arange(part.rings - 1)[:, None] * part.around + part.first
        a = ring + np.arange(part.around - 1)[None, :]
        b, c, d = a + 1, a + part.around, a + part.around + 1
        if is_inside_out(skin[part.name]):
            b, c = c, b
        blocks += [np.stack([a, c, b], -1).reshape(-1, 3), np.stack([b, c, d], -1).reshape(-1, 3)]
    return np.concatenate(blocks).astype(np.int32)


def normals(grid: Floats) -> Floats:
    """Return unit normals (rings, around, 3) of a tube, outward unless ``is_inside_out``."""
    along = np.empty_like(grid)
    along[1:-1] = grid[2:] - grid[:-2]
    along[0], along[-1] = grid[1] - grid[0], grid[-1] - grid[-2]
    around = np.empty_like(grid)
    around[:, 1:-1] = grid[:, 2:] - grid[:, :-2]
    around[:, 0] = around[:, -1] = grid[:, 1] - grid[:, -2]
    normal = np.cross(along, around)
    length = np.sqrt(np.einsum("ijk,ijk->ij", normal, normal))
    return np.asarray(normal / np.maximum(length, 1e-12)[..., None])


def is_inside_out(grid: Floats) -> bool:
    """Say whether the tube's normals point inwards on the whole."""
    return bool(np.sum(normals(grid) * (grid - grid.mean(1, keepdims=True))) < 0)


def texture_places() -> Floats:
    """Return u, v (vertices, 2) of each vertex in the coat picture, 0 to 1."""
    blocks = []
    for part in PARTS:
        u0, v0, u1, v1 = part.patch
        u, v = np.meshgrid(
            np.linspace(u0, u1, part.rings), np.linspace(v0, v1, part.around), indexing="ij"
        )
        blocks.append(np.stack([u, v], -1).reshape(-1, 2))
    return np.concatenate(blocks)


def grids(pose: Pose) -> dict[str, Floats]:
    """Return each part's points (rings, around, 3) in cow axes, metres."""
    found = {"trunk": _trunk(pose), "head": _head(pose), "udder": _udder(pose), "tail": _tail(pose)}
    for side, sign in (("l", 1.0), ("r", -1.0)):
        found[f"ear_{side}"] = _ear(pose, sign)
        found[f"horn_{side}"] = _horn(pose, sign)
    for leg in range(4):
        found[f"leg_{leg}"], found[f"hoof_{leg}"] = _leg(pose, leg)
    return found


def _around_tube(
    top: Floats, bottom: Floats, half_width: Floats, around: int, side: Floats
) -> Floats:
    """Lay rings between top and bottom points (rings, 3); the seam runs along the bottom."""
    angle = np.linspace(-np.pi, np.pi, around)
    depth = (1 - np.cos(angle)) / 2
    # Pointed at the top (spine), round at the bottom.
    power = 1 + 0.45 * np.cos(angle / 2) ** 4
    across = np.sign(np.sin(angle)) * np.abs(np.sin(angle)) ** power
    line = top[:, None] + (bottom - top)[:, None] * depth[None, :, None]
    return line + (half_width[:, None] * across[None, :])[..., None] * side


def _trunk(pose: Pose) -> Floats:
    cow, height = pose.cow, pose.cow.withers_height_m
    share = np.concatenate(
        [np.linspace(-0.06, 0, _REAR, endpoint=False), np.linspace(0, 1, BACK_RINGS)]
    )
    top = pose.top_line(np.clip(share, 0, 1))
    behind = np.maximum(-share, 0)
    top[:, 0] -= behind * cow.trunk_length * height
    top[:, 2] -= (1 - np.sqrt(np.maximum(1 - (behind / 0.0601) ** 2, 0))) * 0.10 * height
    lift = pose.withers[2] - height
    x = PchipInterpolator(_SHARE, _BELLY_X)(share) * cow.trunk_length * height
    z = PchipInterpolator(_SHARE, _BELLY_Z)(share)
    z = (0.72 - (0.72 - z) * cow.body_depth) * height + lift
    bottom = np.stack([x, np.zeros_like(x), z], -1)
    wide = PchipInterpolator(_SHARE, _HALF_WIDTH)(share) * height * cow.body_width
    neck_top, neck_bottom, neck_wide = _neck(pose, top[-1], bottom[-1], float(wide[-1]))
    rings = _around_tube(
        np.concatenate([top, neck_top]),
        np.concatenate([bottom, neck_bottom]),
        np.concatenate([wide, neck_wide]),
        _AROUND,
        np.array([0.0, 1.0, 0.0]),
    )
    return _modelled(rings, np.concatenate([share, np.linspace(1.05, 2, _NECK)]))


def _modelled(rings: Floats, share: Floats) -> Floats:
    """Add hook bones, pins, the hollow of the flank, ribs' spring and the shoulder."""
    angle = np.abs(np.linspace(-180, 180, rings.shape[1]))
    shapes = (  # place along, place around (degrees from the spine), their widths, sideways gain
        (0.255, 52, 0.040, 16, 0.20),
        (-0.02, 50, 0.035, 18, 0.30),
        (0.38, 70, 0.060, 24, -0.10),
        (0.13, 60, 0.055, 25, -0.07),
        (0.62, 100, 0.15, 40, 0.06),
        (0.99, 45, 0.06, 30, 0.10),
        (0.86, 60, 0.05, 40, -0.06),
    )
    gain = np.ones(rings.shape[:2])
    for along, around, wide, high, amount in shapes:
        gain += amount * np.outer(
            np.exp(-(((share - along) / wide) ** 2)), np.exp(-(((angle - around) / high) ** 2))
        )
    rings[..., 1] *= gain
    return rings


def _neck(
    pose: Pose, top_end: Floats, bottom_end: Floats, width_end: float
) -> tuple[Floats, Floats, Floats]:
    """Return top, bottom and half width of the neck's rings, withers to poll."""
    height = pose.cow.withers_height_m
    share = np.linspace(0.05, 1, _NECK)
    poll_end = pose.poll + height * (0.012 * pose.head_axis + 0.022 * pose.head_down)
    throat = pose.poll + height * (0.055 * pose.head_axis + 0.205 * pose.head_down)
    throat[1] = poll_end[1] = 0.0
    span = pose.poll[0] - top_end[0]
    lead = top_end + np.array([0.40 * span, 0, 0.02 * height - 0.04 * span])
    arrive = poll_end - np.array([0.40 * span, 0, 0.40 * (poll_end[2] - top_end[2])])
    top = _bezier(top_end, lead, arrive, poll_end, share)
    steps = np.array([[0, 0, 0], [0.050, 0, 0.022], [0.092, 0, 0.092], [0.120, 0, 0.185]])
    chest = bottom_end + steps * height
    middle = 0.5 * (chest[-1] + throat) + np.array([0.0, 0, -0.02]) * height
    knots = np.array([0, 0.15, 0.3, 0.45, 0.75, 1.0])
    bottom = PchipInterpolator(knots, np.vstack([chest, middle, throat]))(share)
    wide = np.array([width_end / height, 0.118, 0.112, 0.100, 0.078, 0.070])
    return top, bottom, PchipInterpolator(knots, wide)(share) * height


def _bezier(a: Floats, b: Floats, c: Floats, d: Floats, share: Floats) -> Floats:
    s = share[:, None]
    return a * (1 - s) ** 3 + 3 * b * s * (1 - s) ** 2 + 3 * c * s**2 * (1 - s) + d * s**3


def _head(pose: Pose) -> Floats:
    height = pose.cow.withers_height_m
    share = np.concatenate([[-0.06, -0.05, -0.03], np.linspace(-0.01, 0.97, 18)])
    share = np.concatenate([share, [0.985, 1.0, 1.01, 1.02, 1.025]])
    along = pose.poll + np.outer(share, pose.head_axis) * HEAD_LENGTH * height
    top = (
        along + np.outer(PchipInterpolator(_HEAD_SHARE, _HEAD_TOP)(share), pose.head_down) * height
    )
    jaw = (
        along + np.outer(PchipInterpolator(_HEAD_SHARE, _HEAD_JAW)(share), pose.head_down) * height
    )
    wide = PchipInterpolator(_HEAD_SHARE, _HEAD_WIDE)(share) * height
    return _around_tube(top, jaw, wide, 24, pose.head_side)


def _udder(pose: Pose) -> Floats:
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


def _tail(pose: Pose) -> Floats:
    height = pose.cow.withers_height_m
    share = np.linspace(0, 1, 22)
    knots = np.array([0, 0.08, 0.2, 0.5, 0.8, 1.0])
    x = PchipInterpolator(knots, [-0.010, -0.066, -0.092, -0.094, -0.088, -0.080])(share)
    z = PchipInterpolator(knots, [-0.030, -0.045, -0.12, -0.34, -0.56, -0.70])(share)
    y = np.sin(pose.tail_swing) * share**1.5 * 0.5
    line = np.stack([x, y, z], -1) * height + pose.tailhead
    wide = PchipInterpolator(
        [0, 0.1, 0.5, 0.72, 0.85, 1], [0.020, 0.021, 0.013, 0.014, 0.027, 0.004]
    )(share)
    angle = np.linspace(-np.pi, np.pi, 8)
    ring = np.stack([np.cos(angle), np.sin(angle), np.zeros_like(angle)], -1)
    return line[:, None] + wide[:, None, None] * height * ring


def _ear(pose: Pose, sign: float) -> Floats:
    height = pose.cow.withers_height_m
    share = np.linspace(0, 1, 9)
    root = pose.poll + height * (
        0.05 * pose.head_axis + 0.055 * pose.head_down + sign * 0.062 * pose.head_side
    )
    back = -0.45 * np.array([1.0, 0, 0]) + sign * 0.85 * pose.head_side + [0, 0, -0.12]
    line = root + np.outer(share, back / np.linalg.norm(back)) * 0.145 * height
    wide = PchipInterpolator([0, 0.2, 0.55, 0.85, 1], [0.020, 0.036, 0.044, 0.026, 0.003])(share)
    angle = np.linspace(-np.pi, np.pi, 10)
    flat, thick = np.array([-0.25, 0, 1.0]), np.array([1.0, 0, 0.25])
    ring = np.outer(np.cos(angle), flat) + 0.25 * np.outer(np.sin(angle) * sign, thick)
    return line[:, None] + wide[:, None, None] * height * ring


def _horn(pose: Pose, sign: float) -> Floats:
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


def _leg(pose: Pose, leg: int) -> tuple[Floats, Floats]:
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
    table = np.array(_HIND_RADII if leg % 2 == 0 else _FORE_RADII)
    radii = PchipInterpolator(table[:, 0], table[:, 1:])(LEG_BONES) * height
    radii *= 1 + (cow.leg_thickness - 1) * np.clip(LEG_BONES - 1, 0, 1)[:, None]
    line = PchipInterpolator(np.arange(5), chain)(LEG_BONES)
    ahead = _across(np.gradient(line, LEG_BONES, axis=0))
    # Thick thighs and forearms are cut level, or their rings would fold at the bend.
    level = np.clip((1.7 - LEG_BONES) / 0.8, 0, 1)[:, None]
    pitch = float(pose.hoof_pitch[leg])
    foot = np.clip((LEG_BONES - 3.3) / 0.6, 0, 1)[:, None]
    ahead = (1 - foot) * ahead + foot * np.array([np.cos(pitch), 0, -np.sin(pitch)])
    ahead = level * np.array([1.0, 0, 0]) + (1 - level) * ahead
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    angle = np.linspace(-np.pi, np.pi, _LEG_AROUND)
    reach = np.where(np.cos(angle) > 0, radii[:, :1], radii[:, 1:2]) * np.cos(angle)
    rings = line[:, None] + reach[..., None] * ahead[:, None]
    rings[..., 1] += radii[:, 2:] * np.sin(angle)
    return rings, _hoof(joints, pitch, height)


def _across(tangent: Floats) -> Floats:
    """Return unit vectors ahead of a leg, square to its line, in the fore-and-aft plane."""
    ahead = np.stack([-tangent[:, 2], np.zeros(len(tangent)), tangent[:, 0]], -1)
    return ahead / np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-9)


def _hoof(joints: Floats, pitch: float, height: float) -> Floats:
    cos, sin = np.cos(pitch), np.sin(pitch)
    ahead, up = np.array([cos, 0, -sin]), np.array([sin, 0, cos])
    angle = np.linspace(-np.pi, np.pi, _LEG_AROUND)
    sole, coronet = joints[5], joints[4]
    rings = []
    for share, long, wide in ((0.0, 0.037, 0.035), (0.35, 0.040, 0.037), (0.97, 0.047, 0.040)):
        centre = coronet + (sole - coronet) * share + ahead * 0.004 * height * share
        ring = np.outer(np.cos(angle) * long, ahead) * height
        ring[:, 1] += np.sin(angle) * wide * height
        rings.append(centre + ring)
    edge = HOOF_HALF_LENGTH * height
    flat = sole + np.outer(np.cos(angle) * edge, ahead)
    flat[:, 1] += np.sin(angle) * 0.040 * height
    rings.append(flat)
    rings.append(np.repeat((sole + up * 0.001)[None], _LEG_AROUND, axis=0))
    return np.stack(rings)
