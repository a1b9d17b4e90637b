"""Animal numbers of the herd that a mistyped one may have been meant for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from gait.herd.records import Cow

MOST_OFF = 2
LONG = 4
"""From so many digits on, two slips are looked for instead of one (ours)."""


def without_zeros(number: str) -> str:
    """Return an animal number of digits without its leading zeros; any other as it stands."""
    return (number.lstrip("0") or "0") if number.isdecimal() else number


def is_strange(number: str, herd: Sequence[Cow]) -> bool:
    """Tell whether to ask about a number: it is not of the herd, and a herd list has been read."""
    return any(cow.listed for cow in herd) and all(cow.number != number for cow in herd)


def near_numbers(typed: str, numbers: Iterable[str], most: int = 5) -> list[str]:
    """Return the numbers of the herd nearest to a typed one, nearest first.

    A slip is a digit too many, one missing, a wrong one, or two that changed places. Leading
    zeros do not count.

    Parameters
    ----------
    typed : str
    numbers : iterable of str
        Of the herd.
    most : int
        No more than so many are returned.
    """
    allowed = MOST_OFF if len(typed) >= LONG else 1
    off = {n: slips(typed.lstrip("0"), n.lstrip("0")) for n in numbers if n != typed}
    near = [n for n, count in off.items() if count <= allowed]
    return sorted(near, key=lambda n: (off[n], n))[:most]


def slips(one: str, other: str) -> int:
    """Return how many slips lie between two numbers (optimal string alignment distance)."""
    before: list[int] = []
    above = list(range(len(other) + 1))
    for i, a in enumerate(one, 1):
        row = [i]
        for j, b in enumerate(other, 1):
            least = min(above[j] + 1, row[j - 1] + 1, above[j - 1] + (a != b))
            if i > 1 and j > 1 and a == other[j - 2] and b == one[i - 2]:
                least = min(least, before[j - 2] + 1)
            row.append(least)
        before, above = above, row
    return above[-1]
