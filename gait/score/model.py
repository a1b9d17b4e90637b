"""The score model: readable JSON in, a transparent proposal out.

How a score comes about. Each measure is turned into *how many standard deviations worse than the
herd's middle cow* (z). Measures hang together through one common cause, how sore the cow is, so the
vector z is taken as normal with correlation ``loading_i * loading_j``. A measurement with error, or
one that is missing, then has a posterior mean and spread given the others (normal conditioning):
missing ones are integrated out, not filled, and a poor film widens the result. The index is the sum
of ``weight * z``, and the cut points turn it into five probabilities (proportional odds).

With one common cause and loadings that are not negative, raising any measured value never lowers
any posterior mean, so with weights that are not negative the score never falls when a cow walks
worse.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Literal, Protocol, Self

import numpy as np
import numpy.typing as npt
from scipy.special import expit

from gait.errors import ModelFileInvalid
from gait.score.conformal import plausible_run
from gait.score.proposal import SCORES, Proposal, look_yourself
from gait.score.sentences import reason_sentences

Array = npt.NDArray[np.float64]
FORMAT = "exitlane-score-model"
FORMAT_VERSION = 1
GAIT_NEEDED = 2
"""A score needs the back arch and this many measures of the gait, else a person must look."""
QUADRATURE = 15
SLIP = 0.15
"""Share of looks in which a scorer gives the neighbouring score. Experts repeated their own score
in 65 to 80 % of looks, by level (Schlageter-Tello et al. 2014, J Dairy Sci 97:5533); part of that
is in the logistic spread already, so the size is ours. No score is promised with more than
1 - SLIP."""


class Measured(Protocol):
    """What the model reads of a measure."""

    @property
    def value(self) -> float:
        """Return the number in the measure's unit, NaN without one."""

    @property
    def se(self) -> float:
        """Return its standard error."""

    @property
    def reason(self) -> str | None:
        """Return why there is no value, else None."""


@dataclass(frozen=True, kw_only=True)
class MeasureTerm:
    """How one measure enters the score.

    Parameters
    ----------
    name, unit : str
        As in the measurements.
    worse : {'higher', 'lower'}
        The direction in which a cow walks worse.
    centre, scale : float
        Mean and standard deviation over a herd, in `unit`.
    loading : float
        Correlation with the common cause, 0 to 1.
    weight : float
        Logits for each standard deviation worse; never negative.
    typical : sequence of float
        Mean for each of the scores 1-5, in `unit`, for the sentences.
    source : str
        Where the numbers come from.
    """

    name: str
    unit: str
    worse: Literal["higher", "lower"]
    centre: float
    scale: float
    loading: float
    weight: float
    typical: Sequence[float]
    source: str = ""

    def __post_init__(self) -> None:
        if self.weight < 0 or not 0 <= self.loading < 1 or self.scale <= 0:
            raise ModelFileInvalid(
                f"The score model's term for {self.name} breaks its own rules "
                "(weight not negative, loading from 0 to 1, scale above 0).",
                "Use the model that ships, or an earlier version.",
            )

    def z(self, value: float) -> float:
        """Return how many standard deviations worse than the herd's middle cow."""
        sign = 1.0 if self.worse == "higher" else -1.0
        return sign * (value - self.centre) / self.scale


@dataclass(frozen=True, kw_only=True)
class ScoreModel:
    """A score model, either the published one or one that learnt from a herd.

    Parameters
    ----------
    version : str
    kind : {'published', 'herd'}
    terms : sequence of MeasureTerm
    cut_points : sequence of float
        Four, rising, in logits.
    coverage : float
        What share of cows the plausible run should hold.
    conformal_threshold : float
        From :mod:`gait.score.conformal`.
    notes : mapping
        Statements for the card and the page: what it rests on, on how many scores, figures.
    """

    version: str
    kind: Literal["published", "herd"]
    terms: Sequence[MeasureTerm]
    cut_points: Sequence[float]
    coverage: float = 0.9
    conformal_threshold: float = 0.45
    notes: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        cuts = np.asarray(self.cut_points, float)
        if len(cuts) != len(SCORES) - 1 or not (np.diff(cuts) > 0).all():
            raise ModelFileInvalid(
                "The score model's cut points should be four rising numbers.",
                "Use the model that ships, or an earlier version.",
            )

    @property
    def names(self) -> tuple[str, ...]:
        """Return the names of the measures that enter."""
        return tuple(term.name for term in self.terms)

    @property
    def weights(self) -> Array:
        """Return the weights, logits per standard deviation worse."""
        return np.array([term.weight for term in self.terms])

    def posterior(self, measures: Mapping[str, Measured]) -> tuple[Array, Array]:
        """Return mean and covariance of z given what was measured.

        Parameters
        ----------
        measures : mapping of str to Measure
            With values and standard errors in the measures' units.

        Returns
        -------
        mean : ndarray, shape (terms,)
        covariance : ndarray, shape (terms, terms)
        """
        loading = np.array([term.loading for term in self.terms])
        prior = np.outer(loading, loading)
        np.fill_diagonal(prior, 1.0)
        seen = [i for i, term in enumerate(self.terms) if is_measured(measures.get(term.name))]
        if not seen:
            return np.zeros(len(loading)), prior
        z = np.array([self.terms[i].z(measures[self.terms[i].name].value) for i in seen])
        error = np.array([measures[self.terms[i].name].se / self.terms[i].scale for i in seen])
        gain = np.linalg.solve(prior[np.ix_(seen, seen)] + np.diag(error**2), prior[seen]).T
        return gain @ z, prior - gain @ prior[seen]

    def index(self, measures: Mapping[str, Measured]) -> tuple[float, float]:
        """Return mean and standard deviation of the linear index, logits."""
        mean, covariance = self.posterior(measures)
        weights = self.weights
        variance = float(weights @ covariance @ weights)
        return float(weights @ mean), math.sqrt(max(variance, 0.0))

    def probabilities(self, measures: Mapping[str, Measured]) -> Array:
        """Return the probability that a person gives each score, measurement error carried in."""
        return with_slips(index_probabilities(*self.index(measures), self.cut_points))

    def propose(self, measures: Mapping[str, Measured]) -> Proposal:
        """Propose a score, or say that a person has to look and why.

        Parameters
        ----------
        measures : mapping of str to Measure

        Returns
        -------
        Proposal
        """
        missing = self._what_is_missing(measures)
        if missing:
            return look_yourself(missing, self.version)
        mean, _ = self.posterior(measures)
        chance = self.probabilities(measures)
        value = int(chance.argmax()) + 1
        step = (self.cut_points[-1] - self.cut_points[0]) / (len(self.cut_points) - 1)
        points = {t.name: float(t.weight * m / step) for t, m in zip(self.terms, mean, strict=True)}
        measured = {name: p for name, p in points.items() if is_measured(measures.get(name))}
        return Proposal(
            value=value,
            confidence=float(chance[value - 1]),
            probabilities=tuple(float(p) for p in chance),
            plausible=plausible_run(chance, self.conformal_threshold),
            reasons=reason_sentences(self.terms, measures, measured),
            contributions=measured,
            model_version=self.version,
        )

    def _what_is_missing(self, measures: Mapping[str, Measured]) -> str:
        seen = {n for n in self.names if is_measured(measures.get(n))}
        arch = measures.get("back_arch")
        if "back_arch" not in seen:
            why = arch.reason if arch is not None and arch.reason else "the back was not seen."
            return f"no back arch could be measured: {why}"
        if len(seen) - 1 < GAIT_NEEDED:
            return "too little of the gait could be measured. Film three or four whole strides."
        return ""

    def to_json(self) -> dict[str, Any]:
        """Return the model as plain JSON with its own SHA-256."""
        body: dict[str, Any] = {"format": FORMAT, "format_version": FORMAT_VERSION, **asdict(self)}
        return {**body, "sha256": _digest(body)}

    def save(self, path: Path) -> None:
        """Write the model; an existing file of that name is replaced as a whole."""
        text = json.dumps(self.to_json(), indent=1, ensure_ascii=False) + "\n"
        waiting = path.with_suffix(".part")
        waiting.write_text(text, encoding="utf-8")
        waiting.replace(path)

    @classmethod
    def load(cls, path: Path) -> Self:
        """Read a model.

        Raises
        ------
        ModelFileInvalid
            Missing, damaged, altered by hand, or made by a newer program.
        """
        try:
            body = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError) as trouble:
            raise ModelFileInvalid(
                f"The score model {path.name} cannot be read.", "Use the model that ships."
            ) from trouble
        return cls.from_json(body, path.name)

    @classmethod
    def from_json(cls, body: Any, name: str = "given") -> Self:
        """Make a model from its JSON form; raises as :meth:`load` does."""
        if not isinstance(body, dict) or body.get("format") != FORMAT:
            raise ModelFileInvalid(f"The file {name} is not a score model.", "Choose another file.")
        if body.get("format_version") != FORMAT_VERSION:
            raise ModelFileInvalid(
                f"The score model {name} was made by a newer version of this program.",
                "Update the program, or use the model that ships.",
            )
        content = {k: v for k, v in body.items() if k != "sha256"}
        if _digest(content) != body.get("sha256"):
            raise ModelFileInvalid(
                f"The score model {name} was altered after it was made.",
                "Use the model that ships, or an earlier version.",
            )
        fields = {k: v for k, v in content.items() if k not in ("format", "format_version")}
        try:
            terms = tuple(MeasureTerm(**term) for term in fields.pop("terms"))
            return cls(terms=terms, **fields)
        except (TypeError, ValueError, KeyError, AttributeError) as trouble:
            raise ModelFileInvalid(
                f"The score model {name} is not complete.", "Use the model that ships."
            ) from trouble

    def with_weights(self, weights: Sequence[float], cuts: Sequence[float], **changes: Any) -> Self:
        """Return a copy with other weights and cut points."""
        terms = tuple(replace(t, weight=float(w)) for t, w in zip(self.terms, weights, strict=True))
        return replace(self, terms=terms, cut_points=tuple(float(c) for c in cuts), **changes)


def is_measured(measure: Measured | None) -> bool:
    """Tell whether a measure has a value and a standard error."""
    return (
        measure is not None
        and measure.reason is None
        and math.isfinite(measure.value)
        and math.isfinite(measure.se)
    )


def index_probabilities(mean: float, sd: float, cut_points: Sequence[float]) -> Array:
    """Return the five probabilities for a normal index, by Gauss-Hermite quadrature.

    Parameters
    ----------
    mean, sd : float
        Of the index, logits.
    cut_points : sequence of float
        Rising, logits.

    Returns
    -------
    ndarray, shape (cut points + 1,)
        They sum to 1.
    """
    node, weight = np.polynomial.hermite_e.hermegauss(QUADRATURE)
    index = mean + sd * node
    below = expit(np.asarray(cut_points, float)[:, None] - index[None]) @ (weight / weight.sum())
    cells: Array = np.diff(np.concatenate([[0.0], below, [1.0]]))
    return cells


def with_slips(probabilities: Array) -> Array:
    """Let a share of the probability slip to the neighbouring scores.

    Keeps the order: if one cow's distribution lies higher than another's, it still does.

    Parameters
    ----------
    probabilities : ndarray, shape (..., 5)

    Returns
    -------
    ndarray, same shape
    """
    count = probabilities.shape[-1]
    slips = np.eye(count) * (1 - SLIP)
    for score in range(count):
        neighbours = [n for n in (score - 1, score + 1) if 0 <= n < count]
        slips[score, neighbours] += SLIP / len(neighbours)
    moved: Array = probabilities @ slips
    return moved


def _digest(body: Mapping[str, Any]) -> str:
    text = json.dumps(body, sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("ascii")).hexdigest()
