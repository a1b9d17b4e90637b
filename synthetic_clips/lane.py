"""The place she walks through, seen once by the steady camera: floor, wall, sky, rails.

Every pixel of a canvas somewhat larger than the frame is traced to what it sees first; hand shake
and pan then move the finished canvas as a whole.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .camera import View, largest_turn_deg, reference_view
from .scene import Lane, Scene
from .walk import Floats

_FAR_M = 45.0
_RAIL_RADIUS_M = 0.027


@dataclass(frozen=True, kw_only=True)
class Backdrop:
    """The still picture behind and in front of the cows.

    Attributes
    ----------
    behind : ndarray (h, w, 3) uint8
        Canvas of everything behind the cows; ``margin`` (x, y) pixels wider than the frame on
        each side.
    front : ndarray (h, w, 4) uint8 or None
        Rails in front of the cows with their cover as fourth channel.
    """

    behind: NDArray[np.uint8]
    front: NDArray[np.uint8] | None
    margin: tuple[int, int]


def build_backdrop(scene: Scene) -> Backdrop:
    """Paint the place of a scene; the same seed gives the same place."""
    view = reference_view(scene.camera)
    turn = np.deg2rad(largest_turn_deg(scene))
    shaky = scene.camera.shake_deg > 0
    wide = int(view.lens[0, 0] * np.tan(min(turn, 1.0))) + 4 if turn > 0 else 0
    high = int(view.lens[0, 0] * np.deg2rad(3.2 * scene.camera.shake_deg)) + 8 if shaky else 0
    rays = _rays(view, scene.camera.width, scene.camera.height, (wide, high))
    picture = _see(scene.lane, view.place, rays)
    if scene.lane.rails_back:
        _paint_rails(picture, None, scene.lane, view, rays, behind=True)
    front = None
    if scene.lane.rails_front:
        layer = np.zeros_like(picture)
        cover = np.zeros(picture.shape[:2])
        _paint_rails(layer, cover, scene.lane, view, rays, behind=False)
        front = np.dstack([np.clip(layer, 0, 255), 255 * cover]).astype(np.uint8)
    return Backdrop(
        behind=np.clip(picture, 0, 255).astype(np.uint8), front=front, margin=(wide, high)
    )


def _rays(view: View, width: int, height: int, margin: tuple[int, int]) -> Floats:
    """Directions (h, w, 3) in world axes of every canvas pixel."""
    x, y = np.meshgrid(
        np.arange(-margin[0], width + margin[0]), np.arange(-margin[1], height + margin[1])
    )
    seen = np.stack([x, y, np.ones_like(x)], -1) @ np.linalg.inv(view.lens).T
    return np.asarray(seen @ view.turn)


def _see(lane: Lane, place: Floats, rays: Floats) -> Floats:
    """Colours of floor, wall and far distance."""
    with np.errstate(divide="ignore", invalid="ignore"):
        to_floor = np.where(rays[..., 2] < -1e-4, -place[2] / rays[..., 2], np.inf)
        to_wall = np.where(rays[..., 1] > 1e-4, (lane.wall_y_m - place[1]) / rays[..., 1], np.inf)
    has_wall = lane.place != "yard"
    to_wall = to_wall if has_wall else np.full_like(to_wall, np.inf)
    wall_z = place[2] + np.where(np.isfinite(to_wall), to_wall, 0) * rays[..., 2]
    top = {"barn": 3.6, "lane": 1.9, "yard": 0.0}[lane.place]
    on_wall = (to_wall < to_floor) & (to_wall < _FAR_M) & (wall_z < top)
    on_floor = (to_floor < _FAR_M) & ~on_wall & (to_floor <= to_wall)
    reach = np.where(on_wall, to_wall, np.where(on_floor, to_floor, _FAR_M))
    spot = place + rays * reach[..., None]
    picture = np.zeros(spot.shape)
    layers = ((_far_away, ~on_floor & ~on_wall), (_floor, on_floor), (_wall, on_wall))
    for number, (paint, seen) in enumerate(layers):
        found = np.flatnonzero(seen.any(1))
        if found.size:
            rows = slice(found[0], found[-1] + 1)
            rng = np.random.default_rng((lane.seed, 41, number))
            painted = paint(lane, spot[rows], rng)
            picture[rows] = np.where(seen[rows, :, None], painted, picture[rows])
    haze = np.clip(reach / _FAR_M, 0, 1)[..., None] * 0.35
    return picture * (1 - haze) + np.mean(picture, axis=(0, 1)) * haze


def _cloud(rng: np.random.Generator, smooth: float, size: int = 512) -> NDArray[np.float32]:
    """Return a tile of noise of unit spread that repeats without a seam."""
    noise = rng.normal(size=(size, size)).astype(np.float32)
    pad = int(4 * smooth) + 1
    noise = cv2.copyMakeBorder(noise, pad, pad, pad, pad, cv2.BORDER_WRAP)
    noise = cv2.GaussianBlur(noise, (0, 0), smooth)[pad:-pad, pad:-pad]
    return np.asarray(noise / noise.std())


def _over(tile: NDArray[np.float32], a: Floats, b: Floats, metres: float) -> Floats:
    """Lay a noise tile of the given width in metres over plane coordinates (a, b)."""
    size = tile.shape[0]
    x = np.mod(a / metres * size, size).astype(np.float32)
    y = np.mod(b / metres * size, size).astype(np.float32)
    return np.asarray(cv2.remap(tile, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP))


def _floor(lane: Lane, spot: Floats, rng: np.random.Generator) -> Floats:
    x, y = spot[..., 0], spot[..., 1]
    base = {
        "barn": (104, 112, 118),
        "lane": (112, 122, 130),
        "yard": (72, 98, 108),
    }[lane.place]
    base = np.array(base) * rng.uniform(0.8, 1.15)
    grain = 5 * _over(_cloud(rng, 1.2), x, y, 1.7) + 7 * _over(_cloud(rng, 6), x, y, 4.1)
    blotch = _over(_cloud(rng, 22), x, y, 7.3)
    dung = np.clip(_over(_cloud(rng, 14), x, y, 5.2) - 1.3, 0, 0.8)
    picture = base + (grain + 6 * blotch)[..., None]
    wet = lane.wet * np.clip(_over(_cloud(rng, 30), x, y, 9.7) + 0.3, 0, 1)
    picture *= (1 - 0.45 * wet)[..., None]
    picture = picture * (1 - dung[..., None]) + np.array((40, 56, 66)) * dung[..., None]
    if lane.place == "yard":
        green = np.clip(_over(_cloud(rng, 10), x, y, 3.3) + 0.4, 0, 1)[..., None]
        return picture * (1 - green) + np.array((52, 104, 84)) * green * (1 + grain / 60)[..., None]
    pitch = rng.uniform(0.09, 0.6)
    across = x if rng.random() < 0.6 else y
    groove = np.exp(-(((np.mod(across, pitch) - pitch / 2) / 0.012) ** 2))
    near = np.clip(1.6 - np.abs(y) / 3.5, 0, 1)
    return picture * (1 - 0.35 * groove * near)[..., None]


def _wall(lane: Lane, spot: Floats, rng: np.random.Generator) -> Floats:
    x, z = spot[..., 0], spot[..., 2]
    base = np.array([(116, 126, 132), (126, 140, 150), (96, 118, 92), (140, 138, 130)])[
        rng.integers(4)
    ] * rng.uniform(0.55, 1.05)
    rough = 4 * _over(_cloud(rng, 1.5), x, z, 1.9) + 8 * _over(_cloud(rng, 18), x, z, 5.7)
    picture = base + rough[..., None]
    row = np.floor(z / 0.2)
    joint = np.exp(-(((np.mod(z, 0.2) - 0.1) / 0.007) ** 2))
    shifted = np.mod(x + 0.2 * np.mod(row, 2), 0.4) - 0.2
    joint = np.maximum(joint, np.exp(-((shifted / 0.007) ** 2)))
    picture *= (1 - 0.18 * joint)[..., None]
    splash = np.clip(1 - z / rng.uniform(0.3, 1.2) + 0.25 * rough / 12, 0, 1) * 0.6
    picture = picture * (1 - splash[..., None]) + np.array((46, 62, 72)) * splash[..., None]
    if lane.place == "barn":
        picture = _upper_barn(picture, x, z, rng)
    if lane.gate:
        picture = _gate(picture, x, z, rng)
    return picture


def _upper_barn(picture: Floats, x: Floats, z: Floats, rng: np.random.Generator) -> Floats:
    """Boards above the block wall, and bright windows that light what is near them."""
    above = z > rng.uniform(1.2, 2.2)
    board = np.array((70, 88, 104)) * rng.uniform(0.4, 0.9)
    seam = np.exp(-(((np.mod(x, 0.16) - 0.08) / 0.006) ** 2))
    boards = board + (5 * _over(_cloud(rng, 3), x * 6, z, 2.0) - 22 * seam)[..., None]
    picture = np.where(above[..., None], boards, picture)
    low, high = np.sort(rng.uniform(1.7, 3.2, 2))
    pitch, wide = rng.uniform(2.0, 5.0), rng.uniform(0.5, 1.3)
    offset = np.abs(np.mod(x + rng.uniform(0, 4), pitch) - pitch / 2)
    pane = (offset < wide / 2) & (z > low) & (z < high)
    glow = np.exp(-((offset / wide) ** 2) - (((z - (low + high) / 2) / 0.9) ** 2))
    picture = picture * (0.75 + 0.7 * glow)[..., None]
    return np.where(pane[..., None], np.array((226, 228, 222)), picture)


def _gate(picture: Floats, x: Floats, z: Floats, rng: np.random.Generator) -> Floats:
    left = rng.uniform(-3, 1)
    inside = (x > left) & (x < left + 2.6) & (z < 1.5)
    bars = (np.mod(z, 0.24) < 0.05) | (np.abs(np.mod(x - left, 1.3)) < 0.05)
    picture = np.where(inside[..., None], picture * 0.35, picture)
    return np.where((inside & bars)[..., None], np.array((150, 156, 160)), picture)


def _far_away(lane: Lane, spot: Floats, rng: np.random.Generator) -> Floats:
    """Sky with a line of trees outdoors, the dim end of the building indoors."""
    side, z = spot[..., 0] + spot[..., 1], spot[..., 2]
    if lane.place == "barn":
        deep = 38 + 10 * _over(_cloud(rng, 30), side, z, 30.0)
        return np.stack([deep, deep * 1.03, deep * 1.05], -1)
    sky = np.array((224, 206, 184)) + np.clip(z / 20, 0, 1)[..., None] * np.array((8, -30, -50))
    crown = 4.5 + 1.6 * _over(_cloud(rng, 14), side, 0 * z, 60.0)
    crown = crown + 0.5 * _over(_cloud(rng, 3), side, 0 * z, 40.0)
    leaf = np.array((44, 72, 58)) + (14 * _over(_cloud(rng, 4), side, z, 22.0))[..., None]
    tree = 1 / (1 + np.exp(-(crown - z) / 0.25))[..., None]
    return sky * (1 - tree) + leaf * tree


def _paint_rails(
    picture: Floats, cover: Floats | None, lane: Lane, view: View, rays: Floats, *, behind: bool
) -> None:
    """Paint rails and posts along the lane; ``cover`` collects how much of a pixel they fill."""
    rng = np.random.default_rng((lane.seed, 42, int(behind)))
    line_y = lane.rail_y_m if behind else -lane.rail_y_m
    with np.errstate(divide="ignore"):
        reach = np.where(rays[..., 1] > 0.05, (line_y - view.place[1]) / rays[..., 1], -1.0)
    seen = (reach > 0.3) & (reach < _FAR_M)
    spot = view.place + rays * np.where(seen, reach, 0.0)[..., None]
    fine = np.maximum(np.abs(reach), 0.3) / view.lens[0, 0]
    count = lane.rails_back if behind else lane.rails_front
    heights = np.linspace(1.15, 0.35, max(count, 2))[:count] + rng.uniform(-0.05, 0.05, count)
    steel = np.array((150, 154, 156)) * rng.uniform(0.6, 1.1)
    first, pitch = rng.uniform(-1, 1), rng.uniform(2.2, 3.4)
    post = np.abs(np.mod(spot[..., 0] - first, pitch) - pitch / 2)
    bars = [spot[..., 2] - height for height in heights]
    bars.append(np.where(spot[..., 2] < heights.max() + 0.06, post, 9.0))
    bars[-1] = np.where(spot[..., 2] > 0, bars[-1], 9.0)
    for offset in bars:
        share = np.clip((_RAIL_RADIUS_M - np.abs(offset)) / fine + 0.5, 0, 1) * seen
        rows, columns = np.nonzero(share)
        share = share[rows, columns]
        round_ = np.clip(offset[rows, columns] / _RAIL_RADIUS_M, -1, 1)
        bright = 0.45 + 0.75 * np.clip(1 - np.abs(round_ - 0.35) / 1.1, 0, 1)
        under = picture[rows, columns] * (1 - share[:, None])
        picture[rows, columns] = under + steel * (bright * share)[:, None]
        if cover is not None:
            cover[rows, columns] = np.maximum(cover[rows, columns], share)
