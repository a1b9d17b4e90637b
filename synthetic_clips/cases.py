"""Named cases: sound, every score, every refusal, crossings, night, a long film of the lane."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from .recipes import cow_of_score, place_at_start, random_lane, time_to_cross
from .scene import Camera, Cow, Lane, Light, Scene


def _camera(seed: int, **changes: object) -> Camera:
    return replace(Camera(seed=seed, field_m=7.2), **changes)  # type: ignore[arg-type]


def _one(
    name: str, seed: int, score: int = 1, camera: Camera | None = None, **changes: object
) -> Scene:
    """Return one cow walking once past the camera; ``changes`` are cow or scene attributes."""
    rng = np.random.default_rng((seed, 71))
    camera = camera or _camera(seed)
    scene_changes = {k: changes.pop(k) for k in ("light", "lane") if k in changes}
    heading = changes.pop("heading", str(rng.choice(["left", "right"])))
    cow = place_at_start(cow_of_score(score, seed, heading=heading, **changes), camera)
    scene = Scene(
        name=name,
        seed=seed,
        duration_s=float(np.ceil(time_to_cross(cow, camera) * 10) / 10),
        cows=(cow,),
        camera=camera,
        light=Light(hardness=float(rng.uniform(0.1, 0.6)), level=1.1),
        lane=replace(random_lane(rng, seed), rails_front=0),
    )
    return replace(scene, **scene_changes)  # type: ignore[arg-type]


def _score(score: int) -> Callable[[int], Scene]:
    return lambda seed: _one(f"score_{score}", seed, score)


def sound(seed: int) -> Scene:
    """Show a sound cow, side on, good light."""
    return _one("sound", seed, 1)


def too_dark(seed: int) -> Scene:
    """Show the lane with the lamp off."""
    return _one("too_dark", seed, light=Light(level=0.05, noise=3.0))


def too_slow_frames(seed: int) -> Scene:
    """Film at 8 frames a second."""
    return _one("too_slow_frames", seed, camera=_camera(seed, fps=8.0))


def standing(seed: int) -> Scene:
    """Show a cow that stands still in the middle of the frame."""
    scene = _one("standing", seed, action="stand")
    cow = replace(scene.cows[0], start_x_m=0.0, start_phase=0.0)
    return replace(scene, cows=(cow,), duration_s=4.0)


def two_abreast(seed: int) -> Scene:
    """Show two cows side by side all the way, one hiding most of the other."""
    scene = _one("two_abreast", seed)
    near = replace(scene.cows[0], lane_y_m=-0.35)
    far = replace(near, seed=seed + 5000, lane_y_m=0.45, start_phase=near.start_phase + 0.3)
    return replace(scene, cows=(replace(far, start_x_m=near.start_x_m + 0.25), near))


def head_on(seed: int) -> Scene:
    """Show a cow walking towards the camera."""
    camera = _camera(seed, yaw_deg=84.0, distance_m=8.0, field_m=4.2)
    scene = _one("head_on", seed, camera=camera, heading="left")
    cow = replace(scene.cows[0], start_x_m=2.5)
    return replace(scene, cows=(cow,), duration_s=5.0)


def no_cow(seed: int) -> Scene:
    """Show the empty lane."""
    return replace(_one("no_cow", seed), cows=(), duration_s=3.0)


def short(seed: int) -> Scene:
    """Film her for less than two strides."""
    scene = _one("short", seed)
    cow = replace(scene.cows[0], start_x_m=-0.4 if scene.cows[0].heading == "right" else 0.4)
    return replace(scene, cows=(cow,), duration_s=1.5 * cow.stride_duration_s)


def cut(seed: int) -> Scene:
    """Film from so near that the frame always cuts the cow."""
    camera = _camera(seed, field_m=1.9, distance_m=3.0, aim_z_m=1.0)
    return _one("cut", seed, camera=camera)


def far_oblique(seed: int) -> Scene:
    """Film slantwise from far off."""
    camera = _camera(seed, yaw_deg=52.0, distance_m=12.0, field_m=9.0)
    return _one("far_oblique", seed, camera=camera)


def handheld(seed: int) -> Scene:
    """Film with a phone held by hand."""
    return _one("handheld", seed, camera=_camera(seed, shake_deg=0.45))


def panning(seed: int) -> Scene:
    """Film with a hand that follows the cow slowly."""
    scene = _one("panning", seed, heading="right", camera=_camera(seed, shake_deg=0.2))
    camera = replace(scene.camera, pan_deg_s=3.0)
    return replace(scene, camera=camera)


def night(seed: int) -> Scene:
    """Film by infrared light: grey, noisy, bright in the middle."""
    lamp = Light(infrared=True, noise=7.0, level=0.8, hardness=0.1, exposure_s=0.012)
    return _one("night", seed, light=lamp)


def crossing(seed: int) -> Scene:
    """Show two cows that pass each other in the lane."""
    scene = _one("crossing", seed, heading="right", lane_y_m=-0.5)
    other = cow_of_score(2, seed + 5000, heading="left", lane_y_m=0.6)
    other = place_at_start(other, scene.camera)
    length = max(scene.duration_s, time_to_cross(other, scene.camera))
    return replace(scene, cows=(scene.cows[0], other), duration_s=float(np.ceil(length)))


def rails(seed: int) -> Scene:
    """Show three rails and posts between camera and cow."""
    lane = Lane(seed=seed, rails_front=3, rail_y_m=0.95, wall_y_m=2.5)
    return _one("rails", seed, lane=lane)


def turning_back(seed: int) -> Scene:
    """She walks in, turns round in the frame and walks out again."""
    scene = _one("turning_back", seed, heading="right", action="turn_back", lane_y_m=-0.4)
    first = scene.camera.field_m / 2 + 1.5
    cow = replace(scene.cows[0], action_after_m=first + 0.3)
    return replace(
        scene,
        cows=(cow,),
        duration_s=float(np.ceil((2 * first + 4) / cow.speed_m_s * 1.25)),
        lane=replace(scene.lane, wall_y_m=4.0, rails_back=0),
    )


def sniffing(seed: int) -> Scene:
    """She slows down, sniffs the floor and goes on."""
    scene = _one("sniffing", seed, action="sniff")
    cow = replace(scene.cows[0], action_after_m=scene.camera.field_m / 2 + 1.0)
    return replace(scene, cows=(cow,), duration_s=scene.duration_s + 3.5)


def stopping(seed: int) -> Scene:
    """She stops in the frame for a few seconds and goes on."""
    scene = _one("stopping", seed, action="stop")
    cow = replace(scene.cows[0], action_after_m=scene.camera.field_m / 2 + 1.0)
    return replace(scene, cows=(cow,), duration_s=scene.duration_s + 4.5)


def rotated(seed: int) -> Scene:
    """Film with a phone held sideways: the file carries a rotation tag (write it to .mp4)."""
    return _one("rotated", seed, camera=_camera(seed, rotation_tag=90))


def variable_rate(seed: int) -> Scene:
    """Film with uneven frame times (write it to .webm)."""
    return _one("variable_rate", seed, camera=_camera(seed, time_jitter=0.15))


def long_lane(seed: int, cows: int = 40, gap_s: tuple[float, float] = (0.6, 3.0)) -> Scene:
    """Film the exit lane in one go: cows one behind the other, scores mixed, all the same way.

    Parameters
    ----------
    seed : int
    cows : int
        Number of cows.
    gap_s : tuple of float
        Shortest and longest time between one cow's tail and the next one's nose.
    """
    rng = np.random.default_rng((seed, 72))
    camera = _camera(seed, field_m=7.0)
    heading = str(rng.choice(["left", "right"]))
    scores = rng.choice([1, 2, 3, 4, 5], size=cows, p=[0.38, 0.30, 0.19, 0.10, 0.03])
    walking = [
        cow_of_score(
            int(score), seed * 100 + i, heading=heading, lane_y_m=float(rng.uniform(-0.1, 0.1))
        )
        for i, score in enumerate(scores)
    ]
    lined, lasts_s = queue_up(walking, camera, rng, gap_s)
    return Scene(
        name="long_lane",
        seed=seed,
        duration_s=lasts_s,
        cows=tuple(lined),
        camera=camera,
        light=Light(level=1.15),
        lane=Lane(seed=seed, place="barn", rails_back=2),
    )


def queue_up(
    cows: Sequence[Cow], camera: Camera, rng: np.random.Generator, gap_s: tuple[float, float]
) -> tuple[list[Cow], float]:
    """Start cows one behind the other so that none catches up within the frame.

    Parameters
    ----------
    cows : sequence of Cow
        In their order.
    gap_s : tuple of float
        Shortest and longest time between one cow's tail and the next one's nose.

    Returns
    -------
    list of Cow, float
        The cows at their starting places, and the seconds until the last has left the frame.
    """
    lined: list[Cow] = []
    enters = leaves = 0.0
    for cow in cows:
        cow = place_at_start(cow, camera)
        if lined:
            # Neither at the entry nor at the exit may she come nearer than the gap.
            nose_to_tail = 1.75 * cow.body_length_m
            gap = float(rng.uniform(*gap_s))
            enters += nose_to_tail / lined[-1].speed_m_s + gap
            enters = max(enters, leaves - time_to_cross(cow, camera) + nose_to_tail / cow.speed_m_s)
        sign = 1.0 if cow.heading == "right" else -1.0
        lined.append(replace(cow, start_x_m=cow.start_x_m - sign * enters * cow.speed_m_s))
        leaves = enters + time_to_cross(cow, camera)
    return lined, float(np.ceil(leaves))


CASES: dict[str, Callable[[int], Scene]] = {
    "sound": sound,
    **{f"score_{score}": _score(score) for score in (2, 3, 4, 5)},
    "too_dark": too_dark,
    "too_slow_frames": too_slow_frames,
    "standing": standing,
    "two_abreast": two_abreast,
    "head_on": head_on,
    "no_cow": no_cow,
    "short": short,
    "cut": cut,
    "far_oblique": far_oblique,
    "handheld": handheld,
    "panning": panning,
    "night": night,
    "crossing": crossing,
    "rails": rails,
    "turning_back": turning_back,
    "sniffing": sniffing,
    "stopping": stopping,
    "rotated": rotated,
    "variable_rate": variable_rate,
    "long_lane": long_lane,
}
"""Every named case by name; each takes a seed."""
