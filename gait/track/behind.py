"""The lane without cows, as the camera saw it a moment ago.

A wall's edge or a rail behind the cow looks like her back, and a dark hem of a white cow like the
wall. The same place was seen without her shortly before: what was there then is not hers. A camera
held by hand has moved since, but its motion against that picture is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from gait.pose import Box
from gait.track.rotation import warp
from gait.track.view import View, in_frame_px

Image = npt.NDArray[np.uint8]
FloatArray = npt.NDArray[np.float64]

REFRESH_S = 0.4
SETTLE_S = 1.0
"""After the camera moved it must stand still for so long before the lane is looked at anew."""
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
    to_picture : ndarray, shape (3, 3), optional
        Homography from px of the frame to px of the picture; none where the camera stands still.
    """

    picture: Image
    known: Image
    to_picture: FloatArray | None = None

    def places(self, spots: FloatArray) -> FloatArray:
        """Return where in the picture points (..., 2) of the frame lie, px."""
        if self.to_picture is None:
            return spots
        return warp(self.to_picture, spots.reshape(-1, 2)).reshape(spots.shape)

    def covers(self, spots: FloatArray) -> bool:
        """Tell whether the lane was seen without cows at points (..., 2), frame px."""
        places = self.places(np.asarray(spots)).reshape(-1, 2)
        limit = np.array(self.known.shape[::-1]) - 1
        cells = np.clip((places / COARSE).astype(int), 0, limit)
        seen = self.known[cells[:, 1], cells[:, 0]] > 0
        if self.to_picture is not None:
            seen &= ((places >= 0) & (places <= np.array(self.picture.shape[1::-1]) - 1)).all(1)
        return bool(seen.mean() >= LEAST_KNOWN)


class Behind:
    """Keeps a picture of the empty lane, frame by frame."""

    def __init__(self) -> None:
        self._lane: EmptyLane | None = None
        self._next_s = -np.inf
        self._moved = False

    @property
    def picture(self) -> Image | None:
        """The picture in which the lane is known; the camera's motion is to start from it."""
        return None if self._lane is None else self._lane.picture

    def update(
        self, image: Image, time_s: float, cows: Sequence[Box], view: View
    ) -> EmptyLane | None:
        """Take the next frame and return what is behind the cows, None while not known.

        Parameters
        ----------
        image : ndarray of uint8, shape (h, w, 3)
            The frame.
        time_s : float
        cows : sequence of Box
            Where cows are, px.
        view : View
            Where the camera looks against the picture in which the lane is known. While no cow is
            there it looks nowhere in particular, so a picture from before it moved is let go.
        """
        if not view.is_first:
            self._moved, self._next_s = True, time_s + SETTLE_S
            return self._as_seen(view)
        if self._moved and not cows:
            self._lane, self._next_s = None, time_s
        before = self._lane
        if time_s >= self._next_s:
            self._next_s = time_s + REFRESH_S
            self._lane, self._moved = _refreshed(before, image, cows), False
        # what was seen in this very frame cannot tell the cow from the lane
        return before

    def _as_seen(self, view: View) -> EmptyLane | None:
        if self._lane is None:
            return None
        size = (self._lane.picture.shape[1], self._lane.picture.shape[0])
        moved = in_frame_px(view.to_ground[None], size, view.width)[0]
        return replace(self._lane, to_picture=moved)


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
