"""The herd's figures: how many are lame, new cases, cure, time to treatment, trend.

All of them rest on standing scores of people, never on proposals.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from operator import attrgetter
from statistics import median

from gait.herd.lame_list import done_at, treated_in
from gait.herd.records import Calving, Cow, Score, Trim
from gait.herd.rules import HerdRules
from gait.herd.spells import Spell, all_spells, by_cow, lactation_start, newest_scores
from gait.statistics.prevalence import Share, wilson_share

__all__ = [
    "STAGES",
    "Period",
    "Treatment",
    "all_spells",
    "lame_share",
    "new_cases",
    "newest_scores",
    "parity_of",
    "share_by",
    "stage_of",
    "treatment_figures",
    "trend",
    "trimmer_days_a_year",
]

STAGES: tuple[tuple[str, int, int], ...] = (
    ("0-60 days in milk", 0, 60),
    ("61-150 days in milk", 61, 150),
    ("151-305 days in milk", 151, 305),
    ("over 305 days in milk", 306, 100_000),
)
"""Stages of lactation for figures (ours; there is no standard division)."""
NOT_KNOWN = "not known"
_ORDER = ("heifer", *(name for name, _, _ in STAGES), "dry")


@dataclass(frozen=True, kw_only=True)
class Period:
    """The figures of one period of the trend, which begins on ``start`` and ends before ``end``."""

    start: date
    end: date
    lame: Share
    severe: Share
    new_cases: int


@dataclass(frozen=True, kw_only=True)
class Treatment:
    """How soon lame cows were treated, and how many of them walked sound afterwards.

    ``median_hours`` is NaN when no spell was treated. ``early`` is the share of all spells (that
    had the time to be) treated within the early hours; ``cured`` of treated spells those with a
    sound score between ``cure_from`` and ``cure_to`` days after; ``without_recheck`` counts
    treated spells with no score in that time, which are in neither number.
    """

    spells: int
    treated: int
    median_hours: float
    early: Share
    cured: Share
    without_recheck: int
    cure_from: int
    cure_to: int


def lame_share(scores: Iterable[Score], *, from_score: int, herd_size: int | None = None) -> Share:
    """Return the share of cows at ``from_score`` or more by their newest score.

    Parameters
    ----------
    scores : iterable of Score
        Several of one cow are allowed; the newest counts.
    from_score : int
        3 for lame, 4 for severely lame.
    herd_size : int, optional
        For the finite herd correction; not less than the number of cows scored.
    """
    newest = newest_scores(scores)
    lame = sum(s.score >= from_score for s in newest)
    if herd_size is not None:
        herd_size = max(herd_size, len(newest))
    return wilson_share(lame, len(newest), herd_size=herd_size)


def share_by(
    scores: Iterable[Score], group_of: Callable[[Score], str | None], *, from_score: int
) -> dict[str, Share]:
    """Return the share of lame cows in each group, in order, by the newest score of each cow.

    Cows whose group is not known stand under ``not known``: they are not dropped in silence.
    """
    groups: dict[str, list[int]] = {}
    for score in newest_scores(scores):
        group = group_of(score) or NOT_KNOWN
        groups.setdefault(group, []).append(score.score)
    return {
        group: wilson_share(sum(s >= from_score for s in given), len(given))
        for group, given in sorted(groups.items(), key=lambda item: _place(item[0]))
    }


def _place(group: str) -> tuple[bool, int, str]:
    """Return where a group stands: stages as they follow each other, what is not known last."""
    return group == NOT_KNOWN, _ORDER.index(group) if group in _ORDER else 0, group


def parity_of(
    cows: Mapping[str, Cow], calvings: Iterable[Calving]
) -> Callable[[Score], str | None]:
    """Return a function that says in which lactation a cow was when she walked: 0, 1, 2, 3+."""
    known = _calvings_by_cow(calvings)

    def group(score: Score) -> str | None:
        cow = cows.get(score.cow)
        if cow is None:
            return None
        later = [c for c in known.get(score.cow, ()) if c.calved_on > score.observed_at.date()]
        parity = cow.parity
        if later:
            given = later[0].parity
            parity = given - 1 if given is not None else None
        return None if parity is None else ("3+" if parity >= 3 else str(parity))

    return group


def stage_of(cows: Mapping[str, Cow], calvings: Iterable[Calving]) -> Callable[[Score], str | None]:
    """Return a function that says at which stage of lactation a cow was when she walked."""
    known = _calvings_by_cow(calvings)

    def group(score: Score) -> str | None:
        on = score.observed_at.date()
        cow = cows.get(score.cow)
        start = lactation_start(known.get(score.cow, ()), on)
        if start is None:
            return "heifer" if cow is not None and cow.parity == 0 else None
        dry = cow.dried_off_on if cow else None
        if dry is not None and start < dry <= on:
            return "dry"
        days = (on - start).days
        return next(name for name, first, last in STAGES if first <= days <= last)

    return group


def _calvings_by_cow(calvings: Iterable[Calving]) -> dict[str, list[Calving]]:
    known: dict[str, list[Calving]] = {}
    for calving in sorted(calvings, key=lambda c: c.calved_on):
        known.setdefault(calving.cow, []).append(calving)
    return known


def new_cases(spells: Iterable[Spell], start: date, end: date) -> list[Spell]:
    """Return spells that began from ``start`` to before ``end`` after a sound score.

    A cow whose first score on record is already lame is no new case: nobody knows since when.
    """
    return [s for s in spells if s.new and start <= s.began_at.date() < end]


def trend(
    scores: Sequence[Score],
    rules: HerdRules,
    *,
    start: date,
    end: date,
    days: int = 28,
    herd_size: int | None = None,
) -> list[Period]:
    """Return the share of lame cows in successive periods.

    Parameters
    ----------
    scores : sequence of Score
        Earlier ones than ``start`` may be among them: they tell new cases from old.
    rules : HerdRules
    start, end : date
        First day, and the day after the last.
    days : int
        Length of a period; within it the newest score of each cow counts.
    herd_size : int, optional
        For the finite herd correction.
    """
    spells = all_spells(scores, rules)
    ordered = sorted(scores, key=attrgetter("observed_at"))
    days_walked = [s.observed_at.date() for s in ordered]
    periods = []
    first = start
    while first < end:
        last = min(first + timedelta(days=days), end)
        within = ordered[bisect_left(days_walked, first) : bisect_left(days_walked, last)]
        periods.append(
            Period(
                start=first,
                end=last,
                lame=lame_share(within, from_score=rules.lame_from, herd_size=herd_size),
                severe=lame_share(within, from_score=rules.same_day_from, herd_size=herd_size),
                new_cases=len(new_cases(spells, first, last)),
            )
        )
        first = last
    return periods


def treatment_figures(
    spells: Sequence[Spell],
    scores: Iterable[Score],
    trims: Iterable[Trim],
    rules: HerdRules,
    *,
    now: datetime,
    cure_from: int = 14,
    cure_to: int = 42,
) -> Treatment:
    """Return how soon lame cows were treated and how many got well.

    Parameters
    ----------
    spells : sequence of Spell
    scores : iterable of Score
        Of the same cows.
    trims : iterable of Trim
        With ``at`` None, a trim counts from noon of its day.
    rules : HerdRules
    now : datetime
        Spells too young to be early or late are left out of the early share.
    cure_from, cure_to : int
        Days after treatment between which the newest score tells whether she is well (14 to 42;
        trials looked at 35 and 42 days, Thomas 2015 and 2016).
    """
    own_trims: dict[str, list[Trim]] = {}
    for trim in trims:
        own_trims.setdefault(trim.cow, []).append(trim)
    own_scores = by_cow(s for s in scores if s.cow in own_trims)
    hours, early, could_be_early, cured, judged, unseen = [], 0, 0, 0, 0, 0
    for spell in spells:
        treated = sorted(treated_in(spell, own_trims.get(spell.cow, ())), key=done_at)
        waited = _hours_between(spell, treated[0]) if treated else math.inf
        if treated:
            hours.append(waited)
            outcome = _sound_after(
                own_scores.get(spell.cow, ()), treated[0].on, rules, cure_from, cure_to
            )
            judged += outcome is not None
            cured += outcome is True
            unseen += outcome is None
        if treated or now - spell.began_at >= timedelta(hours=rules.early_hours):
            could_be_early += 1
            early += waited <= rules.early_hours
    return Treatment(
        spells=len(spells),
        treated=len(hours),
        median_hours=median(hours) if hours else math.nan,
        early=wilson_share(early, could_be_early),
        cured=wilson_share(cured, judged),
        without_recheck=unseen,
        cure_from=cure_from,
        cure_to=cure_to,
    )


def _hours_between(spell: Spell, trim: Trim) -> float:
    return max(0.0, (done_at(trim) - spell.began_at).total_seconds() / 3600)


def _sound_after(
    own: Sequence[Score], treated_on: date, rules: HerdRules, first: int, last: int
) -> bool | None:
    within = [s for s in own if first <= (s.observed_at.date() - treated_on).days <= last]
    return None if not within else within[-1].score < rules.lame_from


def trimmer_days_a_year(
    herd_size: int, cows_a_day: int, *, trims_per_cow: float = 2.0, extra: float = 0.6
) -> float:
    """Return how many days a year a trimmer is needed.

    Parameters
    ----------
    herd_size : int
    cows_a_day : int
    trims_per_cow : float
        Maintenance trims a year.
    extra : float
        Heifers and lame cows on top, as a share of the herd (0.3 and 0.3).

    References
    ----------
    Trade rule: herd times 2.6 over cows a day; 1000 cows at 40 a day need 65 days.
    """
    return herd_size * (trims_per_cow + extra) / cows_a_day
