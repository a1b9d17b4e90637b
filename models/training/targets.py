"""What the maps should show for a labelled picture, and how far off they are."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional

from models.training.architecture import (
    BOX,
    CENTRE,
    INPUT_HEIGHT,
    INPUT_WIDTH,
    OUTPUT_STRIDE,
    SILHOUETTE,
)
from models.training.scene import IGNORED, PRESENT, Scenes

LANDMARK_SPREAD = 2.2
"""Standard deviation of a landmark's hill, in cells."""
PEAK_EMPHASIS = 20.0
BOX_REACH = 2
CONTRAST, CLEAR = 12.0, 0.5
"""Map height that makes a place e times likelier is 1/12; weights above 0.5 count as clear."""
LANDMARK_SHARE, IDENTITY_SHARE, SILHOUETTE_SHARE, OVERLAP_SHARE = 20.0, 0.1, 1.5, 0.5
CENTRE_SHARE, BOX_SHARE = 0.15, 0.6


def to_cells(xy: Tensor) -> Tensor:
    """Picture px to output cells, both with the first centre at 0."""
    return (xy - (OUTPUT_STRIDE - 1) / 2) / OUTPUT_STRIDE


def hills(points: Tensor, spread: Tensor | float) -> Tensor:
    """Return hills of height 1 at points (n, p, 2) px as maps (n, p, 96, 160).

    ``spread`` is in cells: a number, or (n, p, 1).
    """
    at = to_cells(points)
    x = torch.arange(INPUT_WIDTH // OUTPUT_STRIDE, device=points.device)
    y = torch.arange(INPUT_HEIGHT // OUTPUT_STRIDE, device=points.device)
    width = 2 * spread**2
    across = torch.exp(-((x - at[..., :1]) ** 2) / width)
    down = torch.exp(-((y - at[..., 1:]) ** 2) / width)
    return down[..., :, None] * across[..., None, :]


def landmark_maps(points: Tensor, weight: Tensor) -> Tensor:
    """Return the 18 landmark maps; where near and far may be swapped both show both, half."""
    alone = hills(points, LANDMARK_SPREAD)
    height = weight.nan_to_num(0.0).abs()[..., None, None]
    maps = alone * height
    pairs = maps[:, 6:].unflatten(1, (-1, 2))
    both = 0.5 * pairs.amax(2, keepdim=True).expand_as(pairs)
    unsure = (weight[:, 6:] < 0).unflatten(1, (-1, 2)).any(2)[:, :, None, None, None]
    legs = torch.where(unsure, both, pairs).flatten(1, 2)
    return torch.cat([maps[:, :6], legs], 1)


def landmark_loss(maps: Tensor, scenes: Scenes) -> Tensor:
    """Squared error, weighted towards the hills, over the landmarks that are known."""
    target = landmark_maps(scenes.points, scenes.weight)
    known = (~scenes.weight.isnan()).float()
    error = ((maps - target) ** 2 * (1 + PEAK_EMPHASIS * target)).mean((2, 3))
    return (error * known).sum() / known.sum().clamp(min=1)


def identity_loss(maps: Tensor, scenes: Scenes) -> Tensor:
    """Cross-entropy over all cells: a landmark must stand out against every other place."""
    clear = (scenes.weight > CLEAR).float()
    target = hills(scenes.points, LANDMARK_SPREAD).flatten(2)
    target = target / target.sum(2, keepdim=True).clamp(min=1e-3)
    chosen = functional.log_softmax(maps.flatten(2) * CONTRAST, dim=2)
    spread = (target * target.clamp(min=1e-9).log()).sum(2)
    apart = spread - (target * chosen).sum(2)
    return (apart * clear).sum() / clear.sum().clamp(min=1)


def silhouette_loss(logit: Tensor, scenes: Scenes) -> Tensor:
    """Cross-entropy plus one minus the soft overlap, over the pictures with a silhouette."""
    known = ~scenes.silhouette[:, 0, 0, 0].isnan()
    target = functional.avg_pool2d(scenes.silhouette[known], OUTPUT_STRIDE)[:, 0]
    logit = logit[known]
    entropy = functional.binary_cross_entropy_with_logits(logit, target)
    share = logit.sigmoid()
    both, either = (share * target).sum((1, 2)), (share + target).sum((1, 2))
    there = (target.sum((1, 2)) > 1).float()
    overlap = both / (either - both).clamp(min=1)
    missed = ((1 - overlap) * there).sum() / there.sum().clamp(min=1)
    return entropy + OVERLAP_SHARE * missed


def centre_loss(logit: Tensor, scenes: Scenes) -> Tensor:
    """Focal loss (as for CenterNet) of all cows' centres; unjudged cows are left out."""
    middle = (scenes.boxes[..., :2] + scenes.boxes[..., 2:]) / 2
    size = scenes.boxes[..., 2:] - scenes.boxes[..., :2]
    spread = (0.05 * size.amin(-1, keepdim=True) / OUTPUT_STRIDE).clamp(1.2, 6.0)
    around = hills(middle, spread)
    present = (scenes.state == PRESENT)[..., None, None]
    target = (around * present).amax(1)
    wide = hills(middle, spread * 3) > 0.1
    skip = (wide & (scenes.state == IGNORED)[..., None, None]).any(1) & (target < 0.5)
    cell = to_cells(middle).round().long()
    h, w = logit.shape[-2:]
    flat = cell[..., 1].clamp(0, h - 1) * w + cell[..., 0].clamp(0, w - 1)
    peak = torch.zeros_like(logit).flatten(1)
    peak.scatter_reduce_(1, flat, (scenes.state == PRESENT).float(), "amax")
    peak = peak.view_as(logit) > 0
    p = logit.sigmoid().clamp(1e-4, 1 - 1e-4)
    hit = -((1 - p) ** 2) * p.log() * peak
    false = -(p**2) * (1 - p).log() * (1 - target) ** 4 * ~peak * ~skip
    return (hit + false).sum() / peak.sum().clamp(min=1)


def box_loss(maps: Tensor, scenes: Scenes) -> Tensor:
    """Mean error of the box distances around each cow's centre, relative to the cow's size."""
    h, w = maps.shape[-2:]
    box = scenes.boxes[:, :, None]
    reach = torch.arange(-BOX_REACH, BOX_REACH + 1, device=maps.device)
    around = torch.cartesian_prod(reach, reach)
    cell = to_cells((box[..., :2] + box[..., 2:]) / 2).round().long() + around
    x, y = cell.unbind(-1)
    good = (x >= 0) & (x < w) & (y >= 0) & (y < h) & (scenes.state == PRESENT)[..., None]
    index = y.clamp(0, h - 1) * w + x.clamp(0, w - 1)
    flat = index.flatten(1)[:, None].expand(-1, 4, -1)
    given = maps.flatten(2).gather(2, flat).transpose(1, 2).unflatten(1, index.shape[1:])
    px = cell * OUTPUT_STRIDE + (OUTPUT_STRIDE - 1) / 2
    wanted = torch.cat([px - box[..., :2], box[..., 2:] - px], -1) / INPUT_WIDTH
    size = (box[..., 2:] - box[..., :2]).amax(-1) / INPUT_WIDTH
    error = (given - wanted).abs().sum(-1) / size.clamp(min=0.1)
    return (error * good).sum() / good.sum().clamp(min=1)


def losses(maps: Tensor, scenes: Scenes) -> dict[str, Tensor]:
    """Return the parts of the loss, each already multiplied by its share."""
    return {
        "landmarks": LANDMARK_SHARE * landmark_loss(maps[:, :SILHOUETTE], scenes),
        "identity": IDENTITY_SHARE * identity_loss(maps[:, :SILHOUETTE], scenes),
        "silhouette": SILHOUETTE_SHARE * silhouette_loss(maps[:, SILHOUETTE], scenes),
        "centres": CENTRE_SHARE * centre_loss(maps[:, CENTRE], scenes),
        "boxes": BOX_SHARE * box_loss(maps[:, BOX], scenes),
    }
