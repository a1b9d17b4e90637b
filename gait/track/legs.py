"""Near and far legs told apart by how they move through time, not frame by frame.

The network may take the far leg for the near one in single frames or while the legs cross. Each
pair of legs (hind, fore) is therefore gone through from the first frame to the last, with two
choices in each frame: as the network says, or exchanged. The chain of choices is kept in which the
legs speed up and slow down the least; where that leaves both chains equal, the network's majority
decides, then the footfall order of the walk.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from gait.landmarks import INDEX
from gait.track.passes import Pass

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

PAIRS: dict[str, tuple[str, ...]] = {
    "hind": ("hock", "hind_fetlock", "hind_hoof"),
    "fore": ("carpus", "fore_fetlock", "fore_hoof"),
}
WEIGHTS = np.array([0.6, 1.0, 1.2])
"""Joint, fetlock, hoof: the lower, the farther apart the two legs are."""
LANDMARK_ERROR_BL = 0.02
"""Usual jump of a landmark from frame to frame, trunk lengths; ours."""
MOST_COST = 12.0
"""Cost of one landmark in one frame never exceeds this: a wild point must not decide."""
NETWORK_COST = 0.35
"""Cost of going against the network in one frame; small, because its errors come in runs."""
LONGEST_GAP_S = 0.3


def settle_legs(pass_: Pass) -> Pass:
    """Return the pass with near and far legs settled over all its frames.

    Parameters
    ----------
    pass_ : Pass
        Landmarks as the network gave them, shape (n, 18, 2), px.

    Returns
    -------
    Pass
        The same points, those of a leg pair exchanged in the frames where that makes both legs
        move steadily. Settling twice changes nothing more.
    """
    if len(pass_) < 3:
        return pass_
    points, confidence = pass_.points.copy(), pass_.confidence.copy()
    ground = pass_.ground(pass_.points)
    size = _trunk_length(ground)
    if not np.isfinite(size):
        return pass_
    for names in PAIRS.values():
        near = [INDEX[f"near_{name}"] for name in names]
        far = [INDEX[f"far_{name}"] for name in names]
        legs = np.stack([ground[:, near], ground[:, far]], axis=1) / size
        exchanged = exchanged_frames(legs, pass_.time_s)
        for array in (points, confidence):
            _exchange(array, near, far, exchanged)
    return replace(pass_, points=points, confidence=confidence)


def _trunk_length(ground: FloatArray) -> float:
    span = np.hypot(*(ground[:, INDEX["withers"]] - ground[:, INDEX["tailhead"]]).T)
    span = span[np.isfinite(span)]
    return float(np.median(span)) if span.size else float("nan")


def _exchange(array: FloatArray, near: list[int], far: list[int], frames: BoolArray) -> None:
    """Exchange the columns of near and far in some frames, in place."""
    for a, b in zip(near, far, strict=True):
        kept = array[frames, a].copy()
        array[frames, a] = array[frames, b]
        array[frames, b] = kept


def exchanged_frames(legs: FloatArray, time_s: FloatArray) -> BoolArray:
    """Find the frames in which the two legs of a pair were taken for each other.

    Parameters
    ----------
    legs : ndarray, shape (n, 2, m, 2)
        Near and far leg's m landmarks in trunk lengths, ground frame. NaN unseen.
    time_s : ndarray, shape (n,)
        Time stamps.

    Returns
    -------
    ndarray of bool, shape (n,)
        True where near and far must be exchanged.

    Notes
    -----
    Viterbi's method over the choices of two frames at a time: the cost is the squared change of
    speed over three frames. Distance alone would not do, because where the legs pass each
    other a planted and a swinging hoof are cheaper to exchange than to follow.
    """
    n = len(legs)
    cost = _speed_changes(legs, time_s)
    best = np.array([[0.0, NETWORK_COST], [NETWORK_COST, 2 * NETWORK_COST]])  # [before, now]
    back = np.zeros((n, 2, 2), dtype=np.intp)
    stay = np.array([0.0, NETWORK_COST])
    for i in range(2, n):
        options = best[:, :, None] + cost[i]  # [i-2, i-1, i]
        back[i] = options.argmin(axis=0)
        best = options.min(axis=0) + stay[None, :]
    return _read_back(best, back)


def _read_back(best: FloatArray, back: npt.NDArray[np.intp]) -> BoolArray:
    n = len(back)
    choice = np.zeros(n, dtype=np.intp)
    choice[-2], choice[-1] = np.unravel_index(int(best.argmin()), best.shape)
    for i in range(n - 1, 1, -1):
        choice[i - 2] = back[i, choice[i - 1], choice[i]]
    return choice.astype(bool)


def _speed_changes(legs: FloatArray, time_s: FloatArray) -> FloatArray:
    """Return the cost of each choice in three frames running, shape (n, 2, 2, 2).

    Exchanging all three frames costs the same as exchanging none, so only the places of the
    exchange relative to the newest frame count, but all eight are kept for plain indexing.
    """
    n = len(legs)
    cost = np.zeros((n, 2, 2, 2))
    if n < 3:
        return cost
    gap = np.diff(time_s)
    before, now = gap[:-1], gap[1:]
    ratio = now / before
    near_enough = (before < LONGEST_GAP_S) & (now < LONGEST_GAP_S)
    expected_error = LANDMARK_ERROR_BL * np.sqrt(1 + (1 + ratio) ** 2 + ratio**2)
    swapped = legs[:, ::-1]
    either = (legs, swapped)
    for a in (0, 1):
        for b in (0, 1):
            for c in (0, 1):
                first, second, third = either[a][:-2], either[b][1:-1], either[c][2:]
                step = third - second - ratio[:, None, None, None] * (second - first)
                square = (step**2).sum(axis=-1) / expected_error[:, None, None] ** 2
                square = np.minimum(np.nan_to_num(square, nan=0.0), MOST_COST) * WEIGHTS
                total = square.sum(axis=(1, 2))
                cost[2:, a, b, c] = np.where(near_enough, total, 0.0)
    return cost
