"""How many decimals a number with an error is given."""

from __future__ import annotations

import math

import pytest

from gait.statistics.spread import decimals, figures, range_without_strays


@pytest.mark.parametrize(
    ("se", "places"),
    [(5.0, 0), (1.3, 0), (1.2, 1), (0.3, 1), (0.12, 2), (0.012, 2), (0.0001, 2),
     (0.0, 2), (math.nan, 2)],
)  # fmt: skip
def test_a_number_gets_the_decimals_that_its_error_reaches(se, places):
    # 90 % intervals of +-8, 2.1, 1.97, 0.5, 0.197, 0.02, 0.0002; from 1 to 2 one more is kept.
    assert decimals(se) == places


@pytest.mark.parametrize(
    ("value", "se", "written"),
    [(12.34, 1.6, "12"), (12.34, 0.05, "12.34"), (-0.3, 1.6, "0"), (-0.004, 0.01, "0.00")],
)
def test_a_number_is_written_as_its_error_allows(value, se, written):
    assert figures(value, se) == written


def test_strays_do_not_stretch_the_range_and_a_nod_is_none() -> None:
    # Four strides of a nod that is sharp: a tenth of the time far down, steady otherwise.
    nod = [math.sin(i) - (12 if i % 30 < 3 else 0) for i in range(120)]
    assert range_without_strays(nod) == (min(nod), max(nod))
    assert range_without_strays([*nod, 45.0]) == (min(nod), max(nod))
    assert range_without_strays([-60.0, *nod, 45.0]) == (min(nod), max(nod))
    assert range_without_strays([2.0, 2.0, 2.5]) == (2.0, 2.5)
    assert range_without_strays([3.0]) == (3.0, 3.0)
