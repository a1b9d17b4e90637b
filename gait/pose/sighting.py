"""What the network sees of one cow in one frame."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from gait.landmarks import INDEX

Image = npt.NDArray[np.uint8]
FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Box:
    """An upright rectangle around a cow, in pixels of the upright frame."""

    x0: float
    y0: float
    x1: float
    y1: float
    confidence: float = 1.0

    @property
    def width(self) -> float:
        """Width, px."""
        return self.x1 - self.x0

    @property
    def height(self) -> float:
        """Height, px."""
        return self.y1 - self.y0

    @property
    def centre(self) -> tuple[float, float]:
        """Centre, px."""
        return (self.x0 + self.x1) / 2, (self.y0 + self.y1) / 2

    @property
    def area(self) -> float:
        """Area, px squared."""
        return max(self.width, 0.0) * max(self.height, 0.0)

    def moved(self, dx: float, dy: float = 0.0) -> Box:
        """Return the box shifted by ``dx``, ``dy`` px."""
        return Box(
            x0=self.x0 + dx,
            y0=self.y0 + dy,
            x1=self.x1 + dx,
            y1=self.y1 + dy,
            confidence=self.confidence,
        )

    def common_area(self, other: Box) -> float:
        """Return the area both boxes cover, px squared."""
        width = min(self.x1, other.x1) - max(self.x0, other.x0)
        height = min(self.y1, other.y1) - max(self.y0, other.y0)
        return max(width, 0.0) * max(height, 0.0)

    def iou(self, other: Box) -> float:
        """Return the common area over the area of both together, 0 to 1."""
        common = self.common_area(other)
        both = self.area + other.area - common
        return common / both if both > 0 else 0.0


@dataclass(frozen=True, kw_only=True)
class Silhouette:
    """Where the cow is, as a probability on the network's grid.

    Parameters
    ----------
    probability : ndarray of float32, shape (h, w)
        Probability, 0 to 1, that the cell is cow. Rails and posts before her do not cut it.
    to_frame : ndarray, shape (2, 3)
        Affine from grid px (column, row; the centre of the first cell is 0, 0) to frame px.
    """

    probability: npt.NDArray[np.float32]
    to_frame: FloatArray

    def mask(self, frame_shape: tuple[int, ...]) -> Image:
        """Return the cow as a mask of the whole frame, 255 inside and 0 outside.

        Parameters
        ----------
        frame_shape : tuple of int
            Height and width of the frame (further entries are ignored).

        Returns
        -------
        ndarray of uint8, shape (height, width)
        """
        size = (int(frame_shape[1]), int(frame_shape[0]))
        wide = cv2.warpAffine(self.probability, self.to_frame, size, flags=cv2.INTER_LINEAR)
        return np.where(wide >= 0.5, 255, 0).astype(np.uint8)


@dataclass(frozen=True, kw_only=True)
class Sighting:
    """One cow in one frame: where, her landmarks and her silhouette.

    Parameters
    ----------
    box : Box
        The box that was looked into, px.
    points : ndarray, shape (18, 2)
        Landmarks in the order of `gait.landmarks.LANDMARKS`, frame px.
    confidence : ndarray, shape (18,)
        Height of the peak of each landmark, 0 to 1.
    silhouette : Silhouette
        Her outline on the network's grid.
    extra_hooves : int
        Hooves seen within her outline beyond the four that are hers: those of another cow that
        walks beside her.
    """

    box: Box
    points: FloatArray
    confidence: FloatArray
    silhouette: Silhouette
    extra_hooves: int = 0

    def point(self, name: str) -> FloatArray:
        """Return one landmark, frame px, shape (2,)."""
        point: FloatArray = self.points[INDEX[name]]
        return point
