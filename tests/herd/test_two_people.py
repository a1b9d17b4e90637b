"""What two people said about one pass: whether they differ, and the pair that shows agreement."""

from __future__ import annotations

import pytest

from gait.herd.records import Decision
from gait.herd.standing import is_settled, overruled, people_differ, scored_by_two
from tests.farms import NOON

KINDS = {"own": "overridden", "vet": "second_opinion", "none": "second_opinion_declined",
         "bad": "unusable", "wish": "second_opinion_wanted", "undo": "undo"}  # fmt: skip


def said(text: str) -> list[Decision]:
    """Read 'Ann own 3, Vera vet 2': who, what, and a score or which decision is taken back."""
    made = []
    for version, (who, kind, *rest) in enumerate((part.split() for part in text.split(", ")), 1):
        made.append(
            Decision(
                decision_id=version, uid=f"d{version}", pass_id=1, version=version,
                kind=KINDS[kind], who=who, at=NOON,  # type: ignore[arg-type]
                score=int(rest[0]) if rest and rest[0].isdecimal() else None,
                undoes=rest[0] if kind == "undo" else None,
            )
        )  # fmt: skip
    return made


@pytest.mark.parametrize(
    ("text", "differ"),
    [
        ("Ann own 3", False),
        ("Ann own 3, Ben own 3", False),
        ("Ann own 3, Ann own 5", False),
        ("Ann own 5, Ben own 2", True),
        ("Ann own 5, Ben own 2, Ann own 2", False),
        ("Ann own 5, Ben own 2, Ben undo d2", False),
        ("Ann own 5, Ben bad", True),
        ("Ann own 5, Ben own 2, Vera vet 4", False),
        ("Ann own 5, Ben own 2, Vera none", False),
        ("Ann own 5, Vera vet 2, Ben own 5", True),
        ("Ann own 5, Vera vet 2, Ben own 5, Vera vet 2", False),
        ("Ann own 5, Ben own 2, Vera vet 4, Vera undo d3", True),
        ("Ann own 3, Ben wish", False),
    ],
)
def test_two_people_differ_until_a_second_opinion_settles_it(text: str, differ: bool) -> None:
    assert people_differ(said(text)) is differ


@pytest.mark.parametrize(
    ("text", "pair"),
    [
        ("Ann own 3, Vera vet 2", (3, 2)),
        ("Ann own 3, Ann own 4, Ben own 5, Vera vet 2", (5, 2)),
        ("Ann own 3, Ben own 5, Ben undo d2, Vera vet 2", (3, 2)),
        ("Ann own 3, Vera vet 2, Vera undo d2", None),
        ("Ann own 3, Vera vet 2, Vera vet 4", (3, 4)),
        ("Ann own 3, Vera vet 2, Ann own 2, Vera vet 2", (3, 2)),
        ("Vera vet 2, Ann own 2", None),
        ("Vera own 3, Vera vet 2", None),
        ("Ann own 3, Vera none", None),
    ],
)
def test_a_pass_gives_one_pair_of_what_holds(text: str, pair: tuple[int, int] | None) -> None:
    assert scored_by_two(said(text)) == pair


@pytest.mark.parametrize(
    ("text", "settled"),
    [
        ("Ann own 3", False),
        ("Ann own 3, Ben own 5", True),
        ("Ann own 3, Ann own 3", True),
        ("Ann own 3, Ben bad", True),
        ("Ann own 3, Vera vet 2", True),
        ("Ann own 3, Vera none", True),
        ("Ann own 3, Ben wish", False),
        ("Ann own 3, Ann undo d1", False),
        ("Ann own 3, Ben own 5, Ben undo d2", False),
    ],
)
def test_two_at_once_are_settled_by_whoever_judges_after_them(text: str, settled: bool) -> None:
    assert is_settled(said(text), 1) is settled


@pytest.mark.parametrize(
    ("text", "versions"),
    [
        ("Ann own 3, Ben own 5", []),
        ("Ann own 3, Vera vet 2", []),
        ("Ann own 3, Vera vet 2, Ben own 5, Ann wish", [3]),
        ("Ann own 3, Vera vet 2, Ben own 5, Vera vet 5", []),
        ("Vera vet 2, Ben own 5, Ben undo d2, Ann bad", [4]),
        ("Vera vet 2, Ben own 5, Vera undo d1", []),
    ],
)
def test_what_comes_after_a_second_opinion_does_not_count(text: str, versions: list[int]) -> None:
    assert [d.version for d in overruled(said(text))] == versions
