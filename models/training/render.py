"""Draw random cows on the GPU as cut-outs with known landmarks.

Surface points are coloured, lit and splatted into a depth buffer; no graphics library is
needed. ``draw_cows`` gives cut-outs that ``scene.py`` sets into pictures.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional

from gait.landmarks import BACK_AND_HEAD, LEG_POINTS
from models.training.rig import LANDMARKS_AT_REST, Rig, turn_about
from models.training.shape import chance, random_cows, uniform

WIDTH, HEIGHT = 640, 384
MARGIN = 0.03
AVERTED = -0.12
"""Part of a surface's normal towards the camera under which it is not drawn."""
POINT_ID_BITS = 20
COATS = ((0.06, 0.06, 0.06), (0.90, 0.88, 0.84), (0.36, 0.16, 0.08), (0.55, 0.36, 0.20),
         (0.70, 0.55, 0.38), (0.12, 0.09, 0.08), (0.50, 0.46, 0.42))  # fmt: skip
BLACK, WHITE, RED = 0, 1, 2


@dataclass(frozen=True, kw_only=True)
class Cutouts:
    """Cows without background, largest fit in 640 x 384.

    Attributes
    ----------
    rgba : Tensor
        (n, 4, 384, 640), colours multiplied by coverage, 0..1.
    points : Tensor
        (n, 18, 2) landmarks, px of the cut-out.
    weight : Tensor
        (n, 18) how far each landmark is to be learnt, 0..1; NaN where it is not known.
    box : Tensor
        (n, 4) x0, y0, x1, y1 of the coverage, px.
    """

    rgba: Tensor
    points: Tensor
    weight: Tensor
    box: Tensor

    def __len__(self) -> int:
        return len(self.rgba)


def draw_cows(rig: Rig, count: int, textures: Tensor | None = None) -> Cutouts:
    """Draw ``count`` random cows.

    Parameters
    ----------
    rig : Rig
    count : int
    textures : Tensor, optional
        (t, 3, h, w) patches of real coats, 0..1, laid over some of the cows.
    """
    vertex = random_cows(rig, count)
    place, normal = surface(rig, vertex)
    camera = _camera(count, rig.device)
    left, right = rig.landmarks(vertex)
    view = _project(place, camera)
    frame = _fit(view)
    pixel = _to_canvas(view, frame)
    shown = _shown_points(rig, count) & _towards_camera(normal, camera)
    hit, index = splat(pixel, shown)
    colour = light(coat(rig, count, textures), normal)
    rgba = gather(colour, hit, index)
    marks = [_to_canvas(_project(m, camera), frame) for m in (left, right)]
    box = coverage_box(rgba[:, 3])
    points = name_sides(*marks)
    return Cutouts(rgba=rgba, points=points, weight=torch.ones_like(points[..., 0]), box=box)


def surface(rig: Rig, vertex: Tensor) -> tuple[Tensor, Tensor]:
    """Points and normals on the faces, rounded towards the smooth surface (Phong)."""
    normals = rig.normals(vertex)
    face = rig.face[rig.point_face]
    corner, corner_normal = vertex[:, face], normals[:, face]
    flat = (corner * rig.point_bary).sum(2)
    above = ((flat[:, :, None] - corner) * corner_normal).sum(-1, keepdim=True)
    rounded = ((flat[:, :, None] - above * corner_normal) * rig.point_bary).sum(2)
    normal = functional.normalize((corner_normal * rig.point_bary).sum(2), dim=-1)
    return 0.35 * flat + 0.65 * rounded, normal


def _camera(count: int, device: str) -> tuple[Tensor, Tensor]:
    """Draw views from either side, up to 35 degrees oblique: rotation (n, 3, 3), distance (n,)."""
    side = torch.where(chance(0.5, count, device), 1.0, -1.0)
    spread = torch.where(chance(0.65, count, device), 0.25, 0.62)
    yaw = side * math.pi / 2 + uniform(-1, 1, count, device=device) * spread
    pitch = uniform(-0.06, 0.30, count, device=device)
    roll = torch.randn(count, device=device) * 0.03
    rotation = turn_about(2, roll) @ turn_about(0, pitch) @ turn_about(1, yaw)
    return rotation, uniform(11, 42, count, device=device)


def _project(place: Tensor, camera: tuple[Tensor, Tensor]) -> Tensor:
    """Rig space to x right, y down, depth; (n, p, 3)."""
    rotation, distance = camera
    middle = torch.tensor([0.0, 2.2, 0.3], device=place.device)
    turned = (place - middle) @ rotation.transpose(1, 2)
    depth = distance[:, None] - turned[..., 2]
    scale = distance[:, None] / depth
    return torch.stack([turned[..., 0] * scale, -turned[..., 1] * scale, depth], -1)


def _fit(view: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    low, high = view[..., :2].amin(1), view[..., :2].amax(1)
    canvas = torch.tensor([WIDTH, HEIGHT], device=view.device, dtype=view.dtype)
    scale = ((1 - 2 * MARGIN) * canvas / (high - low)).amin(1)
    return scale, (low + high) / 2, canvas / 2


def _to_canvas(view: Tensor, frame: tuple[Tensor, Tensor, Tensor]) -> Tensor:
    scale, middle, centre = frame
    xy = (view[..., :2] - middle[:, None]) * scale[:, None, None] + centre - 0.5
    return torch.cat([xy, view[..., 2:]], -1)


def _shown_points(rig: Rig, count: int) -> Tensor:
    """Most dairy cows have no horns."""
    hornless = chance(0.88, count, rig.device)
    horn = rig.point_material == rig.materials.index("Horns")
    return ~(hornless[:, None] & horn)


def _towards_camera(normal: Tensor, camera: tuple[Tensor, Tensor]) -> Tensor:
    """Points on the averted side would shine through the gaps between points."""
    return (normal @ camera[0].transpose(1, 2))[..., 2] > AVERTED


def splat(
    pixel: Tensor, shown: Tensor, size: tuple[int, int] = (WIDTH, HEIGHT)
) -> tuple[Tensor, Tensor]:
    """Return where any point was drawn (n, h, w) and which point is in front there.

    Parameters
    ----------
    pixel : Tensor
        (n, p, 3) px and depth.
    shown : Tensor
        (n, p) bool.
    size : tuple of int
        Width and height of the canvas, px.
    """
    count, points = shown.shape
    width, height = size
    nothing = 2**62
    buffer = torch.full((count * height * width,), nothing, device=pixel.device)
    depth = (pixel[..., 2] * 1e5).long().clamp(0, 2**35)
    key = (depth << POINT_ID_BITS) + torch.arange(points, device=pixel.device)
    start = torch.arange(count, device=pixel.device)[:, None] * height * width
    corner = pixel[..., :2].floor().long()
    for dx in (0, 1):
        for dy in (0, 1):
            x, y = corner[..., 0] + dx, corner[..., 1] + dy
            good = shown & (x >= 0) & (x < width) & (y >= 0) & (y < height)
            buffer.scatter_reduce_(0, (start + y * width + x)[good], key[good], "amin")
    buffer = buffer.view(count, height, width)
    return buffer < nothing, buffer & ((1 << POINT_ID_BITS) - 1)


def gather(colour: Tensor, hit: Tensor, index: Tensor) -> Tensor:
    """Colours of the points in front, small holes filled; (n, 4, h, w), premultiplied."""
    count = len(colour)
    index = index.view(count, -1, 1).clamp(max=colour.shape[1] - 1).expand(-1, -1, 3)
    rgb = torch.gather(colour, 1, index).view(*hit.shape, 3).permute(0, 3, 1, 2)
    cover = hit[:, None].float()
    rgb = rgb * cover
    closed = -functional.max_pool2d(-functional.max_pool2d(cover, 5, 1, 2), 5, 1, 2)
    around = functional.avg_pool2d(torch.cat([rgb, cover], 1), 5, 1, 2)
    filled = around[:, :3] / around[:, 3:].clamp(min=1e-3)
    return torch.cat([torch.where(cover > 0, rgb, filled * closed), closed], 1)


def coverage_box(cover: Tensor) -> Tensor:
    """Return the boxes (n, 4) px, x0, y0, x1, y1, of coverages (n, h, w)."""
    columns, rows = cover.amax(1) > 0.5, cover.amax(2) > 0.5

    def ends(line: Tensor) -> tuple[Tensor, Tensor]:
        n = line.shape[1]
        line = line.float()
        return line.argmax(1).float(), n - line.flip(1).argmax(1).float()

    (x0, x1), (y0, y1) = ends(columns), ends(rows)
    return torch.stack([x0 - 0.5, y0 - 0.5, x1 - 0.5, y1 - 0.5], 1)


def name_sides(left: Tensor, right: Tensor) -> Tensor:
    """Order the points as the network does; the side whose legs are closer is near."""
    names = list(LANDMARKS_AT_REST)
    leg_rows = [names.index(n) for n in LEG_POINTS]
    left_near = left[:, leg_rows, 2].mean(1) < right[:, leg_rows, 2].mean(1)
    near = torch.where(left_near[:, None, None], left, right)
    far = torch.where(left_near[:, None, None], right, left)
    places = [left[:, names.index(n), :2] for n in BACK_AND_HEAD]
    for row in leg_rows:
        places += [near[:, row, :2], far[:, row, :2]]
    return torch.stack(places, 1)


# ---- coats -------------------------------------------------------------------------------


def coat(rig: Rig, count: int, textures: Tensor | None) -> Tensor:
    """Colours (n, p, 3): patches or one colour, pale or dark ends, dirt, udder, trimmings."""
    rest, device = rig.point_rest, rig.device
    colour = _patches(rest, count)
    if textures is not None and len(textures):
        colour = _lay_texture(rest, colour, textures)
    ends = 1 - ((rest[:, 1] - 1.0) / 1.4).clamp(0, 1) + ((rest[:, 2] - 3.6) / 1.0).clamp(0, 1)
    darker = torch.where(chance(0.3, count, device), uniform(-0.6, 0.6, count, device=device), 0.0)
    colour = colour * (1 + darker[:, None, None] * ends[:, None])
    legs_white = chance(0.3, count, device)[:, None] & (
        rest[:, 1] + 0.3 * torch.sin(5 * rest[:, 2]) < uniform(0.4, 1.8, count, 1, device=device)
    )
    white = torch.tensor(COATS[WHITE], device=device)
    colour = torch.where(legs_white[..., None], white, colour)
    colour = _paint_parts(rig, colour)
    colour = _trimmings(rest, colour)
    dirt = ((uniform(0.6, 2.6, count, 1, device=device) - rest[:, 1]) / 1.2).clamp(0, 1)
    dirt = (dirt * uniform(0, 1.0, count, 1, device=device))[..., None]
    soil = torch.tensor([0.30, 0.24, 0.17], device=device) * uniform(
        0.5, 1.4, count, 1, 1, device=device
    )
    return (colour * (1 - dirt) + soil * dirt).clamp(0, 1)


def _waves(rest: Tensor, count: int, number: int, pitch: Tensor) -> Tensor:
    """Smooth random function on the skin (n, p), about unit size per wave."""
    device = str(rest.device)
    direction = torch.randn(count, number, 3, device=device) * pitch[:, None, None]
    phase = uniform(0, 6.28, count, number, 1, device=device)
    total = torch.zeros(count, len(rest), device=device)
    for k in range(number):
        angle = direction[:, k] @ rest.T + phase[:, k]
        total += torch.sin(angle) * torch.randn(count, 1, device=device)
    return total


def _patches(rest: Tensor, count: int) -> Tensor:
    device = str(rest.device)
    pitch = torch.exp(uniform(-0.2, 0.8, count, device=device))
    sharp = uniform(2, 14, count, 1, device=device)
    level = uniform(-3, 3, count, 1, device=device)
    share = ((_waves(rest, count, 14, pitch) - level) * sharp).sigmoid()[..., None]
    coats = torch.tensor(COATS, device=device)
    first = torch.randint(0, len(COATS), (count,), device=device)
    second = torch.randint(0, len(COATS), (count,), device=device)
    pied = chance(0.55, count, device)
    dark = torch.where(chance(0.65, count, device), BLACK, RED)
    first, second = torch.where(pied, dark, first), torch.where(pied, WHITE, second)
    plain = ~pied & chance(0.7, count, device)
    second = torch.where(plain, first, second)
    colour = coats[first][:, None] * share + coats[second][:, None] * (1 - share)
    tint = 1 + 0.07 * torch.randn(count, 1, 3, device=device)
    fine = _waves(rest, count, 4, 6 * pitch)[..., None] * uniform(
        0, 0.03, count, 1, 1, device=device
    )
    grain = 0.04 * torch.randn(count, len(rest), 1, device=device)
    return (colour * tint + fine + grain).clamp(0.01, 1)


def _lay_texture(rest: Tensor, colour: Tensor, textures: Tensor) -> Tensor:
    """Lay a patch of a real coat over some cows, folded at its edges."""
    count, device = len(colour), str(rest.device)
    patch = textures[torch.randint(0, len(textures), (count,), device=device)]
    u, v = (rest[:, 2] + 2.6) / 2.6 - 1, (4.6 - rest[:, 1]) / 1.4 - 1
    grid = torch.stack([u, v], -1)[None, None].expand(count, -1, -1, -1)
    grid = grid * uniform(0.6, 1.0, count, 1, 1, 1, device=device)
    laid = functional.grid_sample(patch, grid, padding_mode="reflection", align_corners=False)[
        :, :, 0
    ].transpose(1, 2)
    use = chance(0.4, count, device)[:, None, None]
    return torch.where(use, laid, colour)


def _paint_parts(rig: Rig, colour: Tensor) -> Tensor:
    parts = {
        "Hooves": ((0.25, 0.20, 0.15), 0.8),
        "Muzzle": ((0.60, 0.45, 0.40), 0.4),
        "Eye_Black": ((0.03, 0.03, 0.03), 1.0),
        "Eye_White": ((0.10, 0.10, 0.10), 0.8),
        "Horns": ((0.60, 0.55, 0.45), 0.7),
        "Udder": ((0.78, 0.60, 0.54), 0.65),
    }
    count, device = len(colour), rig.device
    for name, (rgb, probability) in parts.items():
        part = rig.point_material == rig.materials.index(name)
        painted = torch.tensor(rgb, device=device) * (
            1 + 0.2 * torch.randn(count, 1, 3, device=device)
        )
        painted = painted * (1 + 0.08 * torch.randn(count, len(part), 1, device=device))
        use = chance(probability, count, device)[:, None, None] & part[:, None]
        colour = torch.where(use, painted, colour)
    return colour


def _trimmings(rest: Tensor, colour: Tensor) -> Tensor:
    """Ear tags, collars, leg bands."""
    count, device = len(colour), str(rest.device)

    def place(mask: Tensor, probability: float, rgb: tuple[float, float, float]) -> None:
        nonlocal colour
        paint = torch.tensor(rgb, device=device) * uniform(0.5, 1.2, count, 1, 1, device=device)
        use = chance(probability, count, device)[:, None] & mask
        colour = torch.where(use[..., None], paint, colour)

    x, y, z = rest.unbind(-1)
    ear = uniform(0.62, 0.9, count, 1, device=device)
    tag = ((x.abs() - ear).abs() < 0.13) & ((z - 3.75).abs() < 0.2) & ((y - 4.1).abs() < 0.16)
    place(tag, 0.5, (0.95, 0.80, 0.10))
    collar_z = uniform(2.5, 3.3, count, 1, device=device)
    collar = (z - collar_z + 0.3 * (y - 3.6)).abs() < uniform(0.03, 0.09, count, 1, device=device)
    place(collar & (y > 2.2), 0.25, (0.15, 0.20, 0.45))
    band = ((y - 0.62).abs() < 0.07) & (x > 0.2) & (z < 0)
    place(band, 0.10, (0.85, 0.25, 0.15))
    return colour


def light(colour: Tensor, normal: Tensor) -> Tensor:
    """Sun or lamp from a random side, sky above, shade below."""
    count, device = len(colour), str(colour.device)
    towards = torch.stack(
        [
            uniform(-1, 1, count, device=device),
            uniform(0.1, 1.2, count, device=device),
            uniform(-1, 1, count, device=device),
        ],
        1,
    )
    facing = (normal * functional.normalize(towards, dim=1)[:, None]).sum(-1).clamp(0)
    sky = 0.5 + 0.5 * normal[..., 1]
    ambient = uniform(0.25, 0.6, count, 1, device=device)
    shade = (
        ambient
        + sky * uniform(0.0, 0.5, count, 1, device=device)
        + facing * uniform(0.1, 0.8, count, 1, device=device)
    )
    return (colour * shade[..., None]).clamp(0, 1.1)
