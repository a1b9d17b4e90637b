"""Photos altered so that the network cannot learn them by heart: bent a little, repainted.

A few hundred photos are seen thousands of times in training. Bending moves the landmarks with
the picture; repainting takes the coat away and keeps light and relief.
"""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional

from models.training.shape import chance, uniform

NODES = (4, 6)
BEND_PX = 9.0
"""Standard deviation of the nodes' shifts; the cow is about 400 px long in a picture of 640."""
CALM_EDGE_PX = 60.0
BENT, REPAINTED, RETONED = 0.8, 0.35, 0.25
RELIEF_PX = 45
"""Light and dark over shorter distances are relief and stay; over longer ones they are coat."""


def bend(
    pictures: Tensor, points: Tensor, valid: Tensor, share: float = BENT
) -> tuple[Tensor, Tensor]:
    """Shift pictures and points by the same smooth random field.

    Parameters
    ----------
    pictures : Tensor
        (n, c, h, w).
    points : Tensor
        (n, p, 2) px, first pixel's centre at 0.
    valid : Tensor
        (n, 4) extent of the photo proper, px; nothing moves at its edges.
    share : float
        Share of the pictures that are bent.

    Returns
    -------
    tuple of Tensor
        The bent pictures and the points in them.
    """
    n, _, h, w = pictures.shape
    device = pictures.device
    nodes = torch.randn(n, 2, *NODES, device=device) * BEND_PX
    nodes = nodes * chance(share, n, str(device)).float()[:, None, None, None]
    field = functional.interpolate(nodes, (h, w), mode="bicubic", align_corners=True)
    x = torch.arange(w, device=device).expand(n, -1)
    y = torch.arange(h, device=device).expand(n, -1)
    across = torch.minimum(x - valid[:, :1], valid[:, 2:3] - x)
    down = torch.minimum(y - valid[:, 1:2], valid[:, 3:] - y)
    inside = torch.minimum(across[:, None, :], down[:, :, None])
    field = field * (inside / CALM_EDGE_PX).clamp(0, 1)[:, None]
    plain = torch.stack(torch.meshgrid(x[0].float(), y[0].float(), indexing="xy"))
    size = torch.tensor([w, h], device=device)
    grid = (2 * (plain + field).permute(0, 2, 3, 1) + 1) / size - 1
    bent = functional.grid_sample(pictures, grid, padding_mode="border", align_corners=False)
    return bent, _undo(points, field, size)


def _undo(points: Tensor, field: Tensor, size: Tensor) -> Tensor:
    """Return where points of the source come to lie: x with x + field(x) = point."""
    moved = points
    for _ in range(4):
        grid = ((2 * moved + 1) / size - 1)[:, None]
        shift = functional.grid_sample(field, grid, padding_mode="border", align_corners=False)
        moved = points - shift[:, :, 0].transpose(1, 2)
    return moved


def repaint(photo: Tensor, cover: Tensor) -> Tensor:
    """Give some of the cows another coat and others another brightness.

    Parameters
    ----------
    photo : Tensor
        (n, 3, h, w), 0..1.
    cover : Tensor
        (n, 1, h, w): 1 on the cow.
    """
    n, device = len(photo), str(photo.device)
    lot = torch.rand(n, 1, 1, 1, device=device)
    toned = photo.clamp(0, 1) ** torch.exp(uniform(-0.7, 0.7, n, 1, 1, 1, device=device))
    changed = torch.where(lot < REPAINTED, _coat(photo), toned)
    cover = cover * (lot < REPAINTED + RETONED)
    return photo * (1 - cover) + changed * cover


def _coat(photo: Tensor) -> Tensor:
    """Return the photo's relief on patches of two random colours."""
    n, _, h, w = photo.shape
    device = str(photo.device)
    grey = photo.mean(1, keepdim=True)
    small = functional.interpolate(grey, scale_factor=0.25, mode="area")
    side = RELIEF_PX // 4 | 1
    for _ in range(2):
        small = functional.avg_pool2d(small, side, 1, side // 2, count_include_pad=False)
    relief = grey - functional.interpolate(small, (h, w), mode="bilinear")
    nodes = torch.randn(n, 1, 5, 8, device=device)
    patches = functional.interpolate(nodes, (h, w), mode="bicubic")
    second = ((patches + uniform(-1.2, 1.2, n, 1, 1, 1, device=device)) * 12 + 0.5).clamp(0, 1)
    coats = []
    for _ in range(2):
        base = uniform(0.06, 0.85, n, 1, 1, 1, device=device)
        tint = 1 + torch.rand(n, 1, 1, 1, device=device) * torch.tensor(
            [0.35, 0.0, -0.35], device=device
        ).view(1, 3, 1, 1)
        gain = uniform(0.5, 1.2, n, 1, 1, 1, device=device) * (0.4 + base)
        coats.append(((base + gain * relief) * tint).clamp(0, 1))
    return coats[0] * (1 - second) + coats[1] * second
