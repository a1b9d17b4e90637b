"""Lists for others: what they hold, from which day on."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from gait.exchange.lists import decisions_list, events_list, trims_list
from gait.herd.records import Trim
from gait.store import Store, open_store
from tests.page_farm import decided, herd_list

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)


@pytest.fixture
def farm(tmp_path: Path):
    with open_store(tmp_path) as store:
        old = decided("0412", 3, NOW - timedelta(days=30))
        new = decided("0417", 4, NOW)
        store.bulk.load(cows=herd_list(NOW), passes=[old, new])
        for days in (20, 0):
            on = (NOW - timedelta(days=days)).date()
            store.trims.add(Trim(cow="0423", on=on, who="Tom", reason="maintenance"))
        yield store


@pytest.mark.parametrize("since", [date.min, date(2026, 11, 20)])
def test_lists_begin_with_the_day_asked_for(farm: Store, since: date) -> None:
    everything = since == date.min
    scores = decisions_list(farm, since)
    assert "0417" in scores
    assert ("0412" in scores) == everything
    assert trims_list(farm, since).count("0423") == (2 if everything else 1)
    events = json.loads(events_list(farm, since))
    assert ("0412" in json.dumps(events)) == everything
    assert "0417" in json.dumps(events)
