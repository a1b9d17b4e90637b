"""Write the silhouettes of every frame as PNG masks."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from gait.track import Pass

Mask = npt.NDArray[np.uint8]
HALF = 127.5
"""Probability one half on the 0-255 scale."""


def write_silhouettes(passes: Sequence[Pass], folder: Path, *, frames: int) -> None:
    """Write one mask per frame of the clip: 0 background, 255 cow, all cows together.

    Parameters
    ----------
    passes : sequence of Pass
        Passes that kept their silhouettes.
    folder : Path
        Where ``000000.png`` and so on are written; made if missing.
    frames : int
        Number of frames of the clip; frames with no cow give an empty mask.
    """
    folder.mkdir(parents=True, exist_ok=True)
    if not passes:
        return
    at: dict[int, list[tuple[Pass, int]]] = {}
    for pass_ in passes:
        for i, index in enumerate(pass_.frame):
            at.setdefault(int(index), []).append((pass_, i))
    width, height = passes[0].image_size
    for index in range(frames):
        mask: Mask = np.zeros((height, width), np.uint8)
        for pass_, i in at.get(index, ()):
            mask |= frame_mask(pass_, i)
        cv2.imwrite(str(folder / f"{index:06d}.png"), mask)


def frame_mask(pass_: Pass, i: int) -> Mask:
    """Return the mask of one cow in one frame, uint8 (height, width), 0 or 255.

    Raises
    ------
    ValueError
        The pass did not keep its silhouettes.
    """
    if pass_.silhouettes is None or pass_.silhouette_to_frame is None:
        raise ValueError("This pass did not keep its silhouettes.")
    grid = pass_.silhouettes[i].astype(np.float32)
    full = cv2.warpAffine(grid, pass_.silhouette_to_frame[i], pass_.image_size)
    mask: Mask = np.where(full > HALF, 255, 0).astype(np.uint8)
    return mask
