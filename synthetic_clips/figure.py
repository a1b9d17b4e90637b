"""Draw one cow: her net projected, lit, rasterised finer than the picture and averaged down."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from . import coat
from .camera import View
from .limbs import LEG_BONES
from .mesh import (
    PARTS,
    VERTEX_COUNT,
    grids,
    is_inside_out,
    texture_places,
    triangles,
)
from .mesh import normals as mesh_normals
from .pose import Pose, pose_at
from .scene import Cow, Light
from .walk import Floats, Walk

FINE_X, FINE_Y = 2, 3
"""Fine pixels to one pixel; finer upwards because the back's upper edge is measured."""
_BAND_ROWS = 16
_SHADE_MOST = 1.7
_FAR = 1e4


@dataclass(frozen=True, kw_only=True)
class Tile:
    """A drawn cow, cut to the smallest box.

    Attributes
    ----------
    left, top : int
        Frame pixel of the tile's first pixel.
    colour : ndarray (h, w, 3) float32
        Premultiplied by cover.
    cover : ndarray (h, w) float32
        Share of each pixel that she covers, 0 to 1.
    part : ndarray (h, w) int16
        Number of the part seen in the middle of each pixel, -1 where none.
    """

    left: int
    top: int
    colour: NDArray[np.float32]
    cover: NDArray[np.float32]
    part: NDArray[np.int16]


class Figure:
    """One cow's unchanging things: net, coat picture, part numbers.

    Parameters
    ----------
    cow : Cow
    """

    def __init__(self, cow: Cow) -> None:
        self.cow = cow
        self.coat = coat.paint(cow)
        stance = pose_at(Walk(replace(cow, action="stand"), 1.0), 0.0)
        self.net = triangles(stance)
        self.coarse_net = triangles(stance, step=3)
        skin = grids(stance)
        self._sign = {name: -1.0 if is_inside_out(grid) else 1.0 for name, grid in skin.items()}
        self._places = texture_places().astype(np.float32)
        self._part_map = _part_map()

    def vertices(self, pose: Pose, skin: dict[str, Floats]) -> tuple[Floats, Floats]:
        """Return world points and outward unit normals, each (vertices, 3).

        ``skin`` are the pose's grids.
        """
        points, normals = np.empty((VERTEX_COUNT, 3)), np.empty((VERTEX_COUNT, 3))
        for part in PARTS:
            span = slice(part.first, part.first + part.rings * part.around)
            points[span] = skin[part.name].reshape(-1, 3)
            outward = self._outward(part.name, skin[part.name], pose.cow.withers_height_m)
            normals[span] = outward.reshape(-1, 3)
        cos, sin = np.cos(pose.facing), np.sin(pose.facing)
        turn = np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1.0]])
        return pose.to_world(points), normals @ turn.T

    def _outward(self, name: str, grid: Floats, height: float) -> Floats:
        """Return normals of a part; a leg's are blended into the trunk's side at its root."""
        normal = self._sign[name] * mesh_normals(grid)
        if not name.startswith("leg"):
            return normal
        sign = 1.0 if int(name[-1]) < 2 else -1.0
        blend = 0.85 * np.clip(1.15 - LEG_BONES, 0, 1)[:, None, None] ** 0.7
        blend = blend * (sign * normal[..., 1:2] > -0.2)
        # What the trunk's side faces at that height: up above its middle, down below.
        like_trunk = np.zeros_like(normal)
        like_trunk[..., 1] = sign
        like_trunk[..., 2] = np.clip(1.7 * (grid[..., 2] / height - 0.68), -0.6, 0.8)
        normal = (1 - blend) * normal + blend * like_trunk
        return np.asarray(normal / np.linalg.norm(normal, axis=-1, keepdims=True))

    def draw(self, view: View, points: Floats, shade: Floats, size: tuple[int, int]) -> Tile | None:
        """Draw the cow; None when she is outside the frame of the given (width, height)."""
        pixels, depth = view.project(points)
        box = frame_box(pixels, depth, size)
        if box is None:
            return None
        left, top, right, bottom = box
        width, height = (right - left) * FINE_X, (bottom - top) * FINE_Y
        fine = (pixels + 0.5 - [left, top]) * [FINE_X, FINE_Y]
        colours = np.column_stack([self._places, np.clip(shade / _SHADE_MOST, 0, 1)])
        seen, buffer = rasterise(fine, depth, self.net, colours, (width, height))
        tile = Tile(
            left=left,
            top=top,
            colour=np.zeros((bottom - top, right - left, 3), np.float32),
            cover=np.zeros((bottom - top, right - left), np.float32),
            part=np.full((bottom - top, right - left), -1, np.int16),
        )
        # A band at a time stays in the processor's cache.
        for first in range(0, bottom - top, _BAND_ROWS):
            rows = slice(first, first + _BAND_ROWS)
            fine_rows = slice(first * FINE_Y, (first + _BAND_ROWS) * FINE_Y)
            self._paint_band(tile, rows, seen[fine_rows], buffer[fine_rows])
        return tile

    def _paint_band(
        self,
        tile: Tile,
        rows: slice,
        seen: NDArray[np.float32],
        buffer: NDArray[np.float32],
    ) -> None:
        """Paint rows of the tile from their fine pixels: place in the coat, shade, depth."""
        covered = (buffer < _FAR).astype(np.float32)
        u, v, lit = cv2.split(seen)
        u *= coat.SIZE - 1
        v *= coat.SIZE - 1
        lit *= _SHADE_MOST
        paint = cv2.remap(self.coat, u, v, cv2.INTER_LINEAR)
        # Where nothing is drawn the shade is 0, so the product is already premultiplied.
        colour = cv2.multiply(paint, cv2.merge([lit, lit, lit]), dtype=cv2.CV_32F)
        small = tile.cover[rows].shape[::-1]
        tile.colour[rows] = cv2.resize(colour, small, interpolation=cv2.INTER_AREA)
        tile.cover[rows] = cv2.resize(covered, small, interpolation=cv2.INTER_AREA)
        middle = (slice(FINE_Y // 2, None, FINE_Y), slice(FINE_X // 2, None, FINE_X))
        part = self._part_map[(v[middle] / 2).astype(int), (u[middle] / 2).astype(int)]
        tile.part[rows] = np.where(covered[middle] > 0, part, -1)


def light_vertices(points: Floats, normals: Floats, light: Light, pose: Pose) -> Floats:
    """Return brightness (vertices,) of the skin, 1 for a spot fully lit.

    Sky and lamps from above, floor from below, one key light, and shade under the belly and
    between the legs.
    """
    key = light_direction(light)
    sky = 0.62 + 0.38 * normals[:, 2]
    facing = np.clip(normals @ key, 0, 1)
    shade = (1 - light.hardness) * sky + light.hardness * (0.42 * sky + 0.95 * facing)
    # Grazing surfaces show less of the sky that is in front of the camera.
    shade *= 0.82 + 0.26 * np.clip(-normals[:, 1], -0.4, 1)
    dark = np.zeros(len(points))
    for part in PARTS:
        if part.name.startswith(("leg", "hoof")):
            span = slice(part.first, part.first + part.rings * part.around)
            sign = 1.0 if int(part.name[-1]) < 2 else -1.0
            left = np.array([-np.sin(pose.facing), np.cos(pose.facing), 0])
            inside = np.clip(-sign * (normals[span] @ left), 0, 1)
            height = points[span, 2] / pose.cow.withers_height_m
            dark[span] = 0.55 * inside * np.clip(0.25 + height / 0.5, 0, 1)
            dark[span] += 0.20 * np.clip((0.5 - np.abs(height - 0.42)) / 0.5, 0, 1) * inside
    return np.asarray(shade * (1 - np.clip(dark, 0, 0.75)))


def light_direction(light: Light) -> Floats:
    """Return the unit vector towards the key light; it stands on the camera's side."""
    high = np.deg2rad(light.elevation_deg)
    side = np.clip(light.side, -1, 1)
    flat = np.array([side, -np.sqrt(1 - side**2), 0.0])
    return np.asarray(np.cos(high) * flat + np.sin(high) * np.array([0, 0, 1.0]))


def rasterise(
    fine: Floats,
    depth: Floats,
    net: NDArray[np.int32],
    colours: NDArray[np.float32],
    size: tuple[int, int],
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Fill triangles with a depth test; returns colours (h, w, 3) and depth (h, w).

    ``fine`` are places in the finished raster counted from its upper left corner.
    """
    width, height = size
    half = height / 2
    flat = np.stack(
        [
            (fine[:, 0] - width / 2) / half * depth,
            (half - fine[:, 1]) / half * depth,
            -depth,
        ],
        -1,
    )
    seen = np.zeros((height, width, 3), np.float32)
    buffer = np.full((height, width), _FAR, np.float32)
    settings = cv2.TriangleRasterizeSettings()
    settings.setShadingType(cv2.RASTERIZE_SHADING_SHADED)
    settings.setCullingMode(cv2.RASTERIZE_CULLING_CW)
    cv2.triangleRasterize(
        np.ascontiguousarray(flat, dtype=np.float32),
        net,
        np.ascontiguousarray(colours, dtype=np.float32),
        seen,
        buffer,
        np.eye(4, dtype=np.float32),
        np.pi / 2,
        0.05,
        _FAR,
        settings,
    )
    return seen, buffer


def frame_box(
    pixels: Floats, depth: Floats, size: tuple[int, int], margin: int = 3
) -> tuple[int, int, int, int] | None:
    """Return left, top, right, bottom of the points within the frame, or None."""
    if depth.min() < 0.2:
        return None
    low = np.floor(pixels.min(0)).astype(int) - margin
    high = np.ceil(pixels.max(0)).astype(int) + margin + 1
    left, top = max(int(low[0]), 0), max(int(low[1]), 0)
    right, bottom = min(int(high[0]), size[0]), min(int(high[1]), size[1])
    if right - left < 2 or bottom - top < 2:
        return None
    return left, top, right, bottom


def _part_map() -> NDArray[np.int16]:
    """Part number of each spot of the coat picture at half size, -1 outside all."""
    half = coat.SIZE // 2
    found = np.full((half, half), -1, np.int16)
    for number, part in enumerate(PARTS):
        u0, v0, u1, v1 = (round(v * (half - 1)) for v in part.patch)
        found[v0 : v1 + 1, u0 : u1 + 1] = number
    return found
