"""Rechecks: answered by the right score, with the right outcome, and what is due next."""

from __future__ import annotations

from datetime import date

import pytest

from gait.herd.feet import check_trim
from gait.herd.recheck import answered_rechecks, is_answered, needs_vet, next_due, outcome_of
from gait.herd.records import Recheck, Trim
from gait.herd.rules import HerdRules
from tests.herd.test_lame_list import day, listed, scores, treated

RULES = HerdRules()


def promised(due: str, *, cow: str = "1", opened: str = "03-02", state: str = "open") -> Recheck:
    return Recheck(
        recheck_id=1,
        cow=cow,
        due_on=day(due).date(),
        why="after trim",
        opened_at=day(opened, 18),
        opened_by="Tom",
        state=state,  # type: ignore[arg-type]
    )


@pytest.mark.parametrize(
    ("before", "after", "outcome", "vet"),
    [
        (4, 2, "sound", False),
        (4, 3, "better", False),
        (3, 3, "same", True),
        (3, 4, "worse", True),
        (None, 3, "same", True),
        (None, 1, "sound", False),
        (2, 2, "sound", False),
    ],
)
def test_the_outcome_says_whether_the_vet_is_needed(
    before: int | None, after: int, outcome: str, vet: bool
) -> None:
    assert outcome_of(before, after, RULES) == outcome
    assert needs_vet(outcome_of(before, after, RULES)) == vet


def test_a_recheck_is_answered_by_the_first_walk_on_its_day_or_later() -> None:
    own = scores("1", ("03-01", 4), ("03-10", 2), ("03-16", 3), ("03-20", 1))
    (answer,) = answered_rechecks([promised("03-16")], own, RULES)
    assert (answer.score.score, answer.outcome) == (3, "better")
    assert answered_rechecks([promised("03-21")], own, RULES) == []
    assert answered_rechecks([promised("03-16", cow="2")], own, RULES) == []
    assert answered_rechecks([promised("03-16", state="done")], own, RULES) == []
    assert not is_answered(promised("03-16"), None)


def test_a_lame_cow_that_got_better_is_due_again_after_her_recheck() -> None:
    assert next_due([], date(2026, 3, 2), date(2026, 3, 1), RULES) == date(2026, 3, 16)
    assert next_due([], date(2026, 3, 2), date(2026, 3, 18), RULES) == date(2026, 4, 1)
    assert next_due([], None, date(2026, 3, 18), RULES) is None
    assert next_due([promised("03-20")], date(2026, 3, 2), date(2026, 3, 18), RULES) == date(
        2026, 3, 20
    )


def test_the_list_does_not_ask_again_for_a_recheck_that_a_film_has_answered() -> None:
    own = scores("1", ("03-01", 4), ("03-17", 3))
    (line,) = listed(
        own, trims=(treated("03-02"),), rechecks=(promised("03-16"),), today=date(2026, 3, 18)
    )
    assert (line.urgency, line.recheck_on) == ("waiting", date(2026, 3, 31))


def test_a_medicine_without_withdrawal_is_not_complete() -> None:
    def trim(**more: object) -> Trim:
        return Trim(cow="1", on=date(2026, 3, 2), who="Vet", reason="therapeutic", **more)  # type: ignore[arg-type]

    assert check_trim(trim()) == []
    assert check_trim(trim(medicine="M")) == [
        "Enter until when the withdrawal lasts, from the label or the vet."
    ]
    assert check_trim(trim(medicine="M", withdrawal_until=date(2026, 3, 9))) == [
        "Say where the withdrawal end was read: label or vet."
    ]
    early = trim(withdrawal_until=date(2026, 3, 1), withdrawal_source="label")
    assert check_trim(early) == ["The withdrawal ends before the day of treatment."]
    assert check_trim(trim(recheck_on=date(2026, 3, 2))) == [
        "The recheck must come after the day of treatment."
    ]
