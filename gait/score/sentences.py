"""Say in plain words what each measure did to the score."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from gait.statistics.spread import figures

if TYPE_CHECKING:
    from gait.score.model import Measured, MeasureTerm

WORDS: Mapping[str, tuple[str, str, str, str]] = {
    "back_arch": (
        "back flat",
        "back slightly arched",
        "back clearly arched",
        "back strongly arched",
    ),
    "head_bob_a1_pct": (
        "head steady",
        "head nods a little with each stride",
        "head nods clearly with each stride",
        "head nods strongly with each stride",
    ),
    "step_time_asymmetry_pct": (
        "steps even",
        "steps slightly uneven",
        "steps clearly uneven",
        "steps very uneven",
    ),
    "stance_time_asymmetry_pct": (
        "stands equally long on both feet of a pair",
        "stands a little shorter on one foot",
        "stands clearly shorter on one foot",
        "hardly stands on one foot",
    ),
    "tracking_up_pct": (
        "hind feet land in the prints of the front feet",
        "hind feet land a little short of the front prints",
        "hind feet land clearly short of the front prints",
        "hind feet land far short of the front prints",
    ),
    "stride_length_bl": (
        "strides long",
        "strides a little short",
        "strides short",
        "strides very short",
    ),
    "speed_bl_s": ("walks freely", "walks a little slowly", "walks slowly", "walks very slowly"),
    "stride_duration_s": (
        "strides brisk",
        "strides a little slow",
        "strides slow",
        "strides very slow",
    ),
    "triple_support_pct": (
        "rarely on three feet",
        "on three feet a little longer",
        "on three feet for long",
        "on three feet most of the time",
    ),
    "stride_variation_pct": (
        "strides regular",
        "strides slightly irregular",
        "strides irregular",
        "strides very irregular",
    ),
}
"""For each measure: as in a sound cow, and in three steps worse."""
WORDS_OF_SCORE = (0, 1, 1, 2, 3)
"""Which of the words go with a figure that is nearest to what is typical of scores 1 to 5."""

NOTABLE_POINTS = 0.05
"""Measures that move the score by less than this are left out of the sentences."""


def reason_sentences(
    terms: Sequence[MeasureTerm],
    measures: Mapping[str, Measured],
    points: Mapping[str, float],
) -> tuple[str, ...]:
    """Return one sentence for each measure that moved the score, strongest first.

    A poorly measured one can be carried against its own figure by the others; it speaks for
    nothing then and is left out.

    Parameters
    ----------
    terms : sequence of MeasureTerm
    measures : mapping of str to Measure
    points : mapping of str to float
        Contribution in score steps.

    Returns
    -------
    tuple of str
        For example ``back clearly arched (0.52; sound cows about 0.20): pushes towards 4``.
    """
    by_name = {term.name: term for term in terms}
    ranked = sorted(points, key=lambda name: -abs(points[name]))
    sentences = [
        sentence(by_name[name], measures[name], points[name])
        for name in ranked
        if abs(points[name]) >= NOTABLE_POINTS
        and points[name] * by_name[name].z(measures[name].value) > 0
    ]
    return tuple(sentences) or ("all measures near the herd's middle",)


def sentence(term: MeasureTerm, measure: Measured, points: float) -> str:
    """Return the sentence of one measure, with as many decimals as its error allows.

    What pushes up is never worded as in a sound cow, what speaks against lame never as lame.
    """
    nearest = nearest_score(term, measure.value)
    score = max(nearest, 2) if points > 0 else min(nearest, 2)
    words = WORDS.get(term.name, (term.name,) * 4)[WORDS_OF_SCORE[score - 1]]
    sound = f"{figures(measure.value, measure.se)}{unit_text(term.unit)}; sound cows about "
    sound += figures(term.typical[0], measure.se)
    push = f"pushes towards {score}" if points > 0 else f"speaks for {score}"
    return f"{words} ({sound}): {push}"


def nearest_score(term: MeasureTerm, value: float) -> int:
    """Return the score whose typical value is nearest."""
    return 1 + min(range(len(term.typical)), key=lambda i: abs(term.typical[i] - value))


def unit_text(unit: str) -> str:
    """Return the unit as it follows a number in a sentence."""
    if unit.startswith("%"):
        return " %"
    return {"bl": " trunk lengths", "bl/s": " trunk lengths a second", "s": " s"}.get(unit, "")
