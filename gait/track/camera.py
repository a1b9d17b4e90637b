"""The camera's own motion, from the background, so that a planted hoof stays planted."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from gait.pose import Box

Image = npt.NDArray[np.uint8]
FloatArray = npt.NDArray[np.float64]

WORKING_WIDTH = 480
"""Width of the picture in which motion is sought, px."""
MOST_CORNERS = 200
FEWEST_CORNERS = 12
STILL_PX = 0.15
"""Working px by which corners may wander in a still picture."""
CALM_FRAMES = 15
"""Frames without motion after which only every `CALM_STEP`-th frame is checked."""
CALM_STEP = 5
_FAR = 0.15
"""Share of the width the view may shift before a new reference frame is taken."""
_FLOW_ENDS = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 20, 0.01)


def identity() -> FloatArray:
    """Return the affine that leaves everything where it is, shape (2, 3)."""
    return np.eye(2, 3)


def compose(second: FloatArray, first: FloatArray) -> FloatArray:
    """Return the affine that does ``first``, then ``second``."""
    product: FloatArray = second[:, :2] @ first
    product[:, 2] += second[:, 2]
    return product


def invert(affine: FloatArray) -> FloatArray:
    """Return the affine that undoes another."""
    return np.asarray(cv2.invertAffineTransform(affine), np.float64)


class CameraMotion:
    """Follows the background from frame to frame.

    Corners of the background (outside the cows' boxes) are followed by optical flow from a
    reference frame; a shift, turn and zoom fitted to them robustly is the camera's motion. A new
    reference is taken when the view has moved on, so errors do not add up frame by frame.

    A camera on a tripod costs next to nothing: once calm, only every fifth frame is checked.
    """

    def __init__(self) -> None:
        self._reference: Image | None = None
        self._corners: npt.NDArray[np.float32] = np.empty((0, 1, 2), np.float32)
        self._reference_to_ground = identity()
        self._to_reference = identity()  # of the newest frame, working px
        self._calm = 0
        self._skipped = 0

    def reset(self) -> None:
        """Forget the background; the next frame becomes the ground."""
        self.__init__()  # type: ignore[misc]

    def update(self, image: Image, cows: Sequence[Box]) -> FloatArray:
        """Take the next frame and return its affine from frame px to ground px.

        Parameters
        ----------
        image : ndarray of uint8, shape (h, w, 3)
            The frame.
        cows : sequence of Box
            Where the cows are, px; what moves there is not the background.

        Returns
        -------
        ndarray, shape (2, 3)
            The first frame taken is the ground. When the background cannot be followed (nothing
            to hold on to), the last motion is kept.
        """
        if self._calm >= CALM_FRAMES and self._skipped < CALM_STEP - 1:
            self._skipped += 1
            return self._in_frame_px(image.shape[1])
        self._skipped = 0
        scale = min(WORKING_WIDTH / image.shape[1], 1.0)
        small = _small_grey(image, scale)
        boxes = [_scaled(cow, scale) for cow in cows]
        if self._reference is None:
            self._take_reference(small, boxes)
            return self._in_frame_px(image.shape[1])
        motion = self._follow(small, boxes)
        if motion is not None:
            self._note_calm(motion, small.shape[1])
            self._to_reference = motion
        if motion is None or self._has_moved_on(motion, small.shape[1]):
            self._reference_to_ground = compose(self._reference_to_ground, self._to_reference)
            self._to_reference = identity()
            self._take_reference(small, boxes)
        return self._in_frame_px(image.shape[1])

    def _take_reference(self, small: Image, boxes: Sequence[Box]) -> None:
        self._reference = small
        corners = cv2.goodFeaturesToTrack(
            small, MOST_CORNERS, 0.01, 8, mask=_background(small.shape, boxes), blockSize=5
        )
        self._corners = (
            np.empty((0, 1, 2), np.float32) if corners is None else corners.astype(np.float32)
        )

    def _follow(self, small: Image, boxes: Sequence[Box]) -> FloatArray | None:
        """Return the affine from the new frame to the reference, working px."""
        if len(self._corners) < FEWEST_CORNERS or self._reference is None:
            return None
        # begin where the last motion says they are; cows hide some and those are let go
        guess = cv2.transform(self._corners, invert(self._to_reference)).astype(np.float32)
        found, ok, _ = cv2.calcOpticalFlowPyrLK(
            self._reference,
            small,
            self._corners,
            guess,
            winSize=(15, 15),
            maxLevel=3,
            criteria=_FLOW_ENDS,
            flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
        )
        keep = (ok.ravel() == 1) & _outside(np.asarray(found[:, 0], np.float32), boxes, small.shape)
        if keep.sum() < FEWEST_CORNERS:
            return None
        affine, inliers = cv2.estimateAffinePartial2D(
            found[keep], self._corners[keep], method=cv2.RANSAC, ransacReprojThreshold=1.0
        )
        if affine is None or inliers.sum() < max(FEWEST_CORNERS, 0.3 * keep.sum()):
            return None
        return np.asarray(affine, np.float64)

    def _note_calm(self, motion: FloatArray, width: int) -> None:
        change = compose(motion, invert(self._to_reference))
        moved = np.abs(change @ np.array([width / 2, width / 4, 1.0]) - [width / 2, width / 4])
        self._calm = self._calm + 1 if moved.max() < STILL_PX else 0

    @staticmethod
    def _has_moved_on(motion: FloatArray, width: int) -> bool:
        zoom = float(np.hypot(motion[0, 0], motion[1, 0]))
        return bool(np.abs(motion[:, 2]).max() > _FAR * width or abs(zoom - 1) > 0.1)

    def _in_frame_px(self, width: int) -> FloatArray:
        scale = min(WORKING_WIDTH / width, 1.0)
        whole = compose(self._reference_to_ground, self._to_reference)
        # centres of small pixels lie half a block further in
        offset = 0.5 / scale - 0.5
        whole[:, 2] = whole[:, 2] / scale + offset - whole[:, :2] @ [offset, offset]
        return whole


def _small_grey(image: Image, scale: float) -> Image:
    size = (round(image.shape[1] * scale), round(image.shape[0] * scale))
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA) if scale < 1 else image
    return np.asarray(cv2.cvtColor(small, cv2.COLOR_BGR2GRAY), np.uint8)


def _scaled(box: Box, scale: float) -> Box:
    return Box(x0=box.x0 * scale, y0=box.y0 * scale, x1=box.x1 * scale, y1=box.y1 * scale)


def _background(shape: tuple[int, ...], boxes: Sequence[Box]) -> Image:
    mask = np.full(shape[:2], 255, np.uint8)
    for box in boxes:
        margin = 0.06 * box.width
        x0, x1 = max(round(box.x0 - margin), 0), max(round(box.x1 + margin), 0)
        y0, y1 = max(round(box.y0 - margin), 0), max(round(box.y1 + margin), 0)
        mask[y0:y1, x0:x1] = 0
    return mask


def _outside(
    points: npt.NDArray[np.float32], boxes: Sequence[Box], shape: tuple[int, ...]
) -> npt.NDArray[np.bool_]:
    background = _background(shape, boxes)
    cells = np.rint(points).astype(int)
    inside = (
        (cells[:, 0] >= 0)
        & (cells[:, 1] >= 0)
        & (cells[:, 0] < shape[1])
        & (cells[:, 1] < shape[0])
    )
    cells = np.clip(cells, 0, [shape[1] - 1, shape[0] - 1])
    kept: npt.NDArray[np.bool_] = inside & (background[cells[:, 1], cells[:, 0]] > 0)
    return kept


def relative(to_ground: FloatArray, image_size: tuple[int, int]) -> FloatArray:
    """Make the first frame of a pass the ground, and a camera that only trembles still.

    Parameters
    ----------
    to_ground : ndarray, shape (n, 2, 3)
        Affines to any common ground.
    image_size : tuple of int
        Width and height, px.

    Returns
    -------
    ndarray, shape (n, 2, 3)
        All the identity when no corner of the frame moves by more than the noise of following.
    """
    if not len(to_ground):
        return to_ground
    back = invert(to_ground[0])
    moved = np.stack([compose(back, affine) for affine in to_ground])
    width, height = image_size
    corners = np.array([[0, 0, 1], [width, 0, 1], [0, height, 1], [width, height, 1]], float)
    shift = np.abs(np.einsum("nij,cj->nci", moved, corners) - corners[None, :, :2]).max()
    noise = 2 * STILL_PX * max(width / WORKING_WIDTH, 1.0)
    return np.tile(identity(), (len(moved), 1, 1)) if shift < noise else moved
