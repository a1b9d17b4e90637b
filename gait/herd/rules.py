"""The farm's own rules for its lists, with the values that hold until somebody changes them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, Literal

from gait.errors import StoreError

LameRule = Literal["one_score", "two_threes"]


@dataclass(frozen=True, kw_only=True)
class HerdRules:
    """Settings of the lists; every length of time in days unless the name says otherwise.

    Attributes
    ----------
    lame_from : int
        Score from which a cow is lame (3: Sprecher 1997; Thomsen 2023).
    lame_rule : str
        ``one_score``: one score of ``lame_from`` puts her on the list. ``two_threes``: a score
        of 3 has to be seen twice running, 4 and 5 count at once (event of a trimming trial,
        Sadiq 2020; authorship from memory).
    same_day_from, vet_from : int
        Scores that need a look the same day, and the vet (common practice, no published source).
    recheck_days : int
        Days from treatment to the recheck (14: scores in trials were taken fortnightly,
        Leach 2012, Groenevelt 2014, Thomas 2015).
    block_check_first, block_check_last : int
        When a block is looked at or taken off (28 to 42; from memory, unverified).
    early_hours : int
        Treated within so many hours of the first lame score counts as early (48: Leach 2012).
    chronic_episodes : int
        So many lame spells within one lactation make a cow chronic (common practice, no
        published source).
    chronic_weeks : int
        A spell that lasts longer makes her chronic too (2: chronic in Thomas 2016).
    trimmed_recently : int
        A cow trimmed in the last so many days is not proposed for maintenance again (common
        practice, no published source).
    trim_at_dry_off : bool
        Propose cows at dry-off; ``dry_off_window`` days before or after it.
    mid_lactation_from, mid_lactation_to : int
        Days in milk of the second maintenance trim (common practice; trials used 99 to 165).
    mid_lactation : bool
        Whether that trim is done.
    springing_from, springing_to : int
        Days before calving at which heifers are trimmed: 56 to 42, six to eight weeks (common
        practice, no published source).
    springing : bool
        Whether heifers are trimmed.
    calving_rest : int
        No maintenance trim from so many days before to so many after calving (common practice,
        no published source).
    """

    lame_from: int = 3
    lame_rule: LameRule = "one_score"
    same_day_from: int = 4
    vet_from: int = 5
    recheck_days: int = 14
    block_check_first: int = 28
    block_check_last: int = 42
    early_hours: int = 48
    chronic_episodes: int = 2
    chronic_weeks: int = 2
    trimmed_recently: int = 60
    trim_at_dry_off: bool = True
    dry_off_window: int = 14
    mid_lactation: bool = True
    mid_lactation_from: int = 90
    mid_lactation_to: int = 120
    springing: bool = True
    springing_from: int = 56
    springing_to: int = 42
    calving_rest: int = 14

    def __post_init__(self) -> None:
        if not 2 <= self.lame_from <= self.same_day_from <= self.vet_from <= 5:
            raise StoreError(
                "The scores for lame, same day and vet must rise from 2 to 5.",
                "For instance 3, 4 and 5.",
            )
        if self.lame_rule not in ("one_score", "two_threes"):
            raise StoreError("Unknown rule for who is lame.", "Choose one score or two threes.")
        if self.mid_lactation_from > self.mid_lactation_to:
            raise StoreError("The mid-lactation trim ends before it begins.", "")
        if self.springing_to > self.springing_from:
            raise StoreError("The trim of springing heifers ends before it begins.", "")
        counts = [v for v in asdict(self).values() if isinstance(v, int)]
        if min(counts) < 0 or self.recheck_days < 1:
            raise StoreError("A number of days cannot be negative.", "")


def rules_from(kept: Mapping[str, Any] | None) -> HerdRules:
    """Return rules from a setting as it was kept; names not known any more are left out.

    Raises
    ------
    StoreError
        If the values contradict each other.
    """
    known = {f.name for f in fields(HerdRules)}
    return HerdRules(**{k: v for k, v in (kept or {}).items() if k in known})


def rules_to_keep(rules: HerdRules) -> dict[str, Any]:
    """Return rules as a plain mapping, to be kept as the setting ``rules``."""
    return asdict(rules)
