"""One walk past the camera by one cow, as arrays over the frames she was seen in."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from gait.landmarks import INDEX, LANDMARKS

FloatArray = npt.NDArray[np.float64]
BACK_LINE_POINTS = 64
"""Points of the traced back line in each frame, from withers to tailhead."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Pass:
    """One cow walking once past the camera.

    All arrays share the first axis: one row for each of the *n* frames in which she was
    followed, in rising order. A frame in which she could not be seen has no row. Coordinates
    are pixels of the upright frame, origin in the centre of the top left pixel, y down.

    Parameters
    ----------
    number : int
        1 for the first cow to appear in the clip, 2 for the next, without gaps.
    frame : ndarray of int, shape (n,)
        Index of the frame in the clip, from 0.
    time_s : ndarray, shape (n,)
        True time of the frame, seconds from the start of the clip, strictly rising.
    points : ndarray, shape (n, 18, 2)
        Landmarks in the order of `gait.landmarks.LANDMARKS`, px. NaN where not seen.
    confidence : ndarray, shape (n, 18)
        Height of the network's peak for each landmark, 0 to 1.
    box : ndarray, shape (n, 4)
        x0, y0, x1, y1 around the cow, px.
    to_ground : ndarray, shape (n, 2, 3) or (n, 3, 3)
        Affine or homography that takes frame px to ground px, a frame of reference in which the
        background stands still: the view in the middle of the pass. The identity for a camera
        that did not move. Use `ground` to apply it.
    back_line : ndarray, shape (n, 64, 2)
        Upper edge of the cow from withers to tailhead at full resolution, px. NaN untraced.
    cut : ndarray of bool, shape (n,)
        True where the frame's edge cuts the cow.
    image_size : tuple of int
        Width and height of the frame, px.
    fps : float
        Frames a second, from the time stamps.
    heading : {'left', 'right'}
        The way she walks in the picture.
    problems : tuple of str
        Sentences for people: what is wrong with this pass and what to do next.
    usable : bool
        False when a problem forbids measuring this pass at all.
    brightness : ndarray, shape (n,)
        Mean grey level inside the box, 0 to 255. NaN where not measured.
    sharpness : ndarray, shape (n,)
        Spread of the Laplacian inside the box over its spread of grey levels; dimensionless, higher
        is sharper. NaN where not measured.
    overlap : ndarray, shape (n,)
        Largest share of her box that another cow's box covers, 0 to 1.
    silhouettes : ndarray of uint8, shape (n, h, w), or None
        Probability of cow x 255 on the network's grid, only when asked for.
    silhouette_to_frame : ndarray, shape (n, 2, 3), or None
        Affine from grid px to frame px for each silhouette.

    Raises
    ------
    ValueError
        If a shape does not fit; the message names all that do not.
    """

    number: int
    frame: npt.NDArray[np.int64]
    time_s: FloatArray
    points: FloatArray
    confidence: FloatArray
    box: FloatArray
    to_ground: FloatArray
    back_line: FloatArray
    cut: npt.NDArray[np.bool_]
    image_size: tuple[int, int]
    fps: float
    heading: Literal["left", "right"]
    problems: tuple[str, ...] = ()
    usable: bool = True
    brightness: FloatArray = field(default_factory=lambda: np.empty(0))
    sharpness: FloatArray = field(default_factory=lambda: np.empty(0))
    overlap: FloatArray = field(default_factory=lambda: np.empty(0))
    silhouettes: npt.NDArray[np.uint8] | None = None
    silhouette_to_frame: FloatArray | None = None

    def __post_init__(self) -> None:
        n = len(self.frame)
        for name in ("brightness", "sharpness", "overlap"):
            if getattr(self, name).size == 0 and n:
                object.__setattr__(self, name, np.full(n, np.nan))
        expected = {
            "frame": (n,),
            "time_s": (n,),
            "points": (n, len(LANDMARKS), 2),
            "confidence": (n, len(LANDMARKS)),
            "box": (n, 4),
            "to_ground": (n, 2, 3) if self.to_ground.shape[1:2] == (2,) else (n, 3, 3),
            "back_line": (n, BACK_LINE_POINTS, 2),
            "cut": (n,),
            "brightness": (n,),
            "sharpness": (n,),
            "overlap": (n,),
        }
        wrong = [
            f"{name} should be {shape} but is {getattr(self, name).shape}"
            for name, shape in expected.items()
            if getattr(self, name).shape != shape
        ]
        if n > 1 and not (np.diff(self.time_s) > 0).all():
            wrong.append("time_s should rise from frame to frame")
        if wrong:
            raise ValueError("A pass does not fit together: " + "; ".join(wrong) + ".")

    def __len__(self) -> int:
        return len(self.frame)

    def point(self, name: str) -> FloatArray:
        """Return one landmark over time, frame px, shape (n, 2), NaN where not seen."""
        track: FloatArray = self.points[:, INDEX[name]]
        return track

    def ground(self, points: FloatArray) -> FloatArray:
        """Take points of each frame to ground px, where the background stands still.

        Parameters
        ----------
        points : ndarray, shape (n, 2) or (n, m, 2)
            Frame px; the first axis is that of the pass.

        Returns
        -------
        ndarray
            Ground px, same shape.
        """
        flat = points.reshape(len(self), -1, 2)
        moved = np.einsum("nij,nmj->nmi", self.to_ground[:, :, :2], flat)
        ground: FloatArray = moved + self.to_ground[:, None, :, 2]
        if ground.shape[-1] == 3:
            ground = ground[..., :2] / ground[..., 2:]
        return ground.reshape(points.shape)

    def slim(self) -> Pass:
        """Return the same pass in a third of the memory, for what comes after measuring.

        Landmarks are kept to 0.0005 px and the back line to half a pixel (to one beyond 2048 px),
        which is plenty to draw and list them. A camera that did not move is kept as one matrix.
        """
        half = ("confidence", "back_line", "brightness", "sharpness", "overlap")
        lighter = {name: getattr(self, name).astype(np.float32) for name in ("points", "box")}
        lighter |= {name: getattr(self, name).astype(np.float16) for name in half}
        first = self.to_ground[:1]
        still = len(self) > 0 and bool((self.to_ground == first).all())
        if still:
            lighter["to_ground"] = np.broadcast_to(first.copy(), self.to_ground.shape)
        return replace(self, **lighter)
