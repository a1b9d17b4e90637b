"""Where the camera looked in each frame of a pass, settled once the pass is over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from gait.track.rotation import USUAL_FOCAL, fit_focal, fit_turn, homography, warp

if TYPE_CHECKING:
    from gait.track.camera import Points

FloatArray = npt.NDArray[np.float64]

STILL_PX = 0.3
"""Working px by which the corners of a view may wander while the camera stands still."""
MATCHES_FOR_FOCAL = 8
LEAST_TURN_FOR_FOCAL = 0.02
"""Radians; smaller turns tell nothing of the focal length."""


@dataclass(frozen=True, kw_only=True, eq=False)
class View:
    """The camera's direction in one frame against a reference picture.

    Parameters
    ----------
    width : float
        Of the working picture, px.
    turn : ndarray, shape (4,)
        Rotation vector and logarithm of the zoom, with the usual focal length.
    seen, reference : ndarray of float32, shape (k, 2)
        Background points in this frame and in the reference picture, working px from the middle.
        Empty when this frame is the reference or looks the same way.
    parent : View or None
        View of the reference picture itself against the reference before it.
    """

    width: float
    turn: FloatArray = field(default_factory=lambda: np.zeros(4))
    seen: Points = field(default_factory=lambda: np.empty((0, 2), np.float32))
    reference: Points = field(default_factory=lambda: np.empty((0, 2), np.float32))
    parent: View | None = None

    @property
    def is_first(self) -> bool:
        """Whether the camera still looks where it did when the first reference was taken."""
        return self.parent is None and not len(self.seen)

    @cached_property
    def to_ground(self) -> FloatArray:
        """The homography to the first reference, working px from the middle, (3, 3).

        Kept, because a long film held by hand makes a long chain of references.
        """
        own = homography(self.turn, USUAL_FOCAL * self.width)
        return own if self.parent is None else self.parent.to_ground @ own


def settle_views(views: Sequence[View], image_size: tuple[int, int]) -> FloatArray:
    """Return homographies of the frames of one pass to the view in its middle.

    Parameters
    ----------
    views : sequence of View
        One for each frame.
    image_size : tuple of int
        Width and height of the frame, px.

    Returns
    -------
    ndarray, shape (n, 3, 3)
        Frame px to px of the view in the middle of the pass, in which the background stands
        still. All the identity when the camera did not move.

    Notes
    -----
    The focal length is fitted to those frames that are turned the most; it decides how far a
    background point at the rim of the picture moves when the camera swings.
    """
    width, height = image_size
    everything = list({id(v): v for view in views for v in _chain(view)}.values())
    focal = _focal(everything)
    turned = {id(view): homography(_refit(view, focal), focal) for view in everything}
    to_ground = np.stack([_along(view, turned) for view in views])
    half = views[0].width / 2
    corners = np.array([[x, y] for x in (-half, half) for y in (-half, half)]) * (1, height / width)
    middle = _middle(to_ground)
    relative = np.linalg.inv(to_ground[middle]) @ to_ground
    moved = max(np.abs(warp(matrix, corners) - corners).max() for matrix in relative)
    if moved < STILL_PX:
        return np.tile(np.eye(3), (len(views), 1, 1))
    return in_frame_px(relative, image_size, views[0].width)


def in_frame_px(
    matrices: FloatArray, image_size: tuple[int, int], working_width: float
) -> FloatArray:
    """Take homographies (n, 3, 3) from working px about the middle to frame px."""
    scale = working_width / image_size[0]
    middle = (np.array(image_size) - 1) / 2
    inward = np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1.0]])
    whole: FloatArray = np.linalg.inv(inward) @ matrices @ inward
    return whole / whole[:, 2:, 2:]


def _chain(view: View | None) -> list[View]:
    chain = []
    while view is not None:
        chain.append(view)
        view = view.parent
    return chain


def _focal(views: Sequence[View]) -> float:
    """Return the focal length, working px, from the views turned the most."""
    width = views[0].width
    turned = sorted(views, key=lambda v: -float(np.hypot(v.turn[0], v.turn[1])))
    telling = [
        (np.asarray(v.seen, np.float64), np.asarray(v.reference, np.float64))
        for v in turned[:MATCHES_FOR_FOCAL]
        if np.hypot(v.turn[0], v.turn[1]) > LEAST_TURN_FOR_FOCAL and len(v.seen)
    ]
    return fit_focal(telling, width) if telling else USUAL_FOCAL * width


def _refit(view: View, focal: float) -> FloatArray:
    if not len(view.seen):
        return view.turn if not view.turn.any() else np.zeros(4)
    start = view.turn * (USUAL_FOCAL * view.width / focal, USUAL_FOCAL * view.width / focal, 1, 1)
    seen, reference = np.asarray(view.seen, np.float64), np.asarray(view.reference, np.float64)
    return fit_turn(seen, reference, focal, start)[0]


def _along(view: View, turned: dict[int, FloatArray]) -> FloatArray:
    whole = np.eye(3)
    for one in _chain(view):
        whole = turned[id(one)] @ whole
    return whole


def _middle(to_ground: FloatArray) -> int:
    """Return the frame whose view lies in the middle of all, the squarest to the lane."""
    aim = np.array([warp(matrix, np.zeros(2))[0] for matrix in to_ground])
    return int(np.abs(aim - (aim.min() + aim.max()) / 2).argmin())
