"""Sheets in another language: nothing on them is said past the translator, nothing typed by it."""

from __future__ import annotations

import re

import pytest

from gait.exchange import sheet_pdf
from gait.exchange.sheet_html import lame_sheet_html, trim_sheet_html
from gait.exchange.sheet_pdf import lame_sheet_pdf, trim_sheet_pdf
from gait.exchange.sheet_words import ENGLISH, SheetWords
from tests.printed import (
    TYPED,
    a_lame_sheet,
    a_trim_sheet,
    empty_sheets,
    html_words,
    pdf_words,
)


def hidden(text: str) -> str:
    """Say a text in a language that has no letters, only places for values."""
    return re.sub(r"[A-Za-z]", "¤", text)


NO_LETTERS = SheetWords(language="x", say=hidden)


def everything(words: SheetWords) -> dict[str, str]:
    """Return what can be read on each kind of sheet."""
    trim, lame = a_trim_sheet(words), a_lame_sheet(words)
    no_trim, no_lame = empty_sheets(words)
    return {
        "trim html": html_words(trim_sheet_html(trim) + trim_sheet_html(no_trim)),
        "lame html": html_words(lame_sheet_html(lame) + lame_sheet_html(no_lame)),
        "trim pdf": pdf_words(trim_sheet_pdf(trim)) + pdf_words(trim_sheet_pdf(no_trim)),
        "lame pdf": pdf_words(lame_sheet_pdf(lame)) + pdf_words(lame_sheet_pdf(no_lame)),
    }


@pytest.mark.parametrize("font", ["of the machine", "of every reader"])
def test_only_what_people_typed_stands_there_in_letters(
    font: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    if font == "of every reader":
        monkeypatch.setattr(sheet_pdf, "_FONT_FILES", ())
    for kind, read in everything(NO_LETTERS).items():
        said = read
        for typed in TYPED:
            said = said.replace(typed, "")
        assert re.findall(r"[A-Za-z]{2,}", said) == [], kind


def test_what_people_typed_is_not_translated() -> None:
    read = everything(NO_LETTERS)
    for kind in ("trim html", "trim pdf"):
        for typed in (f": {TYPED[0]},", f" {TYPED[1]}, 2026-03-02", f" {TYPED[2]} ", TYPED[3]):
            assert typed in read[kind].replace("\n", " "), (kind, typed)


def test_sheets_say_which_language_they_are_in() -> None:
    assert '<html lang="x">' in trim_sheet_html(a_trim_sheet(NO_LETTERS))
    assert '<html lang="x">' in lame_sheet_html(a_lame_sheet(NO_LETTERS))
    assert b"/Lang (x)" in trim_sheet_pdf(a_trim_sheet(NO_LETTERS))
    assert '<html lang="en">' in trim_sheet_html(a_trim_sheet())
    assert b"/Lang (en)" in lame_sheet_pdf(a_lame_sheet())


def test_english_is_said_as_it_is() -> None:
    assert ENGLISH.fill("Cows: {0}, room for {1}", 3, 8) == "Cows: 3, room for 8"
    assert ENGLISH.columns("Cow | Lame since") == ("Cow", "Lame since")


def test_values_with_braces_are_filled_in_as_they_are() -> None:
    assert ENGLISH.fill("Score {0} by {1}, {2}", 4, "{0}", "x") == "Score 4 by {0}, x"


def test_the_reader_of_these_tests_reads_both_kinds_of_font(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for _ in range(2):
        read = pdf_words(trim_sheet_pdf(a_trim_sheet()))
        assert "1. Cow 0" in read
        assert "Zöe" in read
        assert "sole at the toe" in read
        monkeypatch.setattr(sheet_pdf, "_FONT_FILES", ())
