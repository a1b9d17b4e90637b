"""The cow in the lane's own directions: along the walk and up from the floor.

A film may be tilted, so "up" is at right angles to the way the cow walks, not to the frame's
edge. Everything here is in ground px, that is with the camera's motion taken out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from gait.landmarks import HOOVES, INDEX

if TYPE_CHECKING:
    from gait.track.passes import Pass

FloatArray = npt.NDArray[np.float64]

MOST_TILT_DEG = 15.0
"""A path steeper than this in the picture is not a camera held askew; our own choice."""
NO_BODY_PX = 10.0
"""Withers and tailhead closer than this are not those of a cow one can measure."""
LEAST_WHOLE_FRAMES = 5
LEAST_WALK_BL = 0.5
"""The lane's direction is read from the walk only if the cow moves at least this far."""
STEADY_S = 1.2
"""Time before and after a frame over which the trunk is taken to move evenly: about a stride."""
BEHIND_BL = 0.06
"""How far behind the withers landmark the height of the back is read, so that the neck does not
come into it; ours."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Lane:
    """Landmarks of one pass in lane coordinates.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Time stamps.
    whole : ndarray of bool, shape (n,)
        True where the frame's edge does not cut the cow.
    along : ndarray, shape (n, 18)
        Place along the lane, ground px, rising in the direction of the walk. NaN unseen.
    up : ndarray, shape (n, 18)
        Height at right angles to the lane, ground px, rising upwards; its zero is arbitrary.
    withers_up : ndarray, shape (n,)
        Height of the back at the withers, ground px, read from the traced edge at a place that
        moves evenly with the trunk; NaN where the withers were not seen.
    trunk : ndarray, shape (n,)
        Place of the middle between withers and tailhead along the lane, ground px.
    body_length_px : float
        Straight distance withers to tailhead (trunk length), median over the pass.
    withers_height_px : float
        Withers above the ground line through the hooves, midway between near and far legs.
    tilt_deg : float
        Slope of the walk in the picture; positive when she walks downhill in it.
    """

    time_s: FloatArray
    whole: npt.NDArray[np.bool_]
    along: FloatArray
    up: FloatArray
    withers_up: FloatArray
    trunk: FloatArray
    body_length_px: float
    withers_height_px: float
    tilt_deg: float

    def of(self, landmark: str) -> tuple[FloatArray, FloatArray]:
        """Return place along the lane and height of one landmark, each of shape (n,)."""
        i = INDEX[landmark]
        return self.along[:, i], self.up[:, i]

    def speed_at(self, time_s: FloatArray, half_window_s: float = 0.35) -> FloatArray:
        """Return the trunk's speed along the lane at given times, ground px per second."""
        return np.array([self._slope(t, half_window_s) for t in np.atleast_1d(time_s)])

    def _slope(self, at_s: float, half_window_s: float) -> float:
        near = (np.abs(self.time_s - at_s) <= half_window_s) & np.isfinite(self.trunk)
        if near.sum() < 3:
            near = np.isfinite(self.trunk)
        if near.sum() < 2:
            return float("nan")
        return float(np.polyfit(self.time_s[near] - at_s, self.trunk[near], 1)[0])


def see_in_lane(pass_: Pass) -> Lane:
    """Turn the landmarks of a pass into lane coordinates.

    Parameters
    ----------
    pass_ : Pass
        One cow walking past; points in frame px, shape (n, 18, 2).

    Returns
    -------
    Lane
        NaN lengths where withers, tailhead or hooves were never seen.
    """
    ground = pass_.ground(np.where(_in_frame(pass_)[..., None], pass_.points, np.nan))
    ground = _ends_on_edge(ground, pass_.ground(pass_.back_line))
    withers, tailhead = ground[:, INDEX["withers"]], ground[:, INDEX["tailhead"]]
    body_length = _median(_from_whole(np.hypot(*(withers - tailhead).T), pass_))
    if body_length < NO_BODY_PX:
        body_length = float("nan")
    middle = _trunk_middle(ground)
    forward, tilt = _walking_direction(middle, body_length, pass_.heading)
    upward = np.array([forward[1], -forward[0]])
    if upward[1] > 0:  # y runs down the picture, so up must point to smaller y
        upward = -upward
    up = ground @ upward
    line = pass_.ground(pass_.back_line)
    withers_at = (ground @ forward)[:, INDEX["withers"]]
    place = _evenly_moving(pass_.time_s, np.where(pass_.cut, np.nan, withers_at))
    edge_up = _height_at(line @ forward, line @ upward, place - BEHIND_BL * body_length)
    return Lane(
        time_s=pass_.time_s,
        whole=~pass_.cut,
        along=ground @ forward,
        up=up,
        withers_up=_like(edge_up, up[:, INDEX["withers"]]),
        trunk=middle @ forward,
        body_length_px=body_length,
        withers_height_px=_withers_height(up, pass_, body_length),
        tilt_deg=tilt,
    )


def _in_frame(pass_: Pass) -> npt.NDArray[np.bool_]:
    """Return which landmarks lie in the picture, shape (n, 18): what is cut off is only a guess."""
    x, y = pass_.points[..., 0], pass_.points[..., 1]
    width, height = pass_.image_size
    inside: npt.NDArray[np.bool_] = (x > 1) & (y > 1) & (x < width - 2) & (y < height - 2)
    return inside


def _ends_on_edge(ground: FloatArray, line: FloatArray) -> FloatArray:
    """Return the landmarks with withers and tailhead moving as the traced edge does.

    The edge is finer than a landmark, whose constant offset from it is kept.
    """
    moved = ground.copy()
    for name, part in (("withers", slice(None, 4)), ("tailhead", slice(-4, None))):
        edge = line[:, part].mean(axis=1)
        offset = ground[:, INDEX[name]] - edge
        known = np.isfinite(offset).all(axis=1)
        if known.any():
            moved[known, INDEX[name]] = edge[known] + np.median(offset[known], axis=0)
    return moved


def _evenly_moving(time_s: FloatArray, along: FloatArray) -> FloatArray:
    """Return a place that goes along evenly: straight lines through a stride before and after.

    The withers landmark slides a little along the back as head and neck nod. On an arched back that
    alone would look like withers that go up and down once a stride.
    """
    known = np.isfinite(along)
    result = np.full(len(along), np.nan)
    for i, now in enumerate(time_s):
        near = known & (np.abs(time_s - now) <= STEADY_S)
        if near.sum() >= LEAST_WHOLE_FRAMES:
            result[i] = np.polynomial.polynomial.polyfit(time_s[near] - now, along[near], 1)[0]
    return result


def _height_at(along: FloatArray, up: FloatArray, place: FloatArray) -> FloatArray:
    """Return the height (n,) of the traced edges (n, m) at a place along the lane; else NaN."""
    result = np.full(len(place), np.nan)
    known = np.isfinite(along + up).all(axis=1) & np.isfinite(place)
    for i in np.flatnonzero(known):
        order = np.argsort(along[i])
        if along[i, order[0]] <= place[i] <= along[i, order[-1]]:
            result[i] = np.interp(place[i], along[i, order], up[i, order])
    return result


def _like(edge_up: FloatArray, landmark_up: FloatArray) -> FloatArray:
    """Return the edge's height at the landmark's level, and the landmark where it is unknown."""
    both = np.isfinite(edge_up + landmark_up)
    if not both.any():
        return landmark_up
    level = edge_up + np.median((landmark_up - edge_up)[both])
    return np.where(np.isfinite(edge_up), level, landmark_up)


def _from_whole(values: FloatArray, pass_: Pass) -> FloatArray:
    """Return the values of the frames that hold the whole cow, or all if there are hardly any."""
    whole = ~pass_.cut & np.isfinite(values)
    return values[whole] if whole.sum() >= LEAST_WHOLE_FRAMES else values


def _median(values: FloatArray) -> float:
    """Return the median of what is known, NaN (without a warning) where nothing is."""
    finite = values[np.isfinite(values)]
    return float(np.median(finite)) if finite.size else float("nan")


def _trunk_middle(ground: FloatArray) -> FloatArray:
    """Return the middle of withers and tailhead, falling back on mid-back and loin."""
    ends = (ground[:, INDEX["withers"]] + ground[:, INDEX["tailhead"]]) / 2
    inner = (ground[:, INDEX["mid_back"]] + ground[:, INDEX["loin"]]) / 2
    gap = ends - inner
    known = np.isfinite(gap).all(axis=1)
    if known.any():
        inner = inner + np.median(gap[known], axis=0)
    middle: FloatArray = np.where(np.isfinite(ends), ends, inner)
    return middle


def _walking_direction(
    middle: FloatArray, body_length: float, heading: str
) -> tuple[FloatArray, float]:
    """Return the unit vector of the walk in the picture and its slope in degrees."""
    level = np.array([1.0 if heading == "right" else -1.0, 0.0])
    seen = middle[np.isfinite(middle).all(axis=1)]
    if len(seen) < 5 or not np.isfinite(body_length):
        return level, 0.0
    centred = seen - seen.mean(axis=0)
    if np.ptp(centred[:, 0]) < LEAST_WALK_BL * body_length:
        return level, 0.0
    slope = float(centred[:, 0] @ centred[:, 1] / (centred[:, 0] @ centred[:, 0]))
    direction = np.array([1.0, slope]) * level[0]
    tilt = float(np.degrees(np.arctan(slope))) * level[0]
    if abs(tilt) > MOST_TILT_DEG:
        return level, tilt
    return direction / np.hypot(*direction), tilt


def _withers_height(up: FloatArray, pass_: Pass, body_length: float) -> float:
    """Return the withers' height above the ground line of the planted hooves, px.

    Each hoof stands on the floor for most of the stride, so the floor under it is the low
    part of its height: the 30th percentile lies inside the stance whatever the duty.
    """
    floors = []
    for hoof in HOOVES:
        height = up[:, INDEX[hoof]]
        height = height[np.isfinite(height)]
        if height.size >= 3:
            floors.append(float(np.percentile(height, 30)))
        elif height.size:
            floors.append(float(height.min()))
    withers = _median(_from_whole(up[:, INDEX["withers"]], pass_))
    if not floors or not np.isfinite(withers):
        return float("nan")
    height_px = withers - float(np.mean(floors))
    return height_px if height_px > 0.2 * np.nan_to_num(body_length) else float("nan")
