"""Single frames of the drawn cow of ``synthetic_clips``, as a small share of the training.

The seeds are those that package keeps for training. Besides frames as they come, some are picked
out of many because the back hardly differs from what is behind it, and some show cows of scores 4
and 5, whose heads hang low and nod. Run
``python -m models.training.drawn OUT_FOLDER [COUNT] [HARD_COUNT] [LAME_COUNT]``.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, cycle, islice
from multiprocessing import Pool
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from gait.landmarks import INDEX
from synthetic_clips.draw import studio
from synthetic_clips.recipes import TRAINING_FIRST_SEED, random_scene

FRAMES_TRIED = (0.5, 0.4, 0.6, 0.3, 0.7)
HEIGHT = 540
HIDDEN_WEIGHT = 0.8
HARD_FIRST_SEED, TRIED_FOR_ONE_HARD = TRAINING_FIRST_SEED + 2000, 10
ASIDE_PX, FAINT_SHARE = 5, 0.25
LAME_FIRST_SEED, LAME_SCORES = TRAINING_FIRST_SEED + 6000, (4, 5)

Array = NDArray[Any]


@dataclass(frozen=True, kw_only=True)
class DrawnFrame:
    """A frame with all of one cow in it: BGR picture, mask, landmarks (18, 2) px and weights."""

    image: Array
    mask: Array
    points: Array
    weight: Array


def draw_frame(seed: int, score: int | None = None) -> DrawnFrame | None:
    """Draw a frame of a scene, or nothing when the whole cow never shows alone."""
    scene = random_scene(seed, score=score, height=HEIGHT)
    stage = studio(scene)
    for share in FRAMES_TRIED:
        image, truth = stage.draw(share * scene.duration_s, masks=True)
        whole = [c for c in truth.cows if c.whole and c.mask is not None]
        if len(truth.cows) == 1 and whole:
            cow = whole[0]
            weight = np.where(cow.visible == 2, 1.0, HIDDEN_WEIGHT)
            return DrawnFrame(image=image, mask=cow.mask, points=cow.points, weight=weight)
    return None


def contrast(frame: DrawnFrame) -> float:
    """Return by how much (CIELAB) the faintest quarter of the back differs from what is behind."""
    lab = cv2.cvtColor(frame.image.astype(np.float32) / 255, cv2.COLOR_BGR2LAB)
    lab = cv2.blur(lab, (5, 5))
    ends = frame.points[[INDEX["withers"], INDEX["tailhead"]], 0]
    x = np.arange(int(ends.min()) + 1, int(ends.max()))
    y = (frame.mask[:, x] > 0).argmax(axis=0)
    last = len(lab) - 1
    over, under = lab[np.maximum(y - ASIDE_PX, 0), x], lab[np.minimum(y + ASIDE_PX, last), x]
    return float(np.quantile(np.linalg.norm(over - under, axis=1), FAINT_SHARE))


def _hard_frames(count: int) -> list[DrawnFrame]:
    """Return the frames with the faintest backs of ten times as many, seeds of their own."""
    seeds = range(HARD_FIRST_SEED, HARD_FIRST_SEED + TRIED_FOR_ONE_HARD * count)
    with Pool() as pool:
        faintness = pool.map(_contrast_of, seeds, chunksize=4)
        chosen = sorted(np.argsort(faintness)[:count])
        # to draw these again costs a tenth more, to keep all until then gigabytes
        drawn = pool.map(draw_frame, [seeds[i] for i in chosen], chunksize=4)
    return [frame for frame in drawn if frame is not None]


def _contrast_of(seed: int) -> float:
    frame = draw_frame(seed)
    return np.inf if frame is None else contrast(frame)


def _frames(first_seed: int, count: int, scores: Sequence[int | None]) -> Iterator[DrawnFrame]:
    """Give frames of cows with these scores in turn; nothing for a score leaves it to chance."""
    seeds = range(first_seed, first_seed + 2 * count)
    drawn = map(draw_frame, seeds, cycle(scores))
    return islice((frame for frame in drawn if frame is not None), count)


def main(out: Path, count: int = 60, hard_count: int = 0, lame_count: int = 0) -> None:
    """Draw one frame a scene with the whole cow in it, and its truth."""
    out.mkdir(parents=True, exist_ok=True)
    points, weights = [], []
    hard = _hard_frames(hard_count) if hard_count else []
    plain = _frames(TRAINING_FIRST_SEED, count, [None])
    lame = _frames(LAME_FIRST_SEED, lame_count, LAME_SCORES)
    for number, frame in enumerate(chain(plain, hard, lame)):
        cv2.imwrite(str(out / f"{number:03d}.png"), frame.image)
        cv2.imwrite(str(out / f"{number:03d}_mask.png"), frame.mask)
        points.append(frame.points)
        weights.append(frame.weight)
    np.savez(out / "truth.npz", points=np.array(points), weight=np.array(weights))
    print(f"{len(points)} drawn frames, {len(hard)} with a faint back, {lame_count} of lame cows")


if __name__ == "__main__":
    main(Path(sys.argv[1]), *map(int, sys.argv[2:5]))
