"""What a sound cow's back and head look like to the network: the evidence for class 1 of the prior.

    python -m models.training.sound_posture SHARED_DATA

Runs the shipped network over side-on photos of show and yard cattle, presumably sound and standing,
and writes ``models/training/posture_of_sound_cows.json``, which ``score_prior.py`` reads.

The breed photos were squeezed to squares by whoever collected them. Each is drawn out again so that
withers-tailhead over withers height takes the value in ``TRUNK_TO_HEIGHT``; this corrects the arch
by the same factor, and is the largest unknown in the table.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

from gait.clip import read_info
from gait.errors import GaitError
from gait.landmarks import INDEX
from gait.measure import measure_posture
from gait.pose import CowNetwork
from gait.track import Pass, photo_pass

HERE = Path(__file__).resolve().parent
OUT = HERE / "posture_of_sound_cows.json"
TRUNK_TO_HEIGHT = 0.98
SURE = 0.4
"""Median landmark confidence below which a photo is left out."""


def photos(shared: Path) -> list[tuple[Path, bool]]:
    """Return side-on photos, each with whether it was squeezed to a square."""
    annotated = [json.loads(p.read_text("utf-8")) for p in (HERE / "annotations").glob("*.json")]
    names = {a["file"] for a in annotated if a["view"] == "side" and "coco" not in a["file"]}
    names |= set(json.loads((HERE / "photos.json").read_text("utf-8"))["kept"])
    return [(shared / name, "breeds" in name) for name in sorted(names) if (shared / name).exists()]


def trunk_to_height(track: Pass) -> float:
    """Return withers-tailhead over withers height in a photo."""
    p = track.points[0]
    trunk = float(np.hypot(*(p[INDEX["withers"]] - p[INDEX["tailhead"]])))
    ground = float(np.nanmax(p[[i for n, i in INDEX.items() if n.endswith("hoof")], 1]))
    return trunk / (ground - float(p[INDEX["withers"], 1]))


def measure(network: CowNetwork, path: Path, squeezed: bool) -> dict[str, float] | None:
    """Return arch and head height of one photo with their errors, or None if unusable."""
    try:
        track = photo_pass(read_info(path), network)
    except GaitError:
        return None
    if float(np.median(track.confidence)) < SURE:
        return None
    found = measure_posture(track).measures
    arch, head = found["back_arch"], found["head_height_ratio"]
    ratio = trunk_to_height(track)
    if arch.reason is not None or not 0.3 < ratio < 1.4:
        return None
    factor = ratio / TRUNK_TO_HEIGHT if squeezed else 1.0
    return {
        "arch": arch.value * factor,
        "arch_se": arch.se * factor,
        "head": head.value,
        "head_se": head.se,
    }


def spread(values: np.ndarray, errors: np.ndarray) -> dict[str, float]:
    """Return robust mean and the spread between cows with the measurement error taken out."""
    middle = float(np.median(values))
    total = 1.4826 * float(np.median(np.abs(values - middle)))
    between = max(total**2 - float(np.median(errors)) ** 2, (0.3 * total) ** 2) ** 0.5
    return {
        "mean": round(middle, 4),
        "sd_total": round(total, 4),
        "sd_between_cows": round(between, 4),
        "median_error": round(float(np.median(errors)), 4),
        "p05": round(float(np.quantile(values, 0.05)), 4),
        "p95": round(float(np.quantile(values, 0.95)), 4),
        "photos": len(values),
    }


def main() -> None:
    """Measure all photos and write the table."""
    shared = Path(sys.argv[1])
    rows = []
    with CowNetwork() as network:
        version = network.card.version
        for path, squeezed in photos(shared):
            if (row := measure(network, path, squeezed)) is not None:
                rows.append((squeezed, row))
    arch = np.array([r["arch"] for _, r in rows]), np.array([r["arch_se"] for _, r in rows])
    heads = [(r["head"], r["head_se"]) for _, r in rows if np.isfinite(r["head"])]
    plain = [r for squeezed, r in rows if not squeezed]
    table = {
        "network": version,
        "back_arch": spread(*arch),
        "back_arch_unsqueezed_only": spread(
            np.array([r["arch"] for r in plain]), np.array([r["arch_se"] for r in plain])
        ),
        "head_height_ratio": spread(*(np.array(column) for column in zip(*heads, strict=True))),
    }
    OUT.write_text(json.dumps(table, indent=1) + "\n", "utf-8")
    print(json.dumps(table, indent=1))


if __name__ == "__main__":
    main()
