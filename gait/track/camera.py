"""The camera's own motion, from the background, so that a planted hoof stays planted."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from gait.pose import Box
from gait.track.rotation import USUAL_FOCAL, fit_turn, homography, warp
from gait.track.view import View

Image = npt.NDArray[np.uint8]
FloatArray = npt.NDArray[np.float64]
Points = npt.NDArray[np.float32]

WORKING_WIDTH = 480
"""Width of the picture in which motion is sought, px."""
MOST_CORNERS = 160
FEWEST_CORNERS = 12
KEPT_POINTS = 48
"""Points kept with each view, so that the focal length can be settled later."""
STILL_PX = 0.15
"""Working px by which corners may wander in a still picture."""
CALM_FRAMES = 15
"""Frames without motion after which only every `CALM_STEP`-th frame is checked."""
CALM_STEP = 5
_FAR = 0.15
"""Share of the width the view may shift before a new reference picture is taken."""
_FLOW_ENDS = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 20, 0.01)


class CameraMotion:
    """Follows the background from frame to frame.

    Corners of the background (outside the cows' boxes) are followed by optical flow from a
    reference picture; the turn and zoom that explain their motion are the camera's. A new
    reference is taken when the view has moved on, so errors do not add up frame by frame.

    A camera on a tripod costs next to nothing: once calm, only every fifth frame is checked.
    """

    def __init__(self) -> None:
        self._reference: Image | None = None
        self._corners: Points = np.empty((0, 2), np.float32)
        self._parent: View | None = None
        self._view: View | None = None
        self._before: tuple[Image, Image] | None = None
        self._calm = self._skipped = 0

    @property
    def is_new(self) -> bool:
        """Whether there is no reference yet."""
        return self._view is None

    def reset(self) -> None:
        """Forget the background; the next frame becomes the first reference."""
        self.__init__()  # type: ignore[misc]

    def update(self, image: Image, cows: Sequence[Box]) -> View:
        """Take the next frame and return where the camera looked.

        Parameters
        ----------
        image : ndarray of uint8, shape (h, w, 3)
            The frame.
        cows : sequence of Box
            Where the cows are, px; what moves there is not the background.

        Returns
        -------
        View
            When the background cannot be followed (nothing to hold on to), the last view is kept.
        """
        if self._view is not None and self._calm >= CALM_FRAMES and self._skipped < CALM_STEP - 1:
            self._skipped += 1
            return self._view
        self._skipped = 0
        scale = min(WORKING_WIDTH / image.shape[1], 1.0)
        small = _small_grey(image, scale)
        hidden = _hidden(small.shape, [_scaled(cow, scale) for cow in cows])
        if self._view is None:
            self._view = View(width=small.shape[1])
            self._take_reference(small, hidden)
        else:
            self._view = self._next_view(small, hidden, self._view)
        self._before = small, hidden
        return self._view

    def _next_view(self, small: Image, hidden: Image, last: View) -> View:
        found = self._follow(small, hidden, last)
        if found is None and self._before is not None and self._before[0] is not self._reference:
            # it is not as far from the last picture as from the reference
            last = self._refer_to(*self._before, last)
            found = self._follow(small, hidden, last)
        if found is None:
            return self._refer_to(small, hidden, last)
        self._note_calm(last, found)
        return self._refer_to(small, hidden, found) if self._has_moved_on(found) else found

    def _refer_to(self, small: Image, hidden: Image, view: View) -> View:
        """Make a picture the reference; it was seen as the view says."""
        self._parent = view
        self._take_reference(small, hidden)
        return View(width=small.shape[1], parent=view)

    def _take_reference(self, small: Image, hidden: Image) -> None:
        self._reference = small
        corners = cv2.goodFeaturesToTrack(
            small, MOST_CORNERS, 0.01, 8, mask=cv2.bitwise_not(hidden), blockSize=5
        )
        self._corners = (
            np.empty((0, 2), np.float32)
            if corners is None
            else corners.reshape(-1, 2).astype(np.float32)
        )

    def _follow(self, small: Image, hidden: Image, last: View) -> View | None:
        if len(self._corners) < FEWEST_CORNERS or self._reference is None:
            return None
        middle = (np.array(small.shape[::-1]) - 1) / 2
        reference = np.asarray(self._corners - middle, np.float64)
        usual = homography(last.turn, USUAL_FOCAL * last.width)
        # begin where the last view says they are; cows hide some and those are let go
        back = np.asarray(np.linalg.inv(usual), np.float64)
        guess = np.ascontiguousarray(warp(back, reference) + middle, np.float32)
        found, ok, _ = cv2.calcOpticalFlowPyrLK(
            self._reference,
            small,
            self._corners.reshape(-1, 1, 2),
            guess.reshape(-1, 1, 2),
            winSize=(15, 15),
            maxLevel=3,
            criteria=_FLOW_ENDS,
            flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
        )
        seen = np.asarray(found, np.float64).reshape(-1, 2)
        keep = (ok.ravel() == 1) & _uncovered(seen, hidden)
        keep[keep] = _agreeing(warp(usual, seen[keep] - middle), reference[keep])
        if keep.sum() < FEWEST_CORNERS:
            return None
        return self._as_view(seen[keep] - middle, reference[keep], last)

    def _as_view(self, seen: FloatArray, reference: FloatArray, last: View) -> View:
        if np.median(np.hypot(*(seen - reference).T)) < STILL_PX:
            return View(width=last.width, parent=self._parent)
        turn, _ = fit_turn(seen, reference, USUAL_FOCAL * last.width, last.turn)
        step = max(len(seen) // KEPT_POINTS, 1)
        return View(
            width=last.width,
            turn=turn,
            seen=seen[::step].astype(np.float32),
            reference=reference[::step].astype(np.float32),
            parent=self._parent,
        )

    def _note_calm(self, last: View, new: View) -> None:
        focal, rim = USUAL_FOCAL * new.width, np.array([[new.width / 2, new.width / 4]])
        change = warp(homography(new.turn, focal), rim) - warp(homography(last.turn, focal), rim)
        self._calm = self._calm + 1 if np.abs(change).max() < STILL_PX else 0

    @staticmethod
    def _has_moved_on(view: View) -> bool:
        aim = warp(homography(view.turn, USUAL_FOCAL * view.width), np.zeros((1, 2)))
        return bool(np.abs(aim).max() > _FAR * view.width or abs(view.turn[3]) > 0.1)


def _small_grey(image: Image, scale: float) -> Image:
    size = (round(image.shape[1] * scale), round(image.shape[0] * scale))
    small = image
    # four pixels to one as long as that comes out even: many times cheaper than all in one step
    while small.shape[1] >= 2 * size[0] and not (small.shape[0] % 2 or small.shape[1] % 2):
        half = (small.shape[1] // 2, small.shape[0] // 2)
        small = np.asarray(cv2.resize(small, half, interpolation=cv2.INTER_AREA), np.uint8)
    if small.shape[1] > size[0]:
        small = np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_AREA), np.uint8)
    return np.asarray(cv2.cvtColor(small, cv2.COLOR_BGR2GRAY), np.uint8)


def _scaled(box: Box, scale: float) -> Box:
    return Box(x0=box.x0 * scale, y0=box.y0 * scale, x1=box.x1 * scale, y1=box.y1 * scale)


def _hidden(shape: tuple[int, ...], boxes: Sequence[Box]) -> Image:
    """Return a mask that is 255 where cows hide the background."""
    mask = np.zeros(shape[:2], np.uint8)
    for box in boxes:
        margin = 0.06 * box.width
        x0, x1 = max(round(box.x0 - margin), 0), max(round(box.x1 + margin), 0)
        y0, y1 = max(round(box.y0 - margin), 0), max(round(box.y1 + margin), 0)
        mask[y0:y1, x0:x1] = 255
    return mask


def _uncovered(points: FloatArray, hidden: Image) -> npt.NDArray[np.bool_]:
    limit = np.array(hidden.shape[::-1]) - 1
    cells = np.rint(points).astype(int)
    inside = (cells >= 0).all(1) & (cells <= limit).all(1)
    cells = np.clip(cells, 0, limit)
    kept: npt.NDArray[np.bool_] = inside & (hidden[cells[:, 1], cells[:, 0]] == 0)
    return kept


def _agreeing(moved: FloatArray, reference: FloatArray) -> npt.NDArray[np.bool_]:
    """Tell which points moved together since the last view; others move by themselves."""
    if len(moved) < FEWEST_CORNERS:
        return np.zeros(len(moved), bool)
    affine, inliers = cv2.estimateAffinePartial2D(
        moved, reference, method=cv2.RANSAC, ransacReprojThreshold=1.0
    )
    if affine is None or inliers.sum() < 0.3 * len(moved):
        return np.zeros(len(moved), bool)
    return np.asarray(inliers.ravel() == 1)
