"""Frames in which two legs were taken for each other, by continuity: for cows of few steps."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

WEIGHTS = np.array([1.2, 1.0, 0.6])
"""Hoof, fetlock, joint: the lower, the farther apart the two legs are."""
LANDMARK_ERROR_BL = 0.02
"""Usual jump of a landmark from frame to frame, trunk lengths; ours."""
MOST_COST = 12.0
"""Cost of one landmark in one frame never exceeds this: a wild point must not decide."""
NETWORK_COST = 0.35
"""Cost of going against the network in one frame; small, because its errors come in runs."""
LONGEST_GAP_S = 0.3


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
