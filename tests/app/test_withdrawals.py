"""A running withdrawal time shows wherever the cow does, whatever her score, until it ends."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from gait import trim_day
from gait.herd.records import Cow, Trim, TrimReason
from gait.store import Store
from gait.withdrawals import withdrawals
from tests.app.conftest import OpenPage, words_of

TODAY = date.today()


def given(cow: str, days: int, reason: TrimReason = "maintenance") -> Trim:
    """Return a trim of yesterday with a medicine withheld for so many days from today."""
    return Trim(
        cow=cow, on=TODAY - timedelta(days=1), who="Tom", reason=reason, medicine="as on the label",
        withdrawal_until=TODAY + timedelta(days=days), withdrawal_source="label",
    )  # fmt: skip


def caution(days: int) -> str:
    return f"Withdrawal until {TODAY + timedelta(days=days)}, as typed in"


def test_it_runs_to_its_last_day_and_the_latest_end_counts(farm: Store) -> None:
    for trim in (given("107", 5), given("107", 3), given("108", 0), given("109", -1)):
        farm.trims.add(trim)
    assert withdrawals(farm).keys() == {"107", "108"}
    assert withdrawals(farm)["107"].startswith(caution(5))
    assert withdrawals(farm, TODAY + timedelta(days=6)) == {}


def test_a_trim_taken_back_withholds_nothing(farm: Store) -> None:
    kept = farm.trims.add(given("107", 5))
    farm.trims.add(trim_day.taken_back(kept, who="Tom"))
    assert withdrawals(farm) == {}


@pytest.mark.parametrize("reason", ["maintenance", "therapeutic"])
@pytest.mark.parametrize("score", [1, 4, None])
def test_every_page_that_shows_the_cow_shows_it(
    farm: Store, page: OpenPage, score: int | None, reason: TrimReason
) -> None:
    farm.cows.put([Cow(number="107")])
    if score is not None:
        farm.decisions.add_by_eye("107", score=score, who="Ann")
    farm.trims.add(given("107", 12, reason))
    farm.rechecks.open("107", TODAY + timedelta(days=3), why="", who="Ann")
    day = trim_day.plan_day(farm, TODAY, trimmer="", capacity=12)
    if not farm.trim_days.entries(day.trim_day_id):
        trim_day.put_on(farm, day, "107", reason="recheck", why="")
    assert caution(12) in trim_day.sheet_of(farm, day).html()
    pages = {"trim_day": {}, "recheck": {}, "cow": {"cow": "107"}, "findings": {"cow": "107"}}
    if score == 4:
        pages["lame_list"] = {}
    for name, query in pages.items():
        assert caution(12) in words_of(page(name, **query)), name
