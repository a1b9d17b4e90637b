"""CSV: what is written is read back, and no cell is run as a formula."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait.errors import ExchangeError
from gait.exchange.csv_files import as_dicts, cell_text, guarded, read_csv, unguarded, write_csv

# What a cell may hold: anything but what no text file can carry.
texts = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), max_size=30)


@given(st.lists(st.lists(texts, min_size=3, max_size=3), max_size=8))
def test_any_text_comes_back_as_it_was_written(rows: list[list[str]]) -> None:
    header = ("a", "b", "c")
    written = write_csv(header, [dict(zip(header, row, strict=True)) for row in rows])
    read = [list(cells) for _, cells in read_csv(written.encode()).rows]
    # A row of blanks only is an empty line to every reader; it carries nothing.
    assert read == [row for row in rows if any(cell_text(c).strip() for c in row)]


@given(texts)
def test_no_text_cell_begins_like_a_formula(text: str) -> None:
    assert not guarded(text).startswith(("=", "+", "-", "@", "\t", "\r"))
    assert unguarded(guarded(text)) == text


@pytest.mark.parametrize("cell", ["=HYPERLINK(1)", "+1", "-1", "@SUM(A1)", "\t=1", "＝1"])
def test_formulas_are_written_behind_an_apostrophe(cell: str) -> None:
    assert f"'{cell}" in write_csv(["a"], [{"a": cell}])


def test_numbers_dates_and_truths_are_written_plainly() -> None:
    row = {
        "n": -1.5,
        "i": 3,
        "t": True,
        "d": date(2026, 3, 2),
        "at": datetime(2026, 3, 2, 14, 5, tzinfo=UTC),
        "none": None,
    }
    assert write_csv(list(row), [row]) == (
        "n,i,t,d,at,none\r\n-1.5,3,true,2026-03-02,2026-03-02T14:05:00.000000Z,\r\n"
    )


@pytest.mark.parametrize(
    "content",
    [
        "nr,gruppe\n0412,Färse\n".encode(),
        "nr,gruppe\n0412,Färse\n".encode("utf-8-sig"),
        "nr;gruppe\n0412;Färse\n".encode("cp1252"),
        "nr\tgruppe\n0412\tFärse\n".encode("utf-16"),
        b'"nr","gruppe"\r\n"0412","F\xc3\xa4rse"\r\n',
    ],
)
def test_lists_from_any_spreadsheet_are_read(content: bytes) -> None:
    assert list(as_dicts(read_csv(content))) == [(2, {"nr": "0412", "gruppe": "Färse"})]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "empty"),
        (b"  \n ", "empty"),
        (b"a,b\n1,\0", "not a CSV"),
        (bytes(range(1, 32)) * 40 + b"\xff\xfa\x81", "not a text file"),
        (b'a,b\n"1,2\n3,4\n', "quotation marks"),
    ],
)
def test_what_is_no_list_is_refused_in_words(content: bytes, message: str) -> None:
    with pytest.raises(ExchangeError, match=message):
        read_csv(content)


def test_line_numbers_are_those_of_the_file_despite_breaks_within_cells() -> None:
    table = read_csv('a,b\n\n1,"two\nlines"\n3,4\n')
    assert [line for line, _ in table.rows] == [3, 5]
