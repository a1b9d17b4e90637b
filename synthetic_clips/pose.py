"""The cow's skeleton at one moment: top line, head and the joints of the four legs.

Cow axes: x forward from the point below the tailhead, y to her left, z up, in metres. Leg joints
are solved from the planted foot upwards, so that no foot slides while it stands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .scene import Cow
from .walk import FORE_STAND_BL, Floats, Walk

HEAD_LENGTH = 0.37
MUZZLE_BELOW = 0.065
"""Head length along the forehead and the nose tip's distance below that line (withers heights)."""

_FEMUR, _CRUS, _METATARSUS = 0.29, 0.30, 0.265
_HUMERUS, _RADIUS, _METACARPUS = 0.24, 0.265, 0.195
_PASTERN = 0.085
_CORONET = 0.055


@dataclass(frozen=True, kw_only=True)
class Pose:
    """One moment. Points are in cow axes, metres, unless they say world.

    Attributes
    ----------
    origin : ndarray (3,)
        World place of the ground point below the tailhead; ``facing`` is the heading angle.
    withers, tailhead, poll : ndarray (3,)
    head_axis, head_down : ndarray (3,)
        Unit vectors poll to nose, and from the forehead line to the jaw.
    arch : float
        Curvature times chord of the main arc now.
    joints : ndarray (4, 6, 3)
        Per leg: hip or scapula, stifle or elbow, hock or carpus, fetlock, coronet, sole.
    hoof_pitch : ndarray (4,)
        Toe-down angle in radians.
    tail_swing : float
        Sideways angle of the tail in radians.
    """

    cow: Cow
    origin: Floats
    facing: float
    withers: Floats
    tailhead: Floats
    poll: Floats
    head_axis: Floats
    head_down: Floats
    head_side: Floats
    arch: float
    joints: Floats
    hoof_pitch: Floats
    tail_swing: float

    def to_world(self, points: Floats) -> Floats:
        """Turn points (..., 3) in cow axes into world metres."""
        cos, sin = np.cos(self.facing), np.sin(self.facing)
        turn = np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1.0]])
        return np.asarray(points @ turn.T + self.origin)

    def top_line(self, share: Floats) -> Floats:
        """Return points (n, 3) of the back's crest; share 0 is the tailhead, 1 the withers.

        A true circular arc of curvature ``arch / chord``, plus the natural relief.
        """
        chord = self.withers - self.tailhead
        length = float(np.hypot(chord[0], chord[2]))
        along = chord / length
        up = np.array([-along[2], 0.0, along[0]])
        offset = _arc_height(np.asarray(share), self.arch) + relief(self.cow, np.asarray(share))
        return np.asarray(self.tailhead + np.outer(share, chord) + np.outer(offset * length, up))

    def muzzle(self) -> Floats:
        """Return the tip of the nose (3,)."""
        height = self.cow.withers_height_m
        along, below = HEAD_LENGTH * height, MUZZLE_BELOW * height
        return np.asarray(self.poll + along * self.head_axis + below * self.head_down)


def _arc_height(share: Floats, arch: float) -> Floats:
    """Height over the chord, in chords, of a circular arc with curvature times chord ``arch``."""
    x = share - 0.5
    if abs(arch) < 1e-6:
        return np.zeros_like(x)
    radius = 1 / arch
    flat = np.sqrt(radius**2 - 0.25)
    return np.asarray(np.sign(radius) * (np.sqrt(np.maximum(radius**2 - x**2, 0)) - flat))


def relief(cow: Cow, share: Floats) -> Floats:
    """Natural bumps of the top line in body lengths: withers, chine, loin and hooks."""
    rng = np.random.default_rng((cow.seed, 13))
    size = cow.top_line_relief_pct / 100 * rng.uniform(0.6, 1.4, 4)
    bumps = ((0.98, 0.08, 1.0), (0.80, 0.09, -1.0), (0.55, 0.12, 0.5), (0.22, 0.08, 0.9))
    share = np.asarray(share, dtype=float)
    places = np.concatenate([share.ravel(), [0.0, 1.0]])
    total = np.zeros_like(places)
    for amount, (middle, width, sign) in zip(size, bumps, strict=True):
        total += sign * amount * np.exp(-(((places - middle) / width) ** 2))
    # Both ends stay where the skeleton has them.
    total -= total[-2] * (1 - places) + total[-1] * places
    return np.asarray(total[:-2].reshape(share.shape))


def pose_at(walk: Walk, time_s: float) -> Pose:
    """Return the pose of a walking cow at the given time in seconds."""
    cow = walk.cow
    height = cow.withers_height_m
    phase = float(walk.phase(time_s))
    x, y, facing = walk.place(phase)
    moving = 0.0 if cow.action == "stand" else 1.0
    cycle = 2 * np.pi * phase
    bounce = moving * cow.trunk_bob_pct / 100
    withers = np.array([cow.trunk_length, 0.0, 1 - bounce * np.cos(2 * (cycle - 2.0))]) * height
    tail_z = cow.rump_height - bounce * np.cos(2 * cycle - 0.4)
    tailhead = np.array([0.0, 0.0, tail_z]) * height
    poll, axis, down, side = _head(walk, withers, cycle, time_s)
    origin = np.array([x, y, 0.0])
    joints, pitch = _legs(walk, time_s, origin, facing, withers, tailhead)
    return Pose(
        cow=cow,
        origin=origin,
        facing=facing,
        withers=withers,
        tailhead=tailhead,
        poll=poll,
        head_axis=axis,
        head_down=down,
        head_side=side,
        arch=cow.back_arch + moving * cow.back_arch_swing * np.cos(2 * cycle + 1.0),
        joints=joints,
        hoof_pitch=pitch,
        tail_swing=0.10 * np.sin(cycle + cow.seed) + 0.05 * np.sin(1.7 * time_s),
    )


def _head(
    walk: Walk, withers: Floats, cycle: float, time_s: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return poll, and the head's axis, jaw-ward and left unit vectors."""
    cow = walk.cow
    lowered = walk.action_share(time_s) if cow.action == "sniff" else 0.0
    moving = 0.0 if cow.action == "stand" else 1.0
    bob = cow.bob_a1_pct * np.cos(cycle + cow.bob_a1_phase)
    bob += cow.bob_a2_pct * np.cos(2 * cycle + cow.bob_a2_phase)
    ratio = cow.head_height_ratio * (1 - lowered) + 0.5 * lowered
    rise = ratio - 1 + moving * bob / 100
    neck = 0.43 + 0.12 * np.clip(1 - ratio, 0, 0.6)
    reach = np.sqrt(max(neck**2 - rise**2, 0.1**2))
    turn = np.deg2rad(cow.head_turn_deg)
    if cow.action == "stand":
        turn += 0.15 * np.sin(0.5 * time_s + cow.seed)
        rise += 0.01 * np.sin(0.8 * time_s)
    level = cow.withers_height_m
    poll = np.array([withers[0] + reach * level, 0.0, withers[2] + rise * level])
    tilt = np.deg2rad(46 + cow.head_pitch_deg + 14 * lowered) - 0.01 * bob
    cos, sin = np.cos(turn), np.sin(turn)
    side = np.array([-sin, cos, 0.0])
    axis = np.array([np.cos(tilt) * cos, np.cos(tilt) * sin, -np.sin(tilt)])
    down = np.array([-np.sin(tilt) * cos, -np.sin(tilt) * sin, -np.cos(tilt)])
    return poll, axis, down, side


def _legs(
    walk: Walk, time_s: float, origin: Floats, facing: float, withers: Floats, tailhead: Floats
) -> tuple[Floats, Floats]:
    """Return joints (4, 6, 3) in cow axes and hoof pitch (4,)."""
    cos, sin = np.cos(facing), np.sin(facing)
    turn = np.array([[cos, sin, 0], [-sin, cos, 0], [0, 0, 1.0]])
    joints, pitches = np.empty((4, 6, 3)), np.empty(4)
    for leg in range(4):
        spot, pitch, swing = walk.foot(leg, time_s)
        sole = turn @ (spot - origin)
        if leg % 2 == 0:
            joints[leg] = _hind_leg(walk.cow, sole, pitch, swing, tailhead)
        else:
            joints[leg] = _fore_leg(walk.cow, sole, pitch, swing, withers)
        joints[leg, :, 1] = _leg_sides(walk.cow, leg, sole[1])
        pitches[leg] = pitch
    return joints, pitches


def _leg_sides(cow: Cow, leg: int, sole_y: float) -> Floats:
    """Sideways place of the six joints: from the trunk's side down to the foot."""
    sign = 1.0 if leg < 2 else -1.0
    upper = (0.118 if leg % 2 == 0 else 0.105) * cow.withers_height_m * cow.body_width
    share = np.array([0.0, 0.1, 0.5, 0.85, 1.0, 1.0])
    sides = sign * upper * (1 - share) + sole_y * share
    sides[0] *= 0.62  # the root lies under the trunk's skin
    return np.asarray(sides)


def _foot_chain(cow: Cow, sole: Floats, pitch: float, lean: float) -> tuple[Floats, Floats]:
    """Return fetlock and coronet of a foot; lean is the pastern's angle from the vertical."""
    height = cow.withers_height_m
    tilt = pitch - 0.25
    coronet = sole + _CORONET * height * np.array([np.sin(tilt), 0, np.cos(tilt)])
    angle = lean - pitch * 1.1
    fetlock = coronet + _PASTERN * height * np.array([-np.sin(angle), 0, np.cos(angle)])
    return fetlock, coronet


def _two_bones(top: Floats, end: Floats, upper: float, lower: float, forward: float) -> Floats:
    """Return the joint between two bones of given length; forward +1 or -1 is the way it bends."""
    line = end - top
    distance = float(np.hypot(line[0], line[2]))
    distance = min(max(distance, abs(upper - lower) + 1e-6), upper + lower - 1e-6)
    along = (upper**2 - lower**2 + distance**2) / (2 * distance)
    across = np.sqrt(max(upper**2 - along**2, 0.0))
    unit = line / np.hypot(line[0], line[2])
    normal = np.array([-unit[2], 0.0, unit[0]]) * forward
    return np.asarray(top + along * unit + across * normal)


def _hind_leg(cow: Cow, sole: Floats, pitch: float, swing: float, tailhead: Floats) -> Floats:
    height = cow.withers_height_m
    hip = tailhead + np.array([0.115, 0, -0.20]) * height
    flex = 0.0 if np.isnan(swing) else np.sin(np.pi * swing**0.8) ** 1.5
    behind = (hip[0] - sole[0]) / height
    fetlock, coronet = _foot_chain(cow, sole, pitch, 0.55 - 0.6 * max(behind, 0))
    hock_angle = np.deg2rad(146 + 14 * np.clip(behind, -0.2, 0.3) - 32 * flex)
    upper, crus, cannon = (v * height for v in (_FEMUR, _CRUS, _METATARSUS))
    below = np.sqrt(crus**2 + cannon**2 - 2 * crus * cannon * np.cos(hock_angle))
    stifle = _two_bones(hip, fetlock, upper, below, 1.0)
    hock = _two_bones(stifle, fetlock, crus, cannon, -1.0)
    return np.array([hip, stifle, hock, fetlock, coronet, sole])


def _fore_leg(cow: Cow, sole: Floats, pitch: float, swing: float, withers: Floats) -> Floats:
    height = cow.withers_height_m
    ahead = (sole[0] - FORE_STAND_BL * withers[0]) / height
    shoulder = withers + np.array([0.0 + 0.20 * np.clip(ahead, -0.4, 0.4), 0, -0.37]) * height
    flex = 0.0 if np.isnan(swing) else np.sin(np.pi * swing**0.85) ** 1.5
    fetlock, coronet = _foot_chain(cow, sole, pitch, 0.45 + 0.5 * min(ahead, 0))
    knee_angle = np.deg2rad(178 - 68 * flex)
    upper, radius, cannon = (v * height for v in (_HUMERUS, _RADIUS, _METACARPUS))
    below = np.sqrt(radius**2 + cannon**2 - 2 * radius * cannon * np.cos(knee_angle))
    elbow = _two_bones(shoulder, fetlock, upper, below, -1.0)
    carpus = _two_bones(elbow, fetlock, radius, cannon, 1.0)
    return np.array([shoulder, elbow, carpus, fetlock, coronet, sole])
