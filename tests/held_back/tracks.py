"""Passes of a clip kept beside it, because the network takes longer than all that follows."""

from __future__ import annotations

import json
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np

from gait.clip import Clip
from gait.pipeline import LOOKS_PER_S
from gait.pose import CowNetwork
from gait.track import Pass, follow


def tracks_of(clip: Path, network: CowNetwork, *, again: bool = False) -> list[Pass]:
    """The passes of a clip, from disk if this network has looked at it before."""
    kept = clip.with_suffix(f".{network.card.version}.npz")
    if again or not kept.exists():
        with Clip(clip, looks_per_s=LOOKS_PER_S) as film:
            write_passes(list(follow(film.frames(), network)), kept)
    return read_passes(kept)


def write_passes(passes: list[Pass], path: Path) -> None:
    """Write passes to one file without pickles."""
    arrays: dict[str, Any] = {}
    plain = []
    for number, one in enumerate(passes):
        values = {field.name: getattr(one, field.name) for field in fields(one)}
        arrays |= {f"{number}/{k}": v for k, v in values.items() if isinstance(v, np.ndarray)}
        plain.append({k: v for k, v in values.items() if not isinstance(v, np.ndarray)})
    np.savez_compressed(path, plain=np.array(json.dumps(plain)), **arrays)


def read_passes(path: Path) -> list[Pass]:
    """Read passes back as they were."""
    with np.load(path) as file:
        arrays = {name: file[name] for name in file.files}
    passes = []
    for number, plain in enumerate(json.loads(str(arrays["plain"]))):
        own = {k.split("/")[1]: v for k, v in arrays.items() if k.startswith(f"{number}/")}
        for name in ("image_size", "problems"):
            plain[name] = tuple(plain[name])
        passes.append(Pass(**plain, **own))
    return passes
