"""Proportional odds regression with sign constraints and a prior, as a scikit-learn estimator.

``P(score <= j | x) = logistic(cut_j - x . weight)``: one weight for each measure, one cut point
between neighbouring scores. References: McCullagh 1980, J R Stat Soc B 42:109-142.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Self

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import expit
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.utils.validation import check_is_fitted

Array = npt.NDArray[np.float64]
_FLOOR = 1e-12


class ProportionalOdds(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """Cumulative logit model, fitted by maximum a posteriori (maximum likelihood with no prior).

    Parameters
    ----------
    signs : sequence of int, optional
        For each measure +1 (weight never negative), -1 (never positive) or 0 (free).
    prior_weights, prior_cuts : sequence of float, optional
        Centres of the normal priors.
    prior_weights_sd, prior_cuts_sd : float or sequence of float
        Their standard deviations; infinite means no prior.
    classes : sequence of int, optional
        All scores, also those that the data lack (needs a prior on the cuts). Default: those seen.
    max_iter : int
        Limit for the optimiser.

    Attributes
    ----------
    coef_ : ndarray, shape (measures,)
        Weights; positive pushes towards higher scores.
    cuts_ : ndarray, shape (scores - 1,)
        Cut points, rising.
    classes_ : ndarray of int
    log_likelihood_ : float
        Without the prior.
    """

    def __init__(
        self,
        signs: Sequence[int] | None = None,
        prior_weights: Sequence[float] | None = None,
        prior_weights_sd: float | Sequence[float] = np.inf,
        prior_cuts: Sequence[float] | None = None,
        prior_cuts_sd: float | Sequence[float] = np.inf,
        classes: Sequence[int] | None = None,
        max_iter: int = 2000,
    ) -> None:
        self.signs = signs
        self.prior_weights = prior_weights
        self.prior_weights_sd = prior_weights_sd
        self.prior_cuts = prior_cuts
        self.prior_cuts_sd = prior_cuts_sd
        self.classes = classes
        self.max_iter = max_iter

    def fit(
        self,
        x: npt.ArrayLike,
        y: npt.ArrayLike,
        sample_weight: npt.ArrayLike | None = None,
        spread: npt.ArrayLike | None = None,
    ) -> Self:
        """Fit to scored cows.

        Parameters
        ----------
        x : array, shape (cows, measures)
        y : array of int, shape (cows,)
            Scores.
        sample_weight : array, shape (cows,), optional
            How much each score counts.
        spread : array, shape (cows,), optional
            Each row's logit is divided by this (1 or more): rows measured with much error say less.

        Returns
        -------
        ProportionalOdds
            Itself.

        Raises
        ------
        ValueError
            Shapes do not fit, values are missing, or fewer than two scores are there.
        """
        features, rank = self._check(x, y)
        weight = np.ones(len(rank)) if sample_weight is None else np.asarray(sample_weight, float)
        width = np.ones(len(rank)) if spread is None else np.asarray(spread, float)
        start = self._start(rank, features.shape[1])
        found = minimize(
            self._loss,
            start,
            args=(features, rank, weight, width),
            jac=True,
            method="L-BFGS-B",
            bounds=self._bounds(features.shape[1]),
            options={"maxiter": self.max_iter, "ftol": 1e-13, "gtol": 1e-8, "maxfun": 50_000},
        )
        self.cuts_, self.coef_ = self._unpack(found.x)
        cells = self._cells(features @ self.coef_, width)
        chosen = np.clip(cells[np.arange(len(rank)), rank], _FLOOR, None)
        self.log_likelihood_ = float((weight * np.log(chosen)).sum())
        self.n_features_in_ = features.shape[1]
        return self

    def predict_proba(self, x: npt.ArrayLike) -> Array:
        """Return the probability of each score, shape (cows, scores); rows sum to 1."""
        check_is_fitted(self)
        features = np.atleast_2d(np.asarray(x, float))
        return self._cells(features @ self.coef_, np.ones(len(features)))

    def predict(self, x: npt.ArrayLike) -> npt.NDArray[np.int64]:
        """Return the most probable score."""
        best: npt.NDArray[np.int64] = self.classes_[self.predict_proba(x).argmax(axis=1)]
        return best

    def _check(self, x: npt.ArrayLike, y: npt.ArrayLike) -> tuple[Array, npt.NDArray[np.int64]]:
        features, scores = np.asarray(x, float), np.asarray(y)
        if features.ndim != 2 or len(features) != len(scores):
            raise ValueError(
                f"x should be (cows, measures) with one score a cow; "
                f"x is {features.shape}, y is {scores.shape}."
            )
        if not np.isfinite(features).all():
            raise ValueError("x has missing values; integrate them out before fitting.")
        known = np.unique(scores) if self.classes is None else np.asarray(self.classes)
        if len(known) < 2:
            raise ValueError("At least two different scores are needed to fit.")
        self.classes_ = np.sort(known)
        return features, np.searchsorted(self.classes_, scores)

    def _start(self, rank: npt.NDArray[np.int64], measures: int) -> Array:
        steps = len(self.classes_) - 1
        if self.prior_cuts is not None:
            cuts = np.asarray(self.prior_cuts, float)
        else:
            share = np.array([(rank <= j).mean() for j in range(steps)]).clip(0.02, 0.98)
            cuts = np.log(share / (1 - share))
        gaps = np.log(np.diff(cuts).clip(1e-2))
        weights = np.zeros(measures) if self.prior_weights is None else self.prior_weights
        return np.concatenate([cuts[:1], gaps, np.asarray(weights, float)])

    def _bounds(self, measures: int) -> list[tuple[float | None, float | None]]:
        signs = [0] * measures if self.signs is None else list(self.signs)
        limits: dict[int, tuple[float | None, float | None]]
        limits = {1: (0.0, None), -1: (None, 0.0), 0: (None, None)}
        free: list[tuple[float | None, float | None]] = [(None, None)]
        gaps: list[tuple[float | None, float | None]] = [(-12.0, 12.0)]
        return free + gaps * (len(self.classes_) - 2) + [limits[s] for s in signs]

    def _unpack(self, packed: Array) -> tuple[Array, Array]:
        steps = len(self.classes_) - 1
        cuts = packed[0] + np.concatenate([[0.0], np.cumsum(np.exp(packed[1:steps]))])
        return cuts, packed[steps:]

    def _cells(self, index: Array, width: Array) -> Array:
        below = expit((self.cuts_[None] - index[:, None]) / width[:, None])
        edges = np.concatenate([np.zeros((len(index), 1)), below, np.ones((len(index), 1))], axis=1)
        cells: Array = np.diff(edges, axis=1)
        return cells

    def _loss(
        self, packed: Array, x: Array, rank: Any, weight: Array, width: Array
    ) -> tuple[float, Array]:
        cuts, coef = self._unpack(packed)
        steps = len(cuts)
        logit = (cuts[None] - (x @ coef)[:, None]) / width[:, None]
        below = expit(logit)
        slope = below * (1 - below) / width[:, None]
        rows = np.arange(len(rank))
        upper = np.where(rank < steps, below[rows, np.minimum(rank, steps - 1)], 1.0)
        lower = np.where(rank > 0, below[rows, np.maximum(rank - 1, 0)], 0.0)
        cell = np.clip(upper - lower, _FLOOR, None)
        d_upper = np.where(rank < steps, slope[rows, np.minimum(rank, steps - 1)], 0.0)
        d_lower = np.where(rank > 0, slope[rows, np.maximum(rank - 1, 0)], 0.0)
        pull = weight / cell
        d_cuts = np.zeros(steps)
        np.add.at(d_cuts, np.minimum(rank, steps - 1), -pull * d_upper)
        np.add.at(d_cuts, np.maximum(rank - 1, 0), pull * d_lower)
        d_coef = x.T @ (pull * (d_upper - d_lower))
        loss = -float((weight * np.log(cell)).sum())
        loss, d_cuts, d_coef = self._add_prior(loss, d_cuts, d_coef, cuts, coef)
        reversed_sum = np.cumsum(d_cuts[::-1])[::-1]
        d_gaps = reversed_sum[1:] * np.exp(packed[1:steps])
        return loss, np.concatenate([[d_cuts.sum()], d_gaps, d_coef])

    def _add_prior(
        self, loss: float, d_cuts: Array, d_coef: Array, cuts: Array, coef: Array
    ) -> tuple[float, Array, Array]:
        for value, centre, sd, slope in (
            (cuts, self.prior_cuts, self.prior_cuts_sd, d_cuts),
            (coef, self.prior_weights, self.prior_weights_sd, d_coef),
        ):
            if centre is None:
                continue
            off = (value - np.asarray(centre, float)) / np.asarray(sd, float)
            loss += 0.5 * float((off**2).sum())
            slope += off / np.asarray(sd, float)
        return loss, d_cuts, d_coef
