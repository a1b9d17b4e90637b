"""How the program sees the films of the rigged cow: landmarks, arch, bob and stride against truth.

Run ``python -m models.training.on_rig_films FOLDER`` on a folder of ``rig_film``. The truth of a
measure is what the program makes of the true landmarks and the true top line.
"""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gait.clip import Clip
from gait.landmarks import BACK_AND_HEAD, INDEX
from gait.measure import measure_pass
from gait.pipeline import LOOKS_PER_S
from gait.pose import CowNetwork
from gait.statistics.spread import TWO_SIDED_90
from gait.track import Pass, follow, settle_legs
from models.training.evaluate import BODY_LENGTH, WITHIN

SHOWN = ("stride_duration_s", "stride_length_bl", "speed_bl_s", "back_arch", "head_bob_a1_pct",
         "head_bob_a2_pct", "head_height_ratio", "step_time_asymmetry_pct")  # fmt: skip
BACK = len(BACK_AND_HEAD)
SEEN_CONFIDENCE = 0.66

Array = NDArray[Any]


def true_pass(seen: Pass, frames: list[dict[str, Any]]) -> Pass:
    """Return the pass with true landmarks and top lines, unseen where the edge cuts her."""
    at = np.array([f["time_s"] for f in frames])
    rows = [frames[int(np.abs(at - t).argmin())] for t in seen.time_s]
    nowhere = np.full_like(seen.back_line[0], np.nan)
    lines = np.array([nowhere if r["top_line"] is None else r["top_line"] for r in rows])
    points = np.array([r["points"] for r in rows])
    points[np.isnan(lines[:, 0, 0])] = np.nan
    sure = np.full_like(seen.confidence, SEEN_CONFIDENCE)
    return replace(seen, points=points, confidence=sure, back_line=lines)


def hit_rates(seen: Pass, true: Pass) -> Array:
    """Return the share of frames in which each landmark lies within 5 % of body length."""
    ends = true.points[:, INDEX["withers"]] - true.points[:, INDEX["tailhead"]]
    length = BODY_LENGTH * np.nanmedian(np.linalg.norm(ends, axis=-1))
    off = np.linalg.norm(seen.points - true.points, axis=-1)
    rates: Array = np.nanmean(np.where(np.isnan(off), np.nan, off < WITHIN * length), axis=0)
    return rates


def main(folder: Path) -> None:
    """Look at each film and print a line for it, then the table."""
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in SHOWN}
    hits = []
    with CowNetwork() as network:
        for written in sorted(folder.glob("*.truth.json")):  # after its film, so both are whole
            film = folder / written.name.replace(".truth.json", ".mp4")
            truth = json.loads(written.read_text("utf-8"))
            with Clip(film, looks_per_s=LOOKS_PER_S) as clip:
                passes = list(follow(clip.frames(), network))
            if not passes:
                print(film.name, "no cow found")
                continue
            seen = settle_legs(max(passes, key=len))
            true = true_pass(seen, truth["frames"])
            hits.append(hit_rates(seen, true))
            mine, right = measure_pass(seen).measures, measure_pass(true).measures
            for name in SHOWN:
                if np.isfinite(mine[name].value) and np.isfinite(right[name].value):
                    error = mine[name].value - right[name].value
                    found[name].append((error, error / mine[name].se))
            told = [f"{n} {mine[n].value:.3f} ({right[n].value:.3f})" for n in SHOWN[:5]]
            stride = truth["stride_duration_s"]
            print(film.name, len(passes), f"stride {stride:.3f}", *told, seen.problems, flush=True)
    share = 100 * np.mean(hits, axis=0)
    print(
        f"within 5 %: back and head {share[:BACK].mean():.1f} %, legs {share[BACK:].mean():.1f} %"
    )
    for name, pairs in found.items():
        error, z = np.array(pairs).T
        held = np.mean(np.abs(z) < TWO_SIDED_90)
        print(f"{name:24} n {len(z)} bias {error.mean():+.4f} rms {np.sqrt(np.mean(error**2)):.4f} "
              f"worst {np.abs(error).max():.4f}, 90 % interval holds {held:.2f}")  # fmt: skip


if __name__ == "__main__":
    main(Path(sys.argv[1]))
