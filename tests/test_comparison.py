"""A pass beside her own past and the herd: places worked out by hand."""

from __future__ import annotations

import math
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as some

from gait.comparison import HERD_NEEDED, against, compare_pass, place_among
from gait.store import open_store
from tests.farms import NOON, add_pass

TWENTY = [float(v) for v in range(1, 21)]


@pytest.mark.parametrize(
    ("value", "place"),
    [
        (0.0, 0.0),  # below all
        (21.0, 100.0),  # above all
        (10.5, 50.0),  # ten below, ten above
        (10.0, 47.5),  # nine below, one equal: (9 + 10) / 2 of 20
    ],
)
def test_place_is_the_share_below_with_equal_ones_by_half(value: float, place: float) -> None:
    assert place_among(TWENTY, value, "higher") == pytest.approx(place)
    assert place_among(TWENTY, value, "lower") == pytest.approx(100 - place)


def test_too_small_a_herd_is_no_yardstick() -> None:
    assert math.isnan(place_among(TWENTY[: HERD_NEEDED - 1], 5.0, "higher"))
    assert math.isnan(place_among(TWENTY, math.nan, "higher"))


@given(some.lists(some.floats(-10, 10), min_size=20, max_size=60), some.floats(-10, 10))
def test_place_never_falls_as_the_value_gets_worse(values: list[float], value: float) -> None:
    ordered = sorted(values)
    assert place_among(ordered, value + 1, "higher") >= place_among(ordered, value, "higher")
    assert place_among(ordered, value + 1, "lower") <= place_among(ordered, value, "lower")


def test_a_few_walks_have_no_middle_of_the_herd() -> None:
    few = [{"back_arch": {"value": v}} for v in TWENTY[: HERD_NEEDED - 1]]
    found = against("back_arch", {"value": 5.0, "se": 1.0}, [], few)
    assert math.isnan(found.herd_median)
    assert found.herd_walks == HERD_NEEDED - 1


def test_interval_reaches_as_far_as_the_error_allows() -> None:
    herd = [{"back_arch": {"value": v}} for v in TWENTY]
    found = against("back_arch", {"value": 10.5, "se": 2.0, "unit": "1"}, [], herd)
    # 1.645 x 2 = 3.29: from 7.21 (7 below) to 13.79 (13 below)
    assert (found.place_low, found.place, found.place_high) == pytest.approx((35.0, 50.0, 65.0))
    assert found.herd_median == pytest.approx(10.5)


def test_missing_measure_keeps_its_reason_and_has_no_place() -> None:
    herd = [{"back_arch": {"value": v}} for v in TWENTY] + [{"back_arch": {"value": None}}, {}]
    found = against("back_arch", {"value": None, "se": None, "reason": "hidden"}, [], herd)
    assert found.reason == "hidden"
    assert math.isnan(found.value)
    assert math.isnan(found.place)
    assert found.herd_walks == 20


def test_own_past_is_earlier_walks_of_this_cow_only(tmp_path: Path) -> None:
    def arch(value: float) -> dict:
        return {"back_arch": {"value": value, "se": 0.01, "unit": "1"}}

    with open_store(tmp_path / "farm") as store:
        for number in range(20):
            add_pass(store, "0400", f"h{number:02d}", measures=arch(0.1 * number))
        for days, value in ((30, 0.2), (20, 0.4), (-10, 0.9)):
            at = NOON - timedelta(days=days)
            add_pass(store, "0412", f"o{days}", measures=arch(value), observed_at=at)
        pass_id = add_pass(store, "0412", "now", measures=arch(0.6))
        (found,) = compare_pass(store, store.passes.get(pass_id))
    assert found.own_median == pytest.approx(0.3)
    assert len(found.own_places) == 2
    assert found.herd_walks == 24
