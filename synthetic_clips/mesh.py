"""The cow's skin: a few tubes of rings laid around the skeleton, one fixed net of triangles.

Each part is a grid of points (rings, around, 3). The upper edge of the trunk between tailhead and
withers is the pose's top line itself, so the drawn edge and the truth are one curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .head import HEAD_RINGS, ear_grid, head_grid, horn_grid
from .limbs import LEG_AROUND, LEG_BONES, leg_grids, tail_grid, udder_grid
from .pose import Pose
from .trunk import TRUNK_AROUND, TRUNK_RINGS, trunk_grid
from .walk import Floats


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
    sizes = [("trunk", TRUNK_RINGS, TRUNK_AROUND, (0.0, 0.0, 1.0, 0.42))]
    sizes += [
        ("head", HEAD_RINGS, 24, (0.0, 0.44, 0.48, 0.62)),
        ("udder", 14, 18, (0.5, 0.44, 0.73, 0.62)),
    ]
    sizes += [("tail", 22, 8, (0.75, 0.44, 0.98, 0.50))]
    sizes += [
        (f"ear_{side}", 9, 10, (0.75, v, 0.98, v + 0.05)) for side, v in (("l", 0.51), ("r", 0.57))
    ]
    for leg in range(4):
        v = 0.64 + 0.075 * leg
        sizes += [(f"leg_{leg}", LEG_BONES.size, LEG_AROUND, (0.0, v, 0.82, v + 0.065))]
        sizes += [(f"hoof_{leg}", 5, LEG_AROUND, (0.85, v, 0.98, v + 0.065))]
    for side, v in (("l", 0.945), ("r", 0.97)):
        sizes += [(f"horn_{side}", 7, 8, (0.0, v, 0.2, v + 0.02))]
    parts, first = [], 0
    for name, rings, around, patch in sizes:
        parts.append(Part(name=name, first=first, rings=rings, around=around, patch=patch))
        first += rings * around
    return tuple(parts)


PARTS: tuple[Part, ...] = _layout()
VERTEX_COUNT = PARTS[-1].first + PARTS[-1].rings * PARTS[-1].around


def grids(pose: Pose) -> dict[str, Floats]:
    """Return each part's points (rings, around, 3) in cow axes, metres."""
    found = {
        "trunk": trunk_grid(pose),
        "head": head_grid(pose),
        "udder": udder_grid(pose),
        "tail": tail_grid(pose),
    }
    for side, sign in (("l", 1.0), ("r", -1.0)):
        found[f"ear_{side}"] = ear_grid(pose, sign)
        found[f"horn_{side}"] = horn_grid(pose, sign)
    for leg in range(4):
        found[f"leg_{leg}"], found[f"hoof_{leg}"] = leg_grids(pose, leg)
    return found


def triangles(pose: Pose, step: int = 1) -> np.ndarray:
    """Return vertex numbers (triangles, 3) int32 of the whole net.

    With a ``step`` above 1 only every so manieth ring and place around is used: a coarse net
    over the same vertices, good enough for shadows.

    Every triangle runs the same way round seen from outside; the pose only serves to find out
    which way that is for each part.
    """
    skin = grids(pose)
    blocks = []
    for part in PARTS:
        rings = np.unique(np.r_[0 : part.rings : step, part.rings - 1]) * part.around + part.first
        around = np.unique(np.r_[0 : part.around : step, part.around - 1])
        grid = rings[:, None] + around[None, :]
        a, b, c, d = grid[:-1, :-1], grid[:-1, 1:], grid[1:, :-1], grid[1:, 1:]
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
