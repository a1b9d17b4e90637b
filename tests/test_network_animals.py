"""Pictures of other animals for training and testing, taken out of unpacked packages."""

from __future__ import annotations

import cv2
import numpy as np

from models.training.animals import (
    ALBUMS,
    CUTOUT_HEIGHT,
    CUTOUT_WIDTH,
    SORTS,
    STAMPS,
    carve_photos,
    copy_cutouts,
    fit_cutout,
)


def plain(grey, channels=3):
    return np.full((40, 60, channels), grey, np.uint8)


def test_photos_are_carved_out_of_a_resource_file(tmp_path):
    folder = tmp_path / "usr/share/gcompris-qt/rcc"
    folder.mkdir(parents=True)
    photos = [cv2.imencode(".webp", plain(grey))[1].tobytes() for grey in (30, 90, 200)]
    sound = b"RIFF\x10\x00\x00\x00WAVE" + bytes(8)
    for album in ALBUMS:
        (folder / f"{album}.rcc").write_bytes(b"qres" + sound + b"??".join(photos) + b"end")
    # The second photo of the first album is the one with a cow.
    assert carve_photos(tmp_path, tmp_path / "out") == 5
    first, third = (cv2.imread(str(tmp_path / f"out/{ALBUMS[0]}_{n:02d}.jpg")) for n in (0, 2))
    assert abs(int(first.mean()) - 30) <= 2
    assert abs(int(third.mean()) - 200) <= 2


def test_cutouts_leave_out_cattle_and_what_has_no_outline(tmp_path):
    folder = tmp_path / STAMPS / SORTS[0]
    (folder / "cartoon").mkdir(parents=True)
    for name, channels in (("goat", 4), ("cow", 4), ("horse", 3), ("cartoon/pig", 4)):
        cv2.imwrite(str(folder / f"{name}.png"), plain(90, channels))
    assert copy_cutouts(tmp_path, tmp_path / "out") == 1
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["goat.png"]


def test_a_cutout_keeps_its_colour_to_its_very_edge():
    rgba = np.zeros((30, 50, 4), np.uint8)
    rgba[..., :3] = (250, 10, 250)  # what nobody sees must not bleed into what is seen
    rgba[8:22, 10:40] = (60, 120, 180, 255)
    canvas = fit_cutout(rgba).astype(float)
    assert canvas.shape == (CUTOUT_HEIGHT, CUTOUT_WIDTH, 4)
    seen = canvas[..., 3] > 60
    colour = canvas[seen][:, :3] / (canvas[seen][:, 3:] / 255)
    assert np.allclose(colour, (60, 120, 180), atol=5)
