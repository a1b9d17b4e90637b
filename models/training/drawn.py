"""Single frames of the drawn cow of ``synthetic_clips``, as a small share of the training.

The seeds are those that package keeps for training. Run
``python -m models.training.drawn OUT_FOLDER [COUNT]``.
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np

from synthetic_clips.draw import studio
from synthetic_clips.recipes import TRAINING_FIRST_SEED, random_scene

FRAMES_TRIED = (0.5, 0.4, 0.6, 0.3, 0.7)
HEIGHT = 540
HIDDEN_WEIGHT = 0.8


def main(out: Path, count: int = 60) -> None:
    """Draw one frame a scene with the whole cow in it, and its truth."""
    out.mkdir(parents=True, exist_ok=True)
    points, weights, number = [], [], 0
    for seed in range(TRAINING_FIRST_SEED, TRAINING_FIRST_SEED + 2 * count):
        scene = random_scene(seed, height=HEIGHT)
        stage = studio(scene)
        for share in FRAMES_TRIED:
            image, truth = stage.draw(share * scene.duration_s, masks=True)
            whole = [c for c in truth.cows if c.whole and c.mask is not None]
            if len(truth.cows) == 1 and whole:
                cow = whole[0]
                cv2.imwrite(str(out / f"{number:03d}.png"), image)
                cv2.imwrite(str(out / f"{number:03d}_mask.png"), cow.mask)
                points.append(cow.points)
                weights.append(np.where(cow.visible == 2, 1.0, HIDDEN_WEIGHT))
                number += 1
                break
        if number >= count:
            break
    np.savez(out / "truth.npz", points=np.array(points), weight=np.array(weights))
    print(f"{number} drawn frames")


if __name__ == "__main__":
    main(Path(sys.argv[1]), *map(int, sys.argv[2:3]))
