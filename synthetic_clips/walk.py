"""The walk: when and where each foot stands, and how it swings from print to print.

Phase counts strides: the left hind foot comes down at whole numbers (shifted a little when she
limps). The footfall order is left hind, left fore, right hind, right fore. While a foot stands it
does not move at all; speed is stride length over stride duration.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .scene import LEGS, Cow

Floats = NDArray[np.float64]

_STEP_S = 0.002
_MARGIN_S = 4.0
_TURN_RADIUS_M = 1.0
_HOLD_S = 3.0
HOOF_HALF_LENGTH = 0.047
"""Half the length of the sole, as part of the withers height."""
FORE_STAND_BL = 0.83
"""Where a fore foot is at mid-stance, ahead of the tailhead, in body lengths."""


@dataclass(frozen=True, kw_only=True)
class Footfall:
    """One stance of one foot: contact, lift and print (world metres)."""

    leg: str
    stride: int
    on_s: float
    off_s: float
    print_xyz: tuple[float, float, float]


def contact_phases(cow: Cow) -> tuple[Floats, Floats]:
    """Return contact phase (4,) and duty factor (4,) of the legs in the order of ``LEGS``.

    A step asymmetry a (%) makes the left step 0.5 (1 + a/200) of a stride and the right one the
    rest; half of the shift goes to either foot.
    """
    hind, fore = cow.hind_step_asymmetry_pct / 800, cow.fore_step_asymmetry_pct / 800
    on = np.array([-hind, cow.fore_lag - fore, 0.5 + hind, 0.5 + cow.fore_lag + fore])
    stance_hind = np.array([1, -1]) * cow.hind_stance_asymmetry_pct / 200
    stance_fore = np.array([1, -1]) * cow.fore_stance_asymmetry_pct / 200
    duty = np.empty(4)
    duty[[0, 2]] = cow.duty_hind * (1 + stance_hind)
    duty[[1, 3]] = cow.duty_fore * (1 + stance_fore)
    return on, duty


class Walk:
    """The walk of one cow through the whole clip.

    Parameters
    ----------
    cow : Cow
    duration_s : float
        Length of the clip; the walk is known a few seconds before and after it too.
    """

    def __init__(self, cow: Cow, duration_s: float) -> None:
        self.cow = cow
        self.on, self.duty = contact_phases(cow)
        self.stride_m = cow.stride_length_bl * cow.body_length_m
        self._times = np.arange(-_MARGIN_S, duration_s + _MARGIN_S, _STEP_S)
        self._rate = self._phase_rate()
        steps = 0.5 * (self._rate[1:] + self._rate[:-1]) * _STEP_S
        phase = np.concatenate([[0.0], np.cumsum(steps)])
        self._phases = phase - np.interp(0.0, self._times, phase) + cow.start_phase
        self._stand_hind_m, self._stand_fore_m = self._stand_places()

    def _phase_rate(self) -> Floats:
        """Strides a second on the time grid, with stride-to-stride variation and stops."""
        cow, times = self.cow, self._times
        if cow.action == "stand":
            return np.zeros_like(times)
        rng = np.random.default_rng((cow.seed, 11))
        knots = np.arange(times[0], times[-1] + cow.stride_duration_s, cow.stride_duration_s)
        # One random rate a stride, run smoothly through: strides differ, speed does not jump.
        wander = rng.normal(0, cow.stride_variation_pct / 100, knots.size)
        rate = np.exp(np.interp(times, knots, wander)) / cow.stride_duration_s
        if cow.action == "walk":
            return rate
        start = cow.action_after_m / cow.speed_m_s
        floor = {"stop": 0.0, "sniff": 0.3, "turn_back": 0.75}[cow.action]
        hold = 30.0 if cow.action == "turn_back" else _HOLD_S
        slow = _smooth_step(times, start, 0.9) - _smooth_step(times, start + hold, 0.9)
        return rate * (1 - (1 - floor) * slow)

    def _stand_places(self) -> tuple[float, float]:
        """Mid-stance places of hind and fore feet ahead of the tailhead in metres.

        The hind place follows from the wanted tracking-up: the next hind print of a side lies
        ``tracking_up_pct`` ahead of its fore print.
        """
        body = self.cow.body_length_m
        middle = self.on + self.duty / 2
        advance = np.mean([middle[0] + 1 - middle[1], middle[2] + 1 - middle[3]]) * self.stride_m
        fore = FORE_STAND_BL * body
        return fore + self.cow.tracking_up_pct / 100 * body - float(advance), fore

    def phase(self, time_s: float | Floats) -> Floats:
        """Return strides done since phase 0 at the given time."""
        return np.asarray(np.interp(time_s, self._times, self._phases))

    def rate(self, time_s: float) -> float:
        """Return strides a second at the given time."""
        return float(np.interp(time_s, self._times, self._rate))

    def action_share(self, time_s: float) -> float:
        """Return how far (0 to 1) a stop, a sniff at the floor or a turn is under way."""
        if self.cow.action in ("walk", "stand"):
            return 0.0
        start = self.cow.action_after_m / self.cow.speed_m_s
        edges = np.array([time_s])
        return float(
            (_smooth_step(edges, start, 0.9) - _smooth_step(edges, start + _HOLD_S, 0.9))[0]
        )

    def place(self, phase: float) -> tuple[float, float, float]:
        """Return world x, y of the point below the tailhead, and heading angle in radians.

        She goes straight; ``turn_back`` adds a half circle away from the camera.
        """
        cow = self.cow
        sign = 1.0 if cow.heading == "right" else -1.0
        first = cow.start_x_m - sign * cow.body_length_m / 2
        along = (phase - cow.start_phase) * self.stride_m
        facing = 0.0 if sign > 0 else np.pi
        if cow.action != "turn_back" or along <= cow.action_after_m:
            return first + sign * along, cow.lane_y_m, facing
        over, radius = along - cow.action_after_m, _TURN_RADIUS_M
        angle = min(over / radius, np.pi)
        straight = max(over - np.pi * radius, 0.0)
        x = first + sign * (cow.action_after_m + radius * np.sin(angle) - straight)
        y = cow.lane_y_m + radius * (1 - np.cos(angle))
        return x, y, facing + sign * angle

    def print_of(self, leg: int, stride: int) -> Floats:
        """Return the world place (3,) where a foot stands in the given stride."""
        middle = stride + self.on[leg] + self.duty[leg] / 2
        still = self.cow.action == "stand"
        x, y, facing = self.place(self.cow.start_phase if still else middle)
        ahead = self._stand_hind_m if leg % 2 == 0 else self._stand_fore_m
        side = (1 if leg < 2 else -1) * (0.115 if leg % 2 == 0 else 0.105)
        aside = side * self.cow.withers_height_m * self.cow.body_width
        if still:
            ahead = self._square_stand(leg)
        cos, sin = np.cos(facing), np.sin(facing)
        return np.array([x + ahead * cos - aside * sin, y + ahead * sin + aside * cos, 0.0])

    def _square_stand(self, leg: int) -> float:
        """Where a foot of a standing cow is, metres ahead of the tailhead."""
        rng = np.random.default_rng((self.cow.seed, 12))
        spread = rng.uniform(-0.08, 0.08, 4)
        base = 0.08 if leg % 2 == 0 else FORE_STAND_BL
        return float((base + spread[leg]) * self.cow.body_length_m)

    def foot(self, leg: int, time_s: float) -> tuple[Floats, float, float]:
        """Return world place (3,) of the sole's middle, pitch in radians and swing share.

        Pitch is positive toe-down; swing share is NaN in stance and 0 to 1 through the swing.
        """
        if self.cow.action == "stand":
            return self.print_of(leg, 0), 0.0, float("nan")
        phase = float(self.phase(time_s))
        stride = int(np.floor(phase - self.on[leg]))
        share = phase - self.on[leg] - stride
        here = self.print_of(leg, stride)
        if share < self.duty[leg]:
            return here, 0.0, float("nan")
        swing = (share - self.duty[leg]) / (1 - self.duty[leg])
        there = self.print_of(leg, stride + 1)
        done = swing - 0.85 * np.sin(2 * np.pi * swing) / (2 * np.pi)
        spot = here + (there - here) * done
        steady = min(1.0, self.rate(time_s) * self.cow.stride_duration_s * 1.5)
        pitch = steady * _pitch(swing, leg)
        # While the foot rolls over its toe the sole's middle rises with the heel.
        roll = HOOF_HALF_LENGTH * self.cow.withers_height_m * max(np.sin(pitch), 0.0)
        spot[2] = self.cow.hoof_lift_m * steady * _lift(swing) + roll
        return spot, pitch, swing

    def footfalls(self, first_s: float, last_s: float) -> list[Footfall]:
        """Return every stance that begins within the given times, in order of contact."""
        if self.cow.action == "stand":
            return []
        falls = []
        lowest, highest = self.phase(np.array([first_s, last_s]))
        for leg, name in enumerate(LEGS):
            strides = range(int(np.floor(lowest)) - 2, int(np.ceil(highest)) + 2)
            for stride in strides:
                on = stride + self.on[leg]
                on_s, off_s = np.interp([on, on + self.duty[leg]], self._phases, self._times)
                if first_s <= on_s <= last_s and self._phases[0] < on < self._phases[-1]:
                    x, y, z = (float(v) for v in self.print_of(leg, stride))
                    falls.append(
                        Footfall(
                            leg=name,
                            stride=stride,
                            on_s=float(on_s),
                            off_s=float(off_s),
                            print_xyz=(x, y, z),
                        )
                    )
        return sorted(falls, key=lambda fall: fall.on_s)


def _smooth_step(times: Floats, start: float, width: float) -> Floats:
    share = np.clip((times - start) / width, 0, 1)
    return share * share * (3 - 2 * share)


def _lift(swing: float) -> float:
    """Height of the sole through the swing, peak 1 a little before the middle."""
    return float(np.sin(np.pi * swing**0.85) ** 1.2)


def _pitch(swing: float, leg: int) -> float:
    """Toe-down angle through the swing: the foot rolls over its toe, then levels out."""
    most = 0.9 if leg % 2 == 0 else 1.1
    early = np.sin(np.pi * min(1.0, swing / 0.75) ** 0.6) if swing < 0.75 else 0.0
    late = -0.12 * np.sin(np.pi * (swing - 0.75) / 0.25) if swing > 0.75 else 0.0
    return float(most * early + late)
