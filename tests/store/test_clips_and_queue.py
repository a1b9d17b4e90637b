"""Films known by content, passes renewed without losing decisions, and the queue."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gait.errors import StoreError
from gait.herd.records import Cow, NewPass
from gait.store import PastDecision, PastPass, Store, Waiting
from gait.store.types import plain, time_to_text
from tests.farms import NOON, add_pass, proposal


def test_the_same_film_under_another_name_is_recognised(store: Store) -> None:
    first = store.clips.add(sha256="ab" * 32, name="lane.webm", who="Ann", info={"fps": 25.0})
    again = store.clips.add(sha256="ab" * 32, name="copy of lane.webm", who="Bob")
    assert (first.is_new, again.is_new) == (True, False)
    assert again.clip == first.clip
    assert again.clip.info == {"fps": 25.0}
    assert store.clips.by_sha256("ab" * 32) == first.clip
    assert store.clips.get(99) is None


def test_a_pass_walks_at_the_time_of_the_film_plus_its_start(store: Store) -> None:
    clip = store.clips.add(sha256="a", name="a", who="Ann", filmed_at=NOON).clip
    (pass_id,) = store.passes.add(clip.clip_id, [NewPass(number=1, start_s=90.5)])
    walked = store.passes.get(pass_id).summary.observed_at
    assert walked == NOON + timedelta(seconds=90.5)


def test_everything_about_a_pass_comes_back(store: Store) -> None:
    measures = {"back_arch": {"value": 0.21, "se": 0.01, "unit": "", "strides": 4}}
    pass_id = add_pass(
        store,
        "0412",
        start_s=1.5,
        end_s=6.25,
        heading="left",
        usable=False,
        problems=("too dark",),
        measures=measures,
        files={"traces": "traces/a.npz"},
    )
    kept = store.passes.get(pass_id)
    assert (kept.start_s, kept.end_s, kept.heading) == (1.5, 6.25, "left")
    assert (kept.problems, kept.measures, kept.files) == (
        ("too dark",),
        measures,
        {"traces": "traces/a.npz"},
    )
    assert kept.proposal == proposal()
    assert (kept.model_version, kept.summary.usable) == ("m1", False)
    assert (kept.summary.proposed, kept.summary.low, kept.summary.high) == (3, 2, 3)
    assert kept.clip is not None
    assert kept.clip.name == "a.webm"


def test_scoring_a_film_again_renews_the_proposal_and_keeps_decisions(store: Store) -> None:
    pass_id = add_pass(store, "0412")
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
    assert add_pass(store, None, proposal=proposal(4), model_version="m2") == pass_id
    kept = store.passes.get(pass_id)
    assert (kept.summary.proposed, kept.model_version) == (4, "m2")
    assert (kept.summary.score, kept.summary.cow) == (3, "0412")
    assert store.decisions.of_pass(pass_id)[0].proposed == 3  # what was proposed at that moment


def test_missing_measures_are_kept_as_missing_not_as_zero(store: Store) -> None:
    pass_id = add_pass(store, measures={"a": {"value": math.nan, "se": np.float32(0.5)}})
    assert store.passes.get(pass_id).measures == {"a": {"value": None, "se": 0.5}}


def test_the_queue_begins_with_the_most_urgent_and_least_certain(store: Store) -> None:
    sound = add_pass(store, None, "a", proposal=proposal(1, 0.95, (1,)))
    severe = add_pass(store, None, "b", proposal=proposal(5, 0.9, (5,)))
    refused = add_pass(store, None, "c", proposal=None, usable=False)
    unsure = add_pass(store, None, "d", proposal=proposal(2, 0.3, (1, 2, 3)))
    assert [s.pass_id for s in store.queue.to_check()] == [severe, unsure, refused, sound]
    assert [s.pass_id for s in store.queue.to_check(limit=1, offset=1)] == [unsure]
    store.decisions.add(severe, kind="second_opinion_wanted", who="Ann", score=5)
    assert [s.pass_id for s in store.queue.second_opinions()] == [severe]
    assert store.queue.waiting() == Waiting(to_check=4, second_opinion=1, unnamed=1)


def test_a_scored_pass_without_a_cow_waits_until_she_is_named(store: Store) -> None:
    lame, severe, guessed = (add_pass(store, None, name) for name in "abc")
    add_pass(store, None, "d")  # not scored yet
    store.decisions.add(add_pass(store, None, "e"), kind="unusable", who="Ann", reason="dark")
    store.decisions.add(lame, kind="confirmed", score=3, who="Ann")
    store.decisions.add(severe, kind="overridden", score=5, who="Ann", reason="limps")
    store.decisions.add(guessed, kind="confirmed", score=3, who="Ann")
    # A doubtful file name names nobody.
    store.identities.set(guessed, None, who="", source="file_name", doubtful=True)
    assert store.queue.unnamed()[0].pass_id == severe
    assert {p.pass_id for p in store.queue.unnamed()} == {lame, severe, guessed}
    waiting = store.queue.waiting()
    assert (waiting.to_check, waiting.unnamed) == (4, 3)
    everything = [lame, severe, guessed, 4, 5]
    assert [p for p in everything if store.queue.is_unnamed(p)] == [lame, severe, guessed]
    store.identities.set(severe, "0412", who="Ann")
    store.identities.set(lame, None, who="Ann", source="person")
    assert [p.pass_id for p in store.queue.unnamed()] == [guessed]
    store.identities.set(severe, None, who="Ben", source="person")
    assert [p.pass_id for p in store.queue.unnamed()] == [guessed]


def test_a_number_that_was_typed_is_a_cow_until_the_list_names_her(store: Store) -> None:
    add_pass(store, "777")
    (cow,) = store.cows.all()
    assert (cow.number, cow.listed) == ("777", False)
    store.cows.put([Cow(number="777", parity=2)])
    (cow,) = store.cows.all()
    assert (cow.parity, cow.listed) == (2, True)


def test_cows_are_found_by_part_of_either_number(store: Store) -> None:
    store.cows.put(
        [Cow(number="0412", electronic="276000123456789"), Cow(number="17"), Cow(number="9%")]
    )
    assert [c.number for c in store.cows.find("41")] == ["0412"]
    assert [c.number for c in store.cows.find("3456789")] == ["0412"]
    assert [c.number for c in store.cows.find("%")] == ["9%"]
    assert store.cows.find("zzz") == []


def test_her_own_past_and_the_herds_measures_are_given_for_comparison(store: Store) -> None:
    for i, name in enumerate("abc"):
        at = NOON + timedelta(days=i)
        add_pass(store, "0412", name, observed_at=at, measures={"n": i}, usable=name != "b")
    assert store.passes.measures_of_cow("0412") == [
        (NOON + timedelta(days=2), {"n": 2}),
        (NOON, {"n": 0}),
    ]
    assert store.passes.measures_of_herd() == [{"n": 2}, {"n": 0}]
    assert store.passes.of_cow("0412")[0].observed_at == NOON + timedelta(days=2)


def test_what_the_model_learns_from_is_only_what_a_person_decided(store: Store) -> None:
    decided = add_pass(store, "0412", "a", measures={"n": 1})
    add_pass(store, "0413", "b", measures={"n": 2})
    unknown = add_pass(store, None, "c", measures={"n": 3})
    store.decisions.add(decided, kind="confirmed", score=4, who="Ann", blind=True)
    store.decisions.add(unknown, kind="confirmed", score=2, who="Ann")
    (row,) = store.scores.learning_rows()
    assert (row["cow"], row["score"], row["blind"], row["measures"]) == (
        "0412",
        4,
        True,
        {"n": 1},
    )
    assert sorted(store.scores.person_and_tool()) == [(2, 3), (4, 3)]
    assert store.scores.person_and_tool(blind_only=True) == [(4, 3)]


def test_a_whole_history_comes_in_at_once_or_not_at_all(store: Store) -> None:
    def past(cow: str, score: int, day: int, **fields: object) -> PastPass:
        at = NOON + timedelta(days=day)
        walk = NewPass(number=1, observed_at=at, proposal=proposal(score))
        made = PastDecision(kind="confirmed", who="Ann", at=at, score=score, **fields)  # type: ignore[arg-type]
        return PastPass(walk=walk, cow=cow, decisions=(made,))

    history = [past("1", 3, 0), past("1", 2, 7), past("2", 4, 3), past("9", 5, 1)]
    ids = store.bulk.load(cows=[Cow(number="1"), Cow(number="2")], passes=history)
    assert len(set(ids)) == 4
    assert [(s.cow, s.score) for s in store.scores.latest()] == [("9", 5), ("2", 4), ("1", 2)]
    assert [s.score for s in store.scores.of_cows(["1"])] == [3, 2]
    within = store.scores.between(NOON + timedelta(days=2), NOON + timedelta(days=7))
    assert [s.cow for s in within] == ["2"]
    no_time = PastPass(walk=NewPass(number=1), cow="1")
    with pytest.raises(StoreError, match="has no time"):
        store.bulk.load(cows=[Cow(number="55")], passes=[no_time])
    assert store.cows.get("55") is None


json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(value=json_values)
def test_any_plain_value_comes_back_from_the_records(small_store: Store, value: object) -> None:
    small_store.settings.put("any", value, who="Ann")
    assert small_store.settings.get("any") == plain(value)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    score=st.integers(1, 5),
    reason=st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), min_size=1),
    at=st.datetimes(datetime(900, 1, 1), timezones=st.timezones()),
    blind=st.booleans(),
)
def test_any_decision_comes_back_from_the_records(
    small_store: Store, score: int, reason: str, at: datetime, blind: bool
) -> None:
    if not reason.strip():
        return
    pass_id = add_pass(small_store, "0412")
    made = small_store.decisions.add(
        pass_id, kind="overridden", score=score, who="Ann", reason=reason, at=at, blind=blind
    )
    assert small_store.decisions.of_pass(pass_id)[-1] == made
    assert (made.score, made.reason, made.blind) == (score, reason.strip(), blind)
    assert made.at == at.astimezone(UTC)  # times in the gap of a clock change equal no other


def test_a_time_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        time_to_text(NOON.replace(tzinfo=None))
    assert time_to_text(NOON) == "2026-03-02T12:00:00.000000Z"
