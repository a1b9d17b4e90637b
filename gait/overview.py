"""The herd's figures for one day, put together from the records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING

from gait.farm import rules_of
from gait.herd import figures
from gait.herd.records import Score
from gait.statistics.prevalence import Share, corrected_share, cows_to_score

if TYPE_CHECKING:
    from gait.statistics.agreement import Estimate, LameTest
    from gait.store import Store

YEAR = timedelta(days=365)
CURRENT = timedelta(days=42)
"""A score older than this says nothing of today's share of lame cows (ours)."""
PAIRS_NEEDED = 30
"""On fewer passes scored by both, or confirmed, nothing is said on how well scores agree."""
SCALE = (1, 2, 3, 4, 5)


@dataclass(frozen=True, kw_only=True)
class Overview:
    """How the herd walks.

    ``lame``, ``severe``, ``by_parity`` and ``by_stage`` rest on each cow's newest score of the
    last six weeks; ``trend`` on four-week periods of the last year; ``chronic`` counts cows with
    an open spell that is not new.
    """

    cows: int
    lame: Share
    severe: Share
    by_parity: Mapping[str, Share]
    by_stage: Mapping[str, Share]
    trend: Sequence[figures.Period]
    new_cases: int
    treatment: figures.Treatment
    scored_now: int


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """How well two scorers agree, on pairs of scores for the same walks."""

    pairs: int
    table: Sequence[Sequence[int]]
    weighted_kappa: Estimate
    exact: float
    within_one: float
    lame: LameTest
    accepted: bool


def herd_overview(store: Store, today: date | None = None) -> Overview:
    """Return the herd's figures.

    Parameters
    ----------
    store : Store
    today : date, optional
    """
    on = today or date.today()
    now = datetime.combine(on, time.max).astimezone()
    rules = rules_of(store)
    cows = {c.number: c for c in store.cows.all()}
    calvings = store.cows.calvings()
    scores = store.scores.between(now - 2 * YEAR)
    recent = _within(scores, now - CURRENT)
    year = [s for s in figures.all_spells(scores, rules) if s.began_at >= now - YEAR]
    return Overview(
        cows=len(cows),
        lame=figures.lame_share(recent, from_score=rules.lame_from, herd_size=len(cows) or None),
        severe=figures.lame_share(
            recent, from_score=rules.same_day_from, herd_size=len(cows) or None
        ),
        by_parity=figures.share_by(
            recent, figures.parity_of(cows, calvings), from_score=rules.lame_from
        ),
        by_stage=figures.share_by(
            recent, figures.stage_of(cows, calvings), from_score=rules.lame_from
        ),
        trend=figures.trend(
            scores,
            rules,
            start=on - timedelta(days=13 * 28 - 1),
            end=on + timedelta(days=1),
            herd_size=len(cows) or None,
        ),
        new_cases=len(figures.new_cases(year, on - timedelta(days=28), on + timedelta(days=1))),
        treatment=figures.treatment_figures(
            year, scores, store.trims.since(on - 2 * YEAR), rules, now=now
        ),
        scored_now=len(figures.newest_scores(recent)),
    )


def person_and_program(store: Store, *, blind_only: bool = False) -> Agreement | None:
    """Return the agreement of people and program, or None while there is nothing to compare."""
    return _agreement(store.scores.person_and_tool(blind_only=blind_only))


def person_and_person(store: Store) -> Agreement | None:
    """Return the agreement of first scores with second opinions of other people, or None."""
    return _agreement(store.scores.person_and_person())


def too_few(pairs: int) -> str:
    """Return why nothing is said on how well so few scores agree; empty where they are enough."""
    enough = pairs >= PAIRS_NEEDED
    return "" if enough else f"Too few to judge yet: {pairs} of {PAIRS_NEEDED} passes."


def _agreement(pairs: Sequence[tuple[int, int]]) -> Agreement | None:
    from gait.statistics import agreement as ag

    if not pairs:
        return None
    first, second = [a for a, _ in pairs], [b for _, b in pairs]
    table = ag.confusion_table(first, second, SCALE)
    return Agreement(
        pairs=len(pairs),
        table=table.tolist(),
        weighted_kappa=ag.kappa(table, "quadratic"),
        exact=ag.percent_agreement(table),
        within_one=ag.percent_agreement(table, 1),
        lame=ag.lame_test(first, second),
        accepted=ag.is_accepted(table),
    )


def true_share(overview: Overview, agreement: Agreement | None) -> Share | None:
    """Return the share of lame cows corrected for the program's known error (Rogan-Gladen).

    None while fewer than `PAIRS_NEEDED` cows were scored by both, or one kind of cow is missing.
    """
    if agreement is None or agreement.pairs < PAIRS_NEEDED:
        return None
    sensitivity, specificity = agreement.lame.sensitivity.value, agreement.lame.specificity.value
    if not sensitivity + specificity > 1:  # NaN too
        return None
    return corrected_share(
        overview.lame.count,
        overview.lame.total,
        sensitivity=sensitivity,
        specificity=specificity,
    )


def how_many_to_score(herd_size: int, expected: float, half_width: float) -> int:
    """Return how many cows to score for a wanted precision of the lame share."""
    return cows_to_score(herd_size, expected_share=expected, half_width=half_width)


def _within(scores: Sequence[Score], since: datetime) -> list[Score]:
    return [s for s in scores if s.observed_at >= since]
