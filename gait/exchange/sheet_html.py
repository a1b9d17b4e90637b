"""Sheets as one HTML page that prints well and loads nothing from anywhere."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from html import escape

from gait.exchange import trim_guide as guide
from gait.exchange.foot_drawing import (
    LETTERS,
    Drawing,
    Point,
    foot_from_below,
    guide_drawing,
)
from gait.exchange.sheet_content import LameSheet, SheetCow, TrimSheet
from gait.exchange.sheet_words import SheetWords
from gait.herd.feet import FEET, ZONES

_STYLE = """
body{font:12pt/1.35 sans-serif;color:#111;margin:12mm;max-width:190mm}
h1{font-size:18pt;margin:0}h2{font-size:13pt;margin:4mm 0 1mm}p{margin:1mm 0}
.cow{border-top:2px solid #111;padding:3mm 0;break-inside:avoid}
.number{font-size:16pt;font-weight:bold}.caution{font-weight:bold}
.feet{display:flex;gap:3mm}.feet figure{margin:0;flex:1;text-align:center}
.feet svg{width:100%}figcaption{font-size:9pt}
.room{width:100%;border-collapse:collapse}.room th{font-size:8pt;text-align:left}
.room td{border:1px solid #777;height:8mm}
table.list{width:100%;border-collapse:collapse}
table.list th,table.list td{border-bottom:1px solid #777;text-align:left;padding:1mm 2mm}
.date{white-space:nowrap}
.guide{break-before:page}
.step{display:flex;gap:4mm;break-inside:avoid}.step svg{width:30mm;flex:none}
@page{size:A4;margin:12mm}@media print{body{margin:0}}
"""
FINDING_COLUMNS = (
    "Foot, claw | Zone | Finding | Toe, mm | Sole, mm | Block on | Bandage | Next, recheck"
)


def drawing_svg(drawing: Drawing, label: str) -> str:
    """Return a drawing as an inline SVG with a label for those who cannot see it."""

    def path(points: Iterable[Point]) -> str:
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)

    parts = [f'<polygon points="{path(p)}" fill="#ddd"/>' for p in drawing.shaded]
    parts += [f'<polygon points="{path(p)}" fill="none"/>' for p in drawing.outlines]
    parts += [f'<polyline points="{path(p)}" fill="none"/>' for p in drawing.lines]
    parts += [
        f'<polyline points="{path(p)}" fill="none" stroke-dasharray="3 2"/>' for p in drawing.dashed
    ]
    parts += [
        f'<text x="{x:.1f}" y="{y + 3:.1f}" text-anchor="middle" font-size="7.5" stroke="none">'
        f"{escape(text)}</text>"
        for text, (x, y) in drawing.letters
    ]
    return (
        f'<svg viewBox="0 0 {drawing.width:g} {drawing.height:g}" role="img" '
        f'aria-label="{escape(label)}" '
        f'stroke="#111" stroke-width="1">{"".join(parts)}</svg>'
    )


def trim_sheet_html(sheet: TrimSheet) -> str:
    """Return a trim sheet with foot diagrams, room for findings, guide and cautions."""
    words = sheet.words
    cows = "".join(_cow(cow, words) for cow in sheet.cows)
    nobody = "" if cows else f"<p>{escape(words.say('No cow is on the list.'))}</p>"
    return _page(
        sheet.title,
        f"<h1>{escape(sheet.title)}</h1><p>{escape(sheet.subtitle)}</p>{cows}{nobody}"
        f"{_guide(words.say)}",
        words.language,
    )


def _cow(cow: SheetCow, words: SheetWords) -> str:
    cautions = "".join(f'<p class="caution">{escape(c)}</p>' for c in cow.cautions)
    below = f"<p><b>{escape(cow.state)}</b></p>" if cow.state else _room(words)
    return (
        f'<section class="cow"><p><span class="number">{cow.place}. {escape(words.say("Cow"))} '
        f"{escape(cow.number)}</span> {escape(cow.reason)}: {escape(cow.why)}</p>"
        f"<p>{escape(' · '.join(cow.facts))}</p>{cautions}{below}</section>"
    )


def _room(words: SheetWords) -> str:
    """Return the feet to draw into and the lines to write on."""
    feet = "".join(_foot(name, words) for name in FEET.values())
    columns = words.columns(FINDING_COLUMNS)
    header = "".join(f"<th>{escape(c)}</th>" for c in columns)
    blank = "<tr>" + "<td></td>" * len(columns) + "</tr>"
    return f'<div class="feet">{feet}</div><table class="room"><tr>{header}</tr>{blank * 3}</table>'


def _foot(name: str, words: SheetWords) -> str:
    said = words.say(name)
    svg = drawing_svg(drawing_of(name, words.say), words.fill("{0} foot from below", said))
    return f"<figure>{svg}<figcaption>{escape(said)}</figcaption></figure>"


def drawing_of(foot: str, say: Callable[[str], str]) -> Drawing:
    """Return the drawing of a foot by its English name, such as "left front"."""
    return foot_from_below("left" if foot.startswith("left") else "right").said(say)


def legend(say: Callable[[str], str]) -> str:
    """Return the letters of the zones and what they mean, as one line."""
    zones = ", ".join(f"{letter} {say(ZONES[zone])}" for zone, letter in LETTERS.items())
    return f"{say('Zones')}: {zones}"


def _guide(say: Callable[[str], str]) -> str:
    steps = "".join(_step(step, say) for step in guide.STEPS)
    cautions = "".join(f"<li>{escape(say(c))}</li>" for c in guide.CAUTIONS)
    return (
        f'<section class="guide"><p>{escape(legend(say))}</p><h1>{escape(say(guide.TITLE))}</h1>'
        f"<p>{escape(say(guide.SOURCE_LINE))}</p>{steps}<h2>{escape(say('Cautions'))}</h2>"
        f"<ul>{cautions}</ul></section>"
    )


def _step(step: guide.Step, say: Callable[[str], str]) -> str:
    heading = say(step.heading)
    picture = drawing_svg(guide_drawing(step.picture).said(say), heading) if step.picture else ""
    text = f"<div><h2>{escape(heading)}</h2><p>{escape(say(step.text))}</p></div>"
    return f'<div class="step">{picture}{text}</div>'


def lame_sheet_html(sheet: LameSheet) -> str:
    """Return the lame list as a page to print."""
    header = "".join(f"<th>{escape(h)}</th>" for h in sheet.header)
    rows = "".join(
        "<tr>" + "".join(f"<td>{_whole_dates(cell)}</td>" for cell in row) + "</tr>"
        for row in sheet.rows
    )
    table = f'<table class="list"><tr>{header}</tr>{rows}</table>' if sheet.rows else ""
    return _page(
        sheet.title,
        f"<h1>{escape(sheet.title)}</h1><p>{escape(sheet.subtitle)}</p>{table}",
        sheet.words.language,
    )


def _whole_dates(cell: str) -> str:
    """Escape a cell's text and keep its dates from being broken at their hyphens."""
    return re.sub(r"\d{4}-\d\d-\d\d", r'<span class="date">\g<0></span>', escape(cell))


def _page(title: str, body: str, language: str) -> str:
    return (
        f'<!doctype html><html lang="{escape(language)}"><head><meta charset="utf-8">'
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head><body>{body}</body></html>"
    )
