"""Decisions: append-only, undo as a record, two people at once, what stands."""

from __future__ import annotations

import threading
from datetime import timedelta

import pytest

from gait.errors import StoreConflict, StoreError
from gait.store import Store, herds_on, open_store
from tests.farms import NOON, add_pass


def test_a_confirmed_score_of_three_puts_the_cow_among_the_lame(store: Store) -> None:
    pass_id = add_pass(store, "0412")
    assert store.scores.latest(at_least=3) == []
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann", expected_version=0)
    (score,) = store.scores.latest(at_least=3)
    assert (score.cow, score.score, score.decided_by, score.proposed) == ("0412", 3, "Ann", 3)
    assert score.observed_at == NOON
    assert store.queue.to_check() == []


def test_a_proposal_alone_puts_no_cow_on_any_list(store: Store) -> None:
    add_pass(store, "0412", proposal={"value": 5, "probabilities": [0, 0, 0, 0, 1]})
    assert store.scores.latest() == []
    assert [s.cow for s in store.queue.to_check()] == ["0412"]


def test_undo_takes_the_decision_back_and_keeps_both_records(store: Store) -> None:
    pass_id = add_pass(store, "0412")
    made = store.decisions.add(pass_id, kind="confirmed", score=4, who="Ann")
    store.decisions.undo(pass_id, who="Bob", reason="wrong cow")
    kinds = [(d.kind, d.who, d.undoes) for d in store.decisions.of_pass(pass_id)]
    assert kinds == [("confirmed", "Ann", None), ("undo", "Bob", made.uid)]
    assert store.scores.latest() == []
    assert store.passes.get(pass_id).summary.status == "to_check"
    with pytest.raises(StoreError, match="no decision to take back"):
        store.decisions.undo(pass_id, who="Bob")


def test_undo_brings_the_earlier_decision_back(store: Store) -> None:
    pass_id = add_pass(store, "0412")
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
    store.decisions.add(pass_id, kind="overridden", score=2, who="Ann", reason="saw her again")
    store.decisions.undo(pass_id, who="Ann")
    assert store.passes.get(pass_id).summary.score == 3


def test_the_second_of_two_people_is_told_and_both_inputs_are_kept(store: Store) -> None:
    pass_id = add_pass(store, "0412")
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann", expected_version=0)
    with pytest.raises(StoreConflict) as told:
        store.decisions.add(
            pass_id,
            kind="overridden",
            score=2,
            reason="flat back",
            who="Bob",
            expected_version=0,
        )
    assert "Ann decided on this pass in the meantime (gave 3)." in str(told.value)
    assert "Your 2 is kept" in str(told.value)
    (kept,) = store.decisions.conflicts()
    assert (kept.who, kept.score, kept.reason, kept.seen_version, kept.found_version) == (
        "Bob",
        2,
        "flat back",
        0,
        1,
    )
    assert [d.score for d in store.decisions.of_pass(pass_id)] == [3]
    store.decisions.settle(kept.conflict_id, who="Ann")
    assert store.decisions.conflicts() == []
    assert len(store.decisions.conflicts(settled=True)) == 1


def test_of_many_writers_at_once_one_decides_and_all_others_are_kept(
    farm: tuple[str, str], store: Store
) -> None:
    pass_id = add_pass(store, "0412")
    told: list[str] = []
    ready = threading.Barrier(6)

    def decide(who: str) -> None:
        with open_store(*farm) as mine:
            ready.wait()
            try:
                mine.decisions.add(pass_id, kind="confirmed", score=3, who=who, expected_version=0)
                told.append("kept")
            except StoreConflict:
                told.append("conflict")

    threads = [threading.Thread(target=decide, args=(f"person {i}",)) for i in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(told) == ["conflict"] * 5 + ["kept"]
    people = {d.who for d in store.decisions.of_pass(pass_id)}
    people |= {c.who for c in store.decisions.conflicts()}
    assert people == {f"person {i}" for i in range(6)}


def test_writers_without_a_version_all_get_in_and_none_is_lost(
    farm: tuple[str, str], store: Store
) -> None:
    pass_id = add_pass(store, "0412")

    def decide(score: int) -> None:
        with open_store(*farm) as mine:
            for _ in range(5):
                mine.decisions.add(pass_id, kind="confirmed", score=score, who="Ann")

    threads = [threading.Thread(target=decide, args=(score,)) for score in (2, 3, 4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    made = store.decisions.of_pass(pass_id)
    assert [d.version for d in made] == list(range(1, 16))
    assert store.passes.get(pass_id).summary.score == made[-1].score


def test_a_decision_on_an_older_walk_does_not_replace_the_newer_one(store: Store) -> None:
    new = add_pass(store, "0412", "a")
    old = add_pass(store, "0412", "b", observed_at=NOON - timedelta(days=9))
    store.decisions.add(new, kind="confirmed", score=2, who="Ann")
    store.decisions.add(old, kind="confirmed", score=4, who="Ann")
    (latest,) = store.scores.latest()
    assert (latest.score, latest.pass_id) == (2, new)


def test_naming_another_cow_moves_the_score_to_her(store: Store) -> None:
    pass_id = add_pass(store, "0412")
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
    store.identities.set(pass_id, "0413", who="Bob")
    assert [s.cow for s in store.scores.latest()] == ["0413"]
    assert [i.cow for i in store.identities.of_pass(pass_id)] == ["0412", "0413"]
    store.identities.set(pass_id, None, who="Bob", note="ear covered")
    assert store.scores.latest() == []
    assert store.queue.unnamed() == []  # Bob has said that nobody knows


def test_a_person_outranks_the_exit_order_list_that_comes_later(store: Store) -> None:
    pass_id = add_pass(store, "0412")
    store.identities.set(pass_id, "0999", who="list", source="exit_order", candidates=["0999"])
    assert store.passes.get(pass_id).summary.cow == "0412"


def test_a_score_given_by_eye_needs_no_film(store: Store) -> None:
    made = store.decisions.add_by_eye("88", score=4, who="Vet", observed_at=NOON)
    assert [(s.cow, s.score) for s in store.scores.latest()] == [("88", 4)]
    assert store.passes.get(made.pass_id).clip is None


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ({"kind": "confirmed"}, "A score is missing"),
        ({"kind": "overridden", "score": 2}, "A reason is missing"),
        ({"kind": "unusable"}, "A reason is missing"),
        ({"kind": "confirmed", "score": 6}, "from 1 to 5"),
        ({"kind": "confirmed", "score": 3, "who": " "}, "Nobody is named"),
    ],
)
def test_an_incomplete_decision_is_refused_in_words(
    small_store: Store, said: dict, message: str
) -> None:
    pass_id = add_pass(small_store, "0412")
    with pytest.raises(StoreError, match=message):
        small_store.decisions.add(pass_id, **({"who": "Ann"} | said))
    assert small_store.decisions.of_pass(pass_id) == []


def test_renumbering_a_cow_takes_her_history_along(store: Store) -> None:
    pass_id = add_pass(store, "0412")
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
    store.cows.renumber("0412", "77")
    assert [s.cow for s in store.scores.latest()] == ["77"]
    assert store.identities.of_pass(pass_id)[0].cow == "77"


def test_recounting_from_the_records_changes_nothing(store: Store) -> None:
    first = add_pass(store, "0412", "a")
    second = add_pass(store, "0412", "b", observed_at=NOON + timedelta(days=1))
    store.decisions.add(first, kind="confirmed", score=3, who="Ann")
    store.decisions.add(second, kind="second_opinion_wanted", who="Ann")
    before = [store.passes.get(p) for p in (first, second)], store.scores.latest()
    assert store.bulk.recount() == 2
    assert ([store.passes.get(p) for p in (first, second)], store.scores.latest()) == before


@pytest.mark.parametrize("statement", ["UPDATE decision SET score = 1", "DELETE FROM decision"])
def test_the_database_itself_refuses_to_change_a_decision(store: Store, statement: str) -> None:
    pass_id = add_pass(store, "0412")
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")

    def change() -> None:
        with store.database.write() as connection:
            connection.exec_driver_sql(statement)

    with pytest.raises(StoreError):
        change()
    assert [d.score for d in store.decisions.of_pass(pass_id)] == [3]


def test_the_mark_changes_with_whatever_lists_rest_on(store: Store) -> None:
    marks = [store.mark()]

    def changed() -> bool:
        marks.append(store.mark())
        return marks[-1] != marks[-2]

    assert not changed()
    pass_id = add_pass(store)
    assert changed()
    store.identities.set(pass_id, "0412", who="Ann")
    assert changed()
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
    assert changed()
    recheck = store.rechecks.open("0412", NOON.date(), why="", who="Ann")
    assert changed()
    store.rechecks.close(recheck.recheck_id, who="Ann", outcome="better")
    assert changed()
    store.cows.renumber("0412", "7")
    assert changed()
    assert not changed()


def test_a_server_keeps_herds_apart_and_names_them(postgres: str) -> None:
    with open_store(postgres, "north_farm") as north, open_store(postgres, "south_farm") as south:
        north.decisions.add_by_eye("1", score=4, who="Vet")
        assert south.scores.latest() == []
        assert len(north.scores.latest()) == 1
    assert {"north_farm", "south_farm"} <= set(herds_on(postgres))
    with pytest.raises(StoreError, match="cannot be called"):
        open_store(postgres, 'x"; DROP SCHEMA public')
