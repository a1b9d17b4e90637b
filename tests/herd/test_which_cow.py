"""Which cow it was: exit-order lists and file names, never guessed in silence."""

from __future__ import annotations

import random
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gait.herd.named_files import cow_from_file_name, number_in_name
from gait.herd.which_cow import (
    ExitEntry,
    PassTime,
    match_exit_order,
)
from tests.farms import NOON


def entries(*timed: tuple[str, float | None]) -> list[ExitEntry]:
    return [
        ExitEntry(cow=cow, at=None if s is None else NOON + timedelta(seconds=s))
        for cow, s in timed
    ]


def passes(*seconds: float) -> list[PassTime]:
    return [
        PassTime(pass_id=i, at=NOON + timedelta(seconds=s)) for i, s in enumerate(seconds, start=1)
    ]


def named(matching) -> list[str | None]:
    return [m.cow for m in matching.matches]


def test_a_complete_list_names_every_pass() -> None:
    found = match_exit_order(entries(("a", 0), ("b", 60), ("c", 150)), passes(2, 61, 149))
    assert named(found) == ["a", "b", "c"]
    assert not any(m.doubtful for m in found.matches)
    assert found.not_filmed == ()


def test_a_steady_lag_between_reader_and_camera_is_taken_out() -> None:
    seconds = [0, 47, 131, 180, 260]
    found = match_exit_order(
        entries(*((f"c{s}", s) for s in seconds)), passes(*(s + 95 for s in seconds))
    )
    assert named(found) == [f"c{s}" for s in seconds]
    assert found.lag_s == pytest.approx(95, abs=1)
    assert max(abs(m.late_s or 0) for m in found.matches) < 1


def test_a_cow_not_filmed_and_a_cow_not_listed_are_left_out() -> None:
    found = match_exit_order(entries(("a", 0), ("b", 100), ("c", 200)), passes(0, 200, 330))
    assert named(found) == ["a", "c", None]
    assert found.not_filmed == ("b",)
    assert not found.matches[2].doubtful


def test_two_cows_read_close_together_are_shown_with_both_numbers() -> None:
    found = match_exit_order(
        entries(("a", 0), ("b", 100), ("c", 104), ("d", 300)), passes(0, 102, 300)
    )
    doubtful = found.matches[1]
    assert doubtful.doubtful
    assert set(doubtful.candidates) == {"b", "c"}
    assert not found.matches[0].doubtful
    assert not found.matches[2].doubtful


def test_without_times_the_order_names_them_when_the_numbers_agree() -> None:
    found = match_exit_order(entries(("a", None), ("b", None)), passes(10, 20))
    assert named(found) == ["a", "b"]
    assert not any(m.doubtful for m in found.matches)


def test_without_times_a_missing_cow_makes_her_neighbours_doubtful() -> None:
    found = match_exit_order(entries(("a", None), ("b", None), ("c", None)), passes(10, 20))
    assert all(m.doubtful for m in found.matches)
    assert set(found.matches[0].candidates) == {"a", "b"}


def test_no_list_names_nobody() -> None:
    found = match_exit_order([], passes(1, 2))
    assert named(found) == [None, None]
    assert not any(m.doubtful for m in found.matches)
    assert match_exit_order(entries(("a", 0)), []).not_filmed == ("a",)


def test_the_order_in_which_passes_come_does_not_matter() -> None:
    listed = entries(("a", 0), ("b", 60), ("c", 150))
    mixed = passes(149, 2, 61)
    found = match_exit_order(listed, mixed)
    assert {m.pass_id: m.cow for m in found.matches} == {1: "c", 2: "a", 3: "b"}


def test_a_morning_with_gaps_is_matched_or_said_to_be_doubtful() -> None:
    draw = random.Random(4)
    truth: list[tuple[str, float]] = []
    at = 0.0
    for number in range(120):
        at += draw.uniform(15, 70)
        truth.append((f"c{number}", at))
    listed = [t for t in truth if draw.random() > 0.05]
    filmed = [t for t in truth if draw.random() > 0.05]
    shots = [
        PassTime(pass_id=i, at=NOON + timedelta(seconds=s + 40 + draw.gauss(0, 3)))
        for i, (_, s) in enumerate(filmed)
    ]
    found = match_exit_order(entries(*listed), shots)
    on_list = {cow for cow, _ in listed}
    wrong = [
        (m.cow, filmed[m.pass_id][0])
        for m in found.matches
        if not m.doubtful
        and m.cow != (filmed[m.pass_id][0] if filmed[m.pass_id][0] in on_list else None)
    ]
    assert wrong == []
    sure = sum(not m.doubtful for m in found.matches)
    assert sure > 0.8 * len(filmed)


@settings(max_examples=40)
@given(
    st.lists(st.floats(0, 3000), max_size=12, unique=True),
    st.lists(st.floats(0, 3000), max_size=12, unique=True),
)
def test_matches_never_cross_and_no_line_is_used_twice(
    listed: list[float], walked: list[float]
) -> None:
    lines = entries(*((f"c{i}", s) for i, s in enumerate(sorted(listed))))
    found = match_exit_order(lines, passes(*walked))
    order = [int(m.cow[1:]) for m in found.matches if m.cow is not None]
    assert order == sorted(set(order))
    assert set(found.not_filmed) == {e.cow for e in lines} - {m.cow for m in found.matches if m.cow}
    for match in found.matches:
        assert match.doubtful == bool(match.candidates)
        if match.doubtful and match.cow is not None:
            assert match.candidates[0] == match.cow


HERD = ("0412", "17", "A7", "2026")


@pytest.mark.parametrize(
    ("path", "cow"),
    [
        ("0412.mp4", "0412"),
        ("412.mp4", "0412"),
        ("cow 17 morning.webm", "17"),
        ("tag-0412_20260302_060110.mp4", "0412"),
        ("VID_20260302_060110.mp4", None),
        ("0412/VID_20260302_060110.mp4", "0412"),
        ("exit\\A7.mov", "A7"),
        ("a7.mov", "A7"),
        ("cow2026.mp4", "2026"),
        ("lane_999.mp4", None),
        ("276000123456789.mp4", "17"),
        ("17 and 0412.mp4", None),
        ("cow17_0412.mp4", "17"),
        ("2026-03-17.mp4", None),
        ("17.03.2026 06h01.mp4", None),
        ("2026-03-02 06-17-17.mp4", None),
        ("IMG_0412.jpg", None),
        ("IMG_0412 cow 17.jpg", "17"),
        ("0412/DSC_0017.JPG", "0412"),
        ("17 2026-03-02.mp4", "17"),
        ("17_20260302_060110.mp4", "17"),
    ],
)
def test_file_names_name_the_cow_only_when_it_is_plain(path: str, cow: str | None) -> None:
    found = cow_from_file_name(path, HERD, [("276000123456789", "17")])
    assert found.cow == cow


def test_two_cows_in_a_name_are_both_given() -> None:
    found = cow_from_file_name("17 and 0412.mp4", HERD)
    assert found.candidates == ("17", "0412")


def test_numbers_that_differ_in_leading_zeros_only_are_not_guessed() -> None:
    assert cow_from_file_name("7.mp4", ("07", "007")).cow is None
    assert cow_from_file_name("07.mp4", ("07", "007")).cow == "07"


@pytest.mark.parametrize(
    ("name", "number"),
    [
        ("107.mp4", "107"), ("cow_0412.webm", "0412"), ("kuh17 morning.mov", "17"),
        ("107_2026-11-28_05-30.mp4", "107"), ("IMG_0107.mp4", None), ("lane.mp4", None),
        ("107 and 108.mp4", None), ("276000123456789.mp4", None), ("20261128.mp4", None),
    ],
)  # fmt: skip
def test_a_number_in_a_name_is_offered_where_it_is_one(name: str, number: str | None) -> None:
    assert number_in_name(name) == number
