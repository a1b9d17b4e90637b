"""What is true in a frame: landmarks, upper edge of the back, silhouettes, camera."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gait.landmarks import INDEX, LANDMARKS

from .camera import View
from .figure import Tile, frame_box
from .mesh import PARTS, grids
from .pose import Pose
from .trunk import BACK_RINGS
from .walk import Floats, Walk

BACK_POINTS = 64
OUTSIDE, HIDDEN, VISIBLE = 0, 1, 2
"""Visibility of a landmark: outside the frame, behind something, seen."""
MID_BACK_SHARE, LOIN_SHARE = 0.45, 0.22
"""Last rib and hook bones on the top line; 0 is the tailhead, 1 the withers."""


@dataclass(frozen=True, kw_only=True)
class CowTruth:
    """One cow in one frame.

    Attributes
    ----------
    cow : int
        Her place in ``Scene.cows``.
    points : ndarray (18, 2)
        Landmarks in pixels, order of ``gait.landmarks.LANDMARKS``.
    points_m : ndarray (18, 3)
        The same in world metres.
    visible : ndarray (18,) int8
        ``OUTSIDE``, ``HIDDEN`` or ``VISIBLE``; without drawing hidden points count as visible.
    back_line : ndarray (64, 2)
        Upper edge of her silhouette in pixels from withers to tailhead, evenly along the chord.
    box : ndarray (4,)
        x0, y0, x1, y1 of her whole figure in pixels, frame edges ignored.
    whole : bool
        Whether all of her is inside the frame.
    heading : str
        The way she faces in the picture, ``"left"`` or ``"right"``.
    near_side : str
        Which of her own sides, ``"left"`` or ``"right"``, is nearer to the camera.
    seen_share : float
        Share of her silhouette in the frame that other cows leave free.
    mask : ndarray (h, w) uint8 or None
        Whole silhouette (255), rails and other cows ignored; only on demand.
    """

    cow: int
    points: Floats
    points_m: Floats
    visible: NDArray[np.int8]
    back_line: Floats
    box: Floats
    whole: bool
    heading: str
    near_side: str
    seen_share: float = 1.0
    mask: NDArray[np.uint8] | None = None


@dataclass(frozen=True, kw_only=True)
class FrameTruth:
    """One frame.

    Attributes
    ----------
    time_s : float
    cows : tuple of CowTruth
        Every cow of which something is inside the frame, in the order of the scene.
    to_reference : ndarray (3, 3)
        Homography from this frame's pixels to those of the steady camera.
    """

    time_s: float
    cows: tuple[CowTruth, ...]
    to_reference: Floats


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A cow that has been drawn: her place in the scene, her pose, its grids and her tile."""

    number: int
    pose: Pose
    skin: dict[str, Floats]
    tile: Tile


def near_side(pose: Pose, view: View) -> str:
    """Return which of the cow's own sides is nearer to the camera."""
    middle = pose.to_world(np.array([pose.withers[0] / 2, 0, 0]))
    left = np.array([-np.sin(pose.facing), np.cos(pose.facing), 0])
    return "left" if float((view.place - middle) @ left) > 0 else "right"


def landmarks_m(pose: Pose, near: str) -> Floats:
    """Return the landmarks (18, 3) in world metres; ``near`` is her side towards the camera."""
    points = np.full((len(LANDMARKS), 3), np.nan)
    back = pose.top_line(np.array([MID_BACK_SHARE, LOIN_SHARE]))
    middle = {
        "muzzle": pose.muzzle(),
        "poll": pose.poll,
        "withers": pose.withers,
        "mid_back": back[0],
        "loin": back[1],
        "tailhead": pose.tailhead,
    }
    for name, point in middle.items():
        points[INDEX[name]] = point
    for leg in range(4):
        own = "left" if leg < 2 else "right"
        side = "near" if own == near else "far"
        joint, kind = ("hock", "hind") if leg % 2 == 0 else ("carpus", "fore")
        points[INDEX[f"{side}_{joint}"]] = pose.joints[leg, 2]
        points[INDEX[f"{side}_{kind}_fetlock"]] = pose.joints[leg, 3]
        points[INDEX[f"{side}_{kind}_hoof"]] = pose.joints[leg, 5]
    return pose.to_world(points)


def back_line(trunk_px: Floats, withers: Floats, tailhead: Floats) -> Floats:
    """Return the upper edge (64, 2) of the projected trunk from withers to tailhead.

    Parameters
    ----------
    trunk_px : ndarray (rings, around, 2)
        The trunk's net in pixels.
    withers, tailhead : ndarray (2,)
        Ends of the chord in pixels.

    Notes
    -----
    The highest of all lengthwise lines of the net above the chord: exactly the edge drawn.
    """
    chord = tailhead - withers
    length = float(np.hypot(*chord))
    along = chord / max(length, 1e-9)
    up = np.array([along[1], -along[0]])
    if up[1] > 0:
        up = -up
    offset = trunk_px - withers
    far, high = offset @ along, offset @ up
    stations = np.linspace(0, length, BACK_POINTS)
    edge = np.full(BACK_POINTS, -np.inf)
    for line in range(trunk_px.shape[1]):
        order = np.argsort(far[:, line])
        edge = np.maximum(edge, np.interp(stations, far[order, line], high[order, line]))
    return np.asarray(withers + np.outer(stations, along) + np.outer(edge, up))


def distance_if_seen(walk: Walk, time_s: float, view: View, size: tuple[int, int]) -> float | None:
    """Return a cow's distance if any of her can be in the frame, with room for her shadow."""
    x, y, facing = walk.place(float(walk.phase(time_s)))
    long, high = walk.cow.body_length_m, walk.cow.withers_height_m
    ahead = np.array([np.cos(facing), np.sin(facing), 0])
    left = np.array([-ahead[1], ahead[0], 0])
    corners = [
        np.array([x, y, z * high]) + a * ahead + b * left
        for a in (-0.6, long / 2, long + 1.2)
        for b in (-0.4, 0.4)
        for z in (0, 1.3)
    ]
    pixels, depth = view.project(np.array(corners))
    if depth.min() < 0.3 or frame_box(pixels, depth, size) is None:
        return None
    return float(depth.mean())


def cow_truth(
    number: int,
    pose: Pose,
    view: View,
    size: tuple[int, int],
    skin: dict[str, Floats] | None = None,
) -> CowTruth:
    """Return the truth of one cow without drawing her; ``skin`` are the pose's grids if known."""
    near = near_side(pose, view)
    points_m = landmarks_m(pose, near)
    points, _ = view.project(points_m)
    skin = grids(pose) if skin is None else skin
    trunk = skin["trunk"]
    # The upper half of the rings is enough for the upper edge.
    quarter = trunk.shape[1] // 4
    upper = trunk[: BACK_RINGS + 12, quarter : trunk.shape[1] - quarter]
    upper_px, _ = view.project(pose.to_world(upper))
    outline, _ = view.project(
        pose.to_world(np.concatenate([skin[part.name].reshape(-1, 3) for part in PARTS]))
    )
    low, high = outline.min(0), outline.max(0)
    inside = (points >= -0.5).all(1) & (points <= np.array(size) - 0.5).all(1)
    nose, tail = points[INDEX["withers"], 0], points[INDEX["tailhead"], 0]
    return CowTruth(
        cow=number,
        points=points,
        points_m=points_m,
        visible=np.where(inside, VISIBLE, OUTSIDE).astype(np.int8),
        back_line=back_line(upper_px, points[INDEX["withers"]], points[INDEX["tailhead"]]),
        box=np.concatenate([low, high]),
        whole=bool((low >= 0).all() and (high <= np.array(size) - 1).all()),
        heading="right" if nose > tail else "left",
        near_side=near,
    )


def frame_truth(
    time_s: float,
    drawn: Sequence[Drawn],
    view: View,
    size: tuple[int, int],
    *,
    masks: bool = False,
) -> FrameTruth:
    """Return the truth of a drawn frame.

    ``drawn`` are the cows in the order of drawing, farthest first; a nearer cow's cover hides
    what is under it.
    """
    taken = np.zeros((size[1], size[0]), bool)
    found: dict[int, CowTruth] = {}
    for cow in reversed(drawn):
        truth, tile = cow_truth(cow.number, cow.pose, view, size, cow.skin), cow.tile
        window = _window(tile)
        covered = tile.cover >= 0.5
        free = covered & ~taken[window]
        mask = None
        if masks:
            mask = np.zeros((size[1], size[0]), np.uint8)
            mask[window] = np.where(covered, 255, 0)
        found[cow.number] = replace(
            truth,
            visible=_visibility(truth, tile, taken),
            seen_share=float(free.sum() / max(covered.sum(), 1)),
            mask=mask,
        )
        taken[window] |= covered
    return FrameTruth(
        time_s=time_s,
        cows=tuple(found[number] for number in sorted(found)),
        to_reference=view.to_reference,
    )


def _window(tile: Tile) -> tuple[slice, slice]:
    rows, columns = tile.cover.shape
    return slice(tile.top, tile.top + rows), slice(tile.left, tile.left + columns)


def _visibility(truth: CowTruth, tile: Tile, taken: NDArray[np.bool_]) -> NDArray[np.int8]:
    """Say which landmarks are seen: in the frame, behind no other cow nor another limb."""
    visible = truth.visible.copy()
    names = [part.name for part in PARTS]
    for index, name in enumerate(LANDMARKS):
        if visible[index] == OUTSIDE:
            continue
        x, y = np.round(truth.points[index]).astype(int)
        row, column = y - tile.top, x - tile.left
        if taken[min(max(y, 0), taken.shape[0] - 1), min(max(x, 0), taken.shape[1] - 1)]:
            visible[index] = HIDDEN
            continue
        if not name.startswith(("near", "far")):
            continue
        around = tile.part[max(row - 2, 0) : row + 3, max(column - 2, 0) : column + 3]
        side, _, rest = name.partition("_")
        own = (
            truth.near_side
            if side == "near"
            else {"left": "right", "right": "left"}[truth.near_side]
        )
        leg = (0 if own == "left" else 2) + (0 if "hock" in rest or "hind" in rest else 1)
        mine = [names.index(f"leg_{leg}"), names.index(f"hoof_{leg}")]
        if around.size and not np.isin(around, mine).any():
            visible[index] = HIDDEN
    return visible
