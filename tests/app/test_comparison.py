"""Measures as people read them beside her past and the herd."""

from __future__ import annotations

import math

import pytest

from app.parts.comparison import value_text
from gait.comparison import against


@pytest.mark.parametrize(
    ("value", "se", "unit", "text"),
    [
        (75.9, 2.395, "%", "76 ± 4 %"),  # 1.645 x 2.395 = 3.94
        (15.85, 1.094, "%", "15.8 ± 1.8 %"),
        (3.78, 0.237, "% of withers height", "3.8 ± 0.4 %"),
        (1.4612, 0.006, "s", "1.46 ± 0.01 s"),
        (0.51, math.nan, "1", "0.51"),
        (-8.04, 6.2, "%", "-8 ± 10 %"),
    ],
)
def test_a_measure_has_no_more_figures_than_its_error_allows(
    value: float, se: float, unit: str, text: str
) -> None:
    line = against("back_arch", {"value": value, "se": se, "unit": unit}, [], [])
    assert value_text(line) == text


def test_what_was_not_measured_says_so() -> None:
    line = against("back_arch", {"value": None, "se": None, "reason": "hidden"}, [], [])
    assert value_text(line) == "not measured"
