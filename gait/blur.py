"""People made unrecognisable in the films that are kept for looking at.

Two things are done to every picture of a review film when the farm turns this on:

1. Everything outside the cow's own box is coarsened until a head is two or three blocks wide.
   People beside, behind and above her cannot be recognised, whether they were found or not.
2. Within her box, where the picture must stay sharp, people are looked for with OpenCV's built-in
   detector (histograms of oriented gradients, whole upright bodies), and the upper part of each is
   coarsened as well.

Limits, measured: on a street photo with four people, one of them cut by the edge, the detector's
boxes fitted one person (overlap over union of at least one half), and what was coarsened covered
three of the four heads; on a close-up of two heads it found nobody; among 46 pictures of cows and
other animals it saw a person once where there was none. Somebody who stands between camera and
cow, bent, sitting or cut by the frame, can therefore stay recognisable. The film as it came from
the camera is not touched: whoever wants no recognisable people at all does not keep it (see
:mod:`gait.keeping`).
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

Image = npt.NDArray[np.uint8]
FloatArray = npt.NDArray[np.float64]

SETTING = "blur_people"
BLOCKS = 36
"""Blocks across the picture: at 720 px each is 20 px, about half a head."""
ROOM = 0.03
"""Share of the cow's box left sharp around it."""
LOOK_EVERY = 6
"""Pictures between two searches; a person moves little within a fifth of a second."""
SEARCH_WIDTH = 640
LEAST_SURE = 0.3
UPPER_PART = 0.45
GROWTH = 0.2
"""A found person's box is grown by this share on each side: people move between searches."""

Box = tuple[float, float, float, float]


class PeopleBlur:
    """Hides people in the pictures of one film, taken in their order."""

    def __init__(self) -> None:
        opencv: Any = cv2  # its type hints leave the detector's weights out
        self._detector = opencv.HOGDescriptor()
        self._detector.setSVMDetector(opencv.HOGDescriptor_getDefaultPeopleDetector())
        self._seen = 0
        self._people: list[Box] = []

    def hide(self, image: Image, cow: FloatArray | None) -> Image:
        """Return the picture with people hidden.

        Parameters
        ----------
        image : ndarray of uint8, shape (h, w, 3)
        cow : ndarray, shape (4,), or None
            x0, y0, x1, y1 of the cow that is looked at, px of `image`; None when she is not in
            the picture, which is then coarsened as a whole.

        Returns
        -------
        ndarray of uint8, shape (h, w, 3)
            A new picture.
        """
        if self._seen % LOOK_EVERY == 0:
            self._people = self.find(image)
        self._seen += 1
        hidden = coarsened(image)
        if cow is None or not np.isfinite(cow).all():
            return hidden
        room = ROOM * (cow[2:] - cow[:2])
        rows, columns = _inside(image, (*(cow[:2] - room), *(cow[2:] + room)))
        shown = hidden.copy()
        shown[rows, columns] = image[rows, columns]
        for person in self._people:
            rows, columns = _inside(image, upper_part(person))
            shown[rows, columns] = hidden[rows, columns]
        return shown

    def find(self, image: Image) -> list[Box]:
        """Return the boxes of upright people that the detector is fairly sure of, px."""
        scale = min(1.0, SEARCH_WIDTH / image.shape[1])
        small = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        boxes, sure = self._detector.detectMultiScale(
            small, winStride=(8, 8), padding=(16, 16), scale=1.08
        )
        found = []
        for (x, y, width, height), how_sure in zip(boxes, np.ravel(sure), strict=True):
            if how_sure >= LEAST_SURE:
                found.append((x / scale, y / scale, (x + width) / scale, (y + height) / scale))
        return found


def coarsened(image: Image) -> Image:
    """Return the picture in blocks, from which nothing finer can be brought back."""
    height, width = image.shape[:2]
    across = min(BLOCKS, width)
    down = max(1, round(across * height / width))
    blocks = cv2.resize(image, (across, down), interpolation=cv2.INTER_AREA)
    wide = cv2.resize(blocks, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(wide, np.uint8)


def upper_part(person: Box) -> Box:
    """Return head and shoulders of a person's box, grown."""
    x0, y0, x1, y1 = person
    room_x, room_y = GROWTH * (x1 - x0), GROWTH * (y1 - y0)
    return x0 - room_x, y0 - room_y, x1 + room_x, y0 + UPPER_PART * (y1 - y0)


def _inside(image: Image, box: tuple[float, ...]) -> tuple[slice, slice]:
    height, width = image.shape[:2]
    x0, x1 = (int(np.clip(round(v), 0, width)) for v in (box[0], box[2]))
    y0, y1 = (int(np.clip(round(v), 0, height)) for v in (box[1], box[3]))
    return slice(y0, y1), slice(x0, x1)
