"""What a clip shows: the cows, how each of them walks, the camera, the light and the lane.

World axes: x along the lane, y away from the camera, z up, in metres; the camera looks along +y
unless it is turned. Lengths on the cow are parts of her withers height or of her body length
(*bl*: the straight distance withers to tailhead, "trunk length").
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

LEGS: tuple[str, ...] = ("left_hind", "left_fore", "right_hind", "right_fore")
"""The legs in the footfall order of the walk."""

COATS: tuple[str, ...] = (
    "black_white",
    "red_white",
    "black",
    "brown",
    "fawn",
    "red",
    "grey",
    "white",
)
ACTIONS: tuple[str, ...] = ("walk", "stand", "stop", "turn_back", "sniff")


@dataclass(frozen=True, kw_only=True)
class Cow:
    """One cow: her build, her coat, her posture and her walk.

    Attributes
    ----------
    seed : int
        Decides coat pattern, small deviations of outline, and stride-to-stride variation.
    withers_height_m : float
        Height of the top line over the shoulder above the ground.
    trunk_length : float
        Withers to tailhead as part of the withers height.
    back_arch : float
        Curvature times chord of the circle through withers and tailhead; 0 is flat, more is
        more arched. ``back_arch_swing`` is the amplitude of its change, twice a stride.
    top_line_relief_pct : float
        Size of the small natural bumps of the top line (withers, hooks), % of body length.
    head_height_ratio : float
        Mean poll height over withers height.
    bob_a1_pct, bob_a2_pct : float
        Amplitude of poll against withers, once and twice a stride, % of withers height;
        ``bob_a1_phase``, ``bob_a2_phase`` are their phases in radians.
    stride_length_bl, stride_duration_s : float
        One stride; speed is their quotient.
    duty_hind, duty_fore : float
        Share of the stride that a foot is on the ground, mean of left and right.
    hind_step_asymmetry_pct, fore_step_asymmetry_pct : float
        100 * (t_left - t_right) / mean, where t_left is the time from the left foot's contact to
        the next contact of the right one.
    hind_stance_asymmetry_pct, fore_stance_asymmetry_pct : float
        100 * (left - right) / mean of the stance times.
    fore_lag : float
        Contact of the fore foot after the hind foot of the same side, part of a stride.
    tracking_up_pct : float
        Hind print ahead of the fore print of the same side, % of body length.
    stride_variation_pct : float
        Standard deviation of stride duration from stride to stride.
    start_x_m, lane_y_m : float
        Where the middle of her trunk is at time 0, and her line in the lane.
    start_phase : float
        Where in the stride she is at time 0 (0: contact of the left hind foot).
    action : str
        One of ``ACTIONS``; it begins when her trunk has gone ``action_after_m`` metres.
    """

    seed: int = 0
    withers_height_m: float = 1.43
    trunk_length: float = 1.08
    body_depth: float = 1.0
    body_width: float = 1.0
    leg_thickness: float = 1.0
    udder_size: float = 1.0
    rump_height: float = 1.0
    horned: bool = False
    coat: str = "black_white"
    dark_share: float = 0.5
    dirt: float = 0.4
    back_arch: float = 0.10
    back_arch_swing: float = 0.01
    top_line_relief_pct: float = 0.35
    head_height_ratio: float = 1.0
    head_pitch_deg: float = 0.0
    head_turn_deg: float = 0.0
    bob_a1_pct: float = 0.4
    bob_a1_phase: float = 0.0
    bob_a2_pct: float = 1.5
    bob_a2_phase: float = 0.0
    stride_length_bl: float = 0.92
    stride_duration_s: float = 1.26
    duty_hind: float = 0.63
    duty_fore: float = 0.65
    hind_step_asymmetry_pct: float = 0.0
    fore_step_asymmetry_pct: float = 0.0
    hind_stance_asymmetry_pct: float = 0.0
    fore_stance_asymmetry_pct: float = 0.0
    fore_lag: float = 0.23
    tracking_up_pct: float = 0.0
    stride_variation_pct: float = 1.0
    hoof_lift_m: float = 0.09
    trunk_bob_pct: float = 0.7
    heading: str = "right"
    start_x_m: float = -4.0
    lane_y_m: float = 0.0
    start_phase: float = 0.0
    action: str = "walk"
    action_after_m: float = 3.0

    def __post_init__(self) -> None:
        for name, allowed in (("heading", ("left", "right")), ("coat", COATS), ("action", ACTIONS)):
            if getattr(self, name) not in allowed:
                raise ValueError(f"{name} is {getattr(self, name)!r}, expected one of {allowed}")
        for name in ("stride_length_bl", "stride_duration_s", "withers_height_m", "trunk_length"):
            if getattr(self, name) <= 0:
                raise ValueError(f"{name} must be above 0, is {getattr(self, name)}")

    @property
    def body_length_m(self) -> float:
        """Withers to tailhead in metres."""
        return self.withers_height_m * self.trunk_length

    @property
    def speed_m_s(self) -> float:
        """Stride length over stride duration, in metres a second."""
        return self.stride_length_bl * self.body_length_m / self.stride_duration_s


@dataclass(frozen=True, kw_only=True)
class Camera:
    """Where the camera stands and how it films.

    Attributes
    ----------
    width, height : int
        Pixels of the upright frame.
    fps : float
        Frames a second. ``time_jitter`` is the standard deviation of a frame's time stamp as
        part of the frame interval (variable frame rate).
    distance_m, height_m : float
        From the middle of the lane, and above the floor.
    field_m : float
        Width of lane seen across the frame at the middle of the lane.
    yaw_deg : float
        How far the line of sight is from square to the lane: 0 side view, 90 head-on for a cow
        heading left.
    pitch_deg : float
        Downward tilt on top of aiming at ``aim_z_m``; ``roll_deg`` turns the picture clockwise.
    shake_deg : float
        Standard deviation of hand shake; ``pan_deg_s`` is a slow pan to the right.
    rotation_tag : int
        0, 90, 180 or 270: the film is stored turned and carries this tag.
    """

    width: int = 1280
    height: int = 720
    fps: float = 30.0
    time_jitter: float = 0.0
    distance_m: float = 7.0
    height_m: float = 1.25
    field_m: float = 6.5
    aim_x_m: float = 0.0
    aim_z_m: float = 0.85
    yaw_deg: float = 0.0
    pitch_deg: float = 0.0
    roll_deg: float = 0.0
    shake_deg: float = 0.0
    pan_deg_s: float = 0.0
    rotation_tag: int = 0
    seed: int = 0


@dataclass(frozen=True, kw_only=True)
class Light:
    """Light and what the camera makes of it.

    Attributes
    ----------
    level : float
        Brightness of the picture; 1 is well exposed, 0.1 far too dark.
    side, elevation_deg : float
        Where the key light comes from: -1 left to 1 right, and how high.
    hardness : float
        0 overcast or lamps, 1 bright sun with a hard shadow.
    infrared : bool
        Night camera: grey, bright near the camera.
    noise : float
        Standard deviation of sensor noise in grey levels of 255.
    softness_px : float
        Sigma of lens and compression blur.
    exposure_s : float
        Shutter time, for motion blur.
    warmth : float
        -1 bluish to 1 yellowish.
    """

    level: float = 1.0
    side: float = 0.3
    elevation_deg: float = 60.0
    hardness: float = 0.35
    infrared: bool = False
    noise: float = 2.0
    softness_px: float = 0.45
    exposure_s: float = 0.004
    warmth: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Lane:
    """The place: floor, back wall, rails.

    Attributes
    ----------
    place : str
        ``"barn"``, ``"lane"`` (block wall outdoors) or ``"yard"`` (open, with sky).
    rails_front, rails_back : int
        Number of horizontal rails between camera and cow, and behind her.
    """

    seed: int = 0
    place: str = "barn"
    wall_y_m: float = 2.2
    rails_front: int = 0
    rails_back: int = 2
    rail_y_m: float = 1.1
    gate: bool = False
    wet: float = 0.3


@dataclass(frozen=True, kw_only=True)
class Scene:
    """Everything in one clip."""

    name: str = "clip"
    seed: int = 0
    duration_s: float = 8.0
    cows: tuple[Cow, ...] = ()
    camera: Camera = field(default_factory=Camera)
    light: Light = field(default_factory=Light)
    lane: Lane = field(default_factory=Lane)

    def __post_init__(self) -> None:
        if self.duration_s <= 0:
            raise ValueError(f"duration_s must be above 0, is {self.duration_s}")

    @property
    def frame_count(self) -> int:
        """Number of frames of the clip."""
        return max(1, round(self.duration_s * self.camera.fps))


def with_limp(cow: Cow, leg: str, severity: float) -> Cow:
    """Return the cow favouring one leg.

    The sore leg stands shorter and its opposite longer, and the cow steps onto the opposite foot
    early; a sore fore foot makes the head nod once a stride, a sore hind foot half as much.

    Parameters
    ----------
    cow : Cow
    leg : str
        One of ``LEGS``.
    severity : float
        0 none to 1 severe. Sizes are ours: plausible, not published.
    """
    if leg not in LEGS:
        raise ValueError(f"leg is {leg!r}, expected one of {LEGS}")
    sign = -1.0 if leg.startswith("left") else 1.0
    pair = leg.split("_")[1]
    changes: dict[str, float] = {
        f"{pair}_step_asymmetry_pct": sign * 26.0 * severity,
        f"{pair}_stance_asymmetry_pct": sign * 18.0 * severity,
        "bob_a1_pct": cow.bob_a1_pct + (5.0 if pair == "fore" else 2.5) * severity,
        "trunk_bob_pct": cow.trunk_bob_pct * (1 + severity),
    }
    # The head is up while the sore fore foot stands, down while the sound one does.
    changes["bob_a1_phase"] = 2.0 if sign < 0 else 2.0 + 3.14159
    return replace(cow, **changes)  # type: ignore[arg-type]
