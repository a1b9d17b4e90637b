"""Whole frames with none to several cows, whose centres and boxes are to be learnt."""

from __future__ import annotations

import torch
from torch import Tensor

from models.training import alter
from models.training.architecture import INPUT_HEIGHT, INPUT_WIDTH
from models.training.lens import add_bars
from models.training.scene import (
    IGNORED,
    NONE,
    PRESENT,
    Scenes,
    carry_box,
    clip,
    cow_area,
    place,
    pyramid,
    sample,
    sample_levels,
)
from models.training.shape import chance, uniform

STRANGE_MOST, STRANGE_SHARE = 2, 0.35
"""So many other animals at most in a picture, each with this chance."""
STRANGE_SIZES = (-1.3, 0.35)
"""Logarithms of the least and the greatest width of their cut-outs, in 240 px."""


def views(behind: Tensor, cows: list[Tensor], cows_box: Tensor, strange: Tensor) -> Scenes:
    """Return whole frames with none to several cows, and now and then another animal.

    Parameters
    ----------
    behind : (n, 3, 192, 320)
    cows, cows_box : pyramid and (k, 4)
    strange : (s, 4, 144, 240)
        Cut-outs of other animals, colours times cover.
    """
    n, device = len(behind), str(behind.device)
    canvas = add_bars(behind, 0.4)
    number = torch.randint(0, 4, (n,), device=device)
    main_size = torch.exp(uniform(-1.75, -0.1, n, device=device))
    ground = uniform(0.55, 0.98, n, device=device) * INPUT_HEIGHT
    alphas, boxes = [], []
    for _ in range(STRANGE_MOST):
        canvas = _set_strange(canvas, strange)
    for turn in range(3):
        on = (turn < number).float()[:, None, None, None]
        index = torch.randint(0, len(cows_box), (n,), device=device)
        box = cows_box[index]
        width = main_size * uniform(0.75, 1.2, n, device=device) * INPUT_WIDTH
        scale = (width / (box[:, 2] - box[:, 0])).clamp(
            max=1.05 * INPUT_HEIGHT / (box[:, 3] - box[:, 1])
        )
        tall = (box[:, 3] - box[:, 1]) * scale
        x = uniform(-0.05, 1.05, n, device=device) * INPUT_WIDTH
        bottom = torch.maximum(ground + (0.12 * turn - 0.1) * tall, 0.85 * tall)
        middle = torch.stack([x, bottom - tall / 2], 1)
        tilt = torch.randn(n, device=device) * 0.03
        affine = place(box, middle, scale, torch.ones_like(x), tilt, chance(0.5, n, device))
        layer = sample_levels(cows, index, affine) * on
        canvas = canvas * (1 - layer[:, 3:]) + layer[:, :3]
        alphas.append(layer[:, 3])
        boxes.append(carry_box(box[:, None], affine)[:, 0])
    canvas = add_bars(canvas, 0.3)
    seen, uncovered = [], torch.ones_like(alphas[0])
    for alpha, box in zip(reversed(alphas), reversed(boxes), strict=True):
        seen.append((alpha * uncovered).sum((1, 2)) / cow_area(box))
        uncovered = uncovered * (1 - alpha)
    free = torch.tensor([-1e4, -1e4, 1e4, 1e4], device=device).expand(n, 4)
    clipped = torch.stack([clip(b, free) for b in boxes], 1)
    share = torch.stack(seen[::-1], 1)
    state = torch.where(share > 0.35, PRESENT, IGNORED)
    state = torch.where(share < 0.03, NONE, state)
    return _letterbox(_without_target(canvas, clipped, state, empty=number == 0))


def _set_strange(canvas: Tensor, strange: Tensor) -> Tensor:
    """Set another animal, bent and repainted as photos are, into some of the pictures."""
    n, device = len(canvas), str(canvas.device)
    chosen = strange[torch.randint(0, len(strange), (n,), device=device)]
    w, h = strange.shape[-1], strange.shape[-2]
    room = torch.tensor([-w, -h, 2 * w, 2 * h], device=device).expand(n, 4)
    bent, _ = alter.bend(chosen, torch.zeros(n, 1, 2, device=device), room)
    cover = bent[:, 3:]
    colour = (bent[:, :3] / cover.clamp(min=1 / 255)).clamp(0, 1)
    rgba = torch.cat([alter.repaint(colour, cover) * cover, cover], 1)
    middle = torch.stack(
        [
            uniform(0.1, 0.9, n, device=device) * INPUT_WIDTH,
            uniform(0.4, 0.7, n, device=device) * INPUT_HEIGHT,
        ],
        1,
    )
    scale = torch.exp(uniform(*STRANGE_SIZES, n, device=device))
    stretch = torch.exp(torch.randn(n, device=device) * 0.1)
    tilt = torch.randn(n, device=device) * 0.04
    box = torch.tensor([0.0, 0.0, w, h], device=device).expand(n, 4)
    affine = place(box, middle, scale, stretch, tilt, chance(0.5, n, device))
    layer = sample_levels(pyramid(rgba), torch.arange(n, device=device), affine)
    layer = layer * chance(STRANGE_SHARE, n, device).float()[:, None, None, None]
    return canvas * (1 - layer[:, 3:]) + layer[:, :3]


def _without_target(image: Tensor, boxes: Tensor, state: Tensor, empty: Tensor) -> Scenes:
    """Return a picture with centres and boxes only; an empty one also has an empty silhouette."""
    n, device = len(image), image.device
    silhouette = torch.full((n, 1, INPUT_HEIGHT, INPUT_WIDTH), torch.nan, device=device)
    silhouette[empty] = 0
    weight = torch.full((n, 18), torch.nan, device=device)
    weight[empty] = 0
    return Scenes(
        image=image, points=torch.zeros(n, 18, 2, device=device), weight=weight,
        silhouette=silhouette, boxes=boxes, state=state,
    )  # fmt: skip


def _letterbox(scene: Scenes) -> Scenes:
    """Blank the six rows that a 16:9 frame leaves above and below, black or grey."""
    n, device = len(scene.image), scene.image.device
    rows = torch.arange(INPUT_HEIGHT, device=device)
    pad = ((rows < 6) | (rows >= INPUT_HEIGHT - 6))[None, None, :, None]
    shade = torch.where(chance(0.6, n, str(device)), 0.5, 0.0)[:, None, None, None]
    use = chance(0.7, n, str(device))[:, None, None, None]
    image = torch.where(use & pad, shade, scene.image)
    return Scenes(**{**scene.__dict__, "image": image})


def photo_views(photo: Tensor, boxes: Tensor, aspect: Tensor) -> Scenes:
    """Return whole photos (n, 3, h, w) set into the frame; boxes (n, m, 5) as shares.

    The fifth column is 1 for a sure cow and 0 for one not to be judged.
    """
    n, device = len(photo), str(photo.device)
    h, w = photo.shape[-2:]
    aspect = aspect * torch.exp(torch.randn(n, device=device) * 0.1)
    # Height and width in the frame, letterboxed, then a little zoomed and moved.
    wide = torch.minimum(torch.full((n,), float(INPUT_WIDTH), device=device), INPUT_HEIGHT * aspect)
    zoom = torch.exp(uniform(-0.35, 0.45, n, device=device))
    sx, sy = wide / w * zoom, wide / aspect / h * zoom
    mirror = chance(0.5, n, device)
    picture = torch.tensor([INPUT_WIDTH, INPUT_HEIGHT], device=device, dtype=torch.float32)
    middle = (picture - 1) / 2 + torch.randn(n, 2, device=device) * 0.06 * picture
    whole = torch.tensor([-0.5, -0.5, w - 0.5, h - 0.5], device=device).expand(n, 4)
    root = (sx * sy).sqrt()
    tilt = torch.randn(n, device=device) * 0.02
    affine = place(whole, middle, root, sx / root, tilt, mirror)
    image = sample(photo, affine)
    shade = torch.where(chance(0.6, n, device), 0.5, 0.0)[:, None, None, None]
    cover = sample(torch.ones_like(photo[:, :1]), affine)
    image = image + shade * (1 - cover)
    scale = torch.tensor([w, h, w, h], device=device)
    placed = carry_box(boxes[..., :4] * scale - 0.5, affine)
    free = torch.tensor([-1e4, -1e4, 1e4, 1e4], device=device).expand(n * boxes.shape[1], 4)
    clipped = clip(placed.flatten(0, 1), free).unflatten(0, (n, -1)).nan_to_num(0.0)
    kept = (clipped[..., 2:] - clipped[..., :2]).prod(-1)
    share = kept / (placed[..., 2:] - placed[..., :2]).prod(-1).clamp(min=1)
    known = ~boxes.isnan().any(-1)
    sure = known & (boxes[..., 4] > 0.5) & (share > 0.4) & (kept > 100)
    state = torch.where(sure, PRESENT, torch.where(known & (kept > 0), IGNORED, NONE))
    empty = ~known.any(1)
    return _without_target(image, clipped, state, empty)
