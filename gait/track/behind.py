"""The lane without cows, as a still camera saw it a moment ago.

A wall's edge or a rail behind the cow looks like her back. Where the camera stands still the same
place was seen without her shortly before, and an edge that was there then is not hers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gait.pose import Box

Image = npt.NDArray[np.uint8]
FloatArray = npt.NDArray[np.float64]

REFRESH_S = 0.4
SETTLE_S = 1.0
"""After the camera moved it must stand still for so long."""
MARGIN = 0.12
"""Share of a cow's width around her box that is not taken for the empty lane."""
COARSE = 8
"""Px of the frame to one of the map of what is known."""
LEAST_KNOWN = 0.98


@dataclass(frozen=True, kw_only=True, eq=False)
class EmptyLane:
    """What is behind the cows.

    Parameters
    ----------
    picture : ndarray of uint8, shape (h, w, 3)
        BGR; of no meaning where nothing is known.
    known : ndarray of uint8, shape (h / 8, w / 8)
        1 where the lane was seen without cows.
    """

    picture: Image
    known: Image

    def covers(self, spots: FloatArray) -> bool:
        """Tell whether the lane was seen without cows at points (..., 2), frame px."""
        cells = (np.asarray(spots).reshape(-1, 2) / COARSE).astype(int)
        cells = np.clip(cells, 0, np.array(self.known.shape[::-1]) - 1)
        return bool(self.known[cells[:, 1], cells[:, 0]].mean() >= LEAST_KNOWN)


class Behind:
    """Keeps a picture of the empty lane, frame by frame."""

    def __init__(self) -> None:
        self._lane: EmptyLane | None = None
        self._next_s = -np.inf

    def update(
        self, image: Image, time_s: float, cows: Sequence[Box], *, is_still: bool
    ) -> EmptyLane | None:
        """Take the next frame and return what is behind the cows, None while not known.

        Parameters
        ----------
        image : ndarray of uint8, shape (h, w, 3)
            The frame.
        time_s : float
        cows : sequence of Box
            Where cows are, px.
        is_still : bool
            False when the camera has moved since the frames before.
        """
        if not is_still:
            self._lane, self._next_s = None, time_s + SETTLE_S
            return None
        before = self._lane
        if time_s >= self._next_s:
            self._next_s = time_s + REFRESH_S
            self._lane = _refreshed(before, image, cows)
        # what was seen in this very frame cannot tell the cow from the lane
        return before


def _refreshed(lane: EmptyLane | None, image: Image, cows: Sequence[Box]) -> EmptyLane:
    height, width = image.shape[:2]
    picture = image.copy()
    known = np.ones((height // COARSE + 1, width // COARSE + 1), np.uint8)
    for cow in cows:
        margin = MARGIN * cow.width
        x0, y0 = (max(int((v - margin) / COARSE), 0) for v in (cow.x0, cow.y0))
        x1, y1 = (max(int((v + margin) / COARSE) + 1, 0) for v in (cow.x1, cow.y1))
        fine = np.s_[y0 * COARSE : y1 * COARSE, x0 * COARSE : x1 * COARSE]
        known[y0:y1, x0:x1] = 0
        if lane is not None and lane.picture.shape == image.shape:
            known[y0:y1, x0:x1] = lane.known[y0:y1, x0:x1]
            picture[fine] = lane.picture[fine]
    return EmptyLane(picture=picture, known=known)
