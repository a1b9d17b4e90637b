"""Sheets for tests with everything on them that a sheet can say, and what can be read on them."""

from __future__ import annotations

import re
import zlib
from datetime import UTC, date, datetime, timedelta
from html.parser import HTMLParser

from gait.exchange.sheet_content import LameSheet, TrimSheet, lame_sheet, trim_sheet
from gait.exchange.sheet_words import ENGLISH, SheetWords
from gait.herd.lame_list import URGENCIES, LameCow
from gait.herd.records import Cow, TrimDay, TrimEntry, TrimReason

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
TYPED = ("Block", "Zöe", "heel", "Cow 9")
"""Trimmer, scorer, group and farm; most of them words of the sheet as well."""
WHYS: tuple[tuple[TrimReason, str], ...] = (
    ("therapeutic", "Score 5, lame since 2026-03-01, lame again or for long"),
    ("recheck", "Recheck due 2026-03-04: After the trim"),
    ("maintenance", "Springing heifer, due to calve 2026-04-20"),
    ("maintenance", "Dry-off on 2026-03-04"),
    ("maintenance", "104 days in milk"),
)
CAUTIONS = (
    "Do not make her walk far.",
    "Lame again or for long: have the vet look for the cause.",
    "Withdrawal until 2026-03-09, as typed in from the label or by the vet.",
    "Block since 2026-01-03: check it or take it off.",
)
NEXT_STEPS = (
    "Call the vet today.",
    "Look at her feet today.",
    "Watch her walk again: due 2026-03-01.",
    "Look at her feet within two days.",
    "Treated on 2026-02-20. Recheck on 2026-03-09.",
)


def cow(number: int) -> Cow:
    """Return an invented cow of whom all is known that stands on a sheet."""
    return Cow(number=str(number), group=TYPED[2], parity=2, due_on=date(2026, 4, 20))


def lame_cows() -> list[LameCow]:
    """Return a lame cow of each urgency; the first is chronic and has all cautions."""
    return [
        LameCow(
            cow=cow(number), score=5 - number // 2, since=NOW - timedelta(days=20), scored_at=NOW,
            decided_by=TYPED[1], decided_at=NOW, pass_id=number, model_version=None,
            times_before=1 - min(number, 1), is_chronic=number == 0, urgency=urgency,
            treated_on=None if number else date(2026, 2, 20), recheck_on=None,
            next_step=NEXT_STEPS[number], cautions=CAUTIONS if number == 0 else (),
        )
        for number, urgency in enumerate(URGENCIES)
    ]  # fmt: skip


def a_lame_sheet(words: SheetWords = ENGLISH) -> LameSheet:
    """Return a lame list of five cows."""
    return lame_sheet(lame_cows(), on=NOW.date(), farm=TYPED[3], words=words)


def a_trim_sheet(words: SheetWords = ENGLISH, *, count: int = len(WHYS)) -> TrimSheet:
    """Return the sheet of a day with so many cows, each for another reason."""
    day = TrimDay(trim_day_id=1, on=date(2026, 3, 4), trimmer=TYPED[0], capacity=8)
    entries = [
        TrimEntry(trim_day_id=1, cow=str(i), reason=reason, why=why, position=i)
        for i, (reason, why) in enumerate(WHYS[:count])
    ]
    return trim_sheet(
        day, entries, cows={str(i): cow(i) for i in range(count)}, lame=lame_cows()[:2],
        last_trimmed={"1": date(2026, 1, 1)}, farm=TYPED[3], words=words,
    )  # fmt: skip


def empty_sheets(words: SheetWords = ENGLISH) -> tuple[TrimSheet, LameSheet]:
    """Return a trim sheet and a lame list without a cow."""
    return a_trim_sheet(words, count=0), lame_sheet([], on=NOW.date(), words=words)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.is_style = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.is_style = tag == "style"
        self.words += [value or "" for name, value in attrs if name == "aria-label"]

    def handle_data(self, data: str) -> None:
        if not self.is_style:
            self.words.append(data)


def html_words(html: str) -> str:
    """Return all that can be read on a page, labels of pictures among it, a text a line."""
    reader = _Reader()
    reader.feed(html)
    return "\n".join(reader.words)


def pdf_words(pdf: bytes) -> str:
    """Return all that can be read on a PDF written by fpdf2, a line of print a line."""
    objects = {int(m[1]): m[2] for m in re.finditer(rb"(\d+) 0 obj(.*?)endobj", pdf, re.S)}
    fonts = re.search(rb"/Font <<(.*?)>>", pdf, re.S)
    letters = {
        name: _letters(objects, objects[int(number)])
        for name, number in re.findall(rb"/(F\d+) (\d+) 0 R", fonts[1] if fonts else b"")
    }
    lines, font = [], b""
    for page in (_stream(objects[int(n)]) for n in re.findall(rb"/Contents (\d+) 0 R", pdf)):
        for chosen, text in re.findall(rb"/(F\d+) [\d.]+ Tf|\(((?:\\.|[^\\)])*)\) Tj", page, re.S):
            font = chosen or font
            if not chosen:
                lines.append(_read(re.sub(rb"\\(.)", _unescaped, text, flags=re.S), letters[font]))
    return "\n".join(lines)


def _unescaped(match: re.Match[bytes]) -> bytes:
    return {b"n": b"\n", b"r": b"\r"}.get(match[1], match[1])


def _stream(of: bytes) -> bytes:
    found = re.search(rb"stream\r?\n(.*)\r?\nendstream", of, re.S)
    assert found is not None
    return zlib.decompress(found[1]) if b"/FlateDecode" in of else found[1]


def _letters(objects: dict[int, bytes], font: bytes) -> dict[int, str] | None:
    """Return the letters by their numbers in a font; None for one whose letters are latin-1."""
    table = re.search(rb"/ToUnicode (\d+) 0 R", font)
    if table is None:
        return None
    pairs = re.findall(rb"<([0-9A-F]{4})> <([0-9A-F]{4})>\n", _stream(objects[int(table[1])]))
    return {int(number, 16): chr(int(letter, 16)) for number, letter in pairs}


def _read(text: bytes, letters: dict[int, str] | None) -> str:
    if letters is None:
        return text.decode("latin-1")
    return "".join(letters[int.from_bytes(text[i : i + 2])] for i in range(0, len(text), 2))
