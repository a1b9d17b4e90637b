"""What stands on the printed sheets, before it is HTML or PDF."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from gait.herd.lame_list import LameCow, Urgency
from gait.herd.records import Cow, TrimDay, TrimEntry

REASON_WORDS = {"therapeutic": "Lame", "recheck": "Recheck", "maintenance": "Maintenance"}
URGENCY_WORDS: dict[Urgency, str] = {
    "vet": "Vet today",
    "same_day": "Today",
    "recheck_due": "Recheck due",
    "soon": "Within two days",
    "waiting": "Waiting for recheck",
}


@dataclass(frozen=True, kw_only=True)
class SheetCow:
    """One cow on a trim sheet."""

    place: int
    number: str
    reason: str
    why: str
    facts: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class TrimSheet:
    """A trim sheet: title, a line below it, and the cows in order."""

    title: str
    subtitle: str
    cows: tuple[SheetCow, ...]


@dataclass(frozen=True, kw_only=True)
class LameSheet:
    """A printed lame list: title, line below it, and rows of text under the header."""

    title: str
    subtitle: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def trim_sheet(
    day: TrimDay,
    entries: Sequence[TrimEntry],
    *,
    cows: Mapping[str, Cow],
    lame: Sequence[LameCow] = (),
    last_trimmed: Mapping[str, date] | None = None,
    farm: str = "",
) -> TrimSheet:
    """Return the sheet of a trim day.

    Parameters
    ----------
    day : TrimDay
    entries : sequence of TrimEntry
        In the order of the day.
    cows : mapping
        The herd by animal number.
    lame : sequence of LameCow
        The lame list, for score and cautions.
    last_trimmed : mapping, optional
        Animal number to the day of her last trim.
    farm : str
        Name of the farm for the heading.
    """
    lame_by_number = {line.cow.number: line for line in lame}
    sheet_cows = []
    for place, entry in enumerate(entries, start=1):
        cow, line = cows.get(entry.cow), lame_by_number.get(entry.cow)
        sheet_cows.append(
            SheetCow(
                place=place,
                number=entry.cow,
                reason=REASON_WORDS[entry.reason],
                why=entry.why,
                facts=_facts(cow, line, (last_trimmed or {}).get(entry.cow)),
                cautions=line.cautions if line else (),
            )
        )
    heading = f"Trim sheet {day.on.isoformat()}"
    room = f"{len(entries)} cows, room for {day.capacity}"
    return TrimSheet(
        title=f"{heading}, {farm}" if farm else heading,
        subtitle=", ".join(p for p in (f"Trimmer: {day.trimmer}", room, day.note) if p),
        cows=tuple(sheet_cows),
    )


def _facts(cow: Cow | None, line: LameCow | None, trimmed: date | None) -> tuple[str, ...]:
    facts = []
    if line is not None:
        facts.append(f"Score {line.score} by {line.decided_by}, {line.scored_at.date()}")
        if line.times_before:
            facts.append(f"Lame {line.times_before} times before in this lactation")
    if cow is not None and cow.group:
        facts.append(f"Group {cow.group}")
    if cow is not None and cow.parity is not None:
        facts.append(f"Parity {cow.parity}")
    if cow is not None and cow.due_on is not None:
        facts.append(f"Due {cow.due_on}")
    facts.append(f"Last trim {trimmed}" if trimmed else "No trim on record")
    return tuple(facts)


def lame_sheet(lame: Sequence[LameCow], *, on: date, farm: str = "") -> LameSheet:
    """Return the lame list as it is printed."""
    heading = f"Lame list {on.isoformat()}"
    return LameSheet(
        title=f"{heading}, {farm}" if farm else heading,
        subtitle=f"{len(lame)} cows, by decisions of people" if lame else "No cow is lame.",
        header=("Cow", "Score", "What first", "Lame since", "Group", "Done", "Next"),
        rows=tuple(
            (
                line.cow.number,
                str(line.score),
                URGENCY_WORDS[line.urgency] + (", chronic" if line.is_chronic else ""),
                line.since.date().isoformat(),
                line.cow.group or "",
                f"Treated {line.treated_on}" if line.treated_on else "",
                " ".join((line.next_step, *line.cautions)),
            )
            for line in lame
        ),
    )
