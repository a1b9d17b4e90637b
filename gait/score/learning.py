"""Learn from the scores that people of this herd gave: prior plus data, never data alone.

The published model is the prior. A challenger is the most probable model given prior and scores.
It is taken up only if, on cows that it did not learn from, neither log loss nor weighted kappa gets
worse and one gets better. Only scores that a person gave are learnt from; those given with the
proposal in view count half, since the proposal may have led the person.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt
from sklearn.model_selection import GroupKFold

from gait.score.calibration import log_loss
from gait.score.conformal import conformal_threshold
from gait.score.model import Measured, ScoreModel
from gait.score.ordinal import ProportionalOdds
from gait.score.proposal import SCORES
from gait.statistics.agreement import confusion_table, kappa

Array = npt.NDArray[np.float64]
COWS_NEEDED = 30
SCORES_NEEDED = 3
IN_VIEW_COUNTS = 0.5
"""What a score counts that was given with the proposal in view."""
FOLDS = 5
WEIGHT_SD, CUT_SD = 0.35, 1.0
"""How far the herd may lie from the published model, logits."""


@dataclass(frozen=True, kw_only=True)
class ScoredPass:
    """One pass with the score that a person gave."""

    cow: str
    score: int
    measures: Mapping[str, Measured]
    blind: bool


@dataclass(frozen=True, kw_only=True)
class Trial:
    """Figures of one model on held-back cows."""

    log_loss: float
    weighted_kappa: float


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """What came of learning.

    Parameters
    ----------
    taken_up : bool
        True when the challenger did better and should be used.
    sentence : str
        For people.
    challenger : ScoreModel or None
    champion_trial, challenger_trial : Trial or None
        Both on the same held-back cows.
    cows_missing, scores_missing : int
        How many more scored cows, and different scores, are needed before learning starts.
    """

    taken_up: bool
    sentence: str
    challenger: ScoreModel | None = None
    champion_trial: Trial | None = None
    challenger_trial: Trial | None = None
    cows_missing: int = 0
    scores_missing: int = 0
    notes: Mapping[str, Any] = field(default_factory=dict)


def learn(
    published: ScoreModel,
    champion: ScoreModel,
    scored: Sequence[ScoredPass],
    *,
    today: date,
    version: str,
) -> Lesson:
    """Fit a challenger on the herd's scores and try it against the champion.

    Parameters
    ----------
    published : ScoreModel
        The model that ships: the prior.
    champion : ScoreModel
        The model in use. One that learnt from these cows has seen them, which favours it; the
        challenger must win all the same.
    scored : sequence of ScoredPass
    today : date
        Written into the challenger.
    version : str
        The challenger's name.

    Returns
    -------
    Lesson
    """
    cows = {s.cow for s in scored}
    cows_missing = max(0, COWS_NEEDED - len(cows))
    scores_missing = max(0, SCORES_NEEDED - len({s.score for s in scored}))
    if cows_missing or scores_missing:
        return Lesson(
            taken_up=False,
            sentence=_missing_sentence(cows_missing, scores_missing),
            cows_missing=cows_missing,
            scores_missing=scores_missing,
        )
    held_back = held_back_probabilities(published, scored)
    score = np.array([s.score for s in scored])
    weight = counts(scored)
    before = trial(_probabilities(champion, scored), score, weight)
    after = trial(held_back, score, weight)
    challenger = fit(published, scored, version=version)
    threshold = conformal_threshold(held_back, score, published.coverage)
    challenger = challenger.with_weights(
        challenger.weights.tolist(),
        challenger.cut_points,
        conformal_threshold=round(threshold, 5),
        notes=_notes(scored, before, after, today),
    )
    better = is_better(before, after)
    return Lesson(
        taken_up=better,
        sentence=_sentence(better, before, after),
        challenger=challenger,
        champion_trial=before,
        challenger_trial=after,
    )


def fit(published: ScoreModel, scored: Sequence[ScoredPass], *, version: str) -> ScoreModel:
    """Return the most probable model given the published one and the herd's scores."""
    mean, spread = design(published, scored)
    estimator = ProportionalOdds(
        signs=[1] * len(published.terms),
        prior_weights=published.weights.tolist(),
        prior_weights_sd=WEIGHT_SD,
        prior_cuts=list(published.cut_points),
        prior_cuts_sd=CUT_SD,
        classes=list(SCORES),
    )
    estimator.fit(mean, [s.score for s in scored], counts(scored), spread)
    return published.with_weights(
        np.round(estimator.coef_, 5).tolist(),
        np.round(estimator.cuts_, 5).tolist(),
        version=version,
        kind="herd",
    )


def design(model: ScoreModel, scored: Sequence[ScoredPass]) -> tuple[Array, Array]:
    """Return each pass's mean z and by how much its measurement error flattens the logit.

    Returns
    -------
    mean : ndarray, shape (passes, measures)
    spread : ndarray, shape (passes,)
        sqrt(1 + pi/8 variance of the index), MacKay 1992, Neural Comput 4:720-736.
    """
    found = [model.posterior(s.measures) for s in scored]
    mean = np.array([m for m, _ in found])
    variance = np.array([model.weights @ c @ model.weights for _, c in found])
    return mean, np.sqrt(1 + np.pi / 8 * variance)


def counts(scored: Sequence[ScoredPass]) -> Array:
    """Return how much each score counts."""
    return np.array([1.0 if s.blind else IN_VIEW_COUNTS for s in scored])


def held_back_probabilities(published: ScoreModel, scored: Sequence[ScoredPass]) -> Array:
    """Return probabilities for each pass from a model that never saw that cow.

    Returns
    -------
    ndarray, shape (passes, 5)
    """
    cows = np.array([s.cow for s in scored])
    chance = np.full((len(scored), len(SCORES)), np.nan)
    folds = GroupKFold(min(FOLDS, len(set(cows.tolist()))), shuffle=True, random_state=0)
    for seen, unseen in folds.split(cows, groups=cows):
        model = fit(published, [scored[i] for i in seen], version="fold")
        chance[unseen] = _probabilities(model, [scored[i] for i in unseen])
    return chance


def trial(probabilities: Array, score: npt.NDArray[np.int64], weight: Array) -> Trial:
    """Return log loss and quadratic weighted kappa of the most probable score."""
    said = (probabilities.argmax(1) + 1).tolist()
    table = confusion_table(score.tolist(), said, SCORES)
    value = kappa(table, "quadratic").value
    return Trial(
        log_loss=log_loss(probabilities, score, weight),
        weighted_kappa=0.0 if np.isnan(value) else value,
    )


def is_better(before: Trial, after: Trial, tolerance: float = 1e-9) -> bool:
    """Tell whether neither figure got worse and one got better."""
    loss, agree = before.log_loss - after.log_loss, after.weighted_kappa - before.weighted_kappa
    return loss >= -tolerance and agree >= -tolerance and max(loss, agree) > tolerance


def _probabilities(model: ScoreModel, scored: Sequence[ScoredPass]) -> Array:
    return np.array([model.probabilities(s.measures) for s in scored])


def _notes(
    scored: Sequence[ScoredPass], before: Trial, after: Trial, today: date
) -> dict[str, Any]:
    return {
        "statement": "Published model moved by this herd's own confirmed scores.",
        "learnt_on": today.isoformat(),
        "confirmed_scores": len(scored),
        "cows": len({s.cow for s in scored}),
        "blind_scores": sum(s.blind for s in scored),
        "held_back_log_loss": round(after.log_loss, 4),
        "held_back_weighted_kappa": round(after.weighted_kappa, 4),
        "before_log_loss": round(before.log_loss, 4),
        "before_weighted_kappa": round(before.weighted_kappa, 4),
    }


def _missing_sentence(cows: int, scores: int) -> str:
    parts = []
    if cows:
        parts.append(f"{cows} more scored cow{'s' if cows > 1 else ''}")
    if scores:
        parts.append(f"{scores} more different score{'s' if scores > 1 else ''}")
    return "Learning starts when there are " + " and ".join(parts) + "."


def _sentence(better: bool, before: Trial, after: Trial) -> str:
    figures = (
        f"On cows that it had not seen, weighted kappa went from {before.weighted_kappa:.2f} to "
        f"{after.weighted_kappa:.2f} and log loss from {before.log_loss:.3f} to "
        f"{after.log_loss:.3f}."
    )
    if better:
        return f"The new model does better and is taken up. {figures}"
    return f"The new model does not do better, so the old one stays. {figures}"
