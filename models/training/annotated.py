"""The hand annotations: landmarks and silhouettes of real photos, by file name and hash.

The photos themselves are not in the project.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from gait.landmarks import LANDMARKS

HERE = Path(__file__).resolve().parent
HIDDEN_WEIGHT = 0.6

Array = NDArray[Any]


def read_annotations(folder: Path = HERE / "annotations") -> list[dict[str, Any]]:
    """Return all hand annotations, in the order of their file names."""
    return [json.loads(path.read_text()) for path in sorted(folder.glob("*.json"))]


def polygon_mask(annotation: dict[str, Any], shape: tuple[int, ...]) -> Array:
    """Return the annotated silhouette as 0 or 1 at the photo's size."""
    shift = 4
    mask = np.zeros(shape[:2], np.uint8)
    rings = [
        (np.asarray(ring, float) * (1 << shift)).round().astype(np.int32)
        for ring in annotation["silhouette"]
    ]
    for ring in rings:
        cv2.fillPoly(mask, [ring], 1, shift=shift)
    return mask


def annotated_points(annotation: dict[str, Any]) -> tuple[Array, Array]:
    """Return (18, 2) px and (18,) weights: 1 seen, 0.6 guessed, NaN not given."""
    points, weight = np.zeros((18, 2), np.float32), np.full(18, np.nan, np.float32)
    for i, name in enumerate(LANDMARKS):
        x, y, seen = annotation["landmarks"].get(name, (0, 0, 0))
        points[i] = x, y
        if seen:
            weight[i] = 1.0 if seen == 2 else HIDDEN_WEIGHT
    return points, weight
