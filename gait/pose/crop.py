"""Cutting the network's input out of a frame, and the way back from its maps to the frame."""

from __future__ import annotations

import math

import cv2
import numpy as np

from gait.pose.sighting import Box, FloatArray, Image

PADDING = (127, 127, 127)
"""Grey shown to the network where its input reaches beyond the frame; zero after normalising."""


def whole_box(image: Image) -> Box:
    """Return the box around the whole picture."""
    return Box(x0=0.0, y0=0.0, x1=float(image.shape[1]), y1=float(image.shape[0]))


def cut(image: Image, box: Box, size: tuple[int, int], growth: float) -> tuple[Image, FloatArray]:
    """Cut a box out of a frame at the network's input size, aspect kept, in RGB.

    Parameters
    ----------
    image : ndarray of uint8, shape (h, w, 3)
        Upright frame, BGR.
    box : Box
        What to look at, px.
    size : tuple of int
        Width and height of the input, px.
    growth : float
        Share by which the box is grown on all sides together.

    Returns
    -------
    rgb : ndarray of uint8, shape (size[1], size[0], 3)
        Contiguous; grey beyond the frame.
    to_frame : ndarray, shape (2, 3)
        Affine from input px to frame px.
    """
    width, height = size
    # frame px per input px: the larger of both directions, so that the whole box fits
    scale = (1 + growth) * max(box.width / width, box.height / height, 1e-6)
    step = 2 ** max(math.floor(math.log2(scale)), 0)
    (cx, cy) = box.centre
    x0, x1 = _whole_steps(cx - width * scale / 2, cx + width * scale / 2, step)
    y0, y1 = _whole_steps(cy - height * scale / 2, cy + height * scale / 2, step)
    canvas = np.full((height, width, 3), PADDING, np.uint8)
    per_x, per_y = (x1 - x0) / width, (y1 - y0) / height
    high, wide = (side // step * step for side in image.shape[:2])
    inside = (max(x0, 0), max(y0, 0), min(x1, wide), min(y1, high))
    if inside[2] > inside[0] and inside[3] > inside[1]:
        _paste(canvas, image, inside, (x0, y0), (per_x, per_y), step)
    # centres of pixels map to centres of pixels, hence the halves
    to_frame = np.array(
        [[per_x, 0, x0 + 0.5 * per_x - 0.5], [0, per_y, y0 + 0.5 * per_y - 0.5]], np.float64
    )
    return np.asarray(cv2.cvtColor(canvas, cv2.COLOR_BGR2RGB), np.uint8), to_frame


def _whole_steps(first: float, last: float, step: int) -> tuple[int, int]:
    start = step * math.floor(first / step)
    return start, max(step * math.ceil(last / step), start + step)


def _paste(
    canvas: Image,
    image: Image,
    inside: tuple[int, int, int, int],
    origin: tuple[int, int],
    per: tuple[float, float],
    step: int,
) -> None:
    """Scale the part of the frame that is there onto its place in the canvas.

    It is halved, four pixels to one, while two or more pixels go into one of the canvas; then
    interpolation between pixels leaves none out. Much cheaper than averaging over areas with
    broken edges, and landmarks of drawn cows lie as near to the truth.
    """
    left, top, right, bottom = inside
    columns = [round((x - origin[0]) / per[0]) for x in (left, right)]
    rows = [round((y - origin[1]) / per[1]) for y in (top, bottom)]
    wide, high = columns[1] - columns[0], rows[1] - rows[0]
    if wide < 1 or high < 1:
        return
    part = image[top:bottom, left:right]
    for _ in range(step.bit_length() - 1):
        half = (part.shape[1] // 2, part.shape[0] // 2)
        part = np.asarray(cv2.resize(part, half, interpolation=cv2.INTER_AREA), np.uint8)
    part = np.asarray(cv2.resize(part, (wide, high), interpolation=cv2.INTER_LINEAR), np.uint8)
    canvas[rows[0] : rows[1], columns[0] : columns[1]] = part


def grid_to_frame(to_frame: FloatArray, stride: int) -> FloatArray:
    """Return the affine from cells of the maps to frame px, given that from input px."""
    half = (stride - 1) / 2  # the centre of the first cell lies between the first input pixels
    cells = np.array([[stride, 0, half], [0, stride, half], [0, 0, 1]], np.float64)
    product: FloatArray = to_frame @ cells
    return product


def apply(affine: FloatArray, points: FloatArray) -> FloatArray:
    """Take points, shape (..., 2), through an affine of shape (2, 3)."""
    moved: FloatArray = points @ affine[:, :2].T + affine[:, 2]
    return moved
