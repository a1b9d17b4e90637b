"""Rechecks over the records: a film that answers one closes it, and no cow is asked for twice."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from gait.farm import close_recheck, lame_today, leave_out_recheck, rechecks_waiting
from gait.herd.records import Trim
from gait.store import Store
from gait.trim_day import propose
from tests.farms import NOON, add_pass, small_store  # noqa: F401

TODAY = date(2026, 3, 20)


def _lame_and_treated(store: Store) -> None:
    store.decisions.add_by_eye("0412", score=4, who="Ann", observed_at=NOON)
    due = NOON.date() + timedelta(days=14)
    trim = Trim(cow="0412", on=NOON.date(), who="Tom", reason="therapeutic", recheck_on=due)
    store.trims.add(trim)


def test_a_film_on_the_day_answers_the_recheck(small_store: Store) -> None:  # noqa: F811
    _lame_and_treated(small_store)
    assert [r.cow for r in rechecks_waiting(small_store)] == ["0412"]
    walked = NOON + timedelta(days=15)
    later = add_pass(small_store, "0412", "b", observed_at=walked)
    small_store.decisions.add(later, kind="confirmed", score=3, who="Bob")
    (by_rule,) = rechecks_waiting(small_store)
    assert (by_rule.recheck_id, by_rule.due_on) == (0, date(2026, 3, 31))
    (closed,) = small_store.rechecks.all()
    assert (closed.state, closed.outcome, closed.closed_by) == ("done", "better", "Bob")
    (line,) = lame_today(small_store, TODAY)
    assert (line.urgency, line.recheck_on) == ("waiting", by_rule.due_on)
    assert propose(small_store, TODAY, capacity=8).on_list == ()


def test_until_then_she_is_due_on_the_lame_list_and_for_the_trim_day(
    small_store: Store,  # noqa: F811
) -> None:
    _lame_and_treated(small_store)
    (line,) = lame_today(small_store, TODAY)
    assert (line.urgency, line.recheck_on) == ("recheck_due", date(2026, 3, 16))
    (proposed,) = propose(small_store, TODAY, capacity=8).on_list
    assert (proposed.cow, proposed.reason) == ("0412", "recheck")


def test_a_look_at_her_closes_the_recheck_with_the_outcome(small_store: Store) -> None:  # noqa: F811
    _lame_and_treated(small_store)
    (promise,) = rechecks_waiting(small_store)
    assert close_recheck(small_store, promise, score=3, who="Ann") == "better"
    (closed,) = small_store.rechecks.all()
    assert (closed.state, closed.outcome) == ("done", "better")
    assert [s.score for s in small_store.scores.latest()] == [3]


def test_a_treated_lame_cow_nobody_promised_to_look_at_is_due_all_the_same(
    small_store: Store,  # noqa: F811
) -> None:
    small_store.decisions.add_by_eye("0412", score=3, who="Ann", observed_at=NOON)
    small_store.trims.add(Trim(cow="0412", on=NOON.date(), who="Tom", reason="therapeutic"))
    (line,) = lame_today(small_store, TODAY)
    (by_rule,) = rechecks_waiting(small_store)
    assert (by_rule.cow, by_rule.due_on) == ("0412", line.recheck_on) == ("0412", date(2026, 3, 16))
    assert rechecks_waiting(small_store, cow="0412") == [by_rule]
    assert rechecks_waiting(small_store, cow="0413") == []
    assert small_store.rechecks.all() == []  # looking writes nothing
    assert close_recheck(small_store, by_rule, score=1, who="Ann") == "sound"
    (closed,) = small_store.rechecks.all()
    assert (closed.state, closed.opened_by, closed.due_on) == ("done", "Ann", by_rule.due_on)
    assert rechecks_waiting(small_store) == lame_today(small_store, TODAY) == []


def test_a_recheck_left_out_comes_again_while_she_is_lame(small_store: Store) -> None:  # noqa: F811
    _lame_and_treated(small_store)
    (promise,) = rechecks_waiting(small_store)
    leave_out_recheck(small_store, promise, who="Ann")
    (again,) = rechecks_waiting(small_store)
    assert again.due_on == datetime.now(UTC).date() + timedelta(days=14)
    (line,) = lame_today(small_store, TODAY)
    assert line.recheck_on == again.due_on
