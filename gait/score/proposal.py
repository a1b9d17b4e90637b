"""What the program proposes for a pass: a score, how sure it is, and why. A person decides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

SCORES: tuple[int, ...] = (1, 2, 3, 4, 5)
LAME_FROM = 3
"""A cow is lame from this score (Sprecher et al. 1997 scale; usual case definition)."""
SEVERE_FROM = 4


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """A proposed locomotion score.

    Parameters
    ----------
    value : int or None
        The most probable score, 1-5; None when the film cannot carry one.
    confidence : float
        Probability of `value`, 0 to 1; NaN without one.
    probabilities : sequence of float
        Probability of each of the scores 1-5; they sum to 1. Empty without a value.
    plausible : sequence of int
        The smallest run of neighbouring scores that holds the asked coverage.
    reasons : sequence of str
        Sentences, strongest first; without a value, why not and what to do.
    contributions : mapping of str to float
        Share of each measure in points: score steps that it pushes up (+) or down (-) from the
        herd's middle cow.
    model_version : str
        Which model said so.
    """

    value: int | None
    confidence: float
    probabilities: Sequence[float]
    plausible: Sequence[int]
    reasons: Sequence[str]
    contributions: Mapping[str, float] = field(default_factory=dict)
    model_version: str = ""

    @property
    def lame_probability(self) -> float:
        """Return the probability of a score of 3 or more; NaN without a value."""
        return sum(self.probabilities[LAME_FROM - 1 :]) if self.probabilities else float("nan")


def look_yourself(reason: str, model_version: str = "") -> Proposal:
    """Return the proposal that says that a person has to look."""
    return Proposal(
        value=None,
        confidence=float("nan"),
        probabilities=(),
        plausible=(),
        reasons=(f"Look yourself: {reason}",),
        model_version=model_version,
    )
