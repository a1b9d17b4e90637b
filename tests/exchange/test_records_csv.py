"""Decisions go out and come back; exit-order lists are read; trims are written."""

from __future__ import annotations

import time
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait.errors import ExchangeError
from gait.exchange.records_csv import (
    decisions_csv,
    read_decisions,
    read_exit_list,
)
from gait.herd.records import Cow, Decision
from gait.store import DecisionLine, Store, open_store
from tests.farms import NOON, add_pass


def test_decisions_go_to_another_farm_folder_and_stand_there_too(store: Store, tmp_path) -> None:
    first, second = add_pass(store, "0412", "a"), add_pass(store, "=17", "b")
    store.decisions.add(first, kind="overridden", score=4, who="Ann", reason='-stiff, "slow"')
    store.decisions.add(first, kind="confirmed", score=2, who="Bob", blind=True)
    store.decisions.undo(first, who="Bob")
    store.decisions.add(second, kind="unusable", who="Ann", reason="two cows")
    written = decisions_csv(store.decisions.lines())
    assert "'=17" in written
    assert "'-stiff" in written
    with open_store(tmp_path / "other") as other:
        read = read_decisions(written)
        assert read.rejected == ()
        other.bulk.load(passes=read.passes)
        assert [(s.cow, s.score) for s in other.scores.latest()] == [("0412", 4)]
        mine = [
            (x.decision.uid, x.decision.kind, x.decision.at, x.cow, x.decision.proposed)
            for x in store.decisions.lines()
        ]
        theirs = [
            (x.decision.uid, x.decision.kind, x.decision.at, x.cow, x.decision.proposed)
            for x in other.decisions.lines()
        ]
        assert sorted(mine) == sorted(theirs)
        other.bulk.load(passes=read.passes)
        assert len(other.decisions.lines()) == len(mine)


def test_only_what_is_new_comes_in_the_second_time(store: Store, tmp_path) -> None:
    pass_id = add_pass(store, "0412")
    store.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
    with open_store(tmp_path / "other") as other:
        other.bulk.load(passes=read_decisions(decisions_csv(store.decisions.lines())).passes)
        store.decisions.add(pass_id, kind="second_opinion", score=2, who="Vet")
        other.bulk.load(passes=read_decisions(decisions_csv(store.decisions.lines())).passes)
        assert [d.version for d in other.decisions.of_cow("0412")] == [1, 2]
        assert [s.score for s in other.scores.latest()] == [2]


def test_rows_that_make_no_sense_are_rejected_by_line() -> None:
    content = (
        "animal_id,observed_at,kind,who,decided_at,score\n"
        "1,2026-03-02T12:00:00Z,confirmed,Ann,2026-03-02T12:00:00Z,3\n"
        "1,2026-03-02T12:00:00Z,guessed,Ann,2026-03-02T12:00:00Z,3\n"
        "1,2026-03-02T12:00:00Z,confirmed,Ann,2026-03-02T12:00:00Z,7\n"
        "1,yesterday,confirmed,Ann,2026-03-02T12:00:00Z,3\n"
        "1,2026-03-02T12:00:00Z,confirmed,Ann,2026-03-02T12:00:00Z,\n"
        "2,2026-03-02T12:00:00Z,confirmed,Ann,2026-03-02T12:00:00Z,3\n"
    )
    read = read_decisions(content)
    assert [past.cow for past in read.passes] == ["2"]
    assert [(r.line, r.why) for r in read.rejected] == [
        (2, "Another row of the same pass cannot be taken."),
        (3, "'guessed' is no kind of decision."),
        (4, "A score goes from 1 to 5, not '7'."),
        (5, "'yesterday' is no time."),
        (6, "The score is missing."),
    ]
    with pytest.raises(ExchangeError, match="lacks the column animal_id"):
        read_decisions("cow\n1\n")


times = st.datetimes(datetime(2020, 1, 1), datetime(2030, 1, 1), timezones=st.just(UTC))
free_text = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=20)


@given(
    st.lists(
        st.builds(
            Decision,
            decision_id=st.just(0),
            uid=st.uuids().map(lambda u: u.hex),
            pass_id=st.just(1),
            version=st.just(1),
            kind=st.sampled_from(["confirmed", "overridden", "second_opinion"]),
            who=free_text,
            at=times,
            score=st.integers(1, 5),
            reason=free_text,
            blind=st.booleans(),
            model_version=st.none() | st.just("m1"),
            proposed=st.none() | st.integers(1, 5),
        ),
        max_size=5,
    )
)
def test_any_decision_comes_back_as_it_was_written(made: list[Decision]) -> None:
    lines = [
        DecisionLine(
            decision=d,
            cow="0412",
            observed_at=NOON,
            pass_number=1,
            clip_sha256="ab",
            clip_name="x.webm",
        )
        for d in made
    ]
    read = read_decisions(decisions_csv(lines))
    back = [d for past in read.passes for d in past.decisions]
    assert [
        (d.uid, d.kind, d.who, d.at, d.score, d.reason, d.blind, d.model_version, d.proposed)
        for d in made
    ] == [
        (d.uid, d.kind, d.who, d.at, d.score, d.reason, d.blind, d.model_version, d.proposed)
        for d in back
    ]


HERD = [Cow(number="0412", electronic="276000123456789"), Cow(number="17")]


def test_an_exit_list_names_cows_by_either_number_and_rejects_strangers() -> None:
    read = read_exit_list(
        "time;number\n06:01:10;0412\n06:01:30;276 000 123 456 789\n06:02;99\nlater;17\n",
        HERD,
        on=date(2026, 3, 2),
        zone=UTC,
    )
    assert [(e.cow, e.at) for e in read.entries] == [
        ("0412", datetime(2026, 3, 2, 6, 1, 10, tzinfo=UTC)),
        ("0412", datetime(2026, 3, 2, 6, 1, 30, tzinfo=UTC)),
    ]
    assert [(r.line, r.why) for r in read.rejected] == [
        (4, "Cow 99 is not on the herd list."),
        (5, "'later' is no time."),
    ]


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the clock cannot be moved here")
def test_times_of_an_exit_list_are_by_the_farms_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "Europe/Copenhagen")
    time.tzset()
    try:
        read = read_exit_list("time,cow\n06:01,17\n", HERD, on=date(2026, 7, 2))
        assert read.entries[0].at == datetime(2026, 7, 2, 4, 1, tzinfo=UTC)
    finally:
        monkeypatch.undo()
        time.tzset()


def test_an_exit_list_without_times_keeps_the_order() -> None:
    read = read_exit_list("cow\n17\n0412\n", HERD)
    assert [(e.cow, e.at) for e in read.entries] == [("17", None), ("0412", None)]
