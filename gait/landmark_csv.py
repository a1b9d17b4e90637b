"""Write every landmark of every frame as CSV."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from gait.landmarks import LANDMARKS

if TYPE_CHECKING:
    from gait.track import Pass

HEADER = ("frame", "time_s", "pass", "name", "x_px", "y_px", "confidence")


def write_landmarks(passes: Iterable[Pass], path: Path, *, clip: str | None = None) -> None:
    """Write one row per frame, pass and landmark; unseen landmarks have empty coordinates.

    Parameters
    ----------
    passes : iterable of Pass
        The passes of one clip, or of several when `clip` changes between calls.
    path : Path
        The CSV file. It is added to if it exists and `clip` is given, else written anew.
    clip : str, optional
        Name of the clip, written as a last column. Needed only where one file holds several.
    """
    from gait.exchange.csv_files import guarded  # a file can be called like a formula

    adding = clip is not None and path.exists()
    with path.open("a" if adding else "w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        if not adding:
            out.writerow(HEADER if clip is None else (*HEADER, "clip"))
        for pass_ in passes:
            for row in _rows(pass_):
                out.writerow(row if clip is None else (*row, guarded(clip)))


def _rows(pass_: Pass) -> Iterable[tuple[object, ...]]:
    for i, frame in enumerate(pass_.frame):
        for k, name in enumerate(LANDMARKS):
            x, y = pass_.points[i, k]
            seen = bool(np.isfinite(x) and np.isfinite(y))
            yield (
                int(frame),
                f"{pass_.time_s[i]:.4f}",
                pass_.number,
                name,
                f"{x:.2f}" if seen else "",
                f"{y:.2f}" if seen else "",
                f"{pass_.confidence[i, k]:.3f}",
            )
