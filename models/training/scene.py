"""Set cut-out cows and photos into pictures like those of an exit lane, with labels.

Two kinds of picture come out, because one network is used in two ways: *looks*, cropped around
one cow with landmarks and silhouette to learn, and *views*, whole frames with none to several
cows whose centres and boxes are to learn. All places are px with the first pixel's centre at 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional

from gait.landmarks import BACK_AND_HEAD, INDEX
from models.training.architecture import INPUT_HEIGHT, INPUT_WIDTH
from models.training.lens import add_bars, edge_beside, like_the_back
from models.training.render import HEIGHT, WIDTH, Cutouts
from models.training.shape import chance, uniform

FILL = 1 / (1 + 2 * 0.12)
"""A box grown by 12 % on each side fills this share of the picture."""
LEVELS = 4
NONE, IGNORED, PRESENT = 0, -1, 1
HIDDEN_BY_COW = 0.35
BACK = [INDEX[name] for name in ("withers", "mid_back", "loin", "tailhead")]


@dataclass(frozen=True, kw_only=True)
class Scenes:
    """Pictures with labels.

    Attributes
    ----------
    image : Tensor
        (n, 3, 192, 320), 0..1.
    points, weight : Tensor
        (n, 18, 2) px and (n, 18): how strongly each landmark shows, 0 not at all, NaN unknown,
        negative where near and far may be swapped.
    silhouette : Tensor
        (n, 1, 192, 320), 0..1; NaN throughout where there is none to learn.
    boxes, state : Tensor
        (n, m, 4) px and (n, m): 1 a cow, 0 nothing, -1 not to be judged.
    """

    image: Tensor
    points: Tensor
    weight: Tensor
    silhouette: Tensor
    boxes: Tensor
    state: Tensor


@dataclass(frozen=True, kw_only=True)
class PhotoSetting:
    """Photos that cows stay in.

    Attributes
    ----------
    photo : Tensor
        (n, 3, 384, 640), 0..1.
    valid : Tensor
        (n, 4) extent of the photo proper, px.
    others : Tensor
        (n, m, 4) boxes of other cows in it, px; NaN where there are fewer.
    """

    photo: Tensor
    valid: Tensor
    others: Tensor


def join(parts: list[Scenes]) -> Scenes:
    """Put scenes of equal build together."""
    most = max(p.boxes.shape[1] for p in parts)

    def pad(x: Tensor) -> Tensor:
        missing = most - x.shape[1]
        return functional.pad(x, (0, 0, 0, missing) if x.dim() == 3 else (0, missing))

    names = ("image", "points", "weight", "silhouette")
    return Scenes(
        **{n: torch.cat([getattr(p, n) for p in parts]) for n in names},
        boxes=torch.cat([pad(p.boxes) for p in parts]),
        state=torch.cat([pad(p.state) for p in parts]),
    )


def split(scenes: Scenes, parts: int) -> list[Scenes]:
    """Shuffle scenes and deal them into equal parts."""
    order = torch.randperm(len(scenes.image), device=scenes.image.device)
    return [
        Scenes(**{k: v[rows] for k, v in scenes.__dict__.items()})
        for rows in order[: len(order) // parts * parts].chunk(parts)
    ]


# ---- placing -----------------------------------------------------------------------------


def pyramid(rgba: Tensor) -> list[Tensor]:
    """Return the cut-outs at full, half, quarter and eighth size."""
    levels = [rgba]
    for _ in range(LEVELS - 1):
        levels.append(functional.avg_pool2d(levels[-1], 2))
    return levels


def inverse(affine: Tensor) -> Tensor:
    """Return the inverse of affine maps (n, 2, 3)."""
    turn = torch.linalg.inv(affine[:, :, :2])
    return torch.cat([turn, -turn @ affine[:, :, 2:]], 2)


def carry(points: Tensor, affine: Tensor) -> Tensor:
    """Move points (n, p, 2) by affine maps (n, 2, 3)."""
    return points @ affine[:, :, :2].transpose(1, 2) + affine[:, None, :, 2]


def carry_box(box: Tensor, affine: Tensor) -> Tensor:
    """Move boxes (n, m, 4): the upright box around the moved corners."""
    x0, y0, x1, y1 = box.unbind(-1)
    corners = torch.stack([x0, y0, x1, y0, x0, y1, x1, y1], -1).unflatten(-1, (4, 2))
    moved = carry(corners.flatten(1, 2), affine).unflatten(1, (-1, 4))
    return torch.cat([moved.amin(2), moved.amax(2)], -1)


def sample(source: Tensor, affine: Tensor, outside: str = "zeros") -> Tensor:
    """Draw sources (n, c, h, w) into pictures; ``affine`` maps source px to picture px."""
    back = inverse(affine)
    h, w = source.shape[-2:]
    y, x = torch.meshgrid(
        torch.arange(INPUT_HEIGHT, device=source.device, dtype=torch.float32),
        torch.arange(INPUT_WIDTH, device=source.device, dtype=torch.float32),
        indexing="ij",
    )
    at = torch.stack([x, y], -1).view(1, -1, 2).expand(len(source), -1, -1)
    at = carry(at, back).view(-1, INPUT_HEIGHT, INPUT_WIDTH, 2)
    grid = (2 * at + 1) / torch.tensor([w, h], device=source.device) - 1
    return functional.grid_sample(source, grid, padding_mode=outside, align_corners=False)


def sample_levels(levels: list[Tensor], index: Tensor, affine: Tensor) -> Tensor:
    """Draw cut-outs ``index`` of a pyramid, each from the level that fits its size."""
    shrink = 1 / torch.linalg.det(affine[:, :, :2]).abs().sqrt()
    level = (torch.log2(shrink) - 0.15).clamp(0, LEVELS - 1).floor().long()
    out = torch.zeros(len(index), 4, INPUT_HEIGHT, INPUT_WIDTH, device=affine.device)
    for number, source in enumerate(levels):
        rows = (level == number).nonzero()[:, 0]
        if len(rows):
            factor = 0.5**number
            scaled = affine[rows].clone()
            scaled[:, :, 2] += scaled[:, :, :2].sum(-1) * (0.5 / factor - 0.5)
            scaled[:, :, :2] /= factor
            out[rows] = sample(source[index[rows]], scaled)
    return out


def place(
    box: Tensor, centre: Tensor, scale: Tensor, stretch: Tensor, tilt: Tensor, mirror: Tensor
) -> Tensor:
    """Return affine maps (n, 2, 3) that set a box's centre at a place, scaled, tilted, mirrored."""
    middle = (box[:, :2] + box[:, 2:]) / 2
    scales = torch.stack([scale * stretch * torch.where(mirror, -1.0, 1.0), scale / stretch], 1)
    c, s = tilt.cos(), tilt.sin()
    turn = torch.stack([torch.stack([c, -s], 1), torch.stack([s, c], 1)], 1)
    turn = turn @ torch.diag_embed(scales)
    shift = centre - (turn @ middle[..., None])[..., 0]
    return torch.cat([turn, shift[..., None]], 2)


# ---- looks -------------------------------------------------------------------------------


def looks(
    target: Cutouts,
    others: list[Tensor],
    others_box: Tensor,
    behind: Tensor,
    stay: PhotoSetting,
    alike: float = 0.0,
    edged: float = 0.0,
) -> Scenes:
    """Return pictures cropped around one cow each.

    Parameters
    ----------
    target : Cutouts
        The n cows; the last of them stay in their own photos.
    others, others_box : pyramid of cut-outs and (k, 4)
        Cows to set behind and before.
    behind : Tensor
        (n, 3, 192, 320) backgrounds.
    stay : PhotoSetting
        The photos of the last cows.
    alike, edged : float
        Shares of the backgrounds that get the colour of the cow's back, or an edge near a
        landmark of her back or head.
    """
    n, device = len(target), str(behind.device)
    free = n - len(stay.photo)
    affine, edge = _frame_target(target.box)
    cow = sample(target.rgba, affine)
    placed = carry(target.points, affine)
    back = placed[:, BACK[int(torch.randint(len(BACK), ()))]]
    behind = like_the_back(behind, cow, back, alike)
    if edged:  # else no random number is spent, and fresh renders stay the same
        behind = edge_beside(behind, placed[:, int(torch.randint(len(BACK_AND_HEAD), ()))], edged)
    canvas = add_bars(behind, 0.35)
    set_canvas, layers_box, layers_seen = _set_free(
        canvas[:free], cow[:free], _rows(target, free), affine[:free], others, others_box
    )
    staying = _set_photo(canvas[free:], stay, affine[free:])
    canvas = torch.cat([set_canvas, staying])
    nobody = torch.zeros(n - free, 4, device=device)
    layers_box = [torch.cat([box, nobody]) for box in layers_box]
    layers_seen = [torch.cat([seen, nobody[:, 0]]) for seen in layers_seen]
    front, box = _other_cow(others, others_box, affine, target.box, aside=1.0)
    front = front * chance(0.10, n, device).float()[:, None, None, None]
    canvas = canvas * (1 - front[:, 3:]) + front[:, :3]
    layers_box.append(box)
    layers_seen.append(front[:, 3].sum((1, 2)) / cow_area(box))
    canvas = add_bars(canvas, 0.45)
    weight = _hide(placed, target.weight, front[:, 3], edge)
    own = clip(carry_box(target.box[:, None], affine)[:, 0], edge)
    boxes, state = _other_labels(layers_box, layers_seen, edge, own)
    photo_boxes, photo_state = _photo_labels(stay.others, affine[free:], edge[free:])
    before = (0, 0, 0, 0, free, 0)
    boxes = torch.cat([own[:, None], boxes, functional.pad(photo_boxes, before)], 1)
    first = torch.full((n, 1), PRESENT, device=device)
    state = torch.cat([first, state, functional.pad(photo_state, before[2:])], 1)
    silhouette = cow[:, 3:] * (1 - front[:, 3:])
    inside = _inside(edge)[:, None]
    canvas = canvas * inside + _padding(canvas, edge) * (1 - inside)
    return Scenes(
        image=canvas, points=placed, weight=weight, silhouette=silhouette * inside, boxes=boxes,
        state=state,
    )  # fmt: skip


def _rows(target: Cutouts, count: int) -> Cutouts:
    return Cutouts(**{k: v[:count] for k, v in target.__dict__.items()})


def _set_free(
    canvas: Tensor,
    cow: Tensor,
    target: Cutouts,
    affine: Tensor,
    others: list[Tensor],
    others_box: Tensor,
) -> tuple[Tensor, list[Tensor], list[Tensor]]:
    """Set cows before backgrounds, some with others behind them; boxes and shares seen of those."""
    n, device = len(cow), str(cow.device)
    boxes, shares = [], []
    for _ in range(2):
        layer, box = _other_cow(others, others_box, affine, target.box, aside=0.9)
        layer = layer * chance(0.28, n, device).float()[:, None, None, None]
        canvas = canvas * (1 - layer[:, 3:]) + layer[:, :3]
        boxes.append(box)
        shares.append((layer[:, 3] * (1 - cow[:, 3])).sum((1, 2)) / cow_area(box))
    canvas = canvas * (1 - _shadow(target, affine))
    return cow[:, :3] + canvas * (1 - cow[:, 3:]), boxes, shares


def _photo_labels(others: Tensor, affine: Tensor, edge: Tensor) -> tuple[Tensor, Tensor]:
    """Boxes and states of the other cows that the detector saw in the photos."""
    placed = carry_box(others, affine)
    count = placed.shape[1]
    clipped = clip(placed.flatten(0, 1), edge.repeat_interleave(count, 0))
    clipped = clipped.unflatten(0, (-1, count))
    good = ~clipped.isnan().any(-1)
    clipped = clipped.nan_to_num(0.0)
    wide = (clipped[..., 2:] - clipped[..., :2]).amin(-1) > 12
    return clipped, torch.where(good & wide, PRESENT, NONE)


def _frame_target(box: Tensor) -> tuple[Tensor, Tensor]:
    """Place the cow as the finder's box would; some are cut by the frame's edge.

    Returns the affine map and the frame's extent (n, 4) in picture px.
    """
    n, device = len(box), str(box.device)
    stretch = torch.exp(torch.randn(n, device=device) * 0.09)
    tilt = torch.randn(n, device=device) * 0.045
    mirror = chance(0.5, n, device)
    size = (box[:, 2:] - box[:, :2]).nan_to_num(0.0).clamp(min=8)
    size = size * torch.stack([stretch, 1 / stretch], 1)
    cut = torch.zeros(n, 4, device=device)
    for side, probability, most in ((0, 0.10, 0.5), (2, 0.10, 0.5), (1, 0.02, 0.2), (3, 0.05, 0.2)):
        on = chance(probability, n, device)
        cut[:, side] = torch.where(on, uniform(0, most, n, device=device), 0)
    seen = size * (1 - cut[:, :2] - cut[:, 2:])
    picture = torch.tensor([INPUT_WIDTH, INPUT_HEIGHT], device=device, dtype=torch.float32)
    fit = (picture / seen).amin(1)
    scale = fit * FILL * torch.exp(torch.randn(n, device=device) * 0.09).clamp(0.75, 1.2)
    jitter = torch.randn(n, 2, device=device) * 0.025 * picture
    middle = (picture - 1) / 2 + jitter
    # The middle of the seen part goes to the middle of the picture.
    off = (cut[:, 2:] - cut[:, :2]) / 2 * size * scale[:, None]
    affine = place(box, middle + off, scale, stretch, tilt, mirror)
    half = size * scale[:, None] / 2
    whole = torch.cat([middle + off - half, middle + off + half], 1)
    length = (size * scale[:, None]).repeat(1, 2)
    sign = torch.tensor([1.0, 1.0, -1.0, -1.0], device=device)
    far = torch.tensor([-1e4, -1e4, 1e4, 1e4], device=device)
    return affine, torch.where(cut > 0, whole + sign * cut * length, far)


def _inside(edge: Tensor) -> Tensor:
    x = torch.arange(INPUT_WIDTH, device=edge.device)
    y = torch.arange(INPUT_HEIGHT, device=edge.device)
    across = (x >= edge[:, :1]) & (x <= edge[:, 2:3])
    down = (y >= edge[:, 1:2]) & (y <= edge[:, 3:])
    return (down[:, :, None] & across[:, None, :]).float()


def _padding(canvas: Tensor, edge: Tensor) -> Tensor:
    """Return what lies beyond the frame: black, grey, or the last row and column repeated."""
    n, device = len(canvas), str(canvas.device)
    edge = edge.nan_to_num(0.0)
    grey = torch.where(chance(0.6, n, device), 0.5, 0.0)[:, None, None, None]
    x = torch.arange(INPUT_WIDTH, device=device).expand(n, -1)
    y = torch.arange(INPUT_HEIGHT, device=device).expand(n, -1)
    x = x.clamp(min=edge[:, :1].ceil().clamp(0), max=edge[:, 2:3].floor()).clamp(0, INPUT_WIDTH - 1)
    y = y.clamp(min=edge[:, 1:2].ceil().clamp(0), max=edge[:, 3:].floor()).clamp(
        0, INPUT_HEIGHT - 1
    )
    rows = torch.arange(n, device=device)[:, None, None]
    repeated = canvas.permute(0, 2, 3, 1)[rows, y.long()[:, :, None], x.long()[:, None, :]]
    use = chance(0.2, n, device)[:, None, None, None]
    return torch.where(use, repeated.permute(0, 3, 1, 2), grey)


def clip(box: Tensor, edge: Tensor) -> Tensor:
    """Return boxes (n, 4) cut to the picture and to the frame's extent (n, 4)."""
    low = torch.tensor([0.0, 0.0], device=box.device) - 0.5
    high = torch.tensor([INPUT_WIDTH - 0.5, INPUT_HEIGHT - 0.5], device=box.device)
    low = torch.maximum(low, edge[:, :2])
    high = torch.minimum(high, edge[:, 2:])
    first = torch.minimum(torch.maximum(box[:, :2], low), high)
    return torch.cat([first, torch.minimum(torch.maximum(box[:, 2:], low), high)], 1)


def _hide(points: Tensor, weight: Tensor, front: Tensor, edge: Tensor) -> Tensor:
    """Landmarks outside the frame do not show; those behind another cow show weakly."""
    x, y = points.unbind(-1)
    inside = (x > edge[:, :1]) & (x < edge[:, 2:3]) & (y > edge[:, 1:2]) & (y < edge[:, 3:])
    inside &= (x > -1) & (x < INPUT_WIDTH) & (y > -1) & (y < INPUT_HEIGHT)
    column = x.round().long().clamp(0, INPUT_WIDTH - 1)
    row = y.round().long().clamp(0, INPUT_HEIGHT - 1)
    hidden = front.flatten(1).gather(1, row * INPUT_WIDTH + column) > 0.5
    weight = torch.where(hidden, weight * HIDDEN_BY_COW, weight)
    return torch.where(inside | weight.isnan(), weight, 0.0)


def cow_area(box: Tensor) -> Tensor:
    """Return about the area of a cow in her box, px squared."""
    return ((box[:, 2] - box[:, 0]) * (box[:, 3] - box[:, 1])).clamp(min=1) * 0.5


def _other_cow(
    others: list[Tensor], others_box: Tensor, affine: Tensor, box: Tensor, aside: float
) -> tuple[Tensor, Tensor]:
    """Set another cow beside the target, at about its size and on about its ground."""
    n, device = len(affine), str(affine.device)
    index = torch.randint(0, len(others_box), (n,), device=device)
    own = carry_box(box[:, None], affine)[:, 0]
    size = own[:, 2:] - own[:, :2]
    other = others_box[index]
    scale = size[:, 1] / (other[:, 3] - other[:, 1]) * uniform(0.6, 1.1, n, device=device)
    way = torch.where(chance(0.5, n, device), 1.0, -1.0)
    x = (own[:, 0] + own[:, 2]) / 2 + way * size[:, 0] * uniform(aside - 0.4, aside + 0.4, n,
                                                                  device=device)  # fmt: skip
    down = (other[:, 3] - other[:, 1]) * scale / 2
    y = own[:, 3] - down + size[:, 1] * uniform(-0.25, 0.12, n, device=device)
    tilt = torch.randn(n, device=device) * 0.03
    own_affine = place(
        other, torch.stack([x, y], 1), scale, torch.ones_like(x), tilt, chance(0.5, n, device)
    )
    return sample_levels(others, index, own_affine), carry_box(other[:, None], own_affine)[:, 0]


def _other_labels(
    boxes: list[Tensor], seen: list[Tensor], edge: Tensor, own: Tensor
) -> tuple[Tensor, Tensor]:
    """Other cows count where enough of them shows, and are left unjudged in between."""
    clipped = torch.stack([clip(b, edge) for b in boxes], 1)
    share = torch.stack(seen, 1)
    wide = (clipped[..., 2:] - clipped[..., :2]).amin(-1) > 0.12 * (own[:, 3] - own[:, 1])[:, None]
    state = torch.where((share > 0.30) & wide, PRESENT, IGNORED)
    return clipped, torch.where(share < 0.03, NONE, state)


def _shadow(target: Cutouts, affine: Tensor) -> Tensor:
    """Return the cow's shadow on the ground: her outline, flattened and slanted."""
    n, device = len(target), str(affine.device)
    ground = target.box[:, 3]
    flat, slant = uniform(-0.25, 0.25, n, device=device), uniform(-0.8, 0.8, n, device=device)
    squash = torch.zeros(n, 2, 3, device=device)
    squash[:, 0, 0] = 1
    squash[:, 0, 1], squash[:, 0, 2] = slant, -slant * ground
    flat = torch.where(flat.abs() < 0.05, 0.05, flat)
    squash[:, 1, 1], squash[:, 1, 2] = flat, ground * (1 - flat) - 4
    both = affine[:, :, :2] @ squash
    both[:, :, 2] += affine[:, :, 2]
    shade = functional.avg_pool2d(sample(target.rgba[:, 3:], both), 7, 1, 3)
    return shade * uniform(0, 0.75, n, 1, 1, 1, device=device)


def _set_photo(canvas: Tensor, stay: PhotoSetting, affine: Tensor) -> Tensor:
    """Draw the photo as it is; beyond its edges the background goes on, or nothing does."""
    n, device = len(canvas), str(canvas.device)
    drawn = sample(stay.photo, affine, "border")
    h, w = torch.arange(HEIGHT, device=device), torch.arange(WIDTH, device=device)
    down = (h >= stay.valid[:, 1:2]) & (h <= stay.valid[:, 3:])
    across = (w >= stay.valid[:, :1]) & (w <= stay.valid[:, 2:3])
    inside = (down[:, :, None] & across[:, None, :]).float()[:, None]
    cover = sample(inside, affine)
    plain = torch.where(chance(0.5, n, device), 0.5, 0.0)[:, None, None, None]
    beyond = torch.where(chance(0.7, n, device)[:, None, None, None], plain, canvas)
    return drawn * cover + beyond * (1 - cover)
