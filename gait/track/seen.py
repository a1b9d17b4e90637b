"""All that is taken from one frame about one cow, computed beside the reading thread."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import cv2
import numpy as np
import numpy.typing as npt

from gait.landmarks import INDEX
from gait.pose import Box, Sighting, Silhouette
from gait.track.behind import EmptyLane
from gait.track.passes import BACK_LINE_POINTS

Image = npt.NDArray[np.uint8]
FloatArray = npt.NDArray[np.float64]

LANDMARK_SEEN = 0.1
"""Peaks lower than this are no landmark at all and become NaN."""
LEAST_AREA = 0.02
"""Share of the network's picture a silhouette must fill."""
LEAST_SIDE_PX = 12.0
"""Smaller boxes are no cow worth following."""
EDGE_PX = 3.0
"""A cow nearer than this to the frame's edge is taken as cut by it."""
SHARPNESS_WIDTH = 480
"""Width to which she is scaled down before sharpness is measured, so that film sizes compare."""


class Network(Protocol):
    """What following needs of a network; `gait.pose.CowNetwork` is one.

    It may also have ``glimpse``, which finds less sure cows too, ``card.finder_threshold``, from
    which a found cow is sure, and ``tasks``, the number of looks that may run at the same time.
    """

    def find(self, image: Image) -> list[Box]:
        """Return the cows of a frame."""

    def look(self, image: Image, box: Box) -> Sighting:
        """Return one cow's landmarks and silhouette."""


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One cow in one frame, ready to become a row of a pass.

    Parameters
    ----------
    points : ndarray, shape (18, 2)
        Frame px, NaN where not seen.
    confidence : ndarray, shape (18,)
        0 to 1.
    box : Box
        Around silhouette and sure landmarks, px; its confidence is that of the whole sighting.
    back_line : ndarray, shape (64, 2)
        Px, NaN untraced.
    cut : bool
        True when the frame's edge cuts her.
    brightness, sharpness : float
        See `gait.track.passes.Pass`.
    silhouette : Silhouette
        Her outline.
    faces : int
        1 when her head is to the right of her tail, -1 to the left, 0 when unknown.
    open : tuple of bool
        True for the left, the right side when she reaches to the border of what was looked into
        there though the frame goes on: more of her may lie beyond.
    extra_hooves : int
        Hooves between her nose and tail beyond the four that are hers.
    """

    points: FloatArray
    confidence: FloatArray
    box: Box
    back_line: FloatArray
    cut: bool
    brightness: float
    sharpness: float
    silhouette: Silhouette
    faces: int = 0
    open: tuple[bool, bool] = (False, False)
    extra_hooves: int = 0


def look_closely(
    network: Network,
    image: Image,
    box: Box,
    *,
    lane: EmptyLane | None = None,
    with_sharpness: bool = False,
) -> Seen | None:
    """Look at one cow and take everything a pass needs from this frame.

    Parameters
    ----------
    network : Network
        The open network.
    image : ndarray of uint8, shape (h, w, 3)
        The frame.
    box : Box
        Where she is expected, px.
    lane : EmptyLane, optional
        What is behind her, as far as it is known.
    with_sharpness : bool
        Whether to measure sharpness as well, which takes longer.

    Returns
    -------
    Seen or None
        None when there is no cow in the box.
    """
    sighting = network.look(image, box)
    height, width = image.shape[:2]
    seen_box = outline_box(sighting, (width, height))
    if seen_box is None:
        return None
    points = np.where(sighting.confidence[:, None] >= LANDMARK_SEEN, sighting.points, np.nan)
    sides = _open_sides(seen_box, sighting.silhouette, width)
    brightness, sharpness = _light(image, seen_box, with_sharpness)
    return Seen(
        points=points,
        confidence=sighting.confidence,
        box=seen_box,
        back_line=_back_line(image, sighting, lane),
        cut=any(sides) or _at_edge(seen_box, (width, height)),
        brightness=brightness,
        sharpness=sharpness,
        silhouette=sighting.silhouette,
        faces=_faces(points),
        open=sides,
        extra_hooves=sighting.extra_hooves,
    )


def _faces(points: FloatArray) -> int:
    head = points[[INDEX["muzzle"], INDEX["poll"]], 0]
    tail = points[INDEX["tailhead"], 0]
    if np.isnan(tail) or np.isnan(head).all():
        return 0
    return int(np.sign(np.nanmean(head) - tail))


def _at_edge(box: Box, image_size: tuple[int, int]) -> bool:
    width, height = image_size
    room = min(box.x0, box.y0, width - 1 - box.x1, height - 1 - box.y1)
    return room < EDGE_PX


def _open_sides(box: Box, silhouette: Silhouette, width: int) -> tuple[bool, bool]:
    cells = silhouette.probability.shape[1]
    per_cell, start = silhouette.to_frame[0, 0], silhouette.to_frame[0, 2]
    first, last = start - 0.5 * per_cell, start + (cells - 0.5) * per_cell
    return (
        bool(box.x0 - first < 1.5 * per_cell and first > EDGE_PX),
        bool(last - box.x1 < 1.5 * per_cell and last < width - 1 - EDGE_PX),
    )


def outline_box(sighting: Sighting, image_size: tuple[int, int]) -> Box | None:
    """Return the box around the cow that was looked at, or None when there is none.

    Parameters
    ----------
    sighting : Sighting
        What the network saw.
    image_size : tuple of int
        Width and height of the frame, px.
    """
    inside = (sighting.silhouette.probability >= 0.5).astype(np.uint8)
    count, _, stats, _ = cv2.connectedComponentsWithStats(inside, connectivity=8)
    if count < 2:
        return None
    body = stats[1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())]
    if body[cv2.CC_STAT_AREA] < LEAST_AREA * inside.size:
        return None
    left, top = body[cv2.CC_STAT_LEFT], body[cv2.CC_STAT_TOP]
    right, bottom = left + body[cv2.CC_STAT_WIDTH] - 1, top + body[cv2.CC_STAT_HEIGHT] - 1
    to_frame = sighting.silhouette.to_frame
    corners = np.array([[left - 0.5, top - 0.5, 1], [right + 0.5, bottom + 0.5, 1]]) @ to_frame.T
    around = np.vstack([corners, sighting.points[sighting.confidence >= 0.4]])
    edge = np.array(image_size) - 1.0
    (x0, y0), (x1, y1) = np.clip(around.min(0), 0, edge), np.clip(around.max(0), 0, edge)
    if min(x1 - x0, y1 - y0) < LEAST_SIDE_PX:
        return None
    sure = float(np.median(sighting.confidence))
    return Box(x0=float(x0), y0=float(y0), x1=float(x1), y1=float(y1), confidence=sure)


def _light(image: Image, box: Box, with_sharpness: bool) -> tuple[float, float]:
    part = image[max(int(box.y0), 0) : int(box.y1) + 1, max(int(box.x0), 0) : int(box.x1) + 1]
    if not part.size:
        return float("nan"), float("nan")
    brightness = float(part[::8, ::8].mean())
    if not with_sharpness:
        return brightness, float("nan")
    grey = part[:, :, 1]  # green carries most of the detail
    scale = SHARPNESS_WIDTH / grey.shape[1]
    if scale < 1:
        small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        grey = np.asarray(small, np.uint8)
    contrast = float(grey.std())
    if contrast < 1.0:
        return brightness, float("nan")
    return brightness, float(cv2.Laplacian(grey, cv2.CV_16S).std()) / contrast


def _untraced() -> FloatArray:
    return np.full((BACK_LINE_POINTS, 2), np.nan)


Tracer = Callable[[Image, Silhouette, FloatArray, EmptyLane | None], FloatArray]


def _tracer() -> Tracer:
    # measuring builds on tracking, so the one function needed from it is fetched when used
    tracer: Tracer = importlib.import_module("gait.measure.back_line").trace_back_line
    return tracer


def _back_line(image: Image, sighting: Sighting, lane: EmptyLane | None) -> FloatArray:
    try:
        trace = _tracer()
    except ImportError:
        return _untraced()
    return trace(image, sighting.silhouette, sighting.points, lane)
