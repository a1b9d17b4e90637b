"""How well two or more scorers agree, person with person or person with program.

Kappa and McNemar come from statsmodels; the measures it lacks are written out here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Weights = Literal["none", "linear", "quadratic"]
Level = Literal["nominal", "ordinal", "interval", "ratio"]
ACCEPTED_KAPPA = 0.6
ACCEPTED_AGREEMENT = 0.75
"""Acceptance line: weighted kappa >= 0.6 and agreement >= 75 % (Schlageter-Tello et al. 2014,
J Dairy Sci 97:5533)."""


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """A figure with its standard error and 95 % interval."""

    value: float
    se: float
    low: float
    high: float


def confusion_table(
    first: Sequence[int], second: Sequence[int], categories: Sequence[int]
) -> npt.NDArray[np.int64]:
    """Count the pairs of scores: rows the first scorer, columns the second.

    Raises
    ------
    ValueError
        The two lists differ in length or hold a score that is not a category.
    """
    if len(first) != len(second):
        raise ValueError(f"Two lists of scores differ in length: {len(first)} and {len(second)}.")
    place = {category: i for i, category in enumerate(categories)}
    table = np.zeros((len(place), len(place)), np.int64)
    for a, b in zip(first, second, strict=True):
        if a not in place or b not in place:
            raise ValueError(f"The score {a if a not in place else b} is not one of the scale.")
        table[place[a], place[b]] += 1
    return table


def kappa(table: npt.ArrayLike, weights: Weights = "none") -> Estimate:
    """Return Cohen's kappa, weighted by the distance of the scores or not.

    Parameters
    ----------
    table : array, shape (k, k)
        Counts of pairs.
    weights : {'none', 'linear', 'quadratic'}

    Returns
    -------
    Estimate
        Large-sample standard error (Fleiss, Cohen and Everitt 1969). NaN where only one score was
        ever given, since kappa means nothing then.
    """
    from statsmodels.stats.inter_rater import cohens_kappa

    counts = np.asarray(table, float)
    if counts.sum() == 0 or ((counts.sum(0) > 0).sum() < 2 and (counts.sum(1) > 0).sum() < 2):
        return Estimate(value=np.nan, se=np.nan, low=np.nan, high=np.nan)
    kind = {"none": None, "linear": "linear", "quadratic": "quadratic"}[weights]
    with np.errstate(invalid="ignore", divide="ignore"):  # its z value, not used here
        found = cohens_kappa(counts, wt=kind)
    return Estimate(
        value=float(found.kappa),
        se=float(found.std_kappa),
        low=float(found.kappa_low),
        high=min(1.0, float(found.kappa_upp)),
    )


def percent_agreement(table: npt.ArrayLike, within: int = 0) -> float:
    """Return the share of pairs that differ by no more than `within` scores, 0 to 1."""
    counts = np.asarray(table, float)
    near = _distance(len(counts)) <= within
    return float(counts[near].sum() / counts.sum()) if counts.sum() else float("nan")


def pabak(table: npt.ArrayLike) -> float:
    """Return kappa adjusted for prevalence and bias: (k po - 1) / (k - 1), Byrt et al. 1993."""
    k = len(np.asarray(table))
    return (k * percent_agreement(table) - 1) / (k - 1)


def gwet(table: npt.ArrayLike, weights: Weights = "none") -> float:
    """Return Gwet's AC1 (no weights) or AC2, Gwet 2008, Br J Math Stat Psychol 61:29-48."""
    share = np.asarray(table, float)
    share = share / share.sum()
    k = len(share)
    weight = _agreement_weights(k, weights)
    observed = float((weight * share).sum())
    mean = (share.sum(0) + share.sum(1)) / 2
    chance = float(weight.sum() / (k * (k - 1)) * (mean * (1 - mean)).sum())
    return (observed - chance) / (1 - chance)


def krippendorff_alpha(ratings: npt.ArrayLike, level: Level = "ordinal") -> float:
    """Return Krippendorff's alpha for any number of scorers with gaps.

    Parameters
    ----------
    ratings : array, shape (cows, scorers)
        NaN where a scorer did not score the cow.
    level : {'nominal', 'ordinal', 'interval', 'ratio'}

    Returns
    -------
    float
        Krippendorff 2004, Content Analysis, chapter 11.
    """
    data = np.asarray(ratings, float)
    values = np.unique(data[np.isfinite(data)])
    counts = np.array([[(row == v).sum() for v in values] for row in data], float)
    counts = counts[counts.sum(1) >= 2]
    per_unit = counts.sum(1, keepdims=True)
    pairs = (counts.T @ (counts / (per_unit - 1))) - np.diag((counts / (per_unit - 1)).sum(0))
    total = pairs.sum(1)
    delta = _delta(values, total, level)
    observed = (pairs * delta).sum()
    expected = (np.outer(total, total) * delta).sum() / (total.sum() - 1)
    return float(1 - observed / expected) if expected > 0 else float("nan")


def icc_agreement(ratings: npt.ArrayLike) -> float:
    """Return ICC(2,1), absolute agreement of single scores, Shrout and Fleiss 1979.

    Parameters
    ----------
    ratings : array, shape (cows, scorers)
        Without gaps.
    """
    data = np.asarray(ratings, float)
    n, k = data.shape
    grand = data.mean()
    rows = k * ((data.mean(1) - grand) ** 2).sum() / (n - 1)
    columns = n * ((data.mean(0) - grand) ** 2).sum() / (k - 1)
    left = data - data.mean(1, keepdims=True) - data.mean(0, keepdims=True) + grand
    error = (left**2).sum() / ((n - 1) * (k - 1))
    return float((rows - error) / (rows + (k - 1) * error + k * (columns - error) / n))


def mcnemar(only_first: int, only_second: int, *, exact: bool | None = None) -> float:
    """Return the p value that two scorers call equally many cows lame.

    Parameters
    ----------
    only_first, only_second : int
        Cows that only the one or only the other calls lame.
    exact : bool, optional
        Binomial test; by default with fewer than 25 such cows, else chi-square without correction.
    """
    from statsmodels.stats.contingency_tables import mcnemar as test

    small = only_first + only_second < 25 if exact is None else exact
    table = [[0, only_first], [only_second, 0]]
    return float(test(table, exact=small, correction=False).pvalue)


@dataclass(frozen=True, kw_only=True)
class LameTest:
    """One scorer's *lame* (3 and above) against another's, with 95 % Wilson intervals."""

    sensitivity: Estimate
    specificity: Estimate
    both: int
    only_reference: int
    only_test: int
    neither: int


def lame_test(reference: Sequence[int], test: Sequence[int], lame_from: int = 3) -> LameTest:
    """Return sensitivity and specificity of *lame* against a reference scorer."""
    truth, said = np.asarray(reference) >= lame_from, np.asarray(test) >= lame_from
    both, missed = int((truth & said).sum()), int((truth & ~said).sum())
    false, neither = int((~truth & said).sum()), int((~truth & ~said).sum())
    return LameTest(
        sensitivity=_share(both, both + missed),
        specificity=_share(neither, neither + false),
        both=both,
        only_reference=missed,
        only_test=false,
        neither=neither,
    )


def is_accepted(table: npt.ArrayLike) -> bool:
    """Tell whether quadratic kappa and exact agreement reach the published acceptance line."""
    enough = percent_agreement(table) >= ACCEPTED_AGREEMENT
    return bool(kappa(table, "quadratic").value >= ACCEPTED_KAPPA and enough)


def _share(part: int, whole: int) -> Estimate:
    from scipy.stats import binomtest

    if whole == 0:
        return Estimate(value=np.nan, se=np.nan, low=np.nan, high=np.nan)
    interval = binomtest(part, whole).proportion_ci(method="wilson")
    p = part / whole
    se = float(np.sqrt(p * (1 - p) / whole))
    return Estimate(value=p, se=se, low=float(interval.low), high=float(interval.high))


def _distance(k: int) -> npt.NDArray[np.int64]:
    place = np.arange(k)
    apart: npt.NDArray[np.int64] = np.abs(place[:, None] - place[None])
    return apart


def _agreement_weights(k: int, weights: Weights) -> Array:
    apart = _distance(k) / (k - 1)
    if weights == "none":
        return np.eye(k)
    agreement: Array = 1 - (apart if weights == "linear" else apart**2)
    return agreement


def _delta(values: Array, total: Array, level: Level) -> Array:
    a, b = values[:, None], values[None]
    if level == "nominal":
        return np.asarray(a != b, float)
    if level == "interval":
        return np.asarray((a - b) ** 2, float)
    if level == "ratio":
        return np.asarray(((a - b) / np.where(a + b == 0, 1, a + b)) ** 2, float)
    reached = np.cumsum(total)
    low = np.minimum.outer(np.arange(len(values)), np.arange(len(values)))
    high = np.maximum.outer(np.arange(len(values)), np.arange(len(values)))
    between = reached[high] - reached[low] + total[low] - (total[low] + total[high]) / 2
    return np.where(low == high, 0.0, between**2)
