"""The truth of a whole pass without drawing it: landmarks through time, footfalls, measures.

Definitions are those of the measuring part: body length is the straight distance withers to
tailhead; a pair's step time runs from one contact of the pair to the next of the other foot.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any

import numpy as np

from .camera import view_at
from .pose import pose_at
from .scene import Camera, Scene
from .truth import CowTruth, FrameTruth, cow_truth, distance_if_seen
from .walk import Floats, Footfall, Walk

MEASURES: tuple[str, ...] = (
    "back_arch",
    "back_sagitta_pct",
    "head_bob_a1_pct",
    "head_bob_a2_pct",
    "head_bob_range_pct",
    "head_height_ratio",
    "stride_duration_s",
    "stride_length_bl",
    "speed_bl_s",
    "tracking_up_pct",
    "step_time_asymmetry_pct",
    "stance_share_pct",
    "triple_support_pct",
)


def frame_times(camera: Camera, count: int) -> Floats:
    """Return the time (count,) of every frame in seconds, uneven for variable frame rate."""
    times = np.arange(count) / camera.fps
    if camera.time_jitter > 0:
        rng = np.random.default_rng((camera.seed, 22))
        wander = np.clip(rng.normal(0, camera.time_jitter, count), -0.4, 0.4) / camera.fps
        wander[0] = 0.0
        times = np.round((times + wander) * 1000) / 1000
    return times


def truth_pass(
    scene: Scene,
    cow: int = 0,
    *,
    only_seen: bool = True,
    frames: Sequence[FrameTruth] | None = None,
) -> dict[str, Any]:
    """Return what is true of one cow's pass, without drawing.

    Parameters
    ----------
    scene : Scene
    cow : int
        Her place in ``scene.cows``.
    only_seen : bool
        Leave out frames in which none of her is inside the frame.
    frames : sequence of FrameTruth, optional
        The truth of every frame if the scene was drawn; saves finding it again.

    Returns
    -------
    dict
        ``frame`` (n,), ``time_s`` (n,), ``points`` (n, 18, 2) px, ``points_m`` (n, 18, 3) world
        metres, ``visible`` (n, 18), ``back_line`` (n, 64, 2) px from withers to tailhead, ``box``
        (n, 4), ``whole`` (n,) all of her in the frame, ``phase`` (n,) strides, ``to_reference``
        (n, 3, 3) homography to the steady camera, ``heading``, ``near_side``, ``image_size``
        (w, h), ``fps``, ``footfalls`` (list of Footfall).
    """
    walk = Walk(scene.cows[cow], scene.duration_s)
    size = (scene.camera.width, scene.camera.height)
    rows: dict[str, list[Any]] = {}
    for number, time_s in enumerate(frame_times(scene.camera, scene.frame_count)):
        view = view_at(scene, float(time_s))
        if frames is not None:
            truth = next((one for one in frames[number].cows if one.cow == cow), None)
        elif only_seen and distance_if_seen(walk, float(time_s), view, size) is None:
            truth = None
        else:
            truth = cow_truth(cow, pose_at(walk, float(time_s)), view, size)
        if truth is None or (only_seen and _is_outside(truth, size)):
            continue
        row = {
            "frame": number,
            "time_s": time_s,
            "phase": float(walk.phase(float(time_s))),
            "to_reference": view.to_reference,
            "heading": truth.heading,
            "near_side": truth.near_side,
        }
        for name in ("points", "points_m", "visible", "back_line", "box", "whole"):
            row[name] = getattr(truth, name)
        for name, value in row.items():
            rows.setdefault(name, []).append(value)
    found: dict[str, Any] = {name: np.array(values) for name, values in rows.items()}
    for name in ("heading", "near_side"):
        found[name] = rows[name][len(rows[name]) // 2] if rows else ""
    found.update(image_size=size, fps=scene.camera.fps)
    times = found.get("time_s", np.zeros(0))
    found["footfalls"] = walk.footfalls(times[0], times[-1]) if times.size else []
    return found


def _is_outside(truth: CowTruth, size: tuple[int, int]) -> bool:
    x0, y0, x1, y1 = truth.box
    return bool(x1 < 0 or y1 < 0 or x0 > size[0] - 1 or y0 > size[1] - 1)


def fit_circle(points: Floats) -> tuple[float, float]:
    """Return curvature times chord, and sagitta over chord, of a circle fitted to points (n, 2).

    The chord joins the first and the last point; positive bends up (towards smaller y). A flat
    line gives 0. Algebraic least squares after Pratt (1987), exact for points on a circle and
    finite for points on a line.
    """
    chord = points[-1] - points[0]
    length = float(np.hypot(*chord))
    along = chord / length
    up = np.array([along[1], -along[0]])
    up = -up if up[1] > 0 else up
    local = (points - points[0]) / length - 0.5 * chord / length
    x, y = local @ along, local @ up
    # a (x^2 + y^2) + b x + c y + d = 0 with b^2 + c^2 - 4 a d = 1: the curvature is 2 a.
    design = np.column_stack([x**2 + y**2, x, y, np.ones_like(x)])
    limits = np.diag([0.0, 1.0, 1.0, 0.0])
    limits[0, 3] = limits[3, 0] = -2.0
    values, vectors = np.linalg.eig(np.linalg.solve(limits, design.T @ design))
    values = np.where(values.real > -1e-9, values.real, np.inf)
    a, b, c, d = vectors[:, np.argmin(values)].real
    arch = 2 * a / np.sqrt(max(b * b + c * c - 4 * a * d, 1e-30)) * (np.sign(c) or 1.0)
    if abs(c) < 1e-9:  # a half circle: its middle lies on the chord
        arch = abs(arch) * np.sign(y.mean())
    half = np.clip(arch / 2, -1, 1)
    sagitta = half / (1 + np.sqrt(1 - half**2)) / 2
    return float(arch), float(sagitta)


def truth_measures(
    scene: Scene, cow: int = 0, frames: Sequence[FrameTruth] | None = None
) -> dict[str, float]:
    """Return the true value of every measure of one cow's pass; NaN where she has none.

    ``frames`` as in ``truth_pass``.

    Back and head are means over the frames in which she is wholly inside; strides are those whose
    contacts fall between the first and last of these frames.
    """
    found = truth_pass(scene, cow, frames=frames)
    values = dict.fromkeys(MEASURES, float("nan"))
    if not found["footfalls"] and "whole" not in found:
        return values
    whole = found["whole"]
    if not whole.any():
        return values
    values |= _posture(found)
    if scene.cows[cow].action != "stand":
        times = found["time_s"][whole]
        falls = [f for f in found["footfalls"] if times[0] <= f.on_s <= times[-1]]
        values |= stride_measures(falls, scene.cows[cow].body_length_m)
    return values


def _posture(found: dict[str, Any]) -> dict[str, float]:
    whole = found["whole"]
    fits = np.array([fit_circle(line) for line in found["back_line"][whole]])
    poll, withers = found["points_m"][whole, 1, 2], found["points_m"][whole, 2, 2]
    rise = 100 * (poll - withers) / withers.mean()
    cycle = 2 * np.pi * found["phase"][whole]
    values = {
        "back_arch": float(fits[:, 0].mean()),
        "back_sagitta_pct": float(100 * fits[:, 1].mean()),
        "head_height_ratio": float(poll.mean() / withers.mean()),
    }
    if np.ptp(cycle) < 2 * np.pi:
        return values
    design = np.column_stack(
        [np.ones_like(cycle), np.cos(cycle), np.sin(cycle), np.cos(2 * cycle), np.sin(2 * cycle)]
    )
    part = np.linalg.lstsq(design, rise, rcond=None)[0]
    turn = np.linspace(0, 2 * np.pi, 721)
    curve = part[1] * np.cos(turn) + part[2] * np.sin(turn)
    curve += part[3] * np.cos(2 * turn) + part[4] * np.sin(2 * turn)
    values["head_bob_a1_pct"] = float(np.hypot(part[1], part[2]))
    values["head_bob_a2_pct"] = float(np.hypot(part[3], part[4]))
    values["head_bob_range_pct"] = float(np.ptp(curve))
    return values


def stride_measures(falls: Sequence[Footfall], body_length_m: float) -> dict[str, float]:
    """Return stride measures from footfalls; those that need more strides than there are, NaN."""
    by_leg: dict[str, list[Footfall]] = {}
    for fall in falls:
        by_leg.setdefault(fall.leg, []).append(fall)
    durations, lengths, shares = [], [], []
    for own in by_leg.values():
        own_shares: list[float] = []
        for first, second in itertools.pairwise(own):
            durations.append(second.on_s - first.on_s)
            lengths.append(_apart(first, second) / body_length_m)
            own_shares.append((first.off_s - first.on_s) / (second.on_s - first.on_s))
        if own_shares:
            shares.append(np.mean(own_shares))
    values = dict.fromkeys(MEASURES[6:], float("nan"))
    if durations:
        values["stride_duration_s"] = float(np.mean(durations))
        values["stride_length_bl"] = float(np.mean(lengths))
        values["speed_bl_s"] = float(np.mean(lengths) / np.mean(durations))
        values["stance_share_pct"] = float(100 * np.mean(shares))
    values["tracking_up_pct"] = _tracking_up(by_leg, body_length_m)
    uneven = [step_asymmetry_pct(by_leg, pair) for pair in ("hind", "fore")]
    if not np.all(np.isnan(uneven)):
        values["step_time_asymmetry_pct"] = float(np.nanmax(np.abs(uneven)))
    values["triple_support_pct"] = _triple_support(falls)
    return values


def step_asymmetry_pct(by_leg: dict[str, list[Footfall]], pair: str) -> float:
    """Return 100 (t_left - t_right) / mean of a pair; t_left ends with the right foot's contact."""
    left = [fall.on_s for fall in by_leg.get(f"left_{pair}", [])]
    right = [fall.on_s for fall in by_leg.get(f"right_{pair}", [])]
    order = sorted([(t, "l") for t in left] + [(t, "r") for t in right])
    steps: dict[str, list[float]] = {"l": [], "r": []}
    for (start, side), (end, other) in itertools.pairwise(order):
        if side != other:
            steps[side].append(end - start)
    if not steps["l"] or not steps["r"]:
        return float("nan")
    one, two = np.mean(steps["l"]), np.mean(steps["r"])
    return float(100 * (one - two) / ((one + two) / 2))


def _apart(first: Footfall, second: Footfall) -> float:
    return float(np.hypot(*(np.array(second.print_xyz) - np.array(first.print_xyz))[:2]))


def _tracking_up(by_leg: dict[str, list[Footfall]], body_length_m: float) -> float:
    """Hind print ahead of the fore print it follows, % of body length.

    Mean of the means of both sides: a limp moves them apart, and one side may show more prints.
    """
    sides = []
    for side in ("left", "right"):
        fore = {fall.stride: fall for fall in by_leg.get(f"{side}_fore", [])}
        ahead = []
        for fall in by_leg.get(f"{side}_hind", []):
            before, after = fore.get(fall.stride - 1), fore.get(fall.stride)
            if before is None or after is None:
                continue
            way = np.sign(after.print_xyz[0] - before.print_xyz[0])
            ahead.append(way * (fall.print_xyz[0] - before.print_xyz[0]) / body_length_m)
        if ahead:
            sides.append(np.mean(ahead))
    return float(100 * np.mean(sides)) if len(sides) == 2 else float("nan")


def _triple_support(falls: Sequence[Footfall]) -> float:
    """Share of whole strides with exactly three feet on the ground, in %."""
    starts = [fall.on_s for fall in falls if fall.leg == "left_hind"]
    if len(starts) < 2:
        return float("nan")
    first, last = starts[0], starts[-1]
    # The feet that stood before the first contact seen here stand as one stride later.
    stride = (last - first) / (len(starts) - 1)
    spans = [(f.on_s, f.off_s) for f in falls]
    spans += [(f.on_s - stride, f.off_s - stride) for f in _firsts(falls)]
    edges = np.unique(np.clip(np.array(spans).ravel(), first, last))
    middle = (edges[1:] + edges[:-1]) / 2
    feet = sum(((middle > on) & (middle < off)).astype(int) for on, off in spans)
    return float(100 * np.sum(np.diff(edges)[feet == 3]) / (last - first))


def _firsts(falls: Sequence[Footfall]) -> list[Footfall]:
    seen: dict[str, Footfall] = {}
    for fall in falls:
        seen.setdefault(fall.leg, fall)
    return list(seen.values())
