"""The lame list: who is lame by a person's decision, since when, and what is next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Literal, Protocol, TypeVar

from gait.herd.recheck import next_due
from gait.herd.records import Calving, Cow, Finding, Recheck, Score, Trim, TrimReason
from gait.herd.rules import HerdRules
from gait.herd.spells import Spell, by_cow, lame_spells, spells_in_lactation

Urgency = Literal["vet", "same_day", "recheck_due", "soon", "waiting"]
URGENCIES: tuple[Urgency, ...] = ("vet", "same_day", "recheck_due", "soon", "waiting")
"""From the most urgent to the least."""


@dataclass(frozen=True, kw_only=True)
class LameCow:
    """One line of the lame list.

    ``score`` is the newest standing score, given by ``decided_by`` on ``pass_id`` (which leads to
    the clip), where the tool's proposal came from ``model_version``. ``since`` is the walk of
    her first lame score of this spell, ``times_before`` counts the earlier spells in this
    lactation, ``treated_on`` is her last treatment of this spell. ``next_step`` is a sentence;
    ``cautions`` are more of them.
    """

    cow: Cow
    score: int
    since: datetime
    scored_at: datetime
    decided_by: str
    decided_at: datetime
    pass_id: int
    model_version: str | None
    times_before: int
    is_chronic: bool
    urgency: Urgency
    treated_on: date | None
    recheck_on: date | None
    next_step: str
    cautions: tuple[str, ...]


def lame_list(
    *,
    cows: Iterable[Cow],
    scores: Iterable[Score],
    trims: Iterable[Trim],
    rechecks: Iterable[Recheck],
    calvings: Iterable[Calving],
    rules: HerdRules,
    today: date,
) -> list[LameCow]:
    """Return the lame cows, most urgent first, then by score and how long they have been lame.

    Only standing scores of people count; no proposal enters here. A cow leaves the list with a
    sound score on a newer walk, or with the herd.

    Parameters
    ----------
    cows : iterable of Cow
        The herd; cows that have left are passed over.
    scores : iterable of Score
        At least every score of each cow that may be lame.
    trims, rechecks, calvings : iterable
        Of the same cows.
    rules : HerdRules
    today : date
    """
    own_scores = by_cow(scores)
    own_trims, own_rechecks = _grouped(trims), _grouped(rechecks)
    own_calvings = _grouped(calvings)
    lame = []
    for cow in cows:
        spells = lame_spells(own_scores.get(cow.number, ()), rules)
        if cow.left_on is None and spells and spells[-1].ended_at is None:
            lame.append(
                _line(
                    cow,
                    spells,
                    own_trims.get(cow.number, []),
                    own_rechecks.get(cow.number, []),
                    own_calvings.get(cow.number, []),
                    rules,
                    today,
                )
            )
    return sorted(lame, key=lambda c: (URGENCIES.index(c.urgency), -c.score, c.since, c.cow.number))


class _OfCow(Protocol):
    @property
    def cow(self) -> str: ...


T = TypeVar("T", bound=_OfCow)


def _grouped(items: Iterable[T]) -> dict[str, list[T]]:
    groups: dict[str, list[T]] = {}
    for item in items:
        groups.setdefault(item.cow, []).append(item)
    return groups


def _line(
    cow: Cow,
    spells: Sequence[Spell],
    trims: Sequence[Trim],
    rechecks: Sequence[Recheck],
    calvings: Sequence[Calving],
    rules: HerdRules,
    today: date,
) -> LameCow:
    spell = spells[-1]
    treated = treated_in(spell, trims)
    treated_on = max((trim.on for trim in treated), default=None)
    due = next_due(rechecks, treated_on, spell.latest.observed_at.date(), rules)
    chronic = is_chronic(spells, calvings, rules, today)
    not_better = treated_on is not None and not_better_after(spell, treated_on, rules)
    worse = worse_since_treated(spell, treated)
    # Worse since her treatment, she is as urgent as if she had not been treated.
    helped_on, awaited_on = (None, None) if worse else (treated_on, due)
    urgency = _urgency(spell.latest.score, helped_on, awaited_on, not_better, rules, today)
    step = _next_step(urgency, helped_on, awaited_on, not_better and not worse)
    if worse:
        step = f"Worse since her treatment on {treated_on}. {step}"
    return LameCow(
        cow=cow,
        score=spell.latest.score,
        since=spell.began_at,
        scored_at=spell.latest.observed_at,
        decided_by=spell.latest.decided_by,
        decided_at=spell.latest.decided_at,
        pass_id=spell.latest.pass_id,
        model_version=spell.latest.model_version,
        times_before=len(spells_in_lactation(spells[:-1], calvings, today)),
        is_chronic=chronic,
        urgency=urgency,
        treated_on=treated_on,
        recheck_on=due,
        next_step=step,
        cautions=_cautions(spell.latest.score, trims, treated, chronic, rules, today),
    )


def by_the_rule(lame: Iterable[LameCow], promised: Iterable[Recheck]) -> list[Recheck]:
    """Return the rechecks of treated lame cows that the farm's rule asks for and nobody promised.

    They are not on record: their ``recheck_id`` is 0.
    """
    named = {recheck.cow for recheck in promised}
    return [
        Recheck(
            recheck_id=0,
            cow=line.cow.number,
            due_on=line.recheck_on,
            why="Lame and treated",
            opened_at=line.decided_at,
            opened_by=line.decided_by,
        )
        for line in lame
        if line.treated_on and line.recheck_on and line.cow.number not in named
    ]


def treated_in(spell: Spell, trims: Iterable[Trim]) -> list[Trim]:
    """Return the treatments of a lame spell: trims from its first day to its end."""
    last = spell.ended_at.date() if spell.ended_at else date.max
    return [
        trim
        for trim in trims
        if spell.began_at.date() <= trim.on <= last and is_treatment(trim.reason, trim.findings)
    ]


def is_treatment(reason: TrimReason, findings: Iterable[Finding]) -> bool:
    """Say whether a trim treats a lame cow: any but a maintenance trim without block or bandage."""
    return reason != "maintenance" or any(f.block or f.bandage for f in findings)


def not_better_after(spell: Spell, treated_on: date, rules: HerdRules) -> bool:
    """Say whether a cow walks no better ``recheck_days`` or more after her treatment.

    Not better: her newest score is not below the last one before or on the day of treatment.
    """
    before = [s.score for s in spell.scores if s.observed_at.date() <= treated_on]
    late = timedelta(days=rules.recheck_days)
    after = [s.score for s in spell.scores if s.observed_at.date() >= treated_on + late]
    return bool(before and after) and after[-1] >= before[-1]


def worse_since_treated(spell: Spell, treated: Iterable[Trim]) -> bool:
    """Say whether a cow's newest walk is scored worse than her last one before her treatment."""
    last = max((done_at(trim) for trim in treated), default=None)
    if last is None:
        return False
    before = [s.score for s in spell.scores if s.observed_at <= last] or [spell.scores[0].score]
    return spell.latest.observed_at > last and spell.latest.score > before[-1]


def done_at(trim: Trim) -> datetime:
    """Return when a trim was done: as entered on its day, else noon of that day."""
    # The time of entry is not the time of the work when somebody writes it up a day later.
    if trim.at is not None and trim.at.date() == trim.on:
        return trim.at
    return noon(trim.on)


def noon(on: date) -> datetime:
    """Return the noon of a day, which stands for it where no time is known."""
    return datetime.combine(on, time(12)).astimezone()


def is_chronic(
    spells: Sequence[Spell], calvings: Iterable[Calving], rules: HerdRules, today: date
) -> bool:
    """Say whether a cow is lame again within the lactation, or has been for too long."""
    if not spells or spells[-1].ended_at is not None:
        return False
    repeats = len(spells_in_lactation(spells, calvings, today))
    lasted = today - spells[-1].began_at.date()
    return repeats >= rules.chronic_episodes or lasted > timedelta(weeks=rules.chronic_weeks)


def _urgency(
    score: int,
    treated_on: date | None,
    due: date | None,
    not_better: bool,
    rules: HerdRules,
    today: date,
) -> Urgency:
    if score >= rules.vet_from or not_better:
        return "vet"
    if score >= rules.same_day_from and treated_on is None:
        return "same_day"
    if due is not None and due <= today:
        return "recheck_due"
    return "soon" if treated_on is None else "waiting"


def _next_step(
    urgency: Urgency, treated_on: date | None, due: date | None, not_better: bool
) -> str:
    if urgency == "vet":
        return "Not better after treatment: call the vet." if not_better else "Call the vet today."
    if urgency == "same_day":
        return "Look at her feet today."
    if urgency == "recheck_due":
        return f"Watch her walk again: due {due}."
    if urgency == "soon":
        return "Look at her feet within two days." if due is None else f"Recheck on {due}."
    return f"Treated on {treated_on}. Recheck on {due}."


def withdrawal_caution(trims: Iterable[Trim], today: date) -> str | None:
    """Return the caution of a cow whose withdrawal time runs, or None; lame or not."""
    until = max((t.withdrawal_until for t in trims if t.withdrawal_until), default=None)
    if until is None or until < today:
        return None
    return f"Withdrawal until {until}, as typed in from the label or by the vet."


def _cautions(
    score: int,
    trims: Iterable[Trim],
    treated: Sequence[Trim],
    chronic: bool,
    rules: HerdRules,
    today: date,
) -> tuple[str, ...]:
    cautions = []
    if score >= rules.vet_from:
        cautions.append("Do not make her walk far.")
    if chronic:
        cautions.append("Lame again or for long: have the vet look for the cause.")
    # Milk and meat are withheld whatever she was given the medicine for, and until it ends.
    withdrawal = withdrawal_caution(trims, today)
    if withdrawal is not None:
        cautions.append(withdrawal)
    blocks = [t.on for t in treated if any(f.block for f in t.findings)]
    if blocks and (today - max(blocks)).days >= rules.block_check_first:
        cautions.append(f"Block since {max(blocks)}: check it or take it off.")
    return tuple(cautions)
