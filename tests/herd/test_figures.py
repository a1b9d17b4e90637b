"""The herd's figures on small herds that can be counted by hand."""

from __future__ import annotations

import math
from datetime import date, timedelta

import pytest

from gait.herd.figures import (
    all_spells,
    lame_share,
    new_cases,
    parity_of,
    share_by,
    stage_of,
    treatment_figures,
    trend,
    trimmer_days_a_year,
)
from gait.herd.records import Calving, Cow, Trim
from gait.herd.rules import HerdRules
from tests.herd.test_lame_list import day, scores, treated

RULES = HerdRules()


def test_the_newest_score_of_each_cow_counts() -> None:
    given = (
        scores("1", ("03-01", 4), ("03-20", 2))
        + scores("2", ("03-01", 2), ("03-20", 3))
        + scores("3", ("03-05", 5))
        + scores("4", ("03-05", 1))
    )
    share = lame_share(given, from_score=3)
    assert (share.count, share.total, share.value) == (2, 4, 0.5)
    assert lame_share(given, from_score=4).count == 1
    assert lame_share(given, from_score=3, herd_size=4).low == 0.5  # every cow was scored
    assert math.isnan(lame_share([], from_score=3).value)


def test_shares_by_parity_use_the_lactation_at_the_time_of_the_walk() -> None:
    cows = {"1": Cow(number="1", parity=2), "2": Cow(number="2", parity=4), "3": Cow(number="3")}
    calvings = [Calving(cow="1", calved_on=date(2026, 3, 10), parity=2)]
    given = scores("1", ("03-01", 3)) + scores("2", ("03-01", 2)) + scores("3", ("03-01", 4))
    found = share_by(given, parity_of(cows, calvings), from_score=3)
    assert {group: (s.count, s.total) for group, s in found.items()} == {
        "1": (1, 1),
        "3+": (0, 1),
        "not known": (1, 1),
    }
    later = scores("1", ("03-12", 3))
    assert list(share_by(later, parity_of(cows, calvings), from_score=3)) == ["2"]


def test_shares_by_stage_of_lactation() -> None:
    walked = day("03-30").date()
    cows = {n: Cow(number=n, parity=2) for n in "abcd"}
    cows["h"] = Cow(number="h", parity=0)
    cows["d"] = Cow(number="d", parity=2, dried_off_on=walked - timedelta(days=3))
    calvings = [
        Calving(cow=cow, calved_on=walked - timedelta(days=days))
        for cow, days in (("a", 60), ("b", 61), ("c", 306), ("d", 310))
    ]
    given = [s for cow in "abcdhx" for s in scores(cow, ("03-30", 3))]
    assert list(share_by(given, stage_of(cows, calvings), from_score=3)) == [
        "heifer",
        "0-60 days in milk",
        "61-150 days in milk",
        "over 305 days in milk",
        "dry",
        "not known",
    ]


def test_a_new_case_needs_a_sound_score_before_it() -> None:
    given = scores("1", ("03-01", 3), ("03-10", 2), ("03-20", 3)) + scores("2", ("03-20", 4))
    spells = all_spells(given, RULES)
    assert len(spells) == 3
    (case,) = new_cases(spells, date(2026, 3, 15), date(2026, 4, 1))
    assert (case.cow, case.began_at) == ("1", day("03-20"))
    assert new_cases(spells, date(2026, 1, 1), date(2026, 3, 15)) == []


def test_the_trend_counts_each_period_for_itself() -> None:
    given = (
        scores("1", ("01-05", 3), ("02-05", 2))
        + scores("2", ("01-06", 2), ("02-06", 4))
        + scores("3", ("02-07", 1))
    )
    first, second, third = trend(
        given, RULES, start=date(2026, 1, 1), end=date(2026, 3, 20), days=31
    )
    assert (first.lame.count, first.lame.total, first.severe.count) == (1, 2, 0)
    assert (second.lame.count, second.lame.total, second.severe.count) == (1, 3, 1)
    assert (first.new_cases, second.new_cases) == (0, 1)
    assert third.lame.total == 0
    assert third.lame.note == "No cow was scored."
    assert third.end == date(2026, 3, 20)


def test_time_to_treatment_early_share_and_cure() -> None:
    given = (
        scores("early", ("01-05", 3), ("01-26", 2))  # treated the next day, well after 3 weeks
        + scores("late", ("01-05", 3), ("01-26", 3))  # treated after five days, not well
        + scores("never", ("01-05", 4))
        + scores("unseen", ("01-05", 3))  # treated, never scored again
        + scores("young", ("03-29", 3))  # too young to be late
    )
    trims = [
        treated("01-06", "early"),
        treated("01-10", "late"),
        treated("01-07", "unseen"),
    ]
    found = treatment_figures(all_spells(given, RULES), given, trims, RULES, now=day("03-30"))
    assert (found.spells, found.treated, found.without_recheck) == (5, 3, 1)
    assert found.median_hours == 48.0  # 24, 48 and 120 hours, noon to noon
    assert (found.early.count, found.early.total) == (2, 4)
    assert (found.cured.count, found.cured.total) == (1, 2)


def test_no_treatment_gives_no_number() -> None:
    found = treatment_figures([], [], [], RULES, now=day("03-30"))
    assert math.isnan(found.median_hours)
    assert math.isnan(found.early.value)
    assert found.treated == 0


def test_an_entry_made_days_later_does_not_make_the_treatment_late() -> None:
    given = scores("1", ("01-05", 3))
    trim = Trim(
        cow="1",
        on=date(2026, 1, 6),
        at=day("01-09"),
        who="Tom",
        reason="therapeutic",
    )
    found = treatment_figures(all_spells(given, RULES), given, [trim], RULES, now=day("03-30"))
    assert found.median_hours == 24.0


def test_a_thousand_cows_at_forty_a_day_need_a_trimmer_65_days() -> None:
    # Trade figure: 1000 cows x 2.6 / 40 = 65 visits a year
    assert trimmer_days_a_year(1000, 40) == pytest.approx(65.0)
