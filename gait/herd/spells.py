"""Lame spells: when a cow became lame, how it went on, and when she walked sound again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from operator import attrgetter

from gait.herd.records import Calving, Score
from gait.herd.rules import HerdRules

_IN_ORDER = attrgetter("observed_at", "decided_at", "pass_id")


@dataclass(frozen=True, kw_only=True)
class Spell:
    """One lame spell of one cow, from her first lame score to the sound one that ended it.

    ``ended_at`` is None while it lasts. ``highest`` is the worst score within it. ``new`` tells
    that a sound score was on record before, so that this is a case that arose under watch.
    """

    cow: str
    began_at: datetime
    ended_at: datetime | None
    scores: tuple[Score, ...]
    highest: int
    new: bool

    @property
    def latest(self) -> Score:
        """The newest lame score of the spell."""
        return self.scores[-1]


def by_cow(scores: Iterable[Score]) -> dict[str, list[Score]]:
    """Return the scores of each cow, oldest walk first."""
    sorted_by_cow: dict[str, list[Score]] = defaultdict(list)
    for score in scores:
        sorted_by_cow[score.cow].append(score)
    for own in sorted_by_cow.values():
        own.sort(key=_IN_ORDER)
    return dict(sorted_by_cow)


def newest_scores(scores: Iterable[Score]) -> list[Score]:
    """Return the newest score of each cow."""
    newest: dict[str, Score] = {}
    for score in scores:
        known = newest.get(score.cow)
        if known is None or _IN_ORDER(known) < _IN_ORDER(score):
            newest[score.cow] = score
    return list(newest.values())


def lame_spells(scores: Sequence[Score], rules: HerdRules) -> list[Spell]:
    """Return the lame spells of one cow, oldest first.

    A spell begins with a score of ``lame_from`` or more. Under the rule ``two_threes`` a lone 3
    (below ``same_day_from``) opens no spell until the next score is lame again; the spell then
    counts from the first of the two. It ends with the next score below ``lame_from``.

    Parameters
    ----------
    scores : sequence of Score
        All standing scores of one cow, in any order.
    rules : HerdRules
    """
    return _spells_of(sorted(scores, key=_IN_ORDER), rules)


def all_spells(scores: Iterable[Score], rules: HerdRules) -> list[Spell]:
    """Return the lame spells of every cow; see :func:`lame_spells`."""
    return [spell for own in by_cow(scores).values() for spell in _spells_of(own, rules)]


def _spells_of(ordered: Sequence[Score], rules: HerdRules) -> list[Spell]:
    spells: list[Spell] = []
    running: list[Score] = []
    seen_sound = False
    for score in ordered:
        if score.score >= rules.lame_from:
            running.append(score)
            continue
        if running and counts_as_lame(running, rules):
            spells.append(_spell(running, score.observed_at, seen_sound))
        running, seen_sound = [], True
    if running and counts_as_lame(running, rules):
        spells.append(_spell(running, None, seen_sound))
    return spells


def counts_as_lame(running: Sequence[Score], rules: HerdRules) -> bool:
    """Say whether an unbroken run of lame scores makes a cow lame by the farm's rule."""
    if rules.lame_rule == "one_score":
        return bool(running)
    return len(running) >= 2 or any(s.score >= rules.same_day_from for s in running)


def _spell(running: Sequence[Score], ended_at: datetime | None, new: bool) -> Spell:
    return Spell(
        cow=running[0].cow,
        began_at=running[0].observed_at,
        ended_at=ended_at,
        scores=tuple(running),
        highest=max(s.score for s in running),
        new=new,
    )


def lactation_start(calvings: Iterable[Calving], on: date) -> date | None:
    """Return the last calving on or before a day, or None if none is known."""
    return max((c.calved_on for c in calvings if c.calved_on <= on), default=None)


def spells_in_lactation(
    spells: Sequence[Spell], calvings: Iterable[Calving], on: date
) -> list[Spell]:
    """Return the spells that began in the lactation of that day.

    Without a known calving the last 305 days stand in for the lactation.
    """
    start = lactation_start(calvings, on)
    if start is None:
        start = date.fromordinal(on.toordinal() - 305)
    return [s for s in spells if start <= s.began_at.date() <= on]
