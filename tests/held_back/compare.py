"""What was measured of a drawn cow, beside what is true of her."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from gait.measure import measure_pass
from gait.measure.hoof_events import LEGS
from gait.measure.lane import see_in_lane
from gait.measure.whole_pass import regular_swings
from gait.track import Pass, settle_legs

SAME_EVENT_S = 0.12
"""A hoof-on found farther than this from every true one is invented."""
EDGE_S = 0.1
"""Events so close to the first or last frame with the whole cow may or may not be found."""
OWN_ASYMMETRY = "own_step_asymmetry_pct"
"""What she was drawn with; the strides in view, two or three that differ in length, may show a
point or two more or less, which is the truth called ``step_time_asymmetry_pct``."""


def own_asymmetry_pct(truth: dict[str, Any]) -> float:
    """Return the larger step time asymmetry of both pairs that the cow of a clip was drawn with."""
    cow = truth["scene"]["cows"][0]
    return float(max(abs(cow[f"{pair}_step_asymmetry_pct"]) for pair in ("hind", "fore")))


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One clip: errors of its measures, and how the hoof events were found.

    ``errors`` holds for each measure the truth, what was measured and its standard error;
    ``on_s`` and ``off_s`` the differences found minus true of the matched events.
    """

    clip: str
    passes: int
    usable: bool
    problems: tuple[str, ...]
    errors: dict[str, tuple[float, float, float]]
    true_ons: int
    missed: int
    invented: int
    on_s: list[float]
    off_s: list[float]


def compare(clip: Path, passes: list[Pass]) -> Outcome:
    """Measure the longest pass of a clip that shows one cow, and compare with the truth."""
    truth = json.loads(clip.with_suffix(".truth.json").read_text(encoding="utf-8"))
    if not passes:
        return _nothing(clip, truth)
    settled = settle_legs(max(passes, key=len))
    measured = measure_pass(settled)
    true = truth["passes"][0]["measures"]
    errors = {
        name: (true[name], measure.value, measure.se)
        for name, measure in measured.measures.items()
        if measure.is_known and true.get(name) is not None
    }
    asymmetry = measured.measures["step_time_asymmetry_pct"]
    if asymmetry.is_known:
        errors[OWN_ASYMMETRY] = (own_asymmetry_pct(truth), asymmetry.value, asymmetry.se)
    return Outcome(
        clip=clip.stem,
        passes=len(passes),
        usable=measured.usable and settled.usable,
        problems=(*settled.problems, *measured.problems),
        errors=errors,
        **_events(settled, truth),
    )


def _nothing(clip: Path, truth: dict[str, Any]) -> Outcome:
    none = np.empty(0)
    begin, end = _whole_time(truth)
    ons = sum(begin < fall["on_s"] < end for fall in truth["passes"][0]["footfalls"])
    return Outcome(
        clip=clip.stem, passes=0, usable=False, problems=("No pass was found.",), errors={},
        true_ons=ons, missed=ons, invented=0, on_s=list(none), off_s=list(none),
    )  # fmt: skip


def _whole_time(truth: dict[str, Any]) -> tuple[float, float]:
    """The time in which hoof events must be found: all of her is in the frame."""
    times = [f["time_s"] for f in truth["frames"] if any(cow["whole"] for cow in f["cows"])]
    return (times[0] + EDGE_S, times[-1] - EDGE_S) if times else (0.0, 0.0)


def _events(pass_: Pass, truth: dict[str, Any]) -> dict[str, Any]:
    swings = regular_swings(see_in_lane(pass_))
    begin, end = _whole_time(truth)
    near = next(cow["near_side"] for f in truth["frames"] for cow in f["cows"])
    far = {"left": "right", "right": "left"}[near]
    found: dict[str, Any] = {"true_ons": 0, "missed": 0, "invented": 0, "on_s": [], "off_s": []}
    for leg in LEGS:
        side, pair = leg.split("_")
        own = f"{near if side == 'near' else far}_{pair}"
        falls = [fall for fall in truth["passes"][0]["footfalls"] if fall["leg"] == own]
        for kind in ("on", "off"):
            true = np.array([fall[f"{kind}_s"] for fall in falls])
            got = np.array([getattr(swing, f"{kind}_s") for swing in swings[leg]])
            got = got[np.isfinite(got)]
            apart = np.subtract.outer(got, true)
            close = np.abs(apart) < SAME_EVENT_S
            inside = (true > begin) & (true < end)
            found[f"{kind}_s"] += [float(v) for v in apart[close & inside]]
            if kind == "on":
                found["true_ons"] += int(inside.sum())
                found["missed"] += int((inside & ~close.any(0)).sum())
                found["invented"] += int(((got > begin) & (got < end) & ~close.any(1)).sum())
    return found
