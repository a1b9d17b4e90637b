"""Measure the shipped network and write the figures onto its card.

All figures are had through ``gait.pose.CowNetwork``, as the product uses it. Run
``python -m models.training.evaluate SHARED_DATA EXTRA_PICTURES FRESH.npz [SHEET.png]``; with the
single word ``speed`` only the speed is measured again, best when nothing else runs.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import combinations
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from gait.landmarks import INDEX, LANDMARKS
from gait.pose import Box, CarefulNetwork, CowNetwork, Sighting
from models.training.annotated import (
    agreed_points,
    all_readings,
    polygon_mask,
    read_annotations,
)
from models.training.dataset_names import TEST_ANIMALS, pictures_kept_for_testing

MODELS = Path(__file__).resolve().parent.parent
BODY_LENGTH = 1.4
"""Shoulder to pin bone in trunk lengths (withers to tailhead)."""
WITHIN = 0.05
TELLING = 0.08
"""Near and far are judged where both are seen and this many trunk lengths apart."""
GROUPS = {
    "back_and_head": LANDMARKS[:6],
    "hooves": tuple(n for n in LANDMARKS if n.endswith("hoof")),
    "joints": tuple(n for n in LANDMARKS if n.endswith(("carpus", "fetlock", "hock"))),
}
OUTLINE_BAND, OUTLINE_LEVELS, OUTLINE_SHARE = 9, 8.0, 0.6
"""An outline shows where 60 % of it has 8 of 255 grey levels between the sides, over 9 px."""
SPEED_FRAMES = 120

Array = NDArray[Any]


def mask_box(mask: Array) -> Box:
    """Return the box around a mask, px."""
    rows, columns = np.nonzero(mask.any(1))[0], np.nonzero(mask.any(0))[0]
    return Box(
        x0=float(columns[0]), y0=float(rows[0]), x1=float(columns[-1] + 1),
        y1=float(rows[-1] + 1),
    )  # fmt: skip


def overlap(a: Array, b: Array) -> float:
    """Return the intersection of two masks over their union."""
    return float((a & b).sum() / max(1, (a | b).sum()))


def judge(sighting: Sighting, mask: Array, points: Array, weight: Array) -> dict[str, Any]:
    """Compare one sighting with the truth.

    Returns
    -------
    dict
        ``iou``; ``error`` (18,) in trunk lengths, NaN where no truth is given; ``sides`` list
        of bool, one for each pair of leg points that can be told apart.
    """
    trunk = float(np.linalg.norm(points[INDEX["withers"]] - points[INDEX["tailhead"]]))
    error = np.linalg.norm(sighting.points - points, axis=1) / trunk
    error[np.isnan(weight) | (weight == 0)] = np.nan
    sides = []
    for near in range(6, 18, 2):
        far = near + 1
        apart = np.linalg.norm(points[near] - points[far]) / trunk
        if weight[near] == 1 and weight[far] == 1 and apart > TELLING:
            seen = sighting.points

            def off(a: int, b: int, seen: Array = seen) -> float:
                return float(np.linalg.norm(seen[a] - points[b]))

            sides.append(off(near, near) + off(far, far) < off(near, far) + off(far, near))
    seen_mask = sighting.silhouette.mask(mask.shape) > 0
    return {"iou": overlap(seen_mask, mask > 0), "error": error, "sides": sides}


def summary(judged: list[dict[str, Any]]) -> dict[str, float]:
    """Return the figures of a set of judged sightings."""
    errors = np.array([j["error"] for j in judged])
    sides = [s for j in judged for s in j["sides"]]
    out = {"pictures": len(judged), "iou": float(np.mean([j["iou"] for j in judged]))}
    out["iou_least"] = min(j["iou"] for j in judged)
    for name, marks in GROUPS.items():
        part = errors[:, [INDEX[m] for m in marks]]
        known = part[~np.isnan(part)]
        out[f"{name}_within_5_pct"] = float((known < WITHIN * BODY_LENGTH).mean())
        out[f"{name}_within_5_pct_strict"] = float((known < WITHIN).mean())
    known = errors[~np.isnan(errors)]
    out["all_within_5_pct"] = float((known < WITHIN * BODY_LENGTH).mean())
    if sides:
        out["near_far_right"], out["near_far_pairs"] = float(np.mean(sides)), len(sides)
    return {k: round(v, 4) for k, v in out.items()}


def on_photos(network: CowNetwork, shared_data: Path, sheet: Path | None) -> dict[str, Any]:
    """Figures on the held-back photos.

    Looked at in the true box; found and looked at; found and looked at ten times, as the product
    does with a photo.
    """
    given, found, careful, names, tiles = [], [], [], [], []
    wanted = [a for a in read_annotations() if a["split"] == "test"]
    for a in wanted:
        image = np.asarray(cv2.imread(str(shared_data / a["file"])), np.uint8)
        mask = polygon_mask(a, image.shape)
        points, weight = agreed_points(a)
        box = mask_box(mask)
        sighting = network.look(image, box)
        given.append(judge(sighting, mask, points, weight))
        names.append(a["file"])
        best = max(network.find(image), key=box.iou, default=None)
        if best is not None and best.iou(box) > 0.5:
            found.append(judge(network.look(image, best), mask, points, weight))
            careful.append(judge(CarefulNetwork(network).look(image, best), mask, points, weight))
        tiles.append(_tile(image, sighting, mask, points, weight))
    if sheet:
        _write_sheet(tiles, sheet)
    rails = [j for j, n in zip(given, names, strict=True) if "lane_rails" in n]
    return {
        "held_back_photos": summary(given),
        "held_back_lane_rails": summary(rails),
        "held_back_found": {"found_share": len(found) / len(wanted), **summary(found)},
        "held_back_as_photos_are_answered": summary(careful),
    }


def between_readers() -> dict[str, float]:
    """Share of back and head points on which two readers of a held-back photo agree.

    No network can be expected to agree with a reader more often than other readers do.
    """
    agreed = []
    for a in (a for a in read_annotations() if a["split"] == "test"):
        places = all_readings(a)
        withers, tailhead = (places[:, INDEX[n]] for n in ("withers", "tailhead"))
        length = BODY_LENGTH * float(np.linalg.norm(withers - tailhead, axis=1).mean())
        for one, other in combinations(places, 2):
            apart = np.linalg.norm(one - other, axis=1) / length
            agreed.append(apart[~np.isnan(apart)] < WITHIN)
    share = float(np.concatenate(agreed).mean())
    return {"pairs": len(agreed), "back_and_head_within_5_pct": round(share, 4)}


def outline_shows(image: Array, mask: Array) -> bool:
    """Tell whether most of a cow's outline differs in brightness from what is behind it."""
    grey = cv2.GaussianBlur(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY).astype(np.float32), (0, 0), 1.5)
    cow = mask.astype(np.float32)
    kernel = (OUTLINE_BAND, OUTLINE_BAND)

    def mean(part: Array) -> Array:
        return cv2.boxFilter(grey * part, -1, kernel) / (cv2.boxFilter(part, -1, kernel) + 1e-6)

    edge = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((3, 3))) > 0
    apart = np.abs(mean(cow) - mean(1 - cow))[edge]
    return bool((apart > OUTLINE_LEVELS).mean() > OUTLINE_SHARE)


def on_fresh(network: CowNetwork, path: Path) -> dict[str, dict[str, float]]:
    """Figures on fresh renders, and on those with a visible outline.

    The picture is already cut to the network's size. Some cows are black before black.
    """
    judged, clear = [], []
    with np.load(path) as fresh:
        data = {k: fresh[k] for k in fresh.files}
    height, width = data["image"].shape[1:3]
    growth = 1 + network.card.crop_growth
    centre = (width / 2, height / 2)
    half = (width / 2 / growth, height / 2 / growth)
    box = Box(x0=centre[0] - half[0], y0=centre[1] - half[1], x1=centre[0] + half[0],
              y1=centre[1] + half[1])  # fmt: skip
    for image, points, weight, mask in zip(
        data["image"], data["points"], data["weight"], data["mask"], strict=True
    ):
        weight = np.where(weight < 0.5, np.nan, weight)
        trunk_seen = not np.isnan(weight[[INDEX["withers"], INDEX["tailhead"]]]).any()
        if trunk_seen and mask.any():
            sighting = network.look(np.ascontiguousarray(image[..., ::-1]), box)
            judged.append(judge(sighting, mask, points, weight))
            if outline_shows(image, mask):
                clear.append(judged[-1])
    return {"fresh_renders": summary(judged), "fresh_renders_outline_shows": summary(clear)}


def cow_free(extra: Path) -> Iterator[Array]:
    """Give frames without a cow that training never used: whole pictures and pieces of them."""
    rng = np.random.default_rng(5)
    for path in pictures_kept_for_testing(extra):
        image = np.asarray(cv2.imread(str(path)), np.uint8)
        yield image
        h, w = image.shape[:2]
        for _ in range(12):
            share = rng.uniform(0.35, 0.9)
            ph, pw = int(h * share), int(min(w, h * share * 16 / 9))
            y, x = rng.integers(0, h - ph + 1), rng.integers(0, w - pw + 1)
            yield np.ascontiguousarray(image[y : y + ph, x : x + pw])


def pasted_animals(extra: Path) -> Iterator[Array]:
    """Give frames with an animal pasted in, neither of which training ever used."""
    rng = np.random.default_rng(5)
    pictures = pictures_kept_for_testing(extra)
    for name in TEST_ANIMALS:
        rgba = cv2.imread(str(extra / f"animals/cutouts/{name}.png"), cv2.IMREAD_UNCHANGED)
        for path in pictures:
            back = cv2.resize(cv2.imread(str(path)), (640, 360))
            yield _paste(back, rgba, rng)


def animal_photos(extra: Path) -> Iterator[Array]:
    """Give photos of other animals; training uses none."""
    for path in sorted((extra / "animals/photos").iterdir()):
        yield np.asarray(cv2.imread(str(path)), np.uint8)


def _paste(back: Array, rgba: Array, rng: np.random.Generator) -> Array:
    scale = rng.uniform(0.4, 0.9) * 360 / rgba.shape[0]
    small = cv2.resize(rgba, None, fx=scale, fy=scale)[:360, :640]
    h, w = small.shape[:2]
    y, x = 360 - h, int(rng.integers(0, 640 - w + 1))
    alpha = small[..., 3:] / 255
    out = back.copy()
    out[y : y + h, x : x + w] = small[..., :3] * alpha + out[y : y + h, x : x + w] * (1 - alpha)
    return out


def on_cow_free(network: CowNetwork, extra: Path) -> dict[str, Any]:
    """Share of cow-free frames, and of those with another animal, in which a cow is found."""
    things, pasted, photos = (
        [bool(network.find(image)) for image in frames(extra)]
        for frames in (cow_free, pasted_animals, animal_photos)
    )
    return {
        "frames": len(things),
        "false_cow_share": round(float(np.mean(things)), 4),
        "other_animal_frames": len(pasted),
        "other_animal_taken_for_cow_share": round(float(np.mean(pasted)), 4),
        "animal_photos": len(photos),
        "animal_photos_taken_for_cow": sum(photos),
    }


def on_footage(network: CowNetwork, shared_data: Path) -> dict[str, Any]:
    """On film of a camel and a goat: how often one is taken for a cow, and the overlap then."""
    out: dict[str, Any] = {}
    for name in ("camel", "goat"):
        folder = shared_data / "footage" / name
        overlaps, found = [], 0
        frames = sorted((folder / "frames").glob("*.jpg"))
        for path in frames:
            image = np.asarray(cv2.imread(str(path)), np.uint8)
            mask = cv2.imread(str(folder / "masks" / f"{path.stem}.png"), 0) > 0
            best = max(network.find(image), key=mask_box(mask).iou, default=None)
            if best is not None:
                found += 1
                seen = network.look(image, best).silhouette.mask(image.shape) > 0
                overlaps.append(overlap(seen, mask))
        out[name] = {
            "frames": len(frames),
            "found_share": round(found / len(frames), 4),
            "iou_where_found": round(float(np.mean(overlaps)), 4) if overlaps else None,
        }
    return out


def speed() -> dict[str, float]:
    """Frames a second of the network alone on one and on two tasks, and processor time a look.

    The rates are those of an otherwise idle machine only if it is idle; the processor time
    depends much less on what else runs.
    """
    frame = np.random.default_rng(0).integers(0, 255, (360, 640, 3), dtype=np.uint8)
    box = Box(x0=0, y0=0, x1=640, y1=360)
    out = {}
    for tasks in (1, 2):
        with CowNetwork(tasks=tasks) as network:
            network.look(frame, box)
            began, worked = time.perf_counter(), time.process_time()
            with ThreadPoolExecutor(tasks) as pool:
                list(pool.map(lambda _: network.look(frame, box), range(SPEED_FRAMES)))
            took, work = time.perf_counter() - began, time.process_time() - worked
        out[f"frames_per_second_{tasks}_tasks"] = round(SPEED_FRAMES / took, 1)
        out[f"processor_ms_a_look_{tasks}_tasks"] = round(1000 * work / SPEED_FRAMES, 1)
    return out


def _tile(image: Array, sighting: Sighting, mask: Array, points: Array, weight: Array) -> Array:
    scale = 400 / max(image.shape[:2])
    tile = cv2.resize(image, None, fx=scale, fy=scale)
    seen = cv2.resize(sighting.silhouette.mask(image.shape), tile.shape[1::-1])
    edges, _ = cv2.findContours((seen > 127).astype(np.uint8), cv2.RETR_EXTERNAL,
                                cv2.CHAIN_APPROX_NONE)  # fmt: skip
    cv2.drawContours(tile, edges, -1, (255, 255, 0), 1)
    for k, (at, true) in enumerate(zip(sighting.points, points, strict=True)):
        colour = (0, 255, 0) if k < 6 else (0, 0, 255) if k % 2 == 0 else (255, 80, 0)
        cv2.circle(tile, tuple(np.round(at * scale).astype(int).tolist()), 3, colour, -1)
        if not np.isnan(weight[k]):
            cross = tuple(np.round(true * scale).astype(int).tolist())
            cv2.drawMarker(tile, cross, (255, 255, 255), cv2.MARKER_CROSS, 7, 1)
    canvas = np.zeros((400, 400, 3), np.uint8)
    canvas[: tile.shape[0], : tile.shape[1]] = tile
    label = f"{overlap(sighting.silhouette.mask(image.shape) > 0, mask > 0):.2f}"
    cv2.putText(canvas, label, (4, 16), 0, 0.5, (0, 255, 255), 1)
    return canvas


def _write_sheet(tiles: list[Array], path: Path, columns: int = 6) -> None:
    tiles += [np.zeros_like(tiles[0])] * (-len(tiles) % columns)
    rows = [np.hstack(tiles[i : i + columns]) for i in range(0, len(tiles), columns)]
    cv2.imwrite(str(path), np.vstack(rows))


def _write(figures: dict[str, Any]) -> None:
    card_path = MODELS / "cow_side.json"
    card = json.loads(card_path.read_text())
    card["figures"] = {**card.get("figures", {}), **figures}
    card_path.write_text(json.dumps(card, indent=2) + "\n")
    print(json.dumps(figures, indent=1))


def main(shared_data: Path, extra: Path, fresh: Path, sheet: Path | None = None) -> None:
    """Measure everything and write it under ``figures`` on the card."""
    with CowNetwork() as network:
        figures = {
            **on_photos(network, shared_data, sheet),
            "between_readers": between_readers(),
            **on_fresh(network, fresh),
            "cow_free": on_cow_free(network, extra),
            "other_animals_on_film": on_footage(network, shared_data),
        }
    _write({**figures, "speed_two_cores": speed()})


if __name__ == "__main__":
    if sys.argv[1:] == ["speed"]:
        _write({"speed_two_cores": speed()})
    else:
        main(*map(Path, sys.argv[1:5]))
