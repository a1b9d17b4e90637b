"""The hand annotations: landmarks and silhouettes of real photos, by file name and hash.

The photos themselves are not in the project. Back and head were read more than once, by readers
who saw neither the first annotation nor the network's answer (``second_readings.json``): the photos
kept for testing five times in all, most photos to train on three times, and once some photos whose
outlines come from borrowed networks and that nobody annotated otherwise. What counts is the median.

Later all photos to train on were read once or twice again; in the first round the readers had some
of the photos kept for testing among theirs without knowing it (``blind_readings.json``). On those
they agreed with the earlier readers; on the photos to train on they put the withers 2 % and the
tailhead 1 % of body length further forward. So the earlier readings of those count as one more
reader, whose habit is taken off.
"""

from __future__ import annotations

import json
import warnings
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from gait.landmarks import BACK_AND_HEAD, INDEX, LANDMARKS

HERE = Path(__file__).resolve().parent
HIDDEN_WEIGHT = 0.6
WITHERS, TAILHEAD = INDEX["withers"], INDEX["tailhead"]
USUAL_PLACE = {"mid_back": 0.445, "loin": 0.70}
"""From withers to tailhead, as the later readers of the photos to train on saw it (mean)."""
TAKEN_BACK = 0.5
"""Nothing marks the last rib's place on the top line, and few coats show the hooks: two readers of
one photo put the last rib 4 % of body length apart (median). So in training half of each reading's
distance from the usual place is taken back."""

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


def settle_back(points: Array) -> Array:
    """Return landmarks (18, 2) to train on: mid-back and loin moved towards their usual places."""
    settled = points.copy()
    withers, tailhead = points[INDEX["withers"]], points[INDEX["tailhead"]]
    along = tailhead - withers
    for name, usual in USUAL_PLACE.items():
        share = (points[INDEX[name]] - withers) @ along / max(1.0, along @ along)
        settled[INDEX[name]] += TAKEN_BACK * (usual - share) * along
    return settled


def all_readings(annotation: dict[str, Any]) -> Array:
    """Return the places (r, 6, 2) px of back and head as each reader saw them, NaN not seen."""
    return reading_places([annotation["landmarks"], *second_readings().get(annotation["file"], [])])


def reading_places(rows: list[dict[str, Any]]) -> Array:
    """Return stored readings of one photo as places (r, 6, 2) px, NaN not seen."""
    places = [[row[name][:2] if row[name][2] else [np.nan] * 2 for name in BACK_AND_HEAD]
              for row in rows]  # fmt: skip
    return np.array(places, np.float32).reshape(-1, len(BACK_AND_HEAD), 2)


def _median(readings: Array) -> Array:
    """Return the middle of readings (r, 6, 2), NaN where nobody saw a landmark."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.nanmedian(readings, axis=0)


def agreed_points(annotation: dict[str, Any]) -> tuple[Array, Array]:
    """Return what ``annotated_points`` does, back and head as the median of all readers."""
    points, weight = annotated_points(annotation)
    points[: len(BACK_AND_HEAD)] = _agreed(annotation["file"], all_readings(annotation))
    return points, weight


def read_alone(file: str) -> tuple[Array, Array] | None:
    """Return points (18, 2) and weights (18,) of a photo of which only back and head were read."""
    rows = second_readings().get(file)
    if not rows:
        return None
    seen = {name: rows[0].get(name, (0, 0, 0)) for name in BACK_AND_HEAD}
    points, weight = annotated_points({"landmarks": seen})
    points[: len(BACK_AND_HEAD)] = _agreed(file, reading_places(rows))
    return points, weight


def _agreed(file: str, earlier: Array) -> Array:
    """Return the median (6, 2) of a photo's readings, 0 where nobody saw a landmark."""
    agreed = _median(earlier)
    blind = reading_places(blind_readings().get(file, []))
    if len(blind):
        habit = habits()[:, None] * (agreed[TAILHEAD] - agreed[WITHERS])
        all_told = _median(np.stack([agreed + habit, *blind]))
        agreed = np.where(np.isnan(agreed) | np.isnan(all_told), agreed, all_told)
    return np.nan_to_num(agreed)


@cache
def habits() -> Array:
    """Return how far behind the earlier readers the blind ones put each landmark (6,), in trunks.

    Positive towards the tail; the mean over all photos that both read.
    """
    apart = []
    firsts = {a["file"]: all_readings(a) for a in read_annotations()}
    for file, rows in blind_readings().items():
        earlier = _median(
            firsts[file] if file in firsts else reading_places(second_readings()[file])
        )
        along = earlier[TAILHEAD] - earlier[WITHERS]
        apart.append((_median(reading_places(rows)) - earlier) @ along / (along @ along))
    return np.nanmean(np.array(apart), axis=0)


@cache
def second_readings() -> dict[str, Any]:
    """Return the readings of back and head beside the annotations, by file name."""
    found: dict[str, Any] = json.loads((HERE / "second_readings.json").read_text())
    return found


@cache
def blind_readings() -> dict[str, Any]:
    """Return the later readings of back and head of the photos to train on, by file name."""
    found: dict[str, Any] = json.loads((HERE / "blind_readings.json").read_text())
    return found
