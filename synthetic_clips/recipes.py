"""Scenes by chance, for statistics and for a small share of the network's training.

Seeds 0-9999 are for development, 10000-19999 are held back for acceptance, 20000 and up are for
training the network.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .scene import COATS, LEGS, Camera, Cow, Lane, Light, Scene, with_limp

HELD_BACK_FIRST_SEED = 10_000
TRAINING_FIRST_SEED = 20_000

# Plausible values by locomotion score. Ours: chosen so that the sound and the lame group lie about
# as far apart as published group means (speed 1.11 and 0.90 m/s, stride 1.26 and 1.48 s, 139.5 and
# 130.0 cm: Flower, Sanderson & Weary 2005); per-score means are not published.
# arch, bob A1 %, limp, stride length bl, stride duration s, duty, tracking-up %, head height
_BY_SCORE = {
    1: (0.07, 0.4, 0.00, 0.935, 1.24, 0.625, 0.5, 1.02),
    2: (0.22, 0.8, 0.08, 0.905, 1.29, 0.635, -2.0, 1.01),
    3: (0.36, 1.6, 0.30, 0.855, 1.39, 0.655, -6.0, 0.97),
    4: (0.50, 2.4, 0.60, 0.790, 1.54, 0.680, -11.0, 0.92),
    5: (0.64, 3.0, 0.95, 0.680, 1.80, 0.715, -18.0, 0.85),
}
_SPREAD = (0.035, 0.25, 0.06, 0.030, 0.06, 0.010, 2.0, 0.025)


def cow_of_score(score: int, seed: int, **changes: object) -> Cow:
    """Return a plausible cow of a locomotion score (1 to 5), varied by the seed."""
    if score not in _BY_SCORE:
        raise ValueError(f"score is {score}, expected 1 to 5")
    rng = np.random.default_rng((seed, score, 61))
    drawn = np.array(_BY_SCORE[score]) + np.clip(rng.normal(size=8), -2, 2) * _SPREAD
    arch, bob, limp, length, duration, duty, tracking, head = (float(v) for v in drawn)
    cow = replace(
        _any_build(rng, seed),
        back_arch=max(arch, 0.0),
        bob_a1_pct=max(bob, 0.1),
        bob_a1_phase=float(rng.uniform(0, 2 * np.pi)),
        bob_a2_pct=float(rng.uniform(0.8, 2.2)),
        bob_a2_phase=float(rng.uniform(0, 2 * np.pi)),
        stride_length_bl=length,
        stride_duration_s=duration,
        duty_hind=duty,
        duty_fore=duty + 0.015,
        tracking_up_pct=tracking,
        head_height_ratio=head,
        stride_variation_pct=float(0.8 + 0.7 * score * rng.uniform(0.5, 1.0)),
    )
    if limp > 0.05:
        cow = with_limp(cow, LEGS[rng.integers(4)], min(limp, 1.0))
    return replace(cow, **changes)  # type: ignore[arg-type]


def _any_build(rng: np.random.Generator, seed: int) -> Cow:
    coats = ("black_white",) * 9 + ("red_white",) * 3 + COATS
    return Cow(
        seed=seed,
        withers_height_m=float(np.clip(rng.normal(1.44, 0.05), 1.28, 1.58)),
        trunk_length=float(rng.uniform(1.02, 1.15)),
        body_depth=float(rng.uniform(0.93, 1.07)),
        body_width=float(rng.uniform(0.92, 1.10)),
        leg_thickness=float(rng.uniform(0.9, 1.15)),
        udder_size=float(rng.uniform(0.75, 1.15)),
        rump_height=float(rng.uniform(0.985, 1.025)),
        horned=bool(rng.random() < 0.04),
        coat=str(coats[rng.integers(len(coats))]),
        dark_share=float(rng.uniform(0.25, 0.85)),
        dirt=float(rng.uniform(0.05, 0.8)),
        head_pitch_deg=float(rng.normal(0, 6)),
        top_line_relief_pct=float(rng.uniform(0.1, 0.5)),
        fore_lag=float(rng.uniform(0.215, 0.25)),
        trunk_bob_pct=float(rng.uniform(0.4, 1.0)),
        hoof_lift_m=float(rng.uniform(0.07, 0.12)),
        start_phase=float(rng.uniform(0, 1)),
    )


def place_at_start(cow: Cow, camera: Camera, *, inside_m: float = 0.0) -> Cow:
    """Return the cow just outside the frame on the side she comes from.

    ``inside_m`` moves her that far in.
    """
    half = camera.field_m / 2 * (1 + abs(cow.lane_y_m) / camera.distance_m) + 1.5
    sign = 1.0 if cow.heading == "right" else -1.0
    return replace(cow, start_x_m=camera.aim_x_m - sign * (half - inside_m))


def time_to_cross(cow: Cow, camera: Camera) -> float:
    """Return the seconds from her start until all of her has left the frame."""
    half = camera.field_m / 2 * (1 + abs(cow.lane_y_m) / camera.distance_m) + 1.9
    way = half + abs(cow.start_x_m - camera.aim_x_m)
    return way / cow.speed_m_s


def random_camera(rng: np.random.Generator, seed: int, height: int = 720) -> Camera:
    """Return a fixed side-on camera as a farm would set one up."""
    return Camera(
        width=height * 16 // 9 // 2 * 2,
        height=height,
        fps=float(rng.choice([25, 30, 30, 30, 50, 60])),
        distance_m=float(rng.uniform(5.0, 9.0)),
        height_m=float(rng.uniform(0.9, 1.7)),
        field_m=float(rng.uniform(5.6, 7.8)),
        yaw_deg=float(rng.normal(0, 3)),
        roll_deg=float(rng.normal(0, 0.7)),
        seed=seed,
    )


def random_light(rng: np.random.Generator) -> Light:
    """Return light good enough to work with, now and then infrared."""
    return Light(
        level=float(rng.uniform(0.75, 1.35)),
        side=float(rng.uniform(-0.9, 0.9)),
        elevation_deg=float(rng.uniform(35, 75)),
        hardness=float(rng.beta(1.3, 2.0)),
        infrared=bool(rng.random() < 0.08),
        noise=float(rng.uniform(0.5, 5.0)),
        softness_px=float(rng.uniform(0.0, 0.8)),
        exposure_s=float(rng.choice([0.001, 0.002, 0.004, 0.008])),
        warmth=float(rng.normal(0, 0.4)),
    )


def random_lane(rng: np.random.Generator, seed: int) -> Lane:
    """Return a barn, a walled lane or an open yard."""
    return Lane(
        seed=seed,
        place=str(rng.choice(["barn", "barn", "lane", "yard"])),
        wall_y_m=float(rng.uniform(1.4, 4.0)),
        rails_front=int(rng.choice([0, 0, 0, 1, 2, 3])),
        rails_back=int(rng.choice([0, 1, 2, 3])),
        rail_y_m=float(rng.uniform(0.8, 1.2)),
        gate=bool(rng.random() < 0.2),
        wet=float(rng.uniform(0, 0.8)),
    )


def random_scene(seed: int, *, score: int | None = None, height: int = 720) -> Scene:
    """Return one cow walking once past a fixed camera, everything chosen by the seed.

    Parameters
    ----------
    seed : int
        See the module's text for which seeds are for what.
    score : int, optional
        Locomotion score of the cow; by chance when left out.
    height : int
        Frame height in pixels (16:9).
    """
    rng = np.random.default_rng((seed, 62))
    score = score if score else int(rng.choice([1, 2, 3, 4, 5], p=[0.3, 0.25, 0.2, 0.15, 0.1]))
    camera = random_camera(rng, seed, height)
    heading = str(rng.choice(["left", "right"]))
    cow = cow_of_score(score, seed, heading=heading, lane_y_m=float(rng.uniform(-0.3, 0.4)))
    cow = place_at_start(cow, camera)
    return Scene(
        name=f"random_{seed}",
        seed=seed,
        duration_s=float(np.ceil(time_to_cross(cow, camera) * 10) / 10),
        cows=(cow,),
        camera=camera,
        light=random_light(rng),
        lane=random_lane(rng, seed),
    )
