"""Passes on which two people decided: undone by one, in dispute, counted once for agreement."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from gait.errors import StoreConflict
from gait.herd.records import DecisionKind
from gait.store import Store
from tests.farms import add_pass

NOW = datetime.now(UTC)
A_MOMENT = timedelta(minutes=10)


def test_undo_takes_back_only_the_decision_that_is_meant(store: Store) -> None:
    pass_id = add_pass(store, "0209")
    mine = store.decisions.add(pass_id, kind="overridden", score=1, who="Hans", reason="even")
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Maria")
    with pytest.raises(StoreConflict) as told:
        store.decisions.undo(pass_id, who="Hans", expected_version=mine.version)
    assert "Maria decided on this pass in the meantime (gave 3). Nothing was taken back." in str(
        told.value
    ).replace("\n", " ")
    assert store.passes.get(pass_id).summary.score == 3
    assert store.decisions.conflicts() == []  # nothing was entered that somebody must look at
    assert len(store.decisions.of_pass(pass_id)) == 2


def test_undo_of_what_somebody_took_back_already_is_refused(store: Store) -> None:
    pass_id = add_pass(store, "0209")
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Hans")
    second = store.decisions.add(pass_id, kind="overridden", score=1, who="Hans", reason="even")
    store.decisions.undo(pass_id, who="Maria", expected_version=second.version)
    with pytest.raises(StoreConflict, match="Maria decided on this pass in the meantime"):
        store.decisions.undo(pass_id, who="Hans", expected_version=second.version)
    assert store.passes.get(pass_id).summary.score == 3


def test_ones_own_newest_decision_is_found_while_it_can_be_taken_back(store: Store) -> None:
    first, second = add_pass(store, "0209", "a"), add_pass(store, "0213", "b")
    store.decisions.add(first, kind="confirmed", score=3, who="Hans", at=NOW - timedelta(days=1))
    assert store.decisions.newest_by("Hans", NOW - A_MOMENT) is None
    made = store.decisions.add(second, kind="confirmed", score=3, who="Hans")
    assert store.decisions.newest_by("Hans", NOW - A_MOMENT) == made
    assert store.decisions.newest_by("Maria", NOW - A_MOMENT) is None
    store.decisions.add(second, kind="confirmed", score=3, who="Maria")
    assert store.decisions.newest_by("Hans", NOW - A_MOMENT) is None
    store.decisions.undo(second, who="Maria")
    assert store.decisions.newest_by("Maria", NOW - A_MOMENT) is None


def test_scores_of_two_people_one_after_the_other_wait_for_the_vet(store: Store) -> None:
    sound = {"value": 1, "probabilities": [1, 0, 0, 0, 0], "plausible": [1], "confidence": 1.0}
    old, differ, agreed = (add_pass(store, "0209", name, proposal=sound) for name in "abc")
    for pass_id, second in ((old, 2), (differ, 2), (agreed, 1)):
        at = NOW - timedelta(days=40) if pass_id == old else NOW
        store.decisions.add(pass_id, kind="confirmed", score=1, who="Ann", at=at)
        store.decisions.add(
            pass_id, kind="overridden", score=second, who="Ben", reason="seen", at=at
        )
    since = NOW - timedelta(days=14)
    assert store.queue.disputed(since) == {differ}
    assert [p.pass_id for p in store.queue.for_vet(since)] == [differ]
    store.decisions.add(differ, kind="second_opinion", score=2, who="Vera")
    assert store.queue.for_vet(since) == []


def test_a_pass_counts_once_for_the_agreement_of_people(store: Store) -> None:
    one, taken_back = add_pass(store, "0209", "a"), add_pass(store, "0213", "b")
    for score in (3, 4, 5):
        store.decisions.add(one, kind="overridden", score=score, who="Ann", reason="seen")
    store.decisions.add(one, kind="second_opinion", score=2, who="Vera")
    store.decisions.add(taken_back, kind="confirmed", score=3, who="Ann")
    store.decisions.add(taken_back, kind="second_opinion", score=2, who="Vera")
    store.decisions.undo(taken_back, who="Vera")
    assert store.scores.person_and_person() == [(5, 2)]


def test_a_second_opinion_ends_what_two_said_at_once(store: Store) -> None:
    pass_id = add_pass(store, "0209")
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann", expected_version=0)
    with pytest.raises(StoreConflict):
        store.decisions.add(
            pass_id, kind="overridden", score=2, who="Ben", reason="x", expected_version=0
        )
    since = NOW - timedelta(days=14)
    assert store.queue.disputed(since) == {pass_id}
    store.decisions.add(pass_id, kind="second_opinion", score=3, who="Vera")
    assert store.queue.disputed(since) == set()
    store.decisions.undo(pass_id, who="Vera")
    assert store.queue.disputed(since) == {pass_id}


@pytest.mark.parametrize(("who", "kind"), [("Ann", "confirmed"), ("Vera", "second_opinion")])
def test_two_at_once_are_settled_by_the_next_decision_and_stay_on_record(
    store: Store, who: str, kind: DecisionKind
) -> None:
    pass_id, other = add_pass(store, "0209", "a"), add_pass(store, "0213", "b")
    for one in (pass_id, other):
        store.decisions.add(one, kind="confirmed", score=3, who="Ann", expected_version=0)
        with pytest.raises(StoreConflict):
            store.decisions.add(one, kind="confirmed", score=2, who="Bea", expected_version=0)
    assert len(store.decisions.conflicts()) == 2
    again = store.decisions.add(pass_id, kind=kind, score=3, who=who)
    assert store.decisions.conflicts(pass_id=pass_id) == []
    assert [c.pass_id for c in store.decisions.conflicts()] == [other]
    assert len(store.decisions.conflicts(settled=True)) == 2
    assert store.queue.disputed(NOW - A_MOMENT) == {other}
    store.decisions.undo(pass_id, who=who, expected_version=again.version)
    assert len(store.decisions.conflicts(pass_id=pass_id)) == 1
