"""Pictures of animals other than cows, from two Debian packages, so as to tell them from cows.

Cut-outs to train on come from tuxpaint-stamps-default, photos to test on from gcompris-qt-data;
unpack both with ``dpkg-deb -x`` into one folder. Run
``python -m models.training.animals UNPACKED PICTURES/animals``.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

STAMPS = "usr/share/tuxpaint/stamps"
SORTS = ("animals/mammals", "animals/marsupials", "people")
LEFT_OUT = {"cartoon", "toys", "body_parts", "aquatic", "rodents", "apes"}
"""Folders that are no photos, or whose animals are shaped like no cow."""
CATTLE = {"cow", "cow_white", "bull", "bison", "yak", "zebu"}
CUTOUT_WIDTH, CUTOUT_HEIGHT = 240, 144
"""Few were larger from the start."""
ALBUMS = ("explore_farm_animals", "explore_world_animals")
PHOTOS_WITH_CATTLE = {"explore_farm_animals_01", "explore_world_animals_10"}
"""A Friesian cow, and bison: whether those are cows is not for the network to say."""


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
    print(f"{cut} cut-outs, {carve_photos(unpacked, folder / 'photos')} photos")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:3]))
