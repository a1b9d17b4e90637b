"""Printed sheets: they hold what matters, fit the paper, and run nothing."""

from __future__ import annotations

import re
import zlib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from html.parser import HTMLParser

import pytest

from gait.exchange import sheet_pdf, trim_guide
from gait.exchange.foot_drawing import LETTERS, foot_from_below, guide_drawing
from gait.exchange.sheet_content import (
    LameSheet,
    TrimSheet,
    lame_sheet,
    trim_sheet,
)
from gait.exchange.sheet_html import lame_sheet_html, trim_sheet_html
from gait.exchange.sheet_pdf import lame_sheet_pdf, trim_sheet_pdf
from gait.herd.feet import ZONES
from gait.herd.lame_list import LameCow, lame_list
from gait.herd.records import Cow, Score, TrimDay, TrimEntry
from gait.herd.rules import HerdRules
from tests.printed import pdf_words

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
COWS = {n: Cow(number=n, group="A", parity=2) for n in ("0412", "17", "<b>9</b>")}


def _lame() -> list[LameCow]:
    scores = [
        Score(
            cow=cow,
            observed_at=NOW - timedelta(days=days),
            score=score,
            pass_id=days,
            decided_at=NOW,
            decided_by="Ann",
        )
        for cow, score, days in (("0412", 5, 1), ("17", 3, 20))
    ]
    return lame_list(
        cows=COWS.values(),
        scores=scores,
        trims=[],
        rechecks=[],
        calvings=[],
        rules=HerdRules(),
        today=NOW.date(),
    )


def _sheet(count: int = 3) -> TrimSheet:
    day = TrimDay(trim_day_id=1, on=date(2026, 3, 4), trimmer="Łukasz & Tom", capacity=8)
    numbers = (list(COWS) * count)[:count]
    entries = [
        TrimEntry(trim_day_id=1, cow=n, reason="therapeutic", why="Score 3", position=i)
        for i, n in enumerate(numbers)
    ]
    return trim_sheet(day, entries, cows=COWS, lame=_lame(), last_trimmed={"17": date(2026, 1, 1)})


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list) -> None:
        self.tags.append(tag)
        assert not any(name in ("src", "href", "onload") for name, _ in attrs)

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def _read(html: str) -> tuple[list[str], str]:
    reader = _Reader()
    reader.feed(html)
    return reader.tags, " ".join(reader.words)


def _pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type /Page\b", pdf))


def test_the_trim_sheet_holds_cows_drawings_room_guide_and_cautions() -> None:
    tags, words = _read(trim_sheet_html(_sheet()))
    assert tags.count("section") == 4  # three cows and the guide
    assert tags.count("svg") == 3 * 4 + 4
    for text in ("1. Cow 0412", "Do not make her walk far.", "Last trim 2026-01-01", "Toe, mm"):
        assert text in words
    for step in trim_guide.STEPS:
        assert step.text in words
    for caution in trim_guide.CAUTIONS:
        assert caution in words
    for name in ZONES.values():
        assert name in words


def test_what_people_typed_is_shown_as_text_not_run() -> None:
    html = trim_sheet_html(_sheet())
    assert "<b>9</b>" not in html
    assert "&lt;b&gt;9&lt;/b&gt;" in html
    assert "<script" not in html


@pytest.mark.parametrize(("cows", "pages"), [(0, 2), (1, 2), (3, 2), (4, 3), (9, 4)])
def test_three_cows_fit_a_page_and_the_guide_follows(cows: int, pages: int) -> None:
    pdf = trim_sheet_pdf(_sheet(cows), made_at=NOW)
    assert pdf.startswith(b"%PDF-")
    assert _pages(pdf) == pages


def test_a_sheet_can_be_printed_where_no_font_has_all_letters(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sheet_pdf, "_FONT_FILES", ())
    pdf = trim_sheet_pdf(_sheet(), made_at=NOW)
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.S)
    drawn = b"".join(zlib.decompress(s) for s in streams if s[:1] == b"x")
    assert b"ukasz & Tom" in drawn
    assert b"83 mm" in drawn


def test_the_lame_list_is_printed_most_urgent_first() -> None:
    sheet = lame_sheet(_lame(), on=NOW.date(), farm="Demo")
    assert [row[:3] for row in sheet.rows] == [
        ("0412", "5", "Vet today"),
        ("17", "3", "Within two days, chronic"),
    ]
    _, words = _read(lame_sheet_html(sheet))
    assert "Lame list 2026-03-02, Demo" in words
    assert "Call the vet today. Do not make her walk far." in words
    assert _pages(lame_sheet_pdf(sheet, made_at=NOW)) == 1


def test_dates_of_the_lame_list_are_not_broken_at_their_hyphens() -> None:
    page = lame_sheet_html(lame_sheet(_lame(), on=NOW.date(), farm="Demo"))
    table = page[page.index("<table") :]
    dates = re.findall(r"\d{4}-\d\d-\d\d", table)
    assert dates
    assert table.count('<span class="date">') == len(dates)
    assert ".date{white-space:nowrap}" in page


def test_an_empty_lame_list_says_so() -> None:
    sheet = lame_sheet([], on=NOW.date())
    assert isinstance(sheet, LameSheet)
    assert "No cow is lame." in _read(lame_sheet_html(sheet))[1]
    assert _pages(lame_sheet_pdf(sheet)) == 1


def test_a_long_lame_list_goes_on_over_the_page() -> None:
    sheet = lame_sheet(_lame(), on=NOW.date())
    long = replace(sheet, rows=sheet.rows * 40)
    assert _pages(lame_sheet_pdf(long)) >= 3


def test_every_zone_has_one_letter_and_the_visible_ones_are_drawn() -> None:
    assert set(LETTERS) == set(ZONES)
    assert len(set(LETTERS.values())) == len(LETTERS)
    drawn = {text for text, _ in foot_from_below("left").letters}
    assert drawn >= set(LETTERS.values()) - {"C", "F"}


def test_the_outer_claw_of_a_left_foot_is_on_the_right_seen_from_below() -> None:
    places = {text: x for text, (x, _) in foot_from_below("left").letters}
    assert places["outer"] > places["inner"]
    places = {text: x for text, (x, _) in foot_from_below("right").letters}
    assert places["outer"] < places["inner"]


@pytest.mark.parametrize("step", ["length", "sole", "balance", "modelling"])
def test_every_drawing_stays_within_its_box(step: str) -> None:
    for drawing in (guide_drawing(step), foot_from_below("left")):  # type: ignore[arg-type]
        groups = drawing.outlines + drawing.lines + drawing.dashed + drawing.shaded
        for x, y in [point for group in groups for point in group]:
            assert 0 <= x <= drawing.width
            assert 0 <= y <= drawing.height


def test_a_cow_that_is_done_takes_no_room_to_write() -> None:
    sheet = _sheet(3)
    assert trim_sheet_html(sheet).count('class="room"') == 3
    done = replace(sheet, cows=(replace(sheet.cows[0], state="Done"), *sheet.cows[1:]))
    html = trim_sheet_html(done)
    assert html.count('class="room"') == 2
    assert "<b>Done</b>" in html
    assert pdf_words(trim_sheet_pdf(sheet)).count("Foot, claw") == 3
    read = pdf_words(trim_sheet_pdf(done))
    assert (read.count("Foot, claw"), read.count("Done")) == (2, 1)


def test_the_state_of_each_cow_is_on_the_sheet() -> None:
    day = TrimDay(trim_day_id=1, on=NOW.date(), trimmer="", capacity=8)
    states = ("planned", "done", "not_seen", "dropped")
    entries = [
        TrimEntry(trim_day_id=1, cow=str(i), reason="maintenance", why="", position=i, state=state)
        for i, state in enumerate(states)
    ]
    sheet = trim_sheet(day, entries, cows={})
    assert [cow.state for cow in sheet.cows] == ["", "Done", "Not seen", "Dropped"]


def test_without_a_trimmer_there_is_a_line_to_write_the_name_on() -> None:
    day = TrimDay(trim_day_id=1, on=NOW.date(), trimmer="", capacity=8)
    assert trim_sheet(day, [], cows={}).subtitle.startswith("Trimmer: ____")


def test_a_title_is_not_stretched_over_the_line(monkeypatch: pytest.MonkeyPatch) -> None:
    from fpdf import FPDF

    how, write = [], FPDF.multi_cell
    monkeypatch.setattr(
        FPDF, "multi_cell", lambda *a, **k: (how.append(k.get("align")), write(*a, **k))[1]
    )
    trim_sheet_pdf(_sheet())
    assert set(how) == {"L", "LEFT"}
