"""Pictures of animals other than cows, so as to tell them from cows.

Unpack into one folder, with ``dpkg-deb -x`` or as archives, without running anything in them:

* to train on: Debian's tuxpaint-stamps-default (cut-outs), darknet, opencv-doc, tuxpaint-data and
  libvigraimpex-doc (photos);
* to test on: Debian's gcompris-qt-data; of PyPI grad-cam 1.4.8, pybioclip 2.1.6 and biodex 1.0.3
  (sources), gradio 6.31.0 and foolbox 3.3.1 (wheels).

Run ``python -m models.training.animals UNPACKED PICTURES/animals``.
"""

from __future__ import annotations

import base64
import json
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

STAMPS = "usr/share/tuxpaint/stamps"
SORTS = ("animals/mammals", "animals/marsupials", "people")
LEFT_OUT = {"cartoon", "toys", "body_parts"}
"""Folders that hold no photos of animals."""
CATTLE = {"cow", "cow_white", "bull", "bison", "yak", "zebu"}
CUTOUT_WIDTH, CUTOUT_HEIGHT = 240, 144
"""Few were larger from the start."""
ALBUMS = ("explore_farm_animals", "explore_world_animals")
PHOTOS_WITH_CATTLE = {"explore_farm_animals_01", "explore_world_animals_10"}
"""A Friesian cow, and bison: whether those are cows is not for the network to say."""
TEST_FILES = (
    "grad-cam-1.4.8/examples/horses.jpg", "grad-cam-1.4.8/examples/dogs.png",
    "gradio/media_assets/images/cheetah.jpg", "gradio/media_assets/images/cheetah1.jpg",
    "gradio/media_assets/images/lion.jpg", "foolbox/data/imagenet_00_243.jpg",
    "foolbox/data/imagenet_16_251.jpg", "biodex-1.0.3/examples/sample.jpg",
)  # fmt: skip
TEST_NOTEBOOKS = (
    "pybioclip-2.1.6/examples/iNaturalistPredict.ipynb",
    "pybioclip-2.1.6/examples/PredictImages.ipynb",
)
"""Notebooks with a photo among their outputs: horses, a bear."""
DATA, TUTORIALS = "usr/share/darknet/data", "usr/share/doc/opencv-doc/opencv4/html"
SCENES: dict[str, tuple[tuple[int, int, int, int], ...]] = {
    f"{DATA}/horses.jpg": ((0, 0, 773, 512), (0, 150, 330, 470), (180, 150, 470, 470),
                           (380, 150, 690, 470)),
    f"{DATA}/person.jpg": ((0, 0, 640, 424), (350, 100, 640, 400)),
    f"{DATA}/giraffe.jpg": ((0, 0, 500, 500), (230, 190, 500, 480)),
    f"{DATA}/dog.jpg": ((0, 0, 768, 576),),
    f"{TUTORIALS}/Template_Matching_Template_Theory_Sliding.jpg": ((26, 22, 300, 251),
                                                                   (26, 110, 190, 248)),
    f"{TUTORIALS}/Remap_Tutorial_Result_2.jpg": ((0, 14, 300, 193),),
    "usr/share/doc/opencv-doc/examples/data/chicky_512.png": ((0, 0, 512, 512),),
    "usr/share/doc/libvigraimpex-dev/html/bears.jpg": ((0, 0, 481, 321), (0, 20, 330, 260)),
    "usr/share/tuxpaint/templates/sheep.jpg": ((130, 310, 330, 445), (450, 320, 660, 430),
                                               (780, 330, 970, 440), (130, 300, 970, 500)),
}  # fmt: skip
"""Photos to train on and what is cut out of each: x0, y0, x1, y1 in px."""


def copy_cutouts(unpacked: Path, folder: Path) -> int:
    """Copy the photographed stamps that have an outline and are no cattle; return how many."""
    folder.mkdir(parents=True, exist_ok=True)
    count = 0
    for sort in SORTS:
        stamps = unpacked / STAMPS / sort
        for path in sorted(stamps.rglob("*.png")):
            image = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
            outlined = image.ndim == 3 and image.shape[2] == 4
            if (
                outlined
                and path.stem not in CATTLE
                and not LEFT_OUT & {*path.relative_to(stamps).parts}
            ):
                (folder / path.name).write_bytes(path.read_bytes())
                count += 1
    return count


def fit_cutout(rgba: NDArray[Any]) -> NDArray[Any]:
    """Return a cut-out set into the middle of a canvas, its colours times its cover."""
    canvas = np.zeros((CUTOUT_HEIGHT, CUTOUT_WIDTH, 4), np.uint8)
    whole = np.dstack([rgba[..., :3] * (rgba[..., 3:] / 255), rgba[..., 3:]]).astype(np.uint8)
    scale = 0.94 * min(CUTOUT_WIDTH / rgba.shape[1], CUTOUT_HEIGHT / rgba.shape[0])
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    small = cv2.resize(whole, None, fx=scale, fy=scale, interpolation=way)
    y, x = (CUTOUT_HEIGHT - small.shape[0]) // 2, (CUTOUT_WIDTH - small.shape[1]) // 2
    canvas[y : y + small.shape[0], x : x + small.shape[1]] = small
    return canvas


def carve_photos(unpacked: Path, folder: Path) -> int:
    """Write the WebP photos inside two resource files as JPEG; return how many."""
    folder.mkdir(parents=True, exist_ok=True)
    count = 0
    for album in ALBUMS:
        data = (unpacked / f"usr/share/gcompris-qt/rcc/{album}.rcc").read_bytes()
        for number, start in enumerate(_webp_starts(data)):
            name = f"{album}_{number:02d}"
            size = 8 + int.from_bytes(data[start + 4 : start + 8], "little")
            photo = cv2.imdecode(np.frombuffer(data[start : start + size], np.uint8), 1)
            if photo is not None and name not in PHOTOS_WITH_CATTLE:
                cv2.imwrite(str(folder / f"{name}.jpg"), photo)
                count += 1
    return count


def copy_test_photos(unpacked: Path, folder: Path) -> int:
    """Copy the photos kept for testing that lie open or in a notebook; return how many."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in TEST_FILES:
        (folder / name.replace("/", "_")).write_bytes((unpacked / name).read_bytes())
    for name in TEST_NOTEBOOKS:
        cells = json.loads((unpacked / name).read_text(encoding="utf-8"))["cells"]
        shown = [o.get("data", {}) for cell in cells for o in cell.get("outputs", [])]
        first = next(d["image/jpeg"] for d in shown if "image/jpeg" in d)
        photo = folder / f"{Path(name).stem}.jpg"
        photo.write_bytes(base64.b64decode(first))
    return len(TEST_FILES) + len(TEST_NOTEBOOKS)


def cut_scenes(unpacked: Path, folder: Path) -> int:
    """Write what is cut out of the photos to train on; return how many pictures."""
    folder.mkdir(parents=True, exist_ok=True)
    count = 0
    for name, pieces in SCENES.items():
        photo = cv2.imread(str(unpacked / name))
        for x0, y0, x1, y1 in pieces:
            piece = folder / f"{Path(name).stem}_{x0}_{y0}.png"
            cv2.imwrite(str(piece), photo[y0:y1, x0:x1])
            count += 1
    return count


def _webp_starts(data: bytes) -> list[int]:
    starts, at = [], data.find(b"RIFF")
    while at >= 0:
        if data[at + 8 : at + 12] == b"WEBP":
            starts.append(at)
        at = data.find(b"RIFF", at + 4)
    return starts


def main(unpacked: Path, folder: Path) -> None:
    """Fill the folder with cut-outs and photos."""
    cut = copy_cutouts(unpacked, folder / "cutouts")
    scenes = cut_scenes(unpacked, folder / "scenes")
    test = carve_photos(unpacked, folder / "photos") + copy_test_photos(unpacked, folder / "photos")
    print(f"to train on {cut} cut-outs and {scenes} photos, to test on {test} photos")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:3]))
