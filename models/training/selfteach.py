"""Use a trained network to better its own teaching material.

On each chosen photo without hand annotations the network looks twice, once at the mirror
image. Landmarks on which both looks agree and are sure become labels with the weight of that
sureness; legs through sure hocks, fetlocks and hooves seed GrabCut, because the teacher loses
thin and white lower legs.

Run ``python -m models.training.selfteach SHARED_DATA TEACHER_FOLDER MODEL.tflite SHEET_FOLDER``;
look at the sheets and list what is wrong in ``photos.json`` under ``wrong``.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from gait.landmarks import INDEX, LANDMARKS, SIDES
from models.training.architecture import (
    INPUT_HEIGHT,
    INPUT_WIDTH,
    OUTPUT_STRIDE,
    PIXEL_MEAN,
    PIXEL_SPREAD,
    SILHOUETTE,
    unfolded,
)
from models.training.teacher import CROP_GROWTH, outline

HERE = Path(__file__).resolve().parent
SURE = 0.45
AGREE = 0.035
"""Two looks may differ by this share of the box width."""
FULL_WEIGHT = 0.8
WORK_SIDE = 520
LEG_CHAINS = (("carpus", "fore_fetlock", "fore_hoof"), ("hock", "hind_fetlock", "hind_hoof"))

Array = NDArray[Any]


class Looker:
    """The network through LiteRT, on one crop at a time.

    Parameters
    ----------
    model : Path
    """

    def __init__(self, model: Path) -> None:
        from ai_edge_litert.interpreter import Interpreter

        self._net = Interpreter(str(model), num_threads=1)
        self._net.allocate_tensors()
        self._input = self._net.get_input_details()[0]["index"]
        self._output = self._net.get_output_details()[0]["index"]

    def maps(self, bgr: Array) -> Array:
        """Return the maps (96, 160, 24) of a picture of the network's size."""
        rgb = cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB).astype(np.float32)
        self._net.set_tensor(self._input, ((rgb - PIXEL_MEAN) / PIXEL_SPREAD)[None])
        self._net.invoke()
        return unfolded(np.asarray(self._net.get_tensor(self._output)[0]))


def crop_affine(box: Array) -> Array:
    """Return the affine map (2, 3) from photo px to the network's picture for a box."""
    size = (box[2:4] - box[:2]) * (1 + 2 * CROP_GROWTH)
    scale = min(INPUT_WIDTH / size[0], INPUT_HEIGHT / size[1])
    centre = np.array([INPUT_WIDTH - 1, INPUT_HEIGHT - 1]) / 2
    return np.c_[np.eye(2) * scale, centre - scale * (box[:2] + box[2:4]) / 2]


def peaks(maps: Array) -> tuple[Array, Array]:
    """Return places (18, 2) in picture px and heights (18,) of the landmark maps."""
    places, heights = np.zeros((len(LANDMARKS), 2)), np.zeros(len(LANDMARKS))
    for k in range(len(LANDMARKS)):
        hill = maps[..., k]
        row, column = np.unravel_index(int(hill.argmax()), hill.shape)
        heights[k] = hill[row, column]
        ys = np.arange(max(0, row - 2), min(hill.shape[0], row + 3))
        xs = np.arange(max(0, column - 2), min(hill.shape[1], column + 3))
        share = np.clip(hill[np.ix_(ys, xs)], 1e-6, None) ** 2
        share /= share.sum()
        places[k] = share.sum(0) @ xs, share.sum(1) @ ys
    return places * OUTPUT_STRIDE + (OUTPUT_STRIDE - 1) / 2, heights


def sure_landmarks(looker: Looker, image: Array, box: Array) -> tuple[Array, Array, Array]:
    """Return landmarks (18, 2) in photo px, weights (18,; NaN unsure) and silhouette logits."""
    affine = crop_affine(box)
    crop = cv2.warpAffine(image, affine, (INPUT_WIDTH, INPUT_HEIGHT), borderValue=(127, 127, 127))
    maps = looker.maps(crop)
    straight, height = peaks(maps)
    mirrored, height_mirrored = peaks(looker.maps(np.ascontiguousarray(crop[:, ::-1])))
    mirrored[:, 0] = INPUT_WIDTH - 1 - mirrored[:, 0]
    apart = np.linalg.norm(straight - mirrored, axis=1)
    sure = np.minimum(height, height_mirrored)
    good = (sure > SURE) & (apart < AGREE * INPUT_WIDTH)
    weight = np.where(good, np.clip(sure / 0.8, 0.6, 1) * FULL_WEIGHT, np.nan)
    middle = (straight + mirrored) / 2
    points = (middle - affine[:, 2]) / affine[0, 0]
    return points, weight, maps[..., SILHOUETTE]


def leg_lines(points: Array, weight: Array) -> list[Array]:
    """Return the surely seen legs as lines, as far as each chain is sure from the top."""
    lines = []
    for side in SIDES:
        for chain in LEG_CHAINS:
            rows = [INDEX[f"{side}_{p}"] for p in chain]
            known = ~np.isnan(weight[rows])
            if known.all():
                lines.append(points[rows].astype(np.float32))
    return lines


def redraw(image: Array, box: Array, mask: Array, logits: Array, lines: list[Array]) -> Array:
    """Outline again from teacher and network together, with the legs as seeds.

    Returns
    -------
    (h, w) uint8
        0 or 1. Where it would lose much of what teacher and network agree on, that is kept.
    """
    affine = crop_affine(box)
    scale = WORK_SIDE / max(box[2] - box[0], box[3] - box[1]) / (1 + 2 * CROP_GROWTH)
    x0, y0 = np.maximum(0, (box[:2] - CROP_GROWTH * (box[2:4] - box[:2])).astype(int))
    x1, y1 = np.minimum(
        image.shape[1::-1], (box[2:4] + CROP_GROWTH * (box[2:4] - box[:2])).astype(int) + 1
    )
    back = cv2.invertAffineTransform(affine)
    back[:, :2] *= OUTPUT_STRIDE
    back[:, 2] += (OUTPUT_STRIDE - 1) / 2 / affine[0, 0]
    seen = cv2.warpAffine(logits, back, image.shape[1::-1], borderValue=-9.0)
    both = (((mask > 0) & (seen > -3)) | (seen > 0)).astype(np.uint8)
    piece = cv2.resize(image[y0:y1, x0:x1], None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    coarse = cv2.resize(both[y0:y1, x0:x1], piece.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    fine = outline(piece, coarse, [(line - (x0, y0)) * scale for line in lines])
    agreed = cv2.resize(
        ((mask > 0) & (seen > 0)).astype(np.uint8)[y0:y1, x0:x1],
        piece.shape[1::-1],
        interpolation=cv2.INTER_NEAREST,
    )
    if (fine & agreed).sum() < 0.97 * agreed.sum():
        fine = fine | agreed
    soft = cv2.resize(
        fine.astype(np.float32), (int(x1 - x0), int(y1 - y0)), interpolation=cv2.INTER_AREA
    )
    out = np.zeros(image.shape[:2], np.uint8)
    out[y0:y1, x0:x1] = soft > 0.5
    return out


def main(shared_data: Path, teacher: Path, model: Path, sheets: Path) -> None:
    """Write sure landmarks and redrawn masks beside the teacher's, and sheets to look at."""
    looker = Looker(model)
    taught = json.loads((teacher / "teacher.json").read_text())
    chosen = json.loads((HERE / "photos.json").read_text())["kept"]
    (teacher / "redrawn").mkdir(exist_ok=True)
    names, points, weights, tiles = [], [], [], []
    for name in chosen:
        found = taught[name]
        image = cv2.imread(str(shared_data / name))
        mask = (cv2.imread(str(teacher / found["mask"]), 0) > 0).astype(np.uint8)
        rows, columns = np.nonzero(mask.any(1))[0], np.nonzero(mask.any(0))[0]
        box = np.array([columns[0], rows[0], columns[-1] + 1, rows[-1] + 1], float)
        place, weight, logits = sure_landmarks(looker, image, box)
        drawn = redraw(image, box, mask, logits, leg_lines(place, weight))
        cv2.imwrite(str(teacher / "redrawn" / Path(found["mask"]).name), drawn * 255)
        names.append(name)
        points.append(place)
        weights.append(weight)
        tiles.append(_tile(image, drawn, place, weight, Path(found["mask"]).stem))
    np.savez(
        teacher / "sure_landmarks.npz", name=names, points=np.array(points, np.float32),
        weight=np.array(weights, np.float32),
    )  # fmt: skip
    _write_sheets(tiles, sheets)
    print(f"{np.mean(~np.isnan(weights)):.2f} of landmarks sure on {len(names)} photos")


def _tile(image: Array, mask: Array, points: Array, weight: Array, label: str) -> Array:
    tile = image.copy()
    tile[mask == 0] = tile[mask == 0] // 3 + np.array([80, 0, 80], np.uint8)
    tile = cv2.resize(tile, (240, 240), interpolation=cv2.INTER_AREA)
    scale = (240 / image.shape[1], 240 / image.shape[0])
    for k, (place, known) in enumerate(zip(points * scale, weight, strict=True)):
        if not np.isnan(known):
            colour = (0, 255, 0) if k < 6 else (0, 0, 255) if k % 2 == 0 else (255, 80, 0)
            cv2.circle(tile, (round(place[0]), round(place[1])), 3, colour, -1)
    cv2.putText(tile, label, (3, 14), 0, 0.45, (0, 255, 255), 1)
    return tile


def _write_sheets(tiles: list[Array], folder: Path, columns: int = 10, rows: int = 6) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    each = columns * rows
    for start in range(0, len(tiles), each):
        part = tiles[start : start + each]
        part += [np.zeros_like(tiles[0])] * (each - len(part))
        lines = [np.hstack(part[r * columns : (r + 1) * columns]) for r in range(rows)]
        cv2.imwrite(str(folder / f"sheet{start // each}.png"), np.vstack(lines))


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:5]))
