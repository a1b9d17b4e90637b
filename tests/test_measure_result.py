"""A measure is a number with an error, or a reason; never a silent zero."""

from __future__ import annotations

import json

import pytest

from gait.measure.result import Measure, known, missing


def test_a_missing_measure_becomes_null_with_its_reason():
    plain = missing("s", "Fewer than two strides were seen.").as_json()
    assert json.loads(json.dumps(plain)) == {
        "value": None,
        "se": None,
        "unit": "s",
        "strides": 0,
        "reason": "Fewer than two strides were seen.",
    }


def test_a_known_measure_is_plain_numbers():
    plain = known(1.25, 0.02, "s", 3).as_json()
    assert json.loads(json.dumps(plain))["value"] == 1.25
    assert plain["reason"] is None


@pytest.mark.parametrize(
    ("value", "se", "reason"),
    [(float("nan"), 0.1, None), (1.0, 0.1, "why"), (1.0, float("nan"), None), (1.0, -0.1, None)],
)
def test_contradictions_are_refused(value, se, reason):
    with pytest.raises(ValueError, match=r"reason|error"):
        Measure(value=value, se=se, unit="s", strides=1, reason=reason)


def test_interval_of_nine_in_ten_reaches_1645_errors_to_either_side():
    low, high = known(10.0, 1.0, "%", 3).interval()
    assert (low, high) == pytest.approx((10 - 1.6449, 10 + 1.6449), abs=1e-3)
