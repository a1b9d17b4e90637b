"""Trim days, findings, rechecks; people and their PIN; work that survives a crash."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from gait.errors import StoreError
from gait.herd.records import Cow, Finding, Trim, TrimEntry
from gait.store import Store
from gait.store.people import hash_pin, pin_matches
from tests.farms import NOON

DAY = date(2026, 3, 4)


def _entry(cow: str, day_id: int, position: int = 1) -> TrimEntry:
    return TrimEntry(
        trim_day_id=day_id, cow=cow, reason="therapeutic", why="Score 3", position=position
    )


def test_a_trim_day_keeps_its_cows_in_order_and_ticks_them_off(store: Store) -> None:
    day = store.trim_days.plan(DAY, trimmer="Tom", capacity=8, note="two chutes")
    entries = [_entry(n, day.trim_day_id) for n in ("9", "0412", "17")]
    store.trim_days.put_entries(day.trim_day_id, entries)
    kept = store.trim_days.entries(day.trim_day_id)
    assert [(e.cow, e.position) for e in kept] == [("9", 1), ("0412", 2), ("17", 3)]
    store.trim_days.set_state(day.trim_day_id, "9", "not_seen")
    store.trims.add(
        Trim(cow="17", on=DAY, who="Tom", reason="maintenance", trim_day_id=day.trim_day_id)
    )
    states = {e.cow: e.state for e in store.trim_days.entries(day.trim_day_id)}
    assert states == {"9": "not_seen", "0412": "planned", "17": "done"}
    store.trim_days.change(replace(day, capacity=5, closed=True))
    assert store.trim_days.get(day.trim_day_id) == replace(day, capacity=5, closed=True)
    assert [d.on for d in store.trim_days.all()] == [DAY]
    with pytest.raises(StoreError, match="no such trim day"):
        store.trim_days.get(99)
    with pytest.raises(StoreError, match="at least one cow"):
        store.trim_days.plan(DAY, trimmer="Tom", capacity=0)


def test_a_trim_comes_back_with_every_finding(store: Store) -> None:
    trim = Trim(
        cow="0412",
        on=DAY,
        at=NOON,
        who="Tom",
        reason="therapeutic",
        findings=(
            Finding(foot="RH", claw="outer", zone="typical_place", code="SU", severity="severe",
                    toe_length_mm=82.5, sole_mm=5.5, note="deep"),
            Finding(foot="RH", block=True, block_claw="inner"),
        ),
        medicine="as typed",
        withdrawal_until=date(2026, 3, 9),
        withdrawal_source="label",
        next_step="Take the block off",
        recheck_on=date(2026, 3, 18),
    )  # fmt: skip
    kept = store.trims.add(trim)
    assert store.trims.of_cows(["0412"]) == [kept]
    assert replace(kept, uid="", trim_id=None) == trim
    (recheck,) = store.rechecks.all(only_open=True)
    assert (recheck.cow, recheck.due_on, recheck.why, recheck.trim_uid) == (
        "0412",
        date(2026, 3, 18),
        "Take the block off",
        kept.uid,
    )
    assert store.trims.last_days() == {"0412": DAY}


def test_a_correction_replaces_a_trim_in_lists_but_both_stay_on_record(store: Store) -> None:
    wrong = store.trims.add(Trim(cow="0412", on=DAY, who="Tom", reason="therapeutic"))
    right = store.trims.add(
        Trim(cow="0413", on=DAY, who="Tom", reason="therapeutic", corrects=wrong.uid)
    )
    assert [t.uid for t in store.trims.since(DAY)] == [right.uid]
    assert len(store.trims.since(DAY, corrected=True)) == 2
    assert store.trims.last_days() == {"0413": DAY}


def test_a_recheck_is_promised_once_and_closed_with_its_outcome(store: Store) -> None:
    first = store.rechecks.open("0412", DAY, why="after trim", who="Ann")
    assert store.rechecks.open("0412", DAY, why="again", who="Bob") == first
    store.rechecks.close(first.recheck_id, who="Ann", outcome="better")
    (closed,) = store.rechecks.all(cows=["0412"])
    assert (closed.state, closed.outcome, closed.closed_by) == ("done", "better", "Ann")
    assert store.rechecks.all(only_open=True) == []


def test_only_the_right_pin_signs_in_and_it_is_kept_nowhere(store: Store) -> None:
    person = store.people.put("Ann", ["vet", "manager"], pin="4711")
    assert person.roles == ("manager", "vet")
    assert person.has_pin
    assert store.people.sign_in("Ann", "4711") == person
    for name, pin in (("Ann", "4712"), ("Bob", "4711")):
        with pytest.raises(StoreError, match="Name or PIN"):
            store.people.sign_in(name, pin)
    with store.database.read() as connection:
        kept = connection.exec_driver_sql("SELECT pin_hash FROM person").scalar()
    assert "4711" not in str(kept)
    assert hash_pin("4711") != hash_pin("4711")  # salted
    assert pin_matches("4711", str(kept))


def test_five_wrong_pins_lock_for_five_minutes(store: Store) -> None:
    store.people.put("Ann", ["vet"], pin="4711")
    for _ in range(5):
        with pytest.raises(StoreError, match="Name or PIN"):
            store.people.sign_in("Ann", "0000", now=NOON)
    with pytest.raises(StoreError, match="Too many wrong PINs"):
        store.people.sign_in("Ann", "4711", now=NOON + timedelta(minutes=4))
    assert store.people.sign_in("Ann", "4711", now=NOON + timedelta(minutes=6)).name == "Ann"


def test_people_who_left_are_not_offered_and_cannot_sign_in(store: Store) -> None:
    store.people.put("Ann", ["vet"], pin="4711")
    store.people.put("Ann", ["vet"], active=False)
    assert store.people.all() == []
    assert [p.name for p in store.people.all(include_inactive=True)] == ["Ann"]
    with pytest.raises(StoreError, match="Name or PIN"):
        store.people.sign_in("Ann", "4711")
    with pytest.raises(StoreError, match="four digits"):
        store.people.put("Bob", [], pin="12")


def test_a_setting_keeps_who_changed_it_and_what_it_was(store: Store) -> None:
    assert store.settings.get("rules", {}) == {}
    store.settings.put("rules", {"recheck_days": 10}, who="Ann")
    store.settings.put("rules", {"recheck_days": 12}, who="Bob")
    assert store.settings.get("rules") == {"recheck_days": 12}
    assert [(who, v["recheck_days"]) for _, who, v in store.settings.history("rules")] == [
        ("Ann", 10),
        ("Bob", 12),
    ]


def test_work_is_put_in_once_and_done_by_one_worker(store: Store) -> None:
    first = store.jobs.add("aa", "score", {"clip": 1})
    assert store.jobs.add("aa", "score", {"clip": 1}).job_id == first.job_id
    second = store.jobs.add("bb", "score", {"clip": 2})
    one, two = store.jobs.claim("w1"), store.jobs.claim("w2")
    assert one is not None
    assert two is not None
    assert (one.job_id, two.job_id) == (first.job_id, second.job_id)
    assert store.jobs.claim("w3") is None
    assert store.jobs.progress(one.job_id, 0.5, "Cow 3 of 6", worker="w1")
    assert not store.jobs.progress(one.job_id, 0.9, worker="w2")
    found = store.jobs.get(one.job_id)
    assert found is not None
    assert (found.progress, found.message, found.payload) == (0.5, "Cow 3 of 6", {"clip": 1})
    assert store.jobs.done(one.job_id, {"passes": 6}, worker="w1")
    assert [j.key for j in store.jobs.all(state="done")] == ["aa"]
    assert store.jobs.failed(two.job_id, "The film is damaged.", worker="w2")
    store.jobs.again(two.job_id)
    again = store.jobs.claim("w3")
    assert again is not None
    assert again.job_id == two.job_id


def test_work_put_away_is_off_the_lists_and_on_record(store: Store) -> None:
    job = store.jobs.add("aa", "score", {"name": "a.mp4"})
    store.jobs.put_away(job.job_id, who="Ann")
    assert [j.state for j in store.jobs.all()] == ["waiting"], "only what failed is put away"
    store.jobs.claim("w")
    store.jobs.failed(job.job_id, "It is too dark.", worker="w")
    store.jobs.put_away(job.job_id, who="Ann")
    assert store.jobs.all() == []
    (kept,) = store.jobs.all(state="put_away")
    assert kept.message == "It is too dark."
    assert (kept.result or {})["put_away_by"] == "Ann"


def test_work_under_way_or_done_is_not_handed_in_again(store: Store) -> None:
    job = store.jobs.add("aa", "score", {"name": "a.mp4"})
    assert store.jobs.handed_in_again(job.job_id, {"name": "b.mp4"})
    store.jobs.claim("w")
    assert not store.jobs.handed_in_again(job.job_id, {"name": "c.mp4"})
    store.jobs.done(job.job_id, {}, worker="w")
    assert not store.jobs.handed_in_again(job.job_id, {"name": "c.mp4"})
    kept = store.jobs.get(job.job_id)
    assert kept is not None
    assert kept.payload == {"name": "b.mp4"}


def test_work_of_a_crashed_worker_is_taken_up_but_not_for_ever(store: Store) -> None:
    job = store.jobs.add("aa", "score", {})
    now = NOON
    for attempt in (1, 2, 3):
        taken = store.jobs.claim(f"w{attempt}", now=now)
        assert taken is not None
        assert taken.attempts == attempt
        assert store.jobs.claim("other", now=now + timedelta(minutes=4)) is None
        now += timedelta(minutes=6)
    assert store.jobs.claim("w4", now=now) is None
    found = store.jobs.get(job.job_id)
    assert found is not None
    assert (found.state, found.message) == ("failed", "Stopped three times without an end.")
    assert not store.jobs.done(job.job_id, {}, worker="w1")


def test_model_versions_are_kept_and_never_replaced(store: Store) -> None:
    store.models.put("h1", {"coefficients": [1.5]}, who="Ann", note="60 scores")
    with pytest.raises(StoreError, match="already"):
        store.models.put("h1", {}, who="Ann")
    kept = store.models.get("h1")
    assert kept is not None
    assert (kept.body, kept.note) == ({"coefficients": [1.5]}, "60 scores")
    assert [m.version for m in store.models.all()] == ["h1"]


def test_a_cow_cannot_take_a_number_that_is_taken(store: Store) -> None:
    store.cows.put([Cow(number="1"), Cow(number="2")])
    with pytest.raises(StoreError, match="Cow 2 is already on the list"):
        store.cows.renumber("1", "2")
    with pytest.raises(StoreError, match="There is no cow 3"):
        store.cows.renumber("3", "4")
