"""Which cows a trim day should hold: lame ones, rechecks, and maintenance that is due."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from gait.herd.lame_list import LameCow, Urgency
from gait.herd.records import Cow, Recheck, TrimReason
from gait.herd.rules import HerdRules

WAITING: tuple[Urgency, ...] = ("recheck_due", "waiting")


@dataclass(frozen=True, kw_only=True)
class Proposed:
    """A cow proposed for a trim day, with the reason and a sentence that explains it."""

    cow: str
    reason: TrimReason
    why: str


@dataclass(frozen=True, kw_only=True)
class TrimPlan:
    """The proposed list: ``on_list`` fits the day, ``left_over`` does not, both in order."""

    on_list: tuple[Proposed, ...]
    left_over: tuple[Proposed, ...]


def propose_trim_day(
    *,
    on: date,
    capacity: int,
    cows: Iterable[Cow],
    lame: Sequence[LameCow],
    rechecks: Iterable[Recheck],
    last_trimmed: Mapping[str, date],
    rules: HerdRules,
    without: Collection[str] = (),
) -> TrimPlan:
    """Return the cows for a trim day: therapeutic by urgency, rechecks, then maintenance due.

    Parameters
    ----------
    on : date
        The trim day.
    capacity : int
        Cows that can be done that day.
    cows : iterable of Cow
        The herd.
    lame : sequence of LameCow
        The lame list in its order.
    rechecks : iterable of Recheck
        Open ones that are due by that day are taken on.
    last_trimmed : mapping
        Animal number to the day of her last trim.
    rules : HerdRules
    without : collection of str
        Animal numbers that are not to be proposed (already on another day, unfit to go).

    Notes
    -----
    A lame cow that was treated and waits for her recheck is not put on again before it is due.
    """
    herd = {cow.number: cow for cow in cows if cow.left_on is None}
    wanted: dict[str, Proposed] = {}
    for proposed in (
        *_therapeutic(lame, on),
        *_rechecks(rechecks, on),
        *_maintenance(herd.values(), last_trimmed, rules, on),
    ):
        if proposed.cow in herd and proposed.cow not in without:
            wanted.setdefault(proposed.cow, proposed)
    everyone = tuple(wanted.values())
    return TrimPlan(on_list=everyone[:capacity], left_over=everyone[capacity:])


def _therapeutic(lame: Sequence[LameCow], on: date) -> list[Proposed]:
    proposed = []
    for line in lame:
        waits = line.treated_on is not None and line.urgency == "waiting"
        if waits and (line.recheck_on is None or line.recheck_on > on):
            continue
        again = ", lame again or for long" if line.is_chronic else ""
        proposed.append(
            Proposed(
                cow=line.cow.number,
                reason="recheck" if line.treated_on and line.urgency in WAITING else "therapeutic",
                why=f"Score {line.score}, lame since {line.since.date()}{again}",
            )
        )
    return sorted(proposed, key=lambda p: p.reason == "recheck")


def _rechecks(rechecks: Iterable[Recheck], on: date) -> list[Proposed]:
    due = sorted(
        (r for r in rechecks if r.state == "open" and r.due_on <= on),
        key=lambda r: (r.due_on, r.cow),
    )
    return [
        Proposed(cow=r.cow, reason="recheck", why=f"Recheck due {r.due_on}: {r.why}") for r in due
    ]


def _maintenance(
    cows: Iterable[Cow], last_trimmed: Mapping[str, date], rules: HerdRules, on: date
) -> list[Proposed]:
    due = []
    for cow in cows:
        found = maintenance_due(cow, on, rules, last_trimmed.get(cow.number))
        if found is not None:
            due.append((found[0], cow.number, found[1]))
    return [Proposed(cow=number, reason="maintenance", why=why) for _, number, why in sorted(due)]


def maintenance_due(
    cow: Cow, on: date, rules: HerdRules, last_trimmed: date | None = None
) -> tuple[date, str] | None:
    """Return until when a maintenance trim should be done and why, or None if none is due.

    Parameters
    ----------
    cow : Cow
        With the dates known of her; a date that is not known makes no trim due.
    on : date
        The day it would be done.
    rules : HerdRules
        Timing: common practice, no published source.
    last_trimmed : date, optional
        A cow trimmed within ``rules.trimmed_recently`` days is not due.
    """
    if last_trimmed is not None and (on - last_trimmed).days < rules.trimmed_recently:
        return None
    to_calving = (cow.due_on - on).days if cow.due_on else None
    in_milk = days_in_milk(cow, on)
    if _near_calving(to_calving, in_milk, rules):
        return None
    if _is_heifer(cow):
        return _springing(cow, to_calving, on, rules)
    if _this_lactation(cow) and cow.dried_off_on and on >= cow.dried_off_on:
        return _dry_off(cow.dried_off_on, on, rules)
    at_dry_off = _dry_off(cow.dried_off_on, on, rules) if _this_lactation(cow) else None
    return at_dry_off or _mid_lactation(in_milk, on, rules)


def _near_calving(to_calving: int | None, in_milk: int | None, rules: HerdRules) -> bool:
    soon = to_calving is not None and 0 <= to_calving <= rules.calving_rest
    return soon or (in_milk is not None and in_milk <= rules.calving_rest)


def _springing(
    cow: Cow, to_calving: int | None, on: date, rules: HerdRules
) -> tuple[date, str] | None:
    if not rules.springing or to_calving is None:
        return None
    if not rules.springing_to <= to_calving <= rules.springing_from:
        return None
    last = on + timedelta(days=to_calving - rules.springing_to)
    return last, f"Springing heifer, due to calve {cow.due_on}"


def _dry_off(dry_on: date | None, on: date, rules: HerdRules) -> tuple[date, str] | None:
    if not rules.trim_at_dry_off or dry_on is None:
        return None
    if abs((on - dry_on).days) > rules.dry_off_window:
        return None
    return dry_on + timedelta(days=rules.dry_off_window), f"Dry-off on {dry_on}"


def _mid_lactation(in_milk: int | None, on: date, rules: HerdRules) -> tuple[date, str] | None:
    if not rules.mid_lactation or in_milk is None:
        return None
    if not rules.mid_lactation_from <= in_milk <= rules.mid_lactation_to:
        return None
    return on + timedelta(days=rules.mid_lactation_to - in_milk), f"{in_milk} days in milk"


def days_in_milk(cow: Cow, on: date) -> int | None:
    """Return days since calving, or None when no calving up to that day is known."""
    if cow.calved_on is None or cow.calved_on > on:
        return None
    return (on - cow.calved_on).days


def _is_heifer(cow: Cow) -> bool:
    return cow.parity == 0 or (cow.parity is None and cow.calved_on is None)


def _this_lactation(cow: Cow) -> bool:
    return cow.dried_off_on is not None and (
        cow.calved_on is None or cow.dried_off_on > cow.calved_on
    )
