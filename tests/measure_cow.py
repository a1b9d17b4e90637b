"""A cow made of moving points, for tests of the measurements: no picture, truth by construction.

Independent of the drawn clips: other swing curves, so that a test does not only show that the
fit knows its own formula.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from gait.landmarks import INDEX, LANDMARKS
from gait.track import BACK_LINE_POINTS, Pass

PHASES = {"near_hind": 0.0, "near_fore": 0.22, "far_hind": 0.5, "far_fore": 0.72}
"""Hoof-on of each leg as a share of the stride: the cow's walk, hind before fore of a side."""


@dataclass(frozen=True, kw_only=True)
class WalkingCow:
    """Lengths in body lengths (withers to tailhead), times in seconds."""

    body_length_px: float = 300.0
    stride_s: float = 1.26
    stride_bl: float = 1.07
    stance_share: float = 0.64
    arch: float = 0.10
    head_a1_pct: float = 2.0
    head_a2_pct: float = 3.0
    withers_height_bl: float = 1.08
    tracking_bl: float = -0.04
    step_shift: dict[str, float] = field(default_factory=dict)  # shift of hoof-on, share of stride
    hip_bl: float = 1.0
    swing_power: float = 1.0  # 1: cycloid; 0: constant speed
    start_phase: float = 0.0
    tilt_deg: float = 0.0
    heading: str = "right"
    fps: float = 30.0
    seconds: float = 6.0
    pan_px_s: float = 0.0

    @property
    def speed_bl_s(self) -> float:
        return self.stride_bl / self.stride_s


def hoof_on_times(cow: WalkingCow, leg: str) -> np.ndarray:
    """True hoof-on times of one leg from well before to well after the film."""
    phase = PHASES[leg] + cow.step_shift.get(leg, 0.0)
    return (np.arange(-3, 40) + phase - cow.start_phase) * cow.stride_s


def _hoof(cow: WalkingCow, leg: str, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Place along the lane and height of a hoof, bl."""
    on = hoof_on_times(cow, leg)
    swing_s = (1 - cow.stance_share) * cow.stride_s
    k = np.clip(np.searchsorted(on, t, side="right"), 1, len(on) - 1)  # next hoof-on is on[k]
    share = np.clip((t - (on[k] - swing_s)) / swing_s, 0, 1)
    eased = share - cow.swing_power * np.sin(2 * np.pi * share) / (2 * np.pi)
    # a planted fore hoof is below the shoulder in the middle of its stance; the hind hoof
    # follows the fore print of its side by the tracking distance
    reach = cow.speed_bl_s * cow.stance_share * cow.stride_s / 2
    if leg.endswith("fore"):
        place = cow.speed_bl_s * on + reach
    else:
        fore = leg.replace("hind", "fore")
        shift = PHASES[fore] + cow.step_shift.get(fore, 0) - PHASES[leg]
        shift -= cow.step_shift.get(leg, 0)
        fore_print = cow.speed_bl_s * (on + (shift - 1) * cow.stride_s) + reach
        place = fore_print + cow.tracking_bl
    x = place[k - 1] + eased * (place[k] - place[k - 1])
    return x, 0.07 * np.sin(np.pi * share) ** 2


def true_points(cow: WalkingCow, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Landmarks (n, 18, 2) and back line (n, 64, 2) in bl, x along the walk, y up."""
    points = np.full((len(t), len(LANDMARKS), 2), np.nan)
    x0, high = cow.speed_bl_s * t, cow.withers_height_bl
    s = np.linspace(0, 1, BACK_LINE_POINTS)
    radius = 1 / max(abs(cow.arch), 1e-9)
    rise = np.sqrt(radius**2 - (s - 0.5) ** 2) - np.sqrt(radius**2 - 0.25)
    rise = rise * np.sign(cow.arch)
    line = np.stack(
        [x0[:, None] - s[None, :], np.broadcast_to(high + rise, (len(t), len(s)))], axis=-1
    )
    for name, share in (("withers", 0), ("mid_back", 0.45), ("loin", 0.75), ("tailhead", 1)):
        points[:, INDEX[name]] = line[:, round(share * 63)]
    turn = 2 * np.pi * (t / cow.stride_s + cow.start_phase)
    nod = high / 100 * (cow.head_a1_pct * np.sin(turn) + cow.head_a2_pct * np.cos(2 * turn))
    points[:, INDEX["poll"]] = np.stack([x0 + 0.45, high + 0.05 + nod], -1)
    points[:, INDEX["muzzle"]] = np.stack([x0 + 0.75, high - 0.2 + nod], -1)
    for side in ("near", "far"):
        floor = -0.02 if side == "near" else 0.02  # the near legs stand lower in the picture
        for end, joint, root in (("fore", "carpus", 0.05), ("hind", "hock", 0.95)):
            x, up = _hoof(cow, f"{side}_{end}", t)
            hip = x0 - root
            hoof = np.stack([x, up + floor], -1)
            top = np.stack([hip, np.full_like(hip, 0.6)], -1)
            points[:, INDEX[f"{side}_{end}_hoof"]] = hoof
            points[:, INDEX[f"{side}_{end}_fetlock"]] = hoof + 0.2 * (top - hoof)
            points[:, INDEX[f"{side}_{joint}"]] = hoof + 0.55 * (top - hoof)
    return points, line


def film(cow: WalkingCow) -> Pass:
    """A pass without any noise."""
    t = np.arange(0, cow.seconds, 1 / cow.fps)
    points, line = true_points(cow, t)
    sign = 1.0 if cow.heading == "right" else -1.0
    angle = np.radians(cow.tilt_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])

    def to_frame(xy: np.ndarray) -> np.ndarray:
        flipped = xy * np.array([sign, -1.0]) * cow.body_length_px
        pan = np.stack([cow.pan_px_s * t, 0 * t], -1)
        return flipped @ turn.T + np.array([5000.0, 900.0]) - pan[:, None]

    ground = np.tile(np.eye(2, 3), (len(t), 1, 1))
    ground[:, 0, 2] = cow.pan_px_s * t
    points = to_frame(points)
    box = np.concatenate([points.min(axis=1), points.max(axis=1)], axis=1)
    return Pass(
        number=1,
        frame=np.arange(len(t)),
        time_s=t,
        points=points,
        confidence=np.full(points.shape[:2], 0.9),
        box=box,
        to_ground=ground,
        back_line=to_frame(line),
        cut=np.zeros(len(t), bool),
        image_size=(10000, 1600),
        fps=cow.fps,
        heading=cow.heading,
    )


def wobble(
    rng: np.random.Generator, shape: tuple[int, ...], px: float, memory: float = 0.5
) -> np.ndarray:
    """Noise that remembers the frame before, as a network's errors do; sd `px`."""
    white = rng.normal(0, px, shape)
    out = white.copy()
    for i in range(1, shape[0]):
        out[i] = memory * out[i - 1] + np.sqrt(1 - memory**2) * white[i]
    return out


def spoil(
    pass_: Pass,
    rng: np.random.Generator,
    *,
    jitter_px: float = 1.5,
    lost: float = 0.03,
    swapped: float = 0.15,
    line_px: float = 0.7,
) -> Pass:
    """Add what a network adds: jitter with memory, lost points, near and far legs mixed up."""
    points = pass_.points + wobble(rng, pass_.points.shape, jitter_px)
    points = swap_legs(points, rng, swapped)
    gone = rng.random(points.shape[:2]) < lost
    confidence = np.where(gone, 0.05, 0.9)
    points = np.where(gone[..., None], np.nan, points)
    line = pass_.back_line + wobble(rng, (len(pass_), 1, 2), line_px)
    return replace(pass_, points=points, confidence=confidence, back_line=line)


def swap_legs(points: np.ndarray, rng: np.random.Generator, share: float) -> np.ndarray:
    """Exchange near and far of one leg pair over runs of frames that make up `share` of all."""
    points = points.copy()
    n = len(points)
    for names in (("carpus", "fore_fetlock", "fore_hoof"), ("hock", "hind_fetlock", "hind_hoof")):
        flipped = np.zeros(n, bool)
        while flipped.mean() < share:
            start, length = rng.integers(n), rng.integers(1, 10)
            flipped[start : start + length] = True
        near = [INDEX[f"near_{name}"] for name in names]
        far = [INDEX[f"far_{name}"] for name in names]
        keep = points.copy()
        points[np.ix_(flipped, near)] = keep[np.ix_(flipped, far)]
        points[np.ix_(flipped, far)] = keep[np.ix_(flipped, near)]
    return points
