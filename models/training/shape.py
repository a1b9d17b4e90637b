"""Random bodies and poses for the rigged cow: build, back line, head carriage, steps, limp."""

from __future__ import annotations

from functools import partial

import torch
from torch import Tensor

from models.training.rig import LEGS, UDDER_CENTRE, Rig, quaternion_matrix, turn_about

ARCH_FRONT_Z, ARCH_REAR_Z = 1.67, -2.50
"""The back is arched or hollowed between these, about withers and tailhead."""
ELBOW_Z, LEGS_INWARD = 2.4, (-0.05, 0.30)
"""From withers to tailhead the annotated photos have 1.09 times (standard deviation 0.09) the
distance of the carpi from the hocks, the rig as it is 0.95 times: its legs are moved inward."""


def uniform(low: float, high: float, *size: int, device: str) -> Tensor:
    """Return uniform random numbers."""
    return torch.rand(*size, device=device) * (high - low) + low


def chance(probability: float, count: int, device: str) -> Tensor:
    """Return ``count`` truth values, each true with the given probability."""
    return torch.rand(count, device=device) < probability


def _smooth(x: Tensor, low: float, high: float) -> Tensor:
    t = ((x - low) / (high - low)).clamp(0, 1)
    return t * t * (3 - 2 * t)


def build(rig: Rig, count: int) -> Tensor:
    """Return vertices at rest (count, v, 3) of differently built cows."""
    device = rig.device

    def draw(low: float, high: float) -> Tensor:
        return uniform(low, high, count, 1, device=device)

    x, y, z = rig.vertex.expand(count, -1, -1).unbind(-1)
    x, z = _slim_legs(x, y, z, draw(0.60, 1.0))
    # Neck: thinner, longer, with a dip before the withers.
    along = _smooth(z, 1.9, 2.7) * (1 - _smooth(z, 3.2, 3.7))
    axis_y = 3.05 + (z - 1.9) * 0.40
    y = torch.where(y > 2.4, y + (axis_y - y) * (1 - draw(0.76, 1.08)) * along, y)
    x = x * (1 - (1 - draw(0.7, 1.0)) * along)
    head = _smooth(z, 3.3, 3.8)
    size = draw(0.78, 1.05)
    y, z = y + (y - 3.9) * (size - 1) * head, z + (z - 3.8) * (size - 1) * head
    x = x * (1 + (size - 1) * head)
    z = z + (draw(0.9, 1.55) - 1) * (z - 2.2).clamp(0, 1.3)
    # Rump: level, sloping or raised at the tailhead; hooks and pins.
    y = y + draw(-0.16, 0.10) * _smooth(-z, 1.3, 2.5) * _smooth(y, 3.2, 4.2)
    y = _udder(rig, x, y, z, draw(-0.35, 1.1))
    return torch.stack([x, y, z], -1)


def _slim_legs(x: Tensor, y: Tensor, z: Tensor, slim: Tensor) -> tuple[Tensor, Tensor]:
    """Narrow the legs about their own axes; a dairy cow's are finer than the rig's."""
    knots_y = torch.tensor([0.0, 0.4, 1.25, 2.2], device=x.device)
    fore_z = torch.tensor([2.10, 1.92, 1.90, 1.93], device=x.device)
    hind_z = torch.tensor([-2.23, -2.40, -2.56, -1.80], device=x.device)
    fore = z > 0
    axis_z = torch.where(fore, _interpolate(y, knots_y, fore_z), _interpolate(y, knots_y, hind_z))
    axis_x = torch.sign(x) * 0.60
    on_leg = (1 - _smooth(y, 1.3, 2.0)) * (x.abs() > 0.2) * ((z - axis_z).abs() < 0.7)
    hoof = 1 - _smooth(y, 0.15, 0.5)
    factor = 1 - (1 - slim) * on_leg * (1 - 0.6 * hoof)
    return axis_x + (x - axis_x) * factor, axis_z + (z - axis_z) * factor


def _interpolate(at: Tensor, knots: Tensor, values: Tensor) -> Tensor:
    i = torch.bucketize(at.contiguous(), knots).clamp(1, len(knots) - 1)
    share = ((at - knots[i - 1]) / (knots[i] - knots[i - 1])).clamp(0, 1)
    return values[i - 1] + share * (values[i] - values[i - 1])


def _udder(rig: Rig, x: Tensor, y: Tensor, z: Tensor, fullness: Tensor) -> Tensor:
    """Lower the udder below the belly by its fullness; below zero it is hidden inside."""
    rows = rig.udder_rows
    y = y.clone()
    y[:, rows] = y[:, rows] - 0.5 * fullness.clamp(min=-0.5)
    bump = torch.exp(-(((z - UDDER_CENTRE[2]) / 0.6) ** 2)) * (1 - _smooth(x.abs(), 0.3, 0.6))
    belly = (y > 1.5) & (y < 2.4)
    belly[:, rows] = False
    return y - torch.where(belly, 0.15 * fullness.clamp(min=0) * bump, 0)


def move(rig: Rig, count: int) -> tuple[Tensor, Tensor, Tensor]:
    """Return node movements (move, turn, scale) of walking or standing cows.

    Each leg has its own moment of the stride and length of step, so that short steps, limps
    and standing occur; the neck carries the head high or low.
    """
    device, nodes = rig.device, len(rig.names)
    base = torch.rand(count, device=device)
    walking = torch.where(chance(0.2, count, device), 0.0, 1.0)
    step = walking * uniform(0.45, 1.0, count, device=device)
    moment = base[:, None].expand(-1, nodes).clone()
    reach = step[:, None].expand(-1, nodes).clone()
    for bones in LEGS.values():
        for side in ("L", "R"):
            ids = [rig.names.index(f"{b}.{side}") for b in bones]
            lame = chance(0.15, count, device)
            own = torch.where(lame, uniform(0.3, 0.9, count, device=device), 1.0)
            reach[:, ids] = (step * own + (1 - walking) * _standing(count, device))[:, None]
            off = torch.randn(count, device=device) * 0.035
            still = torch.rand(count, device=device)
            moment[:, ids] = torch.where(walking > 0, base + off, still)[:, None]
    # Just below a whole stride the remainder rounds up to 1.
    frame = (moment % 1 * len(rig.walk_move)).long() % len(rig.walk_move)
    node = torch.arange(nodes, device=device)
    # Rest and walk are blended; past 1 the step is longer than in the animation.
    shift = rig.rest_move + (rig.walk_move[frame, node] - rig.rest_move) * reach[..., None]
    turn = rig.walk_turn[frame, node]
    rest = rig.rest_turn.expand_as(turn)
    rest = rest * torch.sign((rest * turn).sum(-1, keepdim=True))
    matrix = quaternion_matrix(rest + (turn - rest) * reach[..., None])
    return shift, _carry_head(rig, matrix), rig.walk_scale[frame, node]


def _standing(count: int, device: str) -> Tensor:
    """Feet of a standing cow are never quite square: a little of the stride remains."""
    return uniform(0.0, 0.35, count, device=device)


def turn_joint(rig: Rig, matrix: Tensor, name: str, axis: int, angle: Tensor) -> None:
    """Turn one joint of the node rotations (n, nodes, 3, 3) further about an axis, in place."""
    node = rig.names.index(name)
    matrix[:, node] = matrix[:, node] @ turn_about(axis, angle)


def _carry_head(rig: Rig, matrix: Tensor) -> Tensor:
    count, device = len(matrix), rig.device
    matrix = matrix.clone()
    rotate = partial(turn_joint, rig, matrix)

    deep = chance(0.12, count, device)
    nod = torch.where(
        deep,
        uniform(0.25, 0.5, count, device=device),
        uniform(-0.22, 0.27, count, device=device),
    )
    aside = torch.randn(count, device=device) * 0.06
    for name in ("Neck1", "Neck2", "Neck3"):
        rotate(name, 0, nod + uniform(-0.06, 0.06, count, device=device))
        rotate(name, 2, aside + uniform(-0.05, 0.05, count, device=device))
    rotate("Head", 0, uniform(-0.40, 0.35, count, device=device) - 0.8 * nod)
    rotate("Head", 2, torch.randn(count, device=device) * 0.12)
    for name in ("Tail1", "Tail2", "Tail3", "Tail4", "Tail5"):
        rotate(name, 0, uniform(-0.2, 0.2, count, device=device))
        rotate(name, 2, uniform(-0.25, 0.25, count, device=device))
    return matrix


def reshape(vertex: Tensor) -> Tensor:
    """Change posed cows (b, v, 3): leg length, depth, length, back arch, lumps and hollows."""
    count, device = len(vertex), str(vertex.device)

    def draw(low: float, high: float) -> Tensor:
        return uniform(low, high, count, 1, device=device)

    x, y, z = vertex.unbind(-1)
    elbow = 1.9
    y = torch.where(
        y < elbow, y * (legs := draw(0.88, 1.25)), (y - elbow) * draw(0.85, 1.18) + elbow * legs
    )
    middle, half = (ARCH_FRONT_Z + ARCH_REAR_Z) / 2, (ARCH_FRONT_Z - ARCH_REAR_Z) / 2
    u = (z - middle) / half
    arched = chance(0.5, count, device)[:, None]
    lift = torch.where(arched, draw(0.10, 0.60), draw(-0.22, 0.22))
    skew = draw(-0.35, 0.35)
    shape = (1 - u * u).clamp(-0.2, 1) * (1 + skew * u).clamp(0.3, 1.7)
    y = y + lift * shape * _smooth(y, 1.8, 4.0) * (u.abs() < 1.4)
    y = y + draw(-0.12, 0.12) * (z - middle) * _smooth(y, 1.8, 4.0) * 0.4
    inward = torch.where(z > 0, draw(*LEGS_INWARD), draw(*LEGS_INWARD))
    legs_only = (1 - _smooth(y, 1.4, 3.4)) * (1 - _smooth(z, 3.2, 4.2))
    z = z - inward * z.clamp(max=ELBOW_Z) * legs_only
    wave = torch.randn(count, 6, 3, device=device) * 1.1
    phase = uniform(0, 6.28, count, 1, 6, device=device)
    size = torch.randn(count, 6, 3, device=device) * 0.03
    placed = torch.stack([x * draw(0.78, 1.15), y, z * draw(0.88, 1.18)], -1)
    return placed + torch.sin(placed @ wave.transpose(1, 2) + phase) @ size


def random_cows(rig: Rig, count: int) -> Tensor:
    """Return vertices (count, v, 3), landmarks among them, of random cows in random poses."""
    return reshape(rig.skin(build(rig, count), *move(rig, count)))
