"""Sheets that are downloaded from a German page are German from head to foot."""

from __future__ import annotations

import functools
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pytest
from streamlit.delta_generator import DeltaGenerator

from app.texts import _said, local, sheet_words, words
from gait import trim_day
from gait.exchange import sheet_pdf
from gait.exchange.sheet_html import lame_sheet_html, trim_sheet_html
from gait.exchange.sheet_pdf import lame_sheet_pdf, trim_sheet_pdf
from gait.exchange.sheet_words import SheetWords
from gait.herd.feet import FEET, ZONES
from gait.store import Store
from tests.app.conftest import OpenPage
from tests.page_farm import load_history
from tests.printed import TYPED, a_lame_sheet, a_trim_sheet, empty_sheets, html_words, pdf_words

GERMAN = SheetWords(language="de", say=functools.partial(_said, "de"))
ENGLISH_WORDS = re.compile(
    r"\b(the|and|of|or|by|her|cows?|score|lame|foot|feet|claws?|toe|sole|heel|trim|recheck|due|"
    r"today|last|next|left|right|inner|outer|vet|zones?|from|with|is|before)\b", re.IGNORECASE
)  # fmt: skip
CALLED_THE_SAME = re.compile(r"[A-Z]|83 mm")
"""Letters of zones and a length, the same in both languages."""
Captured = dict[str, Callable[[], str | bytes]]


def sheets_said_by(say: SheetWords) -> None:
    """Make every kind of sheet."""
    no_trim, no_lame = empty_sheets(say)
    for trim in (a_trim_sheet(say), no_trim):
        trim_sheet_html(trim)
        trim_sheet_pdf(trim)
    for lame in (a_lame_sheet(say), no_lame):
        lame_sheet_html(lame)
        lame_sheet_pdf(lame)


def test_every_text_of_a_sheet_has_its_german() -> None:
    asked: set[str] = set()

    def note(text: str) -> str:
        asked.add(text)
        return text

    sheets_said_by(SheetWords(say=note))
    assert len(asked) > 90
    same = {text for text in asked if _said("de", text) == text}
    assert [text for text in same if not CALLED_THE_SAME.fullmatch(text)] == []


@pytest.mark.parametrize("kind", ["html", "pdf"])
def test_a_german_sheet_has_no_english_word(kind: str) -> None:
    trim, lame = a_trim_sheet(GERMAN), a_lame_sheet(GERMAN)
    if kind == "html":
        read = html_words(trim_sheet_html(trim) + lame_sheet_html(lame))
    else:
        read = pdf_words(trim_sheet_pdf(trim)) + pdf_words(lame_sheet_pdf(lame))
    for typed in TYPED:
        read = read.replace(typed, "")
    assert ENGLISH_WORDS.findall(read) == []


@pytest.mark.parametrize("font", ["of the machine", "of every reader"])
def test_umlauts_come_out_right_in_print(font: str, monkeypatch: pytest.MonkeyPatch) -> None:
    if font == "of every reader":
        monkeypatch.setattr(sheet_pdf, "_FONT_FILES", ())
    read = pdf_words(trim_sheet_pdf(a_trim_sheet(GERMAN)))
    for text in (
        "Hochtragende Färse, Kalbung erwartet 20.04.2026",
        "Fuß, Klaue",
        "außen",
        "P Übergang Sohle zu Ballen",
        "2. Klauenlänge",
        "Funktionelle Klauenpflege: eine Gedächtnisstütze, kein Kurs",
    ):
        assert text in read
    assert "?" not in read


def test_a_german_sheet_keeps_names_as_they_were_typed() -> None:
    read = html_words(trim_sheet_html(a_trim_sheet(GERMAN)))
    assert "Klauenpflegeblatt 04.03.2026, Cow 9" in read
    assert "Klauenpfleger/in: Block, Kühe: 5, Platz für 8" in read
    assert "Note 5 von Zöe, 02.03.2026" in read
    assert "Gruppe heel" in read


@pytest.mark.parametrize("times", range(8))
def test_no_cow_is_cut_by_the_end_of_a_page_however_long_her_lines(times: int) -> None:
    sheet = a_trim_sheet(GERMAN)
    long = tuple(replace(cow, why=f"{cow.why}, Nachkontrolle" * times) for cow in sheet.cows)
    read = pdf_words(trim_sheet_pdf(replace(sheet, cows=long)))
    assert read.count("Fuß, Klaue") == len(long)  # a table that is cut has its head twice


def test_sheet_and_page_use_the_same_german_word() -> None:
    texts = words("de")
    families = {f"foot.{k}": v for k, v in FEET.items()} | {
        f"zone.{k}": v for k, v in ZONES.items()
    }
    families |= {k: v for k, v in words("en").items() if k.startswith(("reason.", "next."))}
    families |= {k: v for k, v in words("en").items() if k.startswith("caution.")}
    differ = {
        key: (texts[key], _said("de", english))
        for key, english in families.items()
        if key not in ("caution.2", "next.none") and texts[key] != _said("de", english)
    }
    assert differ == {}  # caution.2 is shorter on the page; next.none is never kept


@pytest.fixture
def downloads(monkeypatch: pytest.MonkeyPatch) -> Captured:
    """Give what the download buttons of a page would make at a click, by their keys."""
    captured: Captured = {}

    def capture(_: DeltaGenerator, label: str, data: Callable[[], str | bytes], **how: str) -> None:
        captured[how["key"]] = data

    monkeypatch.setattr(DeltaGenerator, "download_button", capture)
    return captured


@pytest.mark.parametrize(("language", "says"), [("de", "Klauenpflegeblatt"), ("en", "Trim sheet")])
def test_trim_day_gives_its_sheet_in_the_language_of_the_page(
    farm: Store, page: OpenPage, downloads: Captured, language: str, says: str
) -> None:
    load_history(farm)
    trim_day.plan_day(farm, date.today(), trimmer="Tom", capacity=12)
    at = page("trim_day")
    at.session_state["language"] = language
    at.run()
    today = local.day(language, date.today())
    html, pdf = downloads["trim_html"](), downloads["trim_pdf"]()
    assert isinstance(html, str)
    assert isinstance(pdf, bytes)
    assert f'<html lang="{language}">' in html
    assert f"{says} {today}" in html
    assert f"{says} {today}" in pdf_words(pdf)


@pytest.mark.parametrize(("language", "says"), [("de", "Lahmheitsliste"), ("en", "Lame list")])
def test_lame_list_is_printed_in_the_language_of_the_page(
    farm: Store, page: OpenPage, downloads: Captured, language: str, says: str
) -> None:
    load_history(farm)
    at = page()
    at.session_state["language"] = language
    at.run()
    pdf = downloads["lame_pdf"]()
    today = local.day(language, date.today())
    assert isinstance(pdf, bytes)
    assert f"{says} {today}" in pdf_words(pdf)


def test_language_is_that_of_the_page_though_the_sheet_is_made_later(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("app.texts.language", lambda: "de")
    taken = sheet_words()
    monkeypatch.setattr("app.texts.language", lambda: "en")
    assert (taken.language, taken.say("Lame list")) == ("de", "Lahmheitsliste")
