"""Sheets as PDF, A4 upright."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, cast

from gait.exchange import trim_guide as guide
from gait.exchange.foot_drawing import Drawing, guide_drawing
from gait.exchange.sheet_content import LameSheet, SheetCow, TrimSheet
from gait.exchange.sheet_html import FINDING_COLUMNS, drawing_of, legend
from gait.exchange.sheet_words import SheetWords
from gait.herd.feet import FEET

if TYPE_CHECKING:
    from fpdf import FPDF

_MARGIN, _PAGE_WIDTH, _PAGE_END = 12.0, 186.0, 283.0
_COW_HEIGHT, _NUMBER_HEIGHT = 70.0, 10.0
"""Of a cow without the lines of text below her number: with room to write, and without."""
_FONT = "sheet"
# A font with all letters, where the machine has one; else the letters every PDF reader knows.
_FONT_FILES = (
    ("/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf", "DejaVuSans-Bold.ttf"),
    ("/usr/share/fonts/truetype/liberation/LiberationSans-Regular.ttf", "LiberationSans-Bold.ttf"),
    ("/System/Library/Fonts/Supplemental/Arial.ttf", "Arial Bold.ttf"),
    ("C:/Windows/Fonts/arial.ttf", "arialbd.ttf"),
)


def trim_sheet_pdf(sheet: TrimSheet, *, made_at: datetime | None = None) -> bytes:
    """Return a trim sheet as PDF: foot diagrams, room for findings, guide and cautions.

    Parameters
    ----------
    sheet : TrimSheet
    made_at : datetime, optional
        Written into the file; now by default.
    """
    page = _Page(sheet, made_at)
    if not sheet.cows:
        page.words(sheet.words.say("No cow is on the list."))
    for cow in sheet.cows:
        _cow(page, cow, sheet.words)
    _guide(page, sheet.words.say)
    return page.done()


def lame_sheet_pdf(sheet: LameSheet, *, made_at: datetime | None = None) -> bytes:
    """Return the lame list as PDF."""
    page = _Page(sheet, made_at)
    if sheet.rows:
        page.table(sheet.header, sheet.rows, widths=(16, 15, 31, 24, 18, 26, 56))
    return page.done()


class _Page:
    """A PDF under way, begun with the title of a sheet; distances in millimetres."""

    def __init__(self, sheet: TrimSheet | LameSheet, made_at: datetime | None) -> None:
        from fpdf import FPDF

        self.pdf: FPDF = FPDF(format="A4")
        self.pdf.set_creation_date(made_at or datetime.now(UTC))
        self.pdf.set_title(sheet.title)
        self.pdf.set_lang(sheet.words.language)
        self.pdf.set_margins(_MARGIN, _MARGIN)
        self.pdf.set_auto_page_break(True, margin=297 - _PAGE_END)
        self.font, self.all_letters = "Helvetica", False
        for regular, bold in _FONT_FILES:
            if Path(regular).is_file() and Path(regular).with_name(bold).is_file():
                self.pdf.add_font(_FONT, fname=regular)
                self.pdf.add_font(_FONT, style="B", fname=Path(regular).with_name(bold))
                self.font, self.all_letters = _FONT, True
                break
        self.pdf.add_page()
        self.heading(sheet.title)
        self.words(sheet.subtitle)

    def text(self, words: str) -> str:
        """Return text in letters that the font has."""
        if self.all_letters:
            return words
        bare = unicodedata.normalize("NFKC", words)
        return "".join(_in_latin(letter) for letter in bare)

    def heading(self, words: str, size: float = 16) -> None:
        self.pdf.set_font(self.font, "B", size)
        self.pdf.multi_cell(
            0, size * 0.5, self.text(words), align="L", new_x="LMARGIN", new_y="NEXT"
        )

    def words(self, words: str, size: float = 10, *, bold: bool = False) -> None:
        if words:
            self.pdf.set_font(self.font, "B" if bold else "", size)
            self.pdf.multi_cell(
                0, size * 0.44, self.text(words), align="L", new_x="LMARGIN", new_y="NEXT"
            )

    def height(self, words: str, size: float, *, bold: bool = False) -> float:
        """Return how high :meth:`words` would stand."""
        self.pdf.set_font(self.font, "B" if bold else "", size)
        high = self.pdf.multi_cell(
            0, size * 0.44, self.text(words), align="L", dry_run=True, output="HEIGHT"
        )
        return cast("float", high)

    def table(
        self,
        header: Iterable[str],
        rows: Iterable[Iterable[str]],
        widths: tuple[int, ...],
        row_height: float = 5.0,
        size: float = 9,
    ) -> None:
        self.pdf.set_font(self.font, "", size)
        with self.pdf.table(
            col_widths=widths, line_height=row_height, text_align="LEFT", width=_PAGE_WIDTH
        ) as table:
            for cells in (header, *rows):
                row = table.row()
                for cell in cells:
                    row.cell(self.text(cell))

    def draw(self, drawing: Drawing, x: float, y: float, width: float) -> None:
        """Draw with the upper left corner at (x, y), so many millimetres wide."""
        scale = width / drawing.width

        def put(points: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
            return [(x + px * scale, y + py * scale) for px, py in points]

        self.pdf.set_line_width(0.25)
        self.pdf.set_fill_color(221)
        for points in drawing.shaded:
            self.pdf.polygon(put(points), style="F")
        self.pdf.set_fill_color(255)
        for points in drawing.outlines:
            self.pdf.polygon(put(points))
        for points in drawing.lines:
            self.pdf.polyline(put(points))
        self.pdf.set_dash_pattern(dash=1, gap=0.8)
        for points in drawing.dashed:
            self.pdf.polyline(put(points))
        self.pdf.set_dash_pattern()
        self.pdf.set_font(self.font, "", 21 * scale)
        for text, (px, py) in drawing.letters:
            left = x + px * scale - self.pdf.get_string_width(self.text(text)) / 2
            self.pdf.text(left, y + (py + 3) * scale, self.text(text))

    def done(self) -> bytes:
        return bytes(self.pdf.output())


def _in_latin(letter: str) -> str:
    if letter.encode("latin-1", errors="ignore"):
        return letter
    bare = unicodedata.normalize("NFKD", letter).encode("latin-1", errors="ignore")
    return bare.decode("latin-1") or "?"


def _cow(page: _Page, cow: SheetCow, words: SheetWords) -> None:
    texts = [(f"{cow.reason}: {cow.why}", 10, False), (" · ".join(cow.facts), 9, False)]
    texts += [(caution, 9, True) for caution in cow.cautions]
    texts += [(cow.state, 10, True)] if cow.state else []
    height = _NUMBER_HEIGHT if cow.state else _COW_HEIGHT
    height += sum(page.height(text, size, bold=bold) for text, size, bold in texts)
    if page.pdf.get_y() + height > _PAGE_END:
        page.pdf.add_page()
    page.pdf.set_line_width(0.5)
    top = page.pdf.get_y() + 1.5
    page.pdf.line(_MARGIN, top, _MARGIN + _PAGE_WIDTH, top)
    page.pdf.set_y(top + 1.5)
    page.heading(f"{cow.place}. {words.say('Cow')} {cow.number}", 13)
    for text, size, bold in texts:
        page.words(text, size, bold=bold)
    if not cow.state:
        _room(page, words)


def _room(page: _Page, words: SheetWords) -> None:
    """Draw the feet, and below them the lines to write on."""
    top, width = page.pdf.get_y() + 1, 32.0
    low = top
    for place, name in enumerate(FEET.values()):
        left, foot = _MARGIN + 7 + place * 47, drawing_of(name, words.say)
        page.draw(foot, left, top, width)
        low = top + width * foot.height / foot.width
        page.pdf.set_font(page.font, "", 8)
        page.pdf.set_xy(left, low)
        page.pdf.cell(width, 3.5, page.text(words.say(name)), align="C")
    page.pdf.set_xy(_MARGIN, low + 4.5)
    columns = words.columns(FINDING_COLUMNS)
    blank = [[" "] * len(columns)] * 3
    page.table(columns, blank, (24, 16, 38, 20, 20, 16, 19, 33), row_height=5.5, size=7.5)


def _guide(page: _Page, say: Callable[[str], str]) -> None:
    page.pdf.add_page()
    page.words(legend(say), 9)
    page.heading(say(guide.TITLE), 14)
    page.words(say(guide.SOURCE_LINE), 9)
    for step in guide.STEPS:
        low = top = page.pdf.get_y() + 2
        page.pdf.set_y(top)
        if step.picture:
            picture = guide_drawing(step.picture).said(say)
            page.draw(picture, _MARGIN, top, 34)
            low = top + 34 * picture.height / picture.width + 1
        page.pdf.set_left_margin(_MARGIN + 38)
        page.pdf.set_x(_MARGIN + 38)
        page.heading(say(step.heading), 11)
        page.words(say(step.text), 9.5)
        page.pdf.set_left_margin(_MARGIN)
        page.pdf.set_y(max(page.pdf.get_y(), low))
    page.heading(say("Cautions"), 12)
    for caution in guide.CAUTIONS:
        page.words(f"- {say(caution)}", 9.5)
