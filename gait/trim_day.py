"""A day at the chute: who is proposed and why, the list that people change, the printed sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TYPE_CHECKING

from gait.errors import StoreError
from gait.exchange.sheet_words import ENGLISH, SheetWords
from gait.herd.trim_plan import TrimPlan, propose_trim_day

if TYPE_CHECKING:
    from gait.exchange.sheet_content import TrimSheet
    from gait.herd.lame_list import LameCow
    from gait.herd.records import Trim, TrimDay, TrimEntry, TrimReason
    from gait.store import Store

FARM_NAME_SETTING = "farm_name"


@dataclass(frozen=True, kw_only=True)
class PlannedSheet:
    """The sheet of a planned day, to be printed."""

    day: TrimDay
    content: TrimSheet

    @property
    def count(self) -> int:
        """How many cows are on it."""
        return len(self.content.cows)

    def pdf(self, made_at: datetime | None = None) -> bytes:
        """Return the sheet as PDF."""
        from gait.exchange.sheet_pdf import trim_sheet_pdf

        return trim_sheet_pdf(self.content, made_at=made_at)

    def html(self) -> str:
        """Return the sheet as one HTML page."""
        from gait.exchange.sheet_html import trim_sheet_html

        return trim_sheet_html(self.content)


def propose(
    store: Store,
    on: date,
    capacity: int,
    *,
    day: TrimDay | None = None,
    lame: Sequence[LameCow] | None = None,
) -> TrimPlan:
    """Return the cows proposed for a day, and those for whom there is no room.

    Parameters
    ----------
    store : Store
    on : date
    capacity : int
        Cows that can be done that day.
    day : TrimDay, optional
        Leave out the cows already on this day, as well as those on other open days.
    lame : sequence of LameCow, optional
        The lame list, where it is at hand.
    """
    from gait.farm import lame_today, rechecks_waiting, rules_of

    taken = {
        entry.cow
        for other in open_days(store)
        if day is None or other.trim_day_id != day.trim_day_id
        for entry in store.trim_days.entries(other.trim_day_id)
        if entry.state == "planned"
    }
    if day is not None:
        taken |= {entry.cow for entry in store.trim_days.entries(day.trim_day_id)}
    lame = lame_today(store, on) if lame is None else lame
    return propose_trim_day(
        on=on,
        capacity=capacity,
        cows=store.cows.all(),
        lame=lame,
        rechecks=rechecks_waiting(store, lame=lame),
        last_trimmed=store.trims.last_days(),
        rules=rules_of(store),
        without=taken,
    )


def open_days(store: Store) -> list[TrimDay]:
    """Return the days that are not closed, next one first."""
    return sorted((d for d in store.trim_days.all() if not d.closed), key=lambda d: d.on)


def plan_day(store: Store, on: date, *, trimmer: str, capacity: int) -> TrimDay:
    """Plan a day and put the proposed cows on its list.

    Raises
    ------
    StoreError
        The day is over, or has no room for a single cow.
    """
    from gait.herd.records import TrimEntry

    if on < date.today():
        raise StoreError(
            f"The {on} is over: a trim day is planned for today or later.",
            "What was done on that day is entered under Findings.",
        )
    proposed = propose(store, on, capacity).on_list
    day = store.trim_days.plan(on, trimmer=trimmer, capacity=capacity)
    entries = [
        TrimEntry(
            trim_day_id=day.trim_day_id, cow=p.cow, reason=p.reason, why=p.why, position=place
        )
        for place, p in enumerate(proposed, start=1)
    ]
    store.trim_days.put_entries(day.trim_day_id, entries)
    return day


def put_on(store: Store, day: TrimDay, cow: str, *, reason: TrimReason, why: str) -> None:
    """Put one more cow at the end of a day's list.

    Raises
    ------
    StoreError
        She is on the list already.
    """
    from gait.herd.records import TrimEntry

    entries = store.trim_days.entries(day.trim_day_id)
    if any(entry.cow == cow for entry in entries):
        raise StoreError(f"Cow {cow} is on the list already.", "")
    new = TrimEntry(
        trim_day_id=day.trim_day_id, cow=cow, reason=reason, why=why, position=len(entries) + 1
    )
    store.trim_days.put_entries(day.trim_day_id, [*entries, new])


def take_off(store: Store, day: TrimDay, cow: str) -> None:
    """Take a cow off a day's list."""
    entries = store.trim_days.entries(day.trim_day_id)
    store.trim_days.put_entries(day.trim_day_id, [e for e in entries if e.cow != cow])


def move(store: Store, day: TrimDay, cow: str, places: int) -> None:
    """Move a cow up (negative) or down the list; at either end she stays."""
    entries = store.trim_days.entries(day.trim_day_id)
    store.trim_days.put_entries(day.trim_day_id, moved(entries, cow, places))


def moved(entries: Sequence[TrimEntry], cow: str, places: int) -> list[TrimEntry]:
    """Return the entries with one cow moved by so many places, numbered anew."""
    ordered = list(entries)
    here = next((i for i, e in enumerate(ordered) if e.cow == cow), None)
    if here is not None:
        entry = ordered.pop(here)
        ordered.insert(min(max(here + places, 0), len(ordered)), entry)
    return [replace(e, position=i) for i, e in enumerate(ordered, start=1)]


def taken_back(trim: Trim, *, who: str) -> Trim:
    """Return what says that a trim was entered by mistake; it replaces it by nothing."""
    from gait.herd.records import Trim

    return Trim(cow=trim.cow, on=trim.on, who=who, reason="taken_back", corrects=trim.uid)


def next_cow(store: Store, trim_day_id: int | None, cow: str) -> str | None:
    """Return who comes to the chute after a cow: the next one to be done, else the first left."""
    if trim_day_id is None:
        return None
    entries = store.trim_days.entries(trim_day_id)
    here = next((e.position for e in entries if e.cow == cow), 0)
    left = sorted(
        (e for e in entries if e.state == "planned" and e.cow != cow),
        key=lambda e: (e.position < here, e.position),
    )
    return left[0].cow if left else None


def sheet_of(
    store: Store,
    day: TrimDay,
    *,
    lame: Sequence[LameCow] | None = None,
    words: SheetWords = ENGLISH,
) -> PlannedSheet:
    """Return the sheet of a planned day.

    Parameters
    ----------
    store : Store
    day : TrimDay
    lame : sequence of LameCow, optional
        The lame list, where it is at hand.
    words : SheetWords
        Language of the sheet.
    """
    from gait.exchange.sheet_content import trim_sheet
    from gait.farm import lame_today
    from gait.withdrawals import withdrawals

    content = trim_sheet(
        day,
        store.trim_days.entries(day.trim_day_id),
        cows={c.number: c for c in store.cows.all()},
        lame=lame_today(store) if lame is None else lame,
        last_trimmed=store.trims.last_days(),
        withdrawals=withdrawals(store),
        farm=str(store.settings.get(FARM_NAME_SETTING, "")),
        words=words,
    )
    return PlannedSheet(day=day, content=content)


def plan_trim_day(store: Store, on: date, *, trimmer: str = "", capacity: int = 12) -> PlannedSheet:
    """Return the sheet of the day that is planned already, else plan it.

    Parameters
    ----------
    store : Store
    on : date
    trimmer : str
    capacity : int
        Cows that can be done that day; both only matter for a day not planned yet.

    Raises
    ------
    StoreError
        The day is over, or has no room for a single cow.
    """
    known = next((d for d in open_days(store) if d.on == on), None)
    return sheet_of(store, known or plan_day(store, on, trimmer=trimmer, capacity=capacity))
