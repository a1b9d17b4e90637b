"""Colours and sizes: ink on paper, one blue scale for scores, orange for what wants attention."""

from __future__ import annotations

import html
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

import streamlit as st

from app.texts import said, shown, t
from gait.herd.people import is_named

INK, PAPER, BLUE, ORANGE, GREY = "#1d2a3a", "#fbfaf7", "#1f4e79", "#a34e00", "#565f6b"
SCORE_COLOURS = {1: "#dbe6f0", 2: "#a9c4dc", 3: "#6b98bf", 4: "#2f6596", 5: "#12304e"}
"""One hue from light to dark, so that prints and colour-blind eyes keep the order."""
SCORE_INK = {1: INK, 2: INK, 3: INK, 4: "#ffffff", 5: "#ffffff"}
STYLE = Path(__file__).resolve().parent / "look.css"


def apply() -> None:
    """Put the styles into the page."""
    st.html(f"<style>{STYLE.read_text(encoding='utf-8')}</style>")


def score_badge(score: int | None) -> str:
    """Return a score as a coloured number, HTML; a dash where there is none."""
    if score is None:
        return '<span class="score-badge none">–</span>'
    return (
        f'<span class="score-badge" style="background:{SCORE_COLOURS[score]};'
        f'color:{SCORE_INK[score]}">{score}</span>'
    )


def mark(text: str, *, urgent: bool = False) -> str:
    """Return a short remark as a rounded label, HTML."""
    return f'<span class="mark{" urgent" if urgent else ""}">{plain(text)}</span>'


def figures(found: Mapping[str, object]) -> str:
    """Return figures side by side, each under its label, HTML."""
    items = "".join(
        f"<div><dt>{plain(label)}</dt><dd>{plain(value)}</dd></div>"
        for label, value in found.items()
    )
    return f"<dl class='figures'>{items}</dl>"


def clock(at: datetime) -> str:
    """Return day and time as the farm's own clock shows them."""
    here = at.astimezone()
    return f"{shown(here)} {here:%H:%M}"


def person(who: str) -> str:
    """Return a name on record; in the person's language the word for who gave none."""
    return who if is_named(who) else t("person.unnamed")


def cautions(*sentences: str | None) -> str:
    """Return what to beware of with a cow, a line each, as HTML for st.html; None is nothing."""
    return "".join(f"<div class='caution'>{plain(said(c))}</div>" for c in sentences if c)


def plain(text: object) -> str:
    """Return text safe to stand in HTML."""
    return html.escape(str(text))


def literal(text: object) -> str:
    """Return text that Markdown shows letter by letter, with nothing in it taken as a sign."""
    return "".join(f"\\{c}" if c in "\\`*_{}[]()#+-.!|<>$:~^" else c for c in str(text))
