"""What stands on the printed sheets, before it is HTML or PDF."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from gait.exchange.sheet_words import ENGLISH, SheetWords
from gait.herd.lame_list import LameCow, Urgency
from gait.herd.people import NOBODY_NAMED, is_named
from gait.herd.records import Cow, EntryState, TrimDay, TrimEntry

REASON_WORDS = {"therapeutic": "Lame", "recheck": "Recheck", "maintenance": "Maintenance"}
STATE_WORDS: dict[EntryState, str] = {
    "planned": "",
    "done": "Done",
    "not_seen": "Not seen",
    "dropped": "Dropped",
}
TO_FILL_IN = "_" * 20
URGENCY_WORDS: dict[Urgency, str] = {
    "vet": "Vet today",
    "same_day": "Today",
    "recheck_due": "Recheck due",
    "soon": "Within two days",
    "waiting": "Waiting for recheck",
}
LAME_COLUMNS = "Cow | Score | What first | Lame since | Group | Done | Next"


@dataclass(frozen=True, kw_only=True)
class SheetCow:
    """One cow on a trim sheet, in the language of the sheet.

    ``state`` is empty while she is to be done; else it says what became of it, and there is no
    room to write below her.
    """

    place: int
    number: str
    reason: str
    why: str
    facts: tuple[str, ...]
    cautions: tuple[str, ...]
    state: str = ""


@dataclass(frozen=True, kw_only=True)
class TrimSheet:
    """A trim sheet: title, a line below it, the cows in order, and the language of it all."""

    title: str
    subtitle: str
    cows: tuple[SheetCow, ...]
    words: SheetWords = ENGLISH


@dataclass(frozen=True, kw_only=True)
class LameSheet:
    """A printed lame list: title, line below it, rows of text under the header, language."""

    title: str
    subtitle: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: SheetWords = ENGLISH


def trim_sheet(
    day: TrimDay,
    entries: Sequence[TrimEntry],
    *,
    cows: Mapping[str, Cow],
    lame: Sequence[LameCow] = (),
    last_trimmed: Mapping[str, date] | None = None,
    withdrawals: Mapping[str, str] | None = None,
    farm: str = "",
    words: SheetWords = ENGLISH,
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
    withdrawals : mapping, optional
        Animal number to the caution of a running withdrawal, for cows that are not lame.
    farm : str
        Name of the farm for the heading.
    words : SheetWords
        Language of the sheet.
    """
    lame_by_number = {line.cow.number: line for line in lame}
    sheet_cows = []
    for place, entry in enumerate(entries, start=1):
        cow, line = cows.get(entry.cow), lame_by_number.get(entry.cow)
        state = STATE_WORDS[entry.state]
        withdrawal = (withdrawals or {}).get(entry.cow)
        cautions = line.cautions if line else (withdrawal,) if withdrawal else ()
        sheet_cows.append(
            SheetCow(
                place=place,
                number=entry.cow,
                reason=words.say(REASON_WORDS[entry.reason]),
                why=words.say(entry.why),
                facts=_facts(cow, line, (last_trimmed or {}).get(entry.cow), words),
                cautions=tuple(words.say(c) for c in cautions),
                state=words.say(state) if state else "",
            )
        )
    trimmer = f"{words.say('Trimmer')}: {day.trimmer or TO_FILL_IN}"
    room = words.fill("Cows: {0}, room for {1}", len(entries), day.capacity)
    return TrimSheet(
        title=_title(words.say("Trim sheet"), words.day(day.on), farm),
        subtitle=", ".join(p for p in (trimmer, room, day.note) if p),
        cows=tuple(sheet_cows),
        words=words,
    )


def _title(what: str, on: str, farm: str) -> str:
    return f"{what} {on}, {farm}" if farm else f"{what} {on}"


def _facts(
    cow: Cow | None, line: LameCow | None, trimmed: date | None, words: SheetWords
) -> tuple[str, ...]:
    say, facts = words.say, []
    if line is not None:
        who = line.decided_by if is_named(line.decided_by) else say(NOBODY_NAMED)
        values = line.score, who, line.scored_at.date()
        facts.append(words.fill("Score {0} by {1}, {2}", *values))
        if line.times_before:
            before = words.fill("Times lame before in this lactation: {0}", line.times_before)
            facts.append(before)
    if cow is not None and cow.group:
        facts.append(f"{say('Group')} {cow.group}")
    if cow is not None and cow.parity is not None:
        facts.append(f"{say('Parity')} {cow.parity}")
    if cow is not None and cow.due_on is not None:
        facts.append(f"{say('Due')} {words.day(cow.due_on)}")
    last = f"{say('Last trim')} {words.day(trimmed)}" if trimmed else say("No trim on record")
    facts.append(last)
    return tuple(facts)


def lame_sheet(
    lame: Sequence[LameCow], *, on: date, farm: str = "", words: SheetWords = ENGLISH
) -> LameSheet:
    """Return the lame list as it is printed, in the language of the words."""
    count = words.fill("Cows: {0}, by decisions of people", len(lame))
    return LameSheet(
        title=_title(words.say("Lame list"), words.day(on), farm),
        subtitle=count if lame else words.say("No cow is lame."),
        header=words.columns(LAME_COLUMNS),
        rows=tuple(_lame_row(line, words) for line in lame),
        words=words,
    )


def _lame_row(line: LameCow, words: SheetWords) -> tuple[str, ...]:
    say = words.say
    chronic = f", {say('chronic')}" if line.is_chronic else ""
    return (
        line.cow.number,
        str(line.score),
        say(URGENCY_WORDS[line.urgency]) + chronic,
        words.day(line.since.date()),
        line.cow.group or "",
        f"{say('Treated')} {words.day(line.treated_on)}" if line.treated_on else "",
        " ".join(say(text) for text in (line.next_step, *line.cautions)),
    )
