"""Numbers that a mistyped one may have been meant for."""

from __future__ import annotations

import pytest

from gait.herd.near_numbers import is_strange, near_numbers, slips
from gait.herd.records import Cow

HERD = ("0412", "184", "245", "300", "845", "1054", "2001")


@pytest.mark.parametrize(
    ("one", "other", "count"),
    [("184", "184", 0), ("1845", "184", 1), ("148", "184", 1), ("18", "184", 1), ("185", "184", 1),
     ("300", "184", 3), ("1584", "1845", 2), ("", "12", 2)],
)  # fmt: skip
def test_a_slip_is_one_digit_more_less_other_or_two_swapped(
    one: str, other: str, count: int
) -> None:
    assert slips(one, other) == slips(other, one) == count


def test_the_nearest_numbers_of_the_herd_come_first() -> None:
    assert near_numbers("1845", HERD) == ["184", "845", "1054", "245"]
    assert near_numbers("254", HERD) == ["245"]
    assert near_numbers("412", HERD) == ["0412"]
    assert near_numbers("9999", HERD) == []
    assert near_numbers("184", HERD) == []
    assert len(near_numbers("1000", [str(n) for n in range(1000, 1100)])) == 5


def test_a_number_is_strange_only_to_a_herd_that_a_list_has_named() -> None:
    typed = Cow(number="184", listed=False)
    assert not is_strange("184", [])
    assert not is_strange("7", [typed])
    assert is_strange("7", [typed, Cow(number="245")])
    assert not is_strange("184", [typed, Cow(number="245")])
