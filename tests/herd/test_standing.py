"""Which decision stands, and which pass is to be looked at first."""

from __future__ import annotations

from itertools import permutations

from hypothesis import given
from hypothesis import strategies as st

from gait.herd.people import ACTIONS, ROLES, may
from gait.herd.records import Decision, Identity
from gait.herd.standing import (
    checking_priority,
    standing_decision,
    standing_identity,
    still_valid,
)
from tests.farms import NOON, proposal


def _decisions(*said: tuple) -> list[Decision]:
    return [
        Decision(
            decision_id=i,
            uid=f"d{i}",
            pass_id=1,
            version=i,
            kind=kind,
            who="Ann",
            at=NOON,
            score=score if isinstance(score, int) else None,
            undoes=score if isinstance(score, str) else None,
        )
        for i, (kind, score) in enumerate(said, start=1)
    ]


def test_nobody_has_decided() -> None:
    assert standing_decision([]).status == "to_check"


def test_the_newest_of_equal_rank_stands_in_whatever_order_they_come() -> None:
    made = _decisions(("confirmed", 3), ("overridden", 2), ("confirmed", 4))
    for order in permutations(made):
        assert standing_decision(order).score == 4


def test_a_second_opinion_outranks_what_the_herdsperson_says_later() -> None:
    made = _decisions(("confirmed", 2), ("second_opinion", 4), ("confirmed", 2))
    assert standing_decision(made).score == 4
    made = _decisions(("second_opinion", 4), ("second_opinion", 3))
    assert standing_decision(made).score == 3


def test_asking_for_a_second_opinion_keeps_the_score_until_it_comes() -> None:
    made = _decisions(("confirmed", 4), ("second_opinion_wanted", None))
    standing = standing_decision(made)
    assert (standing.score, standing.wants_second_opinion) == (4, True)
    made = _decisions(("confirmed", 4), ("second_opinion_wanted", None), ("second_opinion", 2))
    standing = standing_decision(made)
    assert (standing.score, standing.wants_second_opinion) == (2, False)


def test_asking_without_a_score_leaves_the_pass_to_be_checked() -> None:
    standing = standing_decision(_decisions(("second_opinion_wanted", None)))
    assert (standing.status, standing.wants_second_opinion) == ("to_check", True)


def test_a_declined_second_opinion_answers_the_wish_and_changes_no_score() -> None:
    wanted, declined = ("second_opinion_wanted", None), ("second_opinion_declined", None)
    standing = standing_decision(_decisions(("confirmed", 4), wanted, declined))
    assert (standing.score, standing.wants_second_opinion) == (4, False)
    assert standing_decision(_decisions(wanted, declined)).status == "to_check"
    assert standing_decision(_decisions(wanted, declined, wanted)).wants_second_opinion
    # A score beside it, from a file of another program, is no judgement.
    assert standing_decision(_decisions(("second_opinion_declined", 2))).score is None


def test_an_unusable_pass_has_no_score() -> None:
    standing = standing_decision(_decisions(("confirmed", 4), ("unusable", None)))
    assert (standing.status, standing.score) == ("unusable", None)


def test_an_undo_can_be_undone() -> None:
    made = _decisions(("confirmed", 3), ("undo", "d1"))
    assert still_valid(made) == []
    made = _decisions(("confirmed", 3), ("undo", "d1"), ("undo", "d2"))
    assert standing_decision(made).score == 3


@given(st.lists(st.tuples(st.sampled_from(["confirmed", "second_opinion"]), st.integers(1, 5))))
def test_undoing_the_last_decision_always_brings_back_what_stood_before(said: list) -> None:
    before = standing_decision(_decisions(*said))
    more = [*said, ("confirmed", 5), ("undo", f"d{len(said) + 1}")]
    after = standing_decision(_decisions(*more))
    assert (after.score, after.status) == (before.score, before.status)


def test_a_person_names_the_cow_over_file_name_and_list() -> None:
    def said(i: int, cow: str | None, source: str) -> Identity:
        return Identity(
            identity_id=i,
            pass_id=1,
            cow=cow,
            source=source,
            who="x",
            at=NOON,  # type: ignore[arg-type]
        )

    told = [said(1, "1", "person"), said(2, "2", "file_name"), said(3, "3", "exit_order")]
    standing = standing_identity(told)
    assert standing is not None
    assert standing.cow == "1"
    standing = standing_identity(told[1:])
    assert standing is not None
    assert standing.cow == "2"
    assert standing_identity([]) is None


def test_urgent_and_uncertain_passes_come_first() -> None:
    severe, sure_sound = proposal(5, 0.9), proposal(1, 0.95)
    unsure, lame = proposal(2, 0.3), proposal(3, 0.9)
    order = sorted([sure_sound, unsure, None, severe, lame], key=checking_priority, reverse=True)
    assert order == [severe, unsure, lame, None, sure_sound]


def test_roles_give_the_rights_they_should() -> None:
    assert may(["vet"], "second_opinion")
    assert not may(["herdsperson"], "second_opinion")
    assert may(["manager"], "rules")
    assert not may(["trimmer", "herdsperson"], "rules")
    assert not may(["stranger"], "decide")
    for action in ACTIONS:
        assert any(may([role], action) for role in ROLES)
