"""The drawn clips on which measures are tuned and judged: which seeds, and what each shows.

Seeds under 10000 are for development; those from 10000 on are held back, so that errors and
intervals are judged on films that no rule was made on.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from synthetic_clips.film import write_clip
from synthetic_clips.recipes import random_scene
from synthetic_clips.scene import Scene

DEVELOPMENT = range(700, 724)
SEEN = (*range(10100, 10136), *range(10200, 10390), *range(10400, 10490))
"""Held back once; errors were set anew after these were looked at, so they judge nothing more."""
HELD_BACK = range(10490, 10510)
CLIPS = {"development": DEVELOPMENT, "seen": SEEN, "held-back": HELD_BACK}
FRAME_RATES = (25.0, 30.0, 50.0, 60.0)


def scene_of(seed: int) -> Scene:
    """The scene of a seed: scores and frame rates in turn, every fourth camera held by hand."""
    scene = random_scene(seed, score=1 + seed % 5)
    camera = replace(
        scene.camera,
        fps=FRAME_RATES[seed // 5 % 4],
        shake_deg=0.25 if seed % 4 == 3 else 0.0,
    )
    return replace(scene, camera=camera)


def draw_clips(folder: Path, seeds: range) -> list[Path]:
    """Draw the clips that the folder lacks, each with its truth, and return all of them."""
    folder.mkdir(parents=True, exist_ok=True)
    clips = []
    for seed in seeds:
        clip = folder / f"{seed}{'.mp4' if seed % 2 else '.avi'}"
        clips.append(clip)
        if not clip.with_suffix(".truth.json").exists():
            write_clip(scene_of(seed), clip)
            print(f"drew {clip.name}", flush=True)
    return clips
