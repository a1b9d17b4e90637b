"""The smallest run of neighbouring scores that holds a wanted share of cows.

Split conformal prediction on the ordinal scale. The nonconformity of score y under probabilities p
is how far the middle of its cumulative step lies from one half; the run holds all scores that are
not farther off than the threshold, which a set of confirmed scores gives. Reference: Lei et al.
2018, J Am Stat Assoc 113:1094-1111 (split conformal; ordinal nonconformity is ours).
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


def nonconformity(probabilities: npt.ArrayLike) -> Array:
    """Return the nonconformity of every score.

    Parameters
    ----------
    probabilities : array, shape (..., scores)

    Returns
    -------
    ndarray, same shape
        0 for a score in the middle of the distribution, 0.5 at its very ends.
    """
    chance = np.asarray(probabilities, float)
    middle = np.cumsum(chance, axis=-1) - chance / 2
    distance: Array = np.abs(middle - 0.5)
    return distance


def conformal_threshold(
    probabilities: npt.ArrayLike, scores: npt.ArrayLike, coverage: float = 0.9
) -> float:
    """Return the threshold that gives the wanted coverage, from confirmed scores kept apart.

    Parameters
    ----------
    probabilities : array, shape (cows, scores)
    scores : array of int, shape (cows,)
        Confirmed scores, 1 the lowest.
    coverage : float
        Share of cows that the run should hold.

    Returns
    -------
    float
        0.5 (everything is plausible) when there are too few cows for that coverage.
    """
    distance = nonconformity(probabilities)
    own = np.sort(distance[np.arange(len(distance)), np.asarray(scores, int) - 1])
    rank = math.ceil((len(own) + 1) * coverage)
    return float(own[rank - 1]) if 1 <= rank <= len(own) else 0.5


def plausible_run(probabilities: npt.ArrayLike, threshold: float) -> tuple[int, ...]:
    """Return the run of scores not farther off than the threshold, most probable included.

    Parameters
    ----------
    probabilities : array, shape (scores,)
    threshold : float

    Returns
    -------
    tuple of int
        Neighbouring scores, 1 the lowest.
    """
    chance = np.asarray(probabilities, float)
    inside = {int(i) + 1 for i in np.flatnonzero(nonconformity(chance) <= threshold + 1e-12)}
    inside.add(int(chance.argmax()) + 1)
    return tuple(range(int(min(inside)), int(max(inside)) + 1))
