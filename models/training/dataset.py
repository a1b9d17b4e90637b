"""Gather everything the training needs into one file: rig, photos, outlines, backgrounds.

Photos annotated for testing, and every photo that looks like one of them (mirrored copies are
common in the breed set), are left out of the file altogether.

Run ``python -m models.training.dataset SHARED_DATA TEACHER_FOLDER EXTRA_PICTURES OUT.npz``.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from gait.landmarks import LANDMARKS
from models.training.animals import fit_cutout
from models.training.annotated import (
    agreed_points,
    polygon_mask,
    read_alone,
    read_annotations,
    settle_back,
)
from models.training.dataset_names import TEST_ANIMALS, TEST_PICTURES
from models.training.rig import read_rig

HERE = Path(__file__).resolve().parent
CANVAS_WIDTH, CANVAS_HEIGHT = 480, 288
CONTEXT = 1.6
"""A canvas shows this many times the cow's box."""
SCENE_SIDE = 288
OTHER_COWS, FRAME_COWS = 6, 8
TAUGHT_BY_NETWORK = ("poll", "withers", "tailhead", "near_carpus", "near_fore_fetlock",
                     "near_fore_hoof", "near_hind_fetlock", "near_hind_hoof")  # fmt: skip
"""Landmarks taken over from an earlier network on photos that nobody annotated. When 113 of its
answers were corrected by eye, the others were wrong too often: far legs, hocks, last rib, hooks."""
HASH_SIDE, HASH_APART = 16, 46
"""Photos whose 16 x 16 gradient signs differ in fewer places are taken for copies."""
SURE_BOX = 0.5
DRAWN_SHARE, DRAWN_QUALITY = 0.15, 65
"""At a JPEG quality of 90 their grain alone would make the file half as large again."""

Array = NDArray[Any]


@dataclass
class Photos:
    """Canvases with outlines and landmarks, gathered one by one."""

    jpeg: list[bytes] = field(default_factory=list)
    mask: list[Array] = field(default_factory=list)
    points: list[Array] = field(default_factory=list)
    weight: list[Array] = field(default_factory=list)
    others: list[Array] = field(default_factory=list)
    valid: list[Array] = field(default_factory=list)
    share: list[float] = field(default_factory=list)
    name: list[str] = field(default_factory=list)


def looks(image: Array) -> list[Array]:
    """Return the gradient signs of a picture and of its mirror image."""
    grey = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
    small = cv2.resize(grey, (HASH_SIDE + 1, HASH_SIDE), interpolation=cv2.INTER_AREA)
    small = small.astype(np.int16)
    return [(np.diff(s, axis=1) > 0).ravel() for s in (small, small[:, ::-1])]


def is_copy(image: Array, known: list[Array]) -> bool:
    """Tell whether a picture, mirrored or not, looks like one of the known ones."""
    return any(int((look != k).sum()) < HASH_APART for look in looks(image) for k in known)


def add_photo(
    photos: Photos,
    image: Array,
    mask: Array,
    marks: tuple[Array, Array],
    others: Array,
    share: float,
    name: str,
    quality: int = 90,
) -> None:
    """Cut a canvas around the outlined cow and add it.

    Parameters
    ----------
    image : (h, w, 3) uint8, BGR
    mask : (h, w) uint8, 0 or 1
    marks : points (18, 2) px and weights (18,)
    others : (n, 4) boxes px of other cows
    share : how often the photo is shown, relative to others
    quality : of the JPEG it is kept as
    """
    rows, columns = np.nonzero(mask.any(1))[0], np.nonzero(mask.any(0))[0]
    middle = np.array([columns[[0, -1]].mean(), rows[[0, -1]].mean()])
    width = CONTEXT * max(np.ptp(columns) + 1, (np.ptp(rows) + 1) * CANVAS_WIDTH / CANVAS_HEIGHT)
    scale = CANVAS_WIDTH / width
    shift = np.array([CANVAS_WIDTH - 1, CANVAS_HEIGHT - 1]) / 2 - scale * middle
    affine = np.c_[np.eye(2) * scale, shift]
    size = (CANVAS_WIDTH, CANVAS_HEIGHT)
    way = cv2.INTER_AREA if scale < 0.7 else cv2.INTER_CUBIC
    canvas = _warp_sharp(image, affine, size, way)
    soft = _warp_sharp(mask.astype(np.float32), affine, size, cv2.INTER_LINEAR)
    points, weight = marks
    boxes = np.full((OTHER_COWS, 4), np.nan, np.float32)
    for row, box in enumerate(others[:OTHER_COWS]):
        boxes[row] = box * scale + np.tile(shift, 2)
    h, w = image.shape[:2]
    photos.jpeg.append(_jpeg(canvas, quality))
    photos.mask.append(np.packbits(soft > 0.5, axis=-1))
    photos.points.append((points * scale + shift).astype(np.float32))
    photos.weight.append(weight)
    photos.others.append(boxes)
    corners = np.array([0, 0, w - 1, h - 1]) * scale + np.tile(shift, 2)
    photos.valid.append(corners.astype(np.float32))
    photos.share.append(share)
    photos.name.append(name)


def _warp_sharp(image: Array, affine: Array, size: tuple[int, int], way: int) -> Array:
    """Warp; when shrinking, average first so that nothing flickers."""
    scale = float(affine[0, 0])
    if way == cv2.INTER_AREA:
        smaller = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        ratio = np.array([smaller.shape[1] / image.shape[1], smaller.shape[0] / image.shape[0]])
        affine = np.c_[np.diag(scale / ratio), affine[:, 2] + scale * (0.5 / ratio - 0.5)]
        image, way = smaller, cv2.INTER_LINEAR
    return cv2.warpAffine(image, affine, size, flags=way)


def _jpeg(image: Array, quality: int) -> bytes:
    return cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def _share(name: str) -> float:
    """Show the hard, true-to-life pictures more often."""
    return 8.0 if "lane_rails" in name else 4.0 if "yard" in name else 2.5


def _fill_in(image: Array, mask: Array) -> Array:
    side = max(5, image.shape[1] // 30) | 1
    wide = cv2.dilate(mask, np.ones((side, side), np.uint8))
    return cv2.inpaint(image, wide, 3, cv2.INPAINT_TELEA)


def _square(image: Array) -> bytes:
    return _jpeg(cv2.resize(image, (SCENE_SIDE, SCENE_SIDE), interpolation=cv2.INTER_AREA), 82)


def gather(shared_data: Path, teacher: Path) -> tuple[Photos, dict[str, list[Any]]]:
    """Return the canvases, and whole frames and backgrounds, free of test photos."""
    annotations = read_annotations()
    tests = [a for a in annotations if a["split"] == "test"]
    known = [k for a in tests for k in looks(cv2.imread(str(shared_data / a["file"])))[:1]]
    taught = json.loads((teacher / "teacher.json").read_text())
    photos = Photos()
    whole: dict[str, list[Any]] = {"frame": [], "frame_boxes": [], "frame_aspect": [], "bare": []}
    for a in annotations:
        if a["split"] != "train":
            continue
        image = cv2.imread(str(shared_data / a["file"]))
        mask = polygon_mask(a, image.shape)
        boxes = _boxes(taught.get(a["file"]))
        points, weight = agreed_points(a)
        if not a["near_far_sure"]:
            weight = -weight
        add_photo(
            photos, image, mask, (settle_back(points), weight), _without(boxes, mask),
            _share(a["file"]), a["file"],
        )  # fmt: skip
        if "lane_rails" in a["file"] or "yard" in a["file"]:
            whole["bare"].append(_square(_fill_in(image, mask)))
        _add_frame(whole, image, [_box(mask), *_without(boxes, mask)])
    by_hand = {a["file"] for a in annotations}
    chosen = set(json.loads((HERE / "photos.json").read_text())["kept"])
    pseudo = _read_pseudo(teacher)
    for name, found in taught.items():
        image = cv2.imread(str(shared_data / name))
        if name in by_hand or is_copy(image, known) or found is None:
            continue
        boxes = _boxes(found)
        _add_frame(
            whole, image, boxes[boxes[:, 4] > SURE_BOX, :4], boxes[boxes[:, 4] <= SURE_BOX, :4]
        )
        mask = _read_mask(teacher / found["mask"])
        if len(boxes) == 1:
            whole["bare"].append(_square(_fill_in(image, mask)))
        if name in chosen:
            mask = _better_mask(teacher, found["mask"], mask)
            marks = _marks(name, pseudo)
            add_photo(photos, image, mask, marks, _without(boxes, mask), 0.8, name)
    return photos, whole


def _marks(name: str, pseudo: dict[str, tuple[Array, Array]]) -> tuple[Array, Array]:
    """Return what is known of a photo without annotation: back and head by eye, legs by network."""
    points, weight = pseudo.get(name, (np.zeros((18, 2)), np.full(18, np.nan, np.float32)))
    read = read_alone(name)
    if read is None:
        return points, weight
    by_eye = ~np.isnan(read[1])
    points = np.where(by_eye[:, None], read[0], points)
    return settle_back(points), np.where(by_eye, read[1], weight).astype(np.float32)


def _read_mask(path: Path) -> Array:
    return (cv2.imread(str(path), 0) > 0).astype(np.uint8)


def _better_mask(teacher: Path, name: str, mask: Array) -> Array:
    """Return the mask redrawn with the network's help (``selfteach.py``), where there is one."""
    path = teacher / "redrawn" / Path(name).name
    return _read_mask(path) if path.exists() else mask


def add_drawn(photos: Photos, folder: Path) -> None:
    """Add frames of the drawn cow (``drawn.py``), where there are any."""
    if not (folder / "truth.npz").exists():
        return
    with np.load(folder / "truth.npz") as truth:
        marks = list(zip(truth["points"], truth["weight"], strict=True))
    nobody = np.zeros((0, 4), np.float32)
    for number, (points, weight) in enumerate(marks):
        image = cv2.imread(str(folder / f"{number:03d}.png"))
        mask = _read_mask(folder / f"{number:03d}_mask.png")
        known = (points.astype(np.float32), weight.astype(np.float32))
        add_photo(
            photos, image, mask, known, nobody, DRAWN_SHARE, f"drawn {number:03d}", DRAWN_QUALITY
        )


def _read_pseudo(teacher: Path) -> dict[str, tuple[Array, Array]]:
    """Landmarks that an earlier network was sure of (``selfteach.py``), where there are any."""
    path = teacher / "sure_landmarks.npz"
    if not path.exists():
        return {}
    doubtful = [i for i, n in enumerate(LANDMARKS) if n not in TAUGHT_BY_NETWORK]
    with np.load(path) as sure:
        weight = sure["weight"].copy()
        weight[:, doubtful] = np.nan
        return {
            str(n): (p, w) for n, p, w in zip(sure["name"], sure["points"], weight, strict=True)
        }


def _boxes(found: dict[str, Any] | None) -> Array:
    return np.asarray(found["boxes"] if found else np.zeros((0, 5)), np.float32).reshape(-1, 5)


def _box(mask: Array) -> Array:
    rows, columns = np.nonzero(mask.any(1))[0], np.nonzero(mask.any(0))[0]
    return np.array([columns[0], rows[0], columns[-1] + 1, rows[-1] + 1], np.float32)


def _without(boxes: Array, mask: Array) -> Array:
    """Boxes of cows other than the outlined one."""
    own = _box(mask)
    keep = []
    for box in boxes[:, :4]:
        w = min(box[2], own[2]) - max(box[0], own[0])
        h = min(box[3], own[3]) - max(box[1], own[1])
        overlap = max(0.0, w) * max(0.0, h)
        union = np.prod(box[2:] - box[:2]) + np.prod(own[2:] - own[:2]) - overlap
        if overlap / union < 0.5 and overlap < 0.8 * np.prod(box[2:] - box[:2]):
            keep.append(box)
    return np.array(keep, np.float32).reshape(-1, 4)


def _add_frame(whole: dict[str, list[Any]], image: Array, boxes: Any, unsure: Any = ()) -> None:
    """Add a whole photo; boxes as shares of its size, fifth column 1 sure or 0 to be ignored."""
    h, w = image.shape[:2]
    rows = np.full((FRAME_COWS, 5), np.nan, np.float32)
    every = [(b, 1) for b in boxes] + [(b, 0) for b in unsure]
    for row, (box, sure) in enumerate(every[:FRAME_COWS]):
        rows[row] = [*(np.asarray(box) / (w, h, w, h)).clip(0, 1), sure]
    whole["frame"].append(_square(image))
    whole["frame_boxes"].append(rows)
    whole["frame_aspect"].append(w / h)


def _pack(images: list[bytes]) -> tuple[Array, Array]:
    ends = np.cumsum([0, *map(len, images)])
    return np.frombuffer(b"".join(images), np.uint8), ends


def main(shared_data: Path, teacher: Path, extra: Path, out: Path) -> None:
    """Write the file the training reads."""
    photos, whole = gather(shared_data, teacher)
    add_drawn(photos, teacher.parent / "drawn")
    negatives, strange = _cow_free(extra)
    for path in sorted((extra / "animals/scenes").glob("*.png")):
        _add_frame(whole, cv2.imread(str(path)), [])
    arrays: dict[str, Array] = {f"rig_{k}": v for k, v in read_rig(
        shared_data / "cow_rig/cow_rig_walk.glb").items()}  # fmt: skip
    for key, images in (
        ("photo", photos.jpeg),
        ("frame", whole["frame"]),
        ("bare", whole["bare"]),
        ("negative", negatives),
    ):
        arrays[key], arrays[f"{key}_ends"] = _pack(images)
    for key in ("mask", "points", "weight", "others", "valid", "share", "name"):
        arrays[f"photo_{key}"] = np.array(getattr(photos, key))
    arrays["frame_boxes"] = np.array(whole["frame_boxes"])
    arrays["frame_aspect"] = np.array(whole["frame_aspect"], np.float32)
    arrays["strange"] = np.array(strange)
    out.parent.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(out, **arrays)
    counts = {k: len(arrays[f"{k}_ends"]) - 1 for k in ("photo", "frame", "bare", "negative")}
    known = int((~np.isnan(arrays["photo_weight"])).any(1).sum())
    bare = int(np.isnan(arrays["frame_boxes"]).all((1, 2)).sum())
    print(
        counts, f"{known} photos with landmarks, {len(strange)} cut-outs of other animals,",
        f"{bare} frames without a cow",
    )  # fmt: skip


def _cow_free(extra: Path) -> tuple[list[bytes], list[Array]]:
    """Pictures without cows, and cut-outs of other animals, less those kept for testing."""
    pictures, animals = [], []
    for path in sorted(extra.rglob("*")):
        if "animals" in path.relative_to(extra).parts:
            continue
        if path.suffix in (".png", ".jpg") and path.stem not in TEST_PICTURES:
            image = cv2.imread(str(path))
            if image is not None and min(image.shape[:2]) >= 128:
                pictures.append(_square(image))
    for path in sorted((extra / "animals/cutouts").glob("*.png")):
        if path.stem not in TEST_ANIMALS:
            bgra = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
            animals.append(fit_cutout(cv2.cvtColor(bgra, cv2.COLOR_BGRA2RGBA)))
    return pictures, animals


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:5]))
