"""A day is the farm's day: what is seen in the evening far from Greenwich is not tomorrow's."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from gait.farm import lame_today
from gait.herd.records import Trim
from gait.store import open_store

EVENING_IN_DENVER = datetime(2026, 3, 3, 1, 30, tzinfo=UTC)  # 18:30 on the 2nd, UTC-7
MORNING_IN_AUCKLAND = datetime(2026, 3, 2, 17, 30, tzinfo=UTC)  # 06:30 on the 3rd, UTC+13


@pytest.fixture
def at_home(monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> Iterator[None]:
    """Put the computer's clock into a farm's zone."""
    if not hasattr(time, "tzset"):
        pytest.skip("this system does not change its zone for one program")
    monkeypatch.setenv("TZ", request.param)
    time.tzset()
    yield
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()


@pytest.mark.parametrize(
    ("at_home", "seen", "day"),
    [
        ("America/Denver", EVENING_IN_DENVER, date(2026, 3, 2)),
        ("Pacific/Auckland", MORNING_IN_AUCKLAND, date(2026, 3, 3)),
    ],
    indirect=["at_home"],
)
def test_lame_since_and_treated_on_are_days_of_the_farm(
    at_home: None, seen: datetime, day: date, tmp_path: Path
) -> None:
    with open_store(tmp_path) as store:
        store.decisions.add_by_eye("0412", score=4, who="Ann", observed_at=seen)
        (lame,) = lame_today(store, day)
        assert lame.since == seen
        assert lame.since.date() == day
        store.trims.add(Trim(cow="0412", on=day, who="Bea", reason="therapeutic"))
        (lame,) = lame_today(store, day)
        assert lame.treated_on == day
