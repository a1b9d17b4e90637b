"""Rechecks over the records: a film that answers one closes it, and no cow is asked for twice."""

from __future__ import annotations

from datetime import date, timedelta

from gait.farm import close_recheck, lame_today, rechecks_waiting
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
    assert rechecks_waiting(small_store) == []
    (closed,) = small_store.rechecks.all()
    assert (closed.state, closed.outcome, closed.closed_by) == ("done", "better", "Bob")
    (line,) = lame_today(small_store, TODAY)
    assert (line.urgency, line.recheck_on) == ("waiting", date(2026, 3, 31))
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
