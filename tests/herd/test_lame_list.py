"""The lame list: who is on it, how urgent, since when, and how she gets off it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait.errors import StoreError
from gait.exchange.sheet_content import lame_sheet
from gait.herd.lame_list import URGENCIES, LameCow, lame_list, not_better_after
from gait.herd.records import Calving, Cow, Finding, Recheck, Score, Trim
from gait.herd.rules import HerdRules, rules_from, rules_to_keep
from gait.herd.spells import lame_spells
from gait.herd.trim_plan import propose_trim_day

TODAY = date(2026, 3, 30)
RULES = HerdRules()


def day(text: str, hour: int = 12) -> datetime:
    """Return a time on a day of 2026 given as month-day."""
    return datetime.fromisoformat(f"2026-{text}T{hour:02d}:00:00").replace(tzinfo=UTC)


def scores(cow: str, *given_: tuple[str, int]) -> list[Score]:
    return [
        Score(
            cow=cow,
            observed_at=day(on),
            score=score,
            pass_id=i,
            decided_at=day(on),
            decided_by="Ann",
        )
        for i, (on, score) in enumerate(given_, start=1)
    ]


def treated(on: str, cow: str = "1", **more: object) -> Trim:
    return Trim(cow=cow, on=day(on).date(), who="Tom", reason="therapeutic", **more)  # type: ignore[arg-type]


def listed(
    given_: list[Score],
    *,
    trims: tuple[Trim, ...] = (),
    rechecks: tuple[Recheck, ...] = (),
    calvings: tuple[Calving, ...] = (),
    cows: tuple[Cow, ...] | None = None,
    rules: HerdRules = RULES,
    today: date = TODAY,
) -> list[LameCow]:
    herd = cows or tuple(Cow(number=n) for n in sorted({s.cow for s in given_}))
    return lame_list(
        cows=herd,
        scores=given_,
        trims=trims,
        rechecks=rechecks,
        calvings=calvings,
        rules=rules,
        today=today,
    )


def test_a_cow_is_lame_from_three_and_sound_below() -> None:
    given_ = scores("1", ("03-25", 3)) + scores("2", ("03-25", 2)) + scores("3", ("03-25", 1))
    assert [line.cow.number for line in listed(given_)] == ["1"]


def test_since_is_the_first_lame_score_of_this_spell() -> None:
    (line,) = listed(scores("1", ("01-05", 3), ("01-20", 2), ("03-10", 3), ("03-25", 4)))
    assert line.since == day("03-10")
    assert (line.score, line.scored_at, line.times_before) == (4, day("03-25"), 1)


def test_a_sound_decision_clears_her() -> None:
    assert listed(scores("1", ("03-10", 4), ("03-25", 2))) == []


def test_a_cow_that_left_is_not_listed() -> None:
    gone = Cow(number="1", left_on=date(2026, 3, 28))
    assert listed(scores("1", ("03-25", 4)), cows=(gone,)) == []


@pytest.mark.parametrize(
    ("score", "urgency", "step"),
    [
        (3, "soon", "Look at her feet within two days."),
        (4, "same_day", "Look at her feet today."),
        (5, "vet", "Call the vet today."),
    ],
)
def test_the_score_says_how_urgent_she_is(score: int, urgency: str, step: str) -> None:
    (line,) = listed(scores("1", ("03-29", score)))
    assert (line.urgency, line.next_step) == (urgency, step)
    assert ("Do not make her walk far." in line.cautions) == (score == 5)


def test_the_most_urgent_come_first_then_the_longest_lame() -> None:
    given_ = (
        scores("a", ("03-29", 3))
        + scores("b", ("03-28", 3))
        + scores("c", ("03-29", 5))
        + scores("d", ("03-29", 4))
    )
    assert [line.cow.number for line in listed(given_)] == ["c", "d", "b", "a"]


def test_a_treated_cow_waits_for_her_recheck_fourteen_days_later() -> None:
    (line,) = listed(scores("1", ("03-20", 4)), trims=(treated("03-21"),))
    assert (line.urgency, line.recheck_on) == ("waiting", date(2026, 4, 4))
    assert line.next_step == "Treated on 2026-03-21. Recheck on 2026-04-04."


def test_a_recheck_that_is_due_is_said_to_be_due() -> None:
    given_ = scores("1", ("03-10", 4))
    (line,) = listed(given_, trims=(treated("03-16"),))
    assert (line.urgency, line.recheck_on) == ("recheck_due", date(2026, 3, 30))
    promised = Recheck(
        recheck_id=1,
        cow="1",
        due_on=date(2026, 4, 6),
        why="",
        opened_at=day("03-16"),
        opened_by="Tom",
    )
    (line,) = listed(given_, trims=(treated("03-16"),), rechecks=(promised,))
    assert (line.urgency, line.recheck_on) == ("waiting", date(2026, 4, 6))


def test_a_cow_not_better_at_her_recheck_goes_to_the_vet() -> None:
    given_ = scores("1", ("03-01", 3), ("03-16", 3))
    (line,) = listed(given_, trims=(treated("03-02"),))
    assert (line.urgency, line.next_step) == ("vet", "Not better after treatment: call the vet.")
    (better,) = listed(scores("1", ("03-01", 4), ("03-16", 3)), trims=(treated("03-02"),))
    assert better.urgency != "vet"


def test_a_score_before_the_recheck_does_not_yet_count_as_not_better() -> None:
    (spell,) = lame_spells(scores("1", ("03-01", 3), ("03-05", 3)), RULES)
    assert not not_better_after(spell, date(2026, 3, 2), RULES)


@pytest.mark.parametrize(
    ("score", "urgency", "step", "printed"),
    [
        (4, "same_day", "Look at her feet today.", "Today"),
        (5, "vet", "Call the vet today.", "Vet today"),
    ],
)
def test_worse_since_her_treatment_she_is_as_urgent_as_untreated(
    score: int, urgency: str, step: str, printed: str
) -> None:
    given_ = scores("1", ("03-25", 3), ("03-29", score))
    (line,) = listed(given_, trims=(treated("03-26", recheck_on=date(2026, 4, 9)),))
    assert line.urgency == urgency == listed(given_)[0].urgency
    assert line.next_step == f"Worse since her treatment on 2026-03-26. {step}"
    (row,) = lame_sheet([line], on=TODAY).rows
    assert (row[2], row[6].startswith(line.next_step)) == (printed, True)
    (proposed,) = propose_trim_day(
        on=TODAY, capacity=5, cows=[Cow(number="1")], lame=[line], rechecks=(), last_trimmed={},
        rules=RULES,
    ).on_list  # fmt: skip
    assert proposed.reason == "therapeutic"


def test_no_worse_since_her_treatment_she_waits() -> None:
    (line,) = listed(scores("1", ("03-25", 4), ("03-29", 4)), trims=(treated("03-26"),))
    assert line.urgency == "waiting"


def test_worse_on_the_day_of_treatment_counts_from_its_hour() -> None:
    own = scores("1", ("03-29", 3))
    evening = Score(
        cow="1", observed_at=day("03-29", 18), score=4, pass_id=9, decided_at=day("03-29", 18),
        decided_by="Ann",
    )  # fmt: skip
    at_two = treated("03-29", at=day("03-29", 14))
    assert listed([*own, evening], trims=(at_two,))[0].urgency == "same_day"
    at_eight = treated("03-29", at=day("03-29", 20))
    assert listed([*own, evening], trims=(at_eight,))[0].urgency == "waiting"


def test_treated_again_she_is_measured_by_that() -> None:
    given_ = scores("1", ("03-20", 3), ("03-25", 4))
    trims = (treated("03-21"), treated("03-26"))
    assert listed(given_, trims=trims)[0].urgency == "waiting"


def test_a_treatment_of_an_earlier_spell_is_not_one_of_this() -> None:
    (line,) = listed(
        scores("1", ("01-05", 3), ("01-20", 1), ("03-25", 3)), trims=(treated("01-06"),)
    )
    assert line.treated_on is None


def test_lame_again_in_the_lactation_is_chronic_but_not_after_calving() -> None:
    given_ = scores("1", ("01-05", 3), ("01-20", 1), ("03-25", 3))
    same = (Calving(cow="1", calved_on=date(2025, 12, 1)),)
    assert listed(given_, calvings=same)[0].is_chronic
    new = (Calving(cow="1", calved_on=date(2026, 2, 1)),)
    (line,) = listed(given_, calvings=new)
    assert (line.is_chronic, line.times_before) == (False, 0)
    assert listed(given_)[0].is_chronic  # calving not known: the last 305 days


def test_lame_for_more_than_two_weeks_is_chronic() -> None:
    assert not listed(scores("1", ("03-16", 3)))[0].is_chronic
    assert listed(scores("1", ("03-15", 3)))[0].is_chronic


def test_withdrawal_and_block_are_shown_as_cautions() -> None:
    trim = treated(
        "03-01",
        withdrawal_until=date(2026, 4, 1),
        findings=(Finding(foot="RH", claw="inner", block=True),),
    )
    given_ = scores("1", ("03-01", 4), ("03-20", 3))
    (line,) = listed(given_, trims=(trim,))
    assert "Withdrawal until 2026-04-01" in " ".join(line.cautions)
    assert "Block since 2026-03-01: check it or take it off." in line.cautions
    (line,) = listed(given_, trims=(trim,), today=date(2026, 3, 21))
    assert not any("Block" in caution for caution in line.cautions)


@pytest.mark.parametrize("on", ["01-02", "03-21"])
def test_a_running_withdrawal_is_a_caution_whatever_the_medicine_was_given_for(on: str) -> None:
    trim = Trim(
        cow="1", on=day(on).date(), who="Tom", reason="maintenance", medicine="as on the label",
        withdrawal_until=TODAY, withdrawal_source="label",
    )  # fmt: skip
    given_ = scores("1", ("03-20", 3))
    (line,) = listed(given_, trims=(trim,))
    assert (line.treated_on, len(line.cautions)) == (None, 1)
    assert line.cautions[0].startswith("Withdrawal until 2026-03-30")
    (line,) = listed(given_, trims=(trim,), today=TODAY + timedelta(days=1))
    assert line.cautions == ()


def test_two_threes_running_are_needed_when_the_farm_says_so() -> None:
    rules = HerdRules(lame_rule="two_threes")
    assert listed(scores("1", ("03-20", 3)), rules=rules) == []
    assert listed(scores("1", ("03-01", 3), ("03-10", 2), ("03-20", 3)), rules=rules) == []
    (line,) = listed(scores("1", ("03-10", 3), ("03-20", 3)), rules=rules)
    assert line.since == day("03-10")
    assert len(listed(scores("1", ("03-20", 4)), rules=rules)) == 1


@given(st.lists(st.integers(1, 5), min_size=1, max_size=12))
def test_the_list_holds_her_exactly_when_the_newest_score_is_lame(given_: list[int]) -> None:
    own = scores("1", *((f"03-{i + 1:02d}", score) for i, score in enumerate(given_)))
    lines = listed(own)
    assert bool(lines) == (given_[-1] >= 3)
    for line in lines:
        assert line.urgency in URGENCIES
        assert line.score == given_[-1]
        run = next((i for i, s in enumerate(reversed(given_)) if s < 3), len(given_))
        assert line.since == day("03-01") + timedelta(days=len(given_) - run)


@given(st.permutations(scores("1", ("03-01", 3), ("03-05", 2), ("03-09", 4), ("03-12", 4))))
def test_the_order_in_which_scores_come_does_not_matter(own: list[Score]) -> None:
    (line,) = listed(own)
    assert (line.since, line.score) == (day("03-09"), 4)


def test_rules_are_kept_and_read_back_and_contradictions_refused() -> None:
    rules = HerdRules(recheck_days=10, lame_rule="two_threes", springing=False)
    assert rules_from(rules_to_keep(rules)) == rules
    assert rules_from(None) == HerdRules()
    assert rules_from({"recheck_days": 7, "gone": 1}).recheck_days == 7
    for wrong in (
        {"lame_from": 5, "same_day_from": 4},
        {"mid_lactation_from": 200},
        {"springing_to": 70},
        {"recheck_days": 0},
        {"early_hours": -1},
        {"lame_rule": "guess"},
    ):
        with pytest.raises(StoreError):
            rules_from(wrong)
