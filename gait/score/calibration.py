"""How far stated probabilities can be believed: reliability, ranked probability score, coverage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gait.score.conformal import plausible_run
from gait.score.proposal import LAME_FROM

Array = npt.NDArray[np.float64]
BINS = 5


@dataclass(frozen=True, kw_only=True)
class ReliabilityBin:
    """Cows with about the same stated probability of being lame."""

    stated: float
    found: float
    cows: int


@dataclass(frozen=True, kw_only=True)
class Calibration:
    """Calibration of a model on confirmed scores.

    Parameters
    ----------
    bins : sequence of ReliabilityBin
        For *lame* (3 and above).
    expected_error : float
        Mean gap between stated and found, weighted by cows (expected calibration error).
    ranked_probability_score : float
        Mean over cows of the summed squared difference of cumulative probabilities, divided by
        scores - 1; 0 is perfect.
    log_loss : float
        Mean of -log(probability given to the confirmed score).
    coverage : float
        Share of confirmed scores inside the plausible run.
    cows : int
    """

    bins: Sequence[ReliabilityBin]
    expected_error: float
    ranked_probability_score: float
    log_loss: float
    coverage: float
    cows: int


def calibrate(probabilities: npt.ArrayLike, scores: npt.ArrayLike, threshold: float) -> Calibration:
    """Compare stated probabilities with confirmed scores.

    Parameters
    ----------
    probabilities : array, shape (cows, 5)
    scores : array of int, shape (cows,)
        Confirmed scores 1-5.
    threshold : float
        The model's conformal threshold.

    Returns
    -------
    Calibration
    """
    chance, score = np.asarray(probabilities, float), np.asarray(scores, int)
    bins = reliability(chance[:, LAME_FROM - 1 :].sum(1), score >= LAME_FROM)
    gap = sum(abs(b.stated - b.found) * b.cows for b in bins) / len(score)
    held = [s in plausible_run(c, threshold) for c, s in zip(chance, score, strict=True)]
    return Calibration(
        bins=bins,
        expected_error=float(gap),
        ranked_probability_score=float(ranked_probability_score(chance, score).mean()),
        log_loss=float(log_loss(chance, score)),
        coverage=float(np.mean(held)),
        cows=len(score),
    )


def reliability(
    stated: npt.ArrayLike, found: npt.ArrayLike, bins: int = BINS
) -> list[ReliabilityBin]:
    """Group cows by stated probability into equal steps; empty steps are left out."""
    chance, truth = np.asarray(stated, float), np.asarray(found, bool)
    step = np.minimum((chance * bins).astype(int), bins - 1)
    return [
        ReliabilityBin(
            stated=float(chance[step == b].mean()),
            found=float(truth[step == b].mean()),
            cows=int((step == b).sum()),
        )
        for b in range(bins)
        if (step == b).any()
    ]


def ranked_probability_score(probabilities: npt.ArrayLike, scores: npt.ArrayLike) -> Array:
    """Return the ranked probability score of each cow, divided by scores - 1 (Epstein 1969)."""
    chance, score = np.atleast_2d(np.asarray(probabilities, float)), np.atleast_1d(scores)
    reached = np.arange(1, chance.shape[1] + 1)[None] >= np.asarray(score, int)[:, None]
    total = ((np.cumsum(chance, axis=1) - reached) ** 2)[:, :-1].sum(axis=1)
    per_step: Array = total / (chance.shape[1] - 1)
    return per_step


def log_loss(
    probabilities: npt.ArrayLike, scores: npt.ArrayLike, weights: npt.ArrayLike | None = None
) -> float:
    """Return the mean of -log(probability given to the confirmed score)."""
    chance, score = np.asarray(probabilities, float), np.asarray(scores, int)
    own = chance[np.arange(len(score)), score - 1].clip(1e-9)
    weight = np.ones(len(own)) if weights is None else np.asarray(weights, float)
    return float(np.average(-np.log(own), weights=weight))
