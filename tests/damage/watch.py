"""Run something on a damaged file and say what came of it: time, memory, words, records."""

from __future__ import annotations

import contextlib
import hashlib
import io
import resource
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from sqlalchemy import text

from gait.errors import GaitError
from gait.landmarks import LANDMARKS
from gait.pose import Box, Sighting, Silhouette
from gait.store import Store

LONGEST_S = 30.0
MOST_MEMORY = 1 << 30


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What came of one damaged file.

    ``said`` is the sentence for people, empty where the file was taken; ``fault`` is what must
    never happen, empty where all is well.
    """

    name: str
    kind: str
    said: str = ""
    fault: str = ""
    wall_s: float = 0.0


def records_digest(store: Store) -> str:
    """Return a hash over every row of the records and every file of the farm folder."""
    digest = hashlib.sha256()
    with store.database.read() as connection:
        names = connection.execute(
            text("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
        ).scalars()
        for name in list(names):
            for row in connection.execute(text(f'SELECT * FROM "{name}"')):
                digest.update(repr(tuple(row)).encode())
    assert store.folder is not None
    for path in sorted(store.folder.rglob("*")):
        if path.is_file() and not path.name.startswith("records.sqlite"):
            digest.update(path.relative_to(store.folder).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


def peak_memory() -> int:
    """Return the most memory, bytes, that any child of this process has held so far."""
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * unit


def own_peak_memory() -> int:
    """Return the most memory, bytes, that this process has held so far."""
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit


def watched(name: str, kind: str, store: Store, act: Callable[[], object]) -> Outcome:
    """Run ``act`` and hold it to what every damaged file must keep to."""
    before, began = records_digest(store), time.monotonic()
    said = fault = ""
    printed = io.StringIO()
    try:
        with contextlib.redirect_stderr(printed), contextlib.redirect_stdout(io.StringIO()):
            act()
    except GaitError as refusal:
        said = str(refusal)
    except Exception as wrong:
        fault = f"{type(wrong).__name__}: {wrong}"
    said = said or printed.getvalue().strip()
    wall_s = time.monotonic() - began
    found = Outcome(name=name, kind=kind, said=said, fault=fault, wall_s=wall_s)
    return replace(found, fault=fault or _broken_promise(found, before, store))


def _broken_promise(found: Outcome, before: str, store: Store) -> str:
    if found.wall_s > LONGEST_S:
        return f"took {found.wall_s:.0f} s"
    if "Traceback" in found.said:
        return "a traceback was shown"
    if "met a fault" in found.said:
        return found.said
    if found.said and not found.said.rstrip().endswith((".", ".'")):
        return f"no sentence: {found.said[-80:]}"
    if records_digest(store) != before:
        return "the records changed"
    if max(peak_memory(), own_peak_memory()) > MOST_MEMORY:
        return f"{max(peak_memory(), own_peak_memory()) / 1e6:.0f} MB"
    return ""


def score_into(film: Path, farm: Path) -> Callable[[], object]:
    """Return what the command line does with a film, by a network that never sees a cow."""
    from gait.cli import main

    return lambda: main(["score", str(film), "--farm", str(farm)])


class SeesNothing:
    """A network that finds no cow, so that only the reading of films is tried."""

    tasks = 1

    def find(self, _image: object) -> list[object]:
        """Find nothing."""
        return []

    def look(self, _image: object, box: Box) -> Sighting:
        """See nothing in the box."""
        nothing = Silhouette(probability=np.zeros((96, 160), np.float32), to_frame=np.eye(2, 3))
        points, confidence = np.zeros((len(LANDMARKS), 2)), np.zeros(len(LANDMARKS))
        return Sighting(box=box, points=points, confidence=confidence, silhouette=nothing)

    def look_maps(self, _image: object, _box: Box) -> tuple[np.ndarray, np.ndarray]:
        """Give empty maps, landmarks and silhouette."""
        maps = np.zeros((len(LANDMARKS) + 1, 96, 160), np.float32)
        maps[-1] = -15.0  # the silhouette's logit: surely no cow
        return maps, np.eye(2, 3)
