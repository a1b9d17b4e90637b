"""What stands before the cow and what the camera does to the picture: rails, light, blur."""

from __future__ import annotations

import math
from collections.abc import Callable

import torch
from torch import Tensor
from torch.nn import functional

from models.training.architecture import INPUT_HEIGHT, INPUT_WIDTH
from models.training.shape import chance, uniform

LEAST_BRIGHT = 0.25
"""Brightness of the brightest fiftieth of a picture; the dark barn's real pictures have 0.55 up."""
ALIKE = 0.12
"""Share of the backgrounds that get the colour of the cow's back."""
EDGED, EDGE_OFF_PX = 0.15, 6.0
"""Share of the backgrounds with an edge near a landmark of back or head, and how near."""
DOORWAYS, BACK_LIT = 0.15, 0.12
"""Shares of the backgrounds with a bright opening, and of the pictures exposed for the light."""
METALS = ((0.65, 0.66, 0.68), (0.35, 0.30, 0.27), (0.85, 0.84, 0.80), (0.12, 0.13, 0.15),
          (0.45, 0.38, 0.28), (0.60, 0.20, 0.12))  # fmt: skip


def add_bars(image: Tensor, probability: float) -> Tensor:
    """Draw rails, posts and gates over some of the pictures (n, 3, 192, 320)."""
    n, device = len(image), str(image.device)
    lane = chance(probability, n, device)
    rails = _bars(image, lane & chance(0.75, n, device), torch.randn(n, device=device) * 0.06, 5)
    upright = math.pi / 2 + torch.randn(n, device=device) * 0.05
    posts = _bars(rails, lane & chance(0.5, n, device), upright, 3)
    slanted = uniform(-1.5, 1.5, n, device=device)
    return _bars(posts, lane & chance(0.12, n, device), slanted, 2)


def _bars(image: Tensor, on: Tensor, angle: Tensor, most: int) -> Tensor:
    """Draw up to ``most`` even parallel round bars at an angle to the horizontal."""
    n, device = len(image), str(image.device)

    def draw(low: float, high: float) -> Tensor:
        return uniform(low, high, n, 1, 1, device=device)

    y, x = torch.meshgrid(
        torch.arange(INPUT_HEIGHT, device=device) - INPUT_HEIGHT / 2,
        torch.arange(INPUT_WIDTH, device=device) - INPUT_WIDTH / 2,
        indexing="ij",
    )
    angle = angle[:, None, None]
    across = y * angle.cos() - x * angle.sin()
    reach = INPUT_HEIGHT / 2 * angle.cos().abs() + INPUT_WIDTH / 2 * angle.sin().abs()
    count = torch.randint(1, most + 1, (n, 1, 1), device=device)
    gap = draw(14, 60) * (1 + angle.sin().abs())
    first = draw(-1, 1) * reach * 0.95 - gap * (count - 1) / 2
    number = ((across - first) / gap).round().clamp(min=0)
    number = torch.minimum(number, count - 1)
    off = across - first - number * gap
    half = torch.where(chance(0.15, n, device)[:, None, None], draw(2.5, 7), draw(0.6, 3.0))
    cover = (half + 0.5 - off.abs()).clamp(0, 1) * on[:, None, None]
    metal = torch.tensor(METALS, device=device)[torch.randint(0, len(METALS), (n,), device=device)]
    shine = (off / half.clamp(min=0.5) + draw(-0.5, 0.5)).clamp(-1, 1)
    shade = (0.55 + 0.6 * (1 - shine**2)) * draw(0.4, 1.2)
    colour = (
        metal[:, :, None, None]
        * shade[:, None]
        * (1 + 0.04 * torch.randn(n, 1, INPUT_HEIGHT, INPUT_WIDTH, device=device))
    )
    cover = cover[:, None]
    return image * (1 - cover) + colour.clamp(0, 1) * cover


def backgrounds(pictures: Tensor, count: int) -> Tensor:
    """Return (count, 3, 192, 320) pieces of pictures (k, 3, h, w; uint8), or painted lanes."""
    device = str(pictures.device)
    index = torch.randint(0, len(pictures), (count,), device=device)
    zoom = uniform(0.35, 1.0, count, device=device)
    aspect = torch.exp(torch.randn(count, device=device) * 0.25).clamp(0.6, 1.0)
    sx = zoom * torch.where(chance(0.5, count, device), 1.0, -1.0)
    sy = zoom * aspect
    theta = torch.zeros(count, 2, 3, device=device)
    theta[:, 0, 0], theta[:, 1, 1] = sx, sy
    theta[:, 0, 2] = (1 - sx.abs()) * uniform(-1, 1, count, device=device)
    theta[:, 1, 2] = (1 - sy) * uniform(-1, 1, count, device=device)
    size = [count, 3, INPUT_HEIGHT, INPUT_WIDTH]
    grid = functional.affine_grid(theta, size, align_corners=False)
    pieces = functional.grid_sample(
        pictures[index].float() / 255, grid, padding_mode="reflection", align_corners=False
    )
    painted = chance(0.3, count, device)[:, None, None, None]
    return _doorways(torch.where(painted, _painted_lane(count, device), pieces))


def _draws(count: int, device: str) -> Callable[[float, float], Tensor]:
    """Return what draws one number for each picture, (count, 1, 1, 1)."""
    return lambda low, high: uniform(low, high, count, 1, 1, 1, device=device)


def _from_the_middle(device: str) -> tuple[Tensor, Tensor]:
    """Return the places of columns (1, 1, 1, 320) and rows (1, 1, 192, 1), -1 to 1."""
    x = torch.linspace(-1, 1, INPUT_WIDTH, device=device).view(1, 1, 1, -1)
    y = torch.linspace(-1, 1, INPUT_HEIGHT, device=device).view(1, 1, -1, 1)
    return x, y


def _pixels(device: str) -> tuple[Tensor, Tensor]:
    """Return the numbers of columns (1, 1, 1, 320) and rows (1, 1, 192, 1), from 0."""
    x = torch.arange(INPUT_WIDTH, device=device).view(1, 1, 1, -1).float()
    y = torch.arange(INPUT_HEIGHT, device=device).view(1, 1, -1, 1).float()
    return x, y


def _painted_lane(count: int, device: str) -> Tensor:
    """Paint a wall with boards or blocks above a rough floor."""
    draw = _draws(count, device)
    x, y = _pixels(device)
    tint = torch.rand(count, 3, 1, 1, device=device) * 0.15
    wall = draw(0.05, 0.85) + tint
    boards = torch.sign(torch.sin(x / draw(2, 14) + draw(0, 6)) + 0.85)
    courses = torch.sign(torch.sin(y / draw(2, 10) + draw(0, 6)) + 0.9)
    wall = (
        wall
        * (1 + draw(0, 0.2) * boards + draw(0, 0.2) * courses)
        * (1 + draw(-0.3, 0.3) * x / 320)
    )
    floor = draw(0.1, 0.7) + torch.rand(count, 3, 1, 1, device=device) * 0.12
    coarse = torch.randn(count, 1, INPUT_HEIGHT // 4, INPUT_WIDTH // 4, device=device)
    rough = functional.interpolate(coarse, scale_factor=4.0, mode="bilinear")
    fine = torch.randn(count, 1, INPUT_HEIGHT, INPUT_WIDTH, device=device)
    edge = draw(0.3, 1.1) * INPUT_HEIGHT + draw(-0.15, 0.15) * (x - INPUT_WIDTH / 2)
    ground = (y > edge).float()
    both = wall * (1 - ground) + floor * ground
    return (both * (1 + draw(0, 0.15) * rough + draw(0, 0.12) * fine)).clamp(0, 1)


def _doorways(image: Tensor) -> Tensor:
    """Let daylight in behind some cows: a bright upright opening, as at the end of a lane."""
    n, device = len(image), str(image.device)
    draw = _draws(n, device)
    x, y = _from_the_middle(device)
    across = (x - draw(-1.1, 1.1) + draw(-0.15, 0.15) * y).abs() < draw(0.04, 0.3)
    opening = across & (y > draw(-1.6, 0.0)) & (y < draw(0.0, 0.8))
    opening &= chance(DOORWAYS, n, device)[:, None, None, None]
    return torch.where(opening, (0.4 * image + draw(0.55, 0.9)).clamp(0, 1), image)


def like_the_back(behind: Tensor, cow: Tensor, place: Tensor, share: float) -> Tensor:
    """Give some backgrounds the colour of the cow's back, so that her outline hardly shows.

    Parameters
    ----------
    behind : Tensor
        (n, 3, 192, 320), 0..1.
    cow : Tensor
        (n, 4, 192, 320), colours multiplied by the cover in the fourth channel.
    place : Tensor
        (n, 2) px, a place on her back.
    share : float
        Share of the backgrounds that are changed.
    """
    n, device = len(behind), str(behind.device)
    around = functional.avg_pool2d(cow, 9, 1, 4)
    limit = torch.tensor([INPUT_WIDTH - 1, INPUT_HEIGHT - 1], device=device)
    x, y = torch.minimum(place.nan_to_num(0.0).round().clamp(min=0), limit).long().unbind(1)
    there = around[torch.arange(n, device=device), :, y, x]
    colour = (there[:, :3] / there[:, 3:].clamp(min=1e-3))[:, :, None, None]
    mean = behind.mean((2, 3), keepdim=True)
    calm = mean + (behind - mean) * uniform(0.2, 1.0, n, 1, 1, 1, device=device)
    toned = calm * (colour / mean.clamp(min=0.02)) ** uniform(0.7, 1.1, n, 1, 1, 1, device=device)
    on = chance(share, n, device) & (there[:, 3] > 0.2)
    return torch.where(on[:, None, None, None], toned.clamp(0, 1), behind)


def edge_beside(behind: Tensor, place: Tensor, share: float) -> Tensor:
    """Let a level edge, as between wall and floor, run behind some cows close to a landmark.

    Parameters
    ----------
    behind : Tensor
        (n, 3, 192, 320), 0..1.
    place : Tensor
        (n, 2) px, a landmark that is easily taken for a part of such an edge.
    share : float
        Share of the backgrounds that are changed.
    """
    n, device = len(behind), str(behind.device)
    draw = _draws(n, device)
    x, y = _pixels(device)
    column, row = place.nan_to_num(0.0)[:, :, None, None, None].unbind(1)
    slope = torch.randn(n, 1, 1, 1, device=device) * 0.05
    level = row + draw(-EDGE_OFF_PX, EDGE_OFF_PX)
    below = y - level > slope * (x - column)
    tone = torch.exp(torch.randn(n, 3, 1, 1, device=device) * 0.1 + draw(-1.0, 1.0))
    changed = torch.where(below, behind * tone, behind).clamp(0, 1)
    return torch.where(chance(share, n, device)[:, None, None, None], changed, behind)


def photograph(image: Tensor) -> Tensor:
    """Return the pictures as cameras of all sorts would take them, 0..1."""
    n, device = len(image), str(image.device)
    draw = _draws(n, device)

    def some(probability: float) -> Tensor:
        return chance(probability, n, device)[:, None, None, None]

    image = _light(image, draw, some)
    image = torch.where(some(0.18), _motion_blur(image), image)
    image = torch.where(
        some(0.20), functional.avg_pool2d(image, 3, 1, 1, count_include_pad=False), image
    )
    small = functional.interpolate(image, scale_factor=0.45, mode="bilinear", antialias=True)
    soft = functional.interpolate(small, size=image.shape[-2:], mode="bilinear")
    image = torch.where(some(0.18), soft, image)
    grain = torch.randn_like(image) * draw(0, 0.05) * some(0.6)
    image = (image + grain).clamp(0, 1)
    return torch.where(some(0.4), _compress(image, draw(0.01, 0.12)), image).clamp(0, 1)


def _light(image: Tensor, draw, some) -> Tensor:  # type: ignore[no-untyped-def]
    """Exposure, contrast, colour cast, grey and night pictures, uneven light."""
    n, device = len(image), image.device
    steepness = torch.where(some(BACK_LIT), draw(0.5, 1.0), draw(-0.45, 0.45))
    image = image.clamp(0, 1) ** torch.exp(steepness)
    mean = image.mean((1, 2, 3), keepdim=True)
    image = (image - mean) * draw(0.6, 1.35) + mean * draw(0.7, 1.3)
    image = image * (1 + 0.08 * torch.randn(n, 3, 1, 1, device=device))
    grey = image.mean(1, keepdim=True)
    saturation = torch.where(some(0.15), 0.0, draw(0.3, 1.4))
    image = grey + (image - grey) * saturation
    x, y = _from_the_middle(str(device))
    slope = 1 + draw(-0.4, 0.4) * x + draw(-0.3, 0.3) * y
    lamp = torch.exp(-((x - draw(-1, 1)) ** 2 + (y - draw(-1, 0.5)) ** 2) / draw(0.2, 1.5))
    dark = draw(0.2, 0.6) * (0.6 + draw(0, 1.5) * lamp)
    image = torch.where(some(0.20), image * dark, image * torch.where(some(0.4), slope, 1.0))
    haze = draw(0, 0.35) * some(0.12)
    return _exposed((image * (1 - haze) + haze * draw(0.5, 0.9)).clamp(0, 1))


def _exposed(image: Tensor) -> Tensor:
    """Lengthen the exposure of pictures too dark for any camera's automatic exposure."""
    bright = image.mean(1)[:, ::4, ::4].flatten(1).quantile(0.98, dim=1)
    gain = (LEAST_BRIGHT / bright.clamp(min=0.01)).clamp(min=1)
    return (image * gain[:, None, None, None]).clamp(0, 1)


def _motion_blur(image: Tensor) -> Tensor:
    """Average along a short, mostly level, path."""
    n, device = len(image), image.device
    length = uniform(1, 7, n, device=str(device))
    angle = torch.randn(n, device=device) * 0.2
    total = torch.zeros_like(image)
    theta = torch.eye(2, 3, device=device).repeat(n, 1, 1)
    steps = (-0.5, -0.25, 0.0, 0.25, 0.5)
    for step in steps:
        theta[:, 0, 2] = step * length * angle.cos() * 2 / INPUT_WIDTH
        theta[:, 1, 2] = step * length * angle.sin() * 2 / INPUT_HEIGHT
        grid = functional.affine_grid(theta, list(image.shape), align_corners=False)
        total += functional.grid_sample(image, grid, padding_mode="border", align_corners=False)
    return total / len(steps)


def _compress(image: Tensor, step: Tensor) -> Tensor:
    """Round the cosine transform of 8 x 8 blocks, high frequencies more coarsely."""
    k = torch.arange(8, device=image.device, dtype=torch.float32)
    basis = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) * 0.5
    basis[0] *= 2**-0.5
    n, c, h, w = image.shape
    blocks = image.view(n, c, h // 8, 8, w // 8, 8).transpose(3, 4)
    waves = basis @ blocks @ basis.T
    coarse = step[..., None, None] * (1 + 0.35 * (k[:, None] + k[None]))
    rounded = (waves / coarse).round() * coarse
    return (basis.T @ rounded @ basis).transpose(3, 4).reshape(n, c, h, w)
