"""The proposed trim day, maintenance that is due, and what measured claws say."""

from __future__ import annotations

import math
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait.herd.feet import (
    CLAW_TERMS,
    FOR_THE_VET,
    check_claw,
    check_finding,
    expected_sole_mm,
    to_mm,
)
from gait.herd.records import Cow, Finding, Recheck
from gait.herd.rules import HerdRules
from gait.herd.trim_plan import TrimPlan, days_in_milk, maintenance_due, propose_trim_day
from tests.herd.test_lame_list import day, listed, scores, treated

ON = date(2026, 3, 30)
RULES = HerdRules()


def before(days: int) -> date:
    return ON - timedelta(days=days)


def plan(
    cows: list[Cow],
    given_: list = (),  # type: ignore[assignment]
    *,
    trims: tuple = (),
    rechecks: tuple = (),
    last: dict | None = None,
    capacity: int = 20,
    without: tuple = (),
) -> TrimPlan:
    lame = listed(list(given_), trims=trims, cows=tuple(cows), today=ON)
    return propose_trim_day(
        on=ON,
        capacity=capacity,
        cows=cows,
        lame=lame,
        rechecks=rechecks,
        last_trimmed=last or {},
        rules=RULES,
        without=without,
    )


def test_lame_cows_come_first_by_urgency_then_rechecks_then_maintenance() -> None:
    cows = [Cow(number=n) for n in ("1", "2", "3", "4")]
    cows.append(Cow(number="5", parity=2, calved_on=before(100)))
    promised = Recheck(
        recheck_id=1, cow="4", due_on=ON, why="block", opened_at=day("03-01"), opened_by="Tom"
    )
    given_ = scores("1", ("03-28", 3)) + scores("2", ("03-28", 5)) + scores("3", ("03-28", 4))
    found = plan(cows, given_, rechecks=(promised,))
    assert [(p.cow, p.reason) for p in found.on_list] == [
        ("2", "therapeutic"),
        ("3", "therapeutic"),
        ("1", "therapeutic"),
        ("4", "recheck"),
        ("5", "maintenance"),
    ]
    assert found.on_list[3].why == "Recheck due 2026-03-30: block"
    assert found.on_list[4].why == "100 days in milk"


def test_what_does_not_fit_is_left_over_in_the_same_order() -> None:
    cows = [Cow(number=str(i), parity=2, calved_on=before(100 + i)) for i in range(5)]
    found = plan(cows, scores("3", ("03-28", 3)), capacity=2)
    assert [p.cow for p in found.on_list] == ["3", "4"]  # then the ones with least time left
    assert [p.cow for p in found.left_over] == ["2", "1", "0"]


def test_a_treated_cow_is_not_put_on_again_before_her_recheck() -> None:
    cows = [Cow(number="1")]
    given_ = scores("1", ("03-20", 4))
    assert plan(cows, given_, trims=(treated("03-25"),)).on_list == ()
    given_ = scores("1", ("03-10", 4))
    (due,) = plan(cows, given_, trims=(treated("03-16"),)).on_list
    assert due.reason == "recheck"


def test_a_cow_is_never_proposed_twice_and_never_against_the_farms_wish() -> None:
    cow = Cow(number="1", parity=2, calved_on=before(100))
    found = plan([cow], scores("1", ("03-28", 3)))
    assert [p.cow for p in found.on_list] == ["1"]
    assert plan([cow], without=("1",)).on_list == ()
    gone = Cow(number="1", parity=2, calved_on=before(100), left_on=ON)
    assert plan([gone]).on_list == ()


@pytest.mark.parametrize(
    ("cow", "due"),
    [
        ({"parity": 2, "calved_on": before(89)}, False),
        ({"parity": 2, "calved_on": before(90)}, True),
        ({"parity": 2, "calved_on": before(120)}, True),
        ({"parity": 2, "calved_on": before(121)}, False),
        ({"parity": 0, "due_on": before(-57)}, False),
        ({"parity": 0, "due_on": before(-56)}, True),
        ({"parity": 0, "due_on": before(-42)}, True),
        ({"parity": 0, "due_on": before(-41)}, False),
        ({"due_on": before(-50)}, True),
        ({"parity": 1, "due_on": before(-50)}, False),
        ({"parity": 2, "calved_on": before(300), "dried_off_on": before(14)}, True),
        ({"parity": 2, "calved_on": before(300), "dried_off_on": before(-14)}, True),
        ({"parity": 2, "calved_on": before(300), "dried_off_on": before(15)}, False),
        ({"parity": 2, "calved_on": before(100), "dried_off_on": before(160)}, True),
        ({"parity": 2, "calved_on": before(300), "dried_off_on": before(5), "due_on": before(-14)},
         False),
        ({"parity": 2, "calved_on": before(5)}, False),
        ({}, False),
    ],
)  # fmt: skip
def test_maintenance_is_due_at_the_times_of_common_practice(cow: dict, due: bool) -> None:
    found = maintenance_due(Cow(number="1", **cow), ON, RULES)
    assert (found is not None) == due


def test_the_times_can_be_changed_and_switched_off() -> None:
    cow = Cow(number="1", parity=2, calved_on=before(130))
    assert maintenance_due(cow, ON, HerdRules(mid_lactation_to=150)) is not None
    cow = Cow(number="1", parity=2, calved_on=before(100))
    assert maintenance_due(cow, ON, HerdRules(mid_lactation=False)) is None
    heifer = Cow(number="1", parity=0, due_on=before(-50))
    assert maintenance_due(heifer, ON, HerdRules(springing=False)) is None


def test_a_cow_trimmed_recently_is_not_proposed_again() -> None:
    cow = Cow(number="1", parity=2, calved_on=before(100))
    assert maintenance_due(cow, ON, RULES, before(59)) is None
    assert maintenance_due(cow, ON, RULES, before(60)) is not None


def test_days_in_milk_are_not_counted_before_calving() -> None:
    assert days_in_milk(Cow(number="1", calved_on=ON), ON) == 0
    assert days_in_milk(Cow(number="1", calved_on=before(-1)), ON) is None
    assert days_in_milk(Cow(number="1"), ON) is None


@given(st.integers(1, 12), st.integers(0, 15))
def test_no_day_is_overfilled_and_nobody_is_lost(capacity: int, herd: int) -> None:
    cows = [Cow(number=str(i), parity=2, calved_on=before(95 + i)) for i in range(herd)]
    found = plan(cows, capacity=capacity)
    assert len(found.on_list) == min(capacity, herd)
    names = [p.cow for p in found.on_list + found.left_over]
    assert sorted(names) == sorted(c.number for c in cows)


# Lengths in both units; 3.25 in = 82.55 mm, 3 in = 76.2, 0.25 in = 6.35 (by definition of the
# inch). Thresholds: 83 mm (3 1/4 in) and 6.4 mm (1/4 in) common practice, no published source;
# 5 mm van Amstel 2003 and Tsuka 2014; 7 mm Tsuka 2014; 90 mm Archer 2015.
@pytest.mark.parametrize(
    ("length", "unit", "levels"),
    [
        (72.6, "mm", ["stop", "stop"]),
        (72.7, "mm", ["stop"]),
        (75, "mm", ["stop"]),
        (3.0, "in", ["stop"]),
        (3.25, "in", ["stop"]),
        (83, "mm", ["stop"]),
        (84, "mm", ["warn"]),
        (3.5, "in", ["warn"]),
        (90, "mm", ["warn"]),
        (91, "mm", []),
    ],
)
def test_toe_length_is_checked_against_trade_and_published_values(
    length: float, unit: str, levels: list[str]
) -> None:
    found = check_claw(toe_length_mm=to_mm(length, unit))  # type: ignore[arg-type]
    assert [w.level for w in found] == levels
    assert all(w.source for w in found)


@pytest.mark.parametrize(
    ("sole", "unit", "levels"),
    [
        (4.9, "mm", ["stop"]),
        (5.0, "mm", ["warn", "warn"]),
        (0.25, "in", ["warn"]),
        (6.9, "mm", ["warn"]),
        (7.0, "mm", []),
    ],
)
def test_sole_thickness_is_checked_against_trade_and_published_values(
    sole: float, unit: str, levels: list[str]
) -> None:
    assert [w.level for w in check_claw(sole_mm=to_mm(sole, unit))] == levels  # type: ignore[arg-type]


def test_a_sole_that_gives_or_looks_pink_is_too_thin() -> None:
    assert check_claw(gives_under_thumb=True)[0].level == "stop"
    assert "pink" in check_claw(looks_pink=True)[0].message
    assert check_claw() == []


@pytest.mark.parametrize("length", [3.25, 0, -80, 400, math.nan])
def test_inches_typed_as_millimetres_are_not_taken(length: float) -> None:
    with pytest.raises(ValueError, match="millimetres or inches"):
        check_claw(toe_length_mm=length)


def test_an_unknown_unit_is_refused() -> None:
    with pytest.raises(ValueError, match="mm or in"):
        to_mm(8, "cm")  # type: ignore[arg-type]


def test_expected_sole_follows_the_published_means() -> None:
    # Tsuka et al. 2014, Vet J: toe length and sole thickness at the toe, inner and outer claw
    assert expected_sole_mm(75, "inner") == pytest.approx(6.1)
    assert expected_sole_mm(75, "outer") == pytest.approx(6.4)
    assert expected_sole_mm(72.1, "inner") == pytest.approx(5.0)
    assert expected_sole_mm(78.4, "outer") == pytest.approx(7.0)
    assert math.isnan(expected_sole_mm(90, "inner"))


def test_findings_are_checked_against_the_terms() -> None:
    right = Finding(foot="LH", claw="outer", zone="typical_place", code="SU", severity="severe")
    assert check_finding(right) == []
    wrong = Finding(foot="XX", claw="middle", zone="ear", code="ZZ", severity="bad", stage="M2")
    assert check_finding(wrong) == [
        "Unknown foot: XX.",
        "Unknown claw: middle.",
        "Unknown zone: ear.",
        "Unknown claw health code: ZZ.",
        "Unknown severity: bad.",
        "A stage goes with digital dermatitis only.",
    ]
    assert check_finding(Finding(foot="LH", code="DD", stage="M4.1")) == []
    assert check_finding(Finding(foot="LH", block=True)) == [
        "A block goes on one claw, the sound one: say which."
    ]
    assert set(CLAW_TERMS) >= FOR_THE_VET
