"""Rechecks: when one is answered by a newer score, and how the cow came out of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from gait.herd.records import Outcome, Recheck, Score
from gait.herd.rules import HerdRules


@dataclass(frozen=True, kw_only=True)
class Answer:
    """A recheck with the score that answers it and the outcome."""

    recheck: Recheck
    score: Score
    outcome: Outcome


def outcome_of(before: int | None, after: int, rules: HerdRules) -> Outcome:
    """Return how a cow came out of a recheck.

    Parameters
    ----------
    before : int or None
        Her last score before the recheck was promised; None when there was none.
    after : int
        Her score at the recheck.
    rules : HerdRules
        Below ``lame_from`` she is sound, whatever she was before.
    """
    if after < rules.lame_from:
        return "sound"
    if before is None or after == before:
        return "same"
    return "better" if after < before else "worse"


def needs_vet(outcome: Outcome) -> bool:
    """Say whether the vet is to see her: not better at her recheck."""
    return outcome in ("same", "worse")


def is_answered(recheck: Recheck, newest_walk: date | None) -> bool:
    """Say whether she was scored on a walk on the day of the recheck or later."""
    return newest_walk is not None and newest_walk >= recheck.due_on


def answered_rechecks(
    rechecks: Iterable[Recheck], scores: Sequence[Score], rules: HerdRules
) -> list[Answer]:
    """Return the open rechecks that a newer score answers, with the outcome.

    Parameters
    ----------
    rechecks : iterable of Recheck
        Those not open are passed over.
    scores : sequence of Score
        Standing scores of the same cows. The first walk on the due day or later answers; it is
        held against the last walk up to the day on which the recheck was promised.
    rules : HerdRules
    """
    answers = []
    for recheck in rechecks:
        if recheck.state != "open":
            continue
        own = sorted(
            (s for s in scores if s.cow == recheck.cow), key=lambda s: (s.observed_at, s.pass_id)
        )
        late = [s for s in own if s.observed_at.date() >= recheck.due_on]
        if not late:
            continue
        # A trim may be written up late: what answers the recheck is never what came before it.
        until = min(recheck.opened_at.date(), recheck.due_on - timedelta(days=1))
        before = [s.score for s in own if s.observed_at.date() <= until]
        outcome = outcome_of(before[-1] if before else None, late[0].score, rules)
        answers.append(Answer(recheck=recheck, score=late[0], outcome=outcome))
    return answers


def next_due(
    rechecks: Iterable[Recheck],
    treated_on: date | None,
    newest_walk: date,
    rules: HerdRules,
) -> date | None:
    """Return when a lame cow is to be looked at again, or None when nothing is promised.

    An open recheck that no newer score has answered comes first. Else a treated cow is due
    ``recheck_days`` after her treatment, or, once she was scored at that time and is still
    lame, as many days after that score. Where somebody has left a recheck out since, she is due
    as many days after that: while she is lame she is never left out for good.
    """
    rechecks = tuple(rechecks)
    open_days = [
        r.due_on for r in rechecks if r.state == "open" and not is_answered(r, newest_walk)
    ]
    if open_days:
        return min(open_days)
    if treated_on is None:
        return None
    wait = timedelta(days=rules.recheck_days)
    since = newest_walk if newest_walk >= treated_on + wait else treated_on
    left_out = [r.closed_at.date() for r in rechecks if r.state == "dropped" and r.closed_at]
    return max([since, *left_out]) + wait
