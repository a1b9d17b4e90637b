"""Fresh renders to check on: cows, coats and backgrounds that no training picture used.

Rendered cows from seeds of their own before the pictures kept for testing. Run
``python -m models.training.fresh DATA.npz EXTRA_PICTURES OUT.npz [COUNT]``.
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
import torch

from models.training import lens, scene
from models.training.album import Album
from models.training.dataset import SCENE_SIDE
from models.training.dataset_names import pictures_kept_for_testing
from models.training.render import draw_cows

SEED, BATCH = 9002, 8


def main(data: Path, extra: Path, out: Path, count: int = 96) -> None:
    """Write pictures, landmarks, weights and silhouettes."""
    torch.manual_seed(SEED)
    album = Album(data, "cpu", points=160_000)
    paths = pictures_kept_for_testing(extra)
    unseen = np.stack(
        [cv2.resize(cv2.imread(str(p)), (SCENE_SIDE, SCENE_SIDE))[..., ::-1] for p in paths]
    )
    backdrop = torch.from_numpy(unseen.copy()).permute(0, 3, 1, 2)
    nobody = scene.PhotoSetting(
        photo=torch.zeros(0, 3, 384, 640), valid=torch.zeros(0, 4), others=torch.zeros(0, 6, 4)
    )
    kept: dict[str, list[np.ndarray]] = {k: [] for k in ("image", "points", "weight", "mask")}
    with torch.no_grad():
        for _ in range(-(-count // BATCH)):
            cows = draw_cows(album.rig, BATCH)
            behind = lens.backgrounds(backdrop, BATCH)
            scenes = scene.looks(cows, scene.pyramid(cows.rgba), cows.box, behind, nobody)
            image = lens.photograph(scenes.image)
            kept["image"].append((image * 255).byte().permute(0, 2, 3, 1).numpy())
            kept["points"].append(scenes.points.numpy())
            kept["weight"].append(scenes.weight.numpy())
            kept["mask"].append((scenes.silhouette[:, 0] > 0.5).numpy())
    np.savez_compressed(out, **{k: np.concatenate(v)[:count] for k, v in kept.items()})


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:4]), *map(int, sys.argv[4:5]))
