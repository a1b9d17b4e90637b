"""Colours and sizes: ink on paper, one blue scale for scores, orange for what wants attention."""

from __future__ import annotations

import html

import streamlit as st

INK, PAPER, BLUE, ORANGE, GREY = "#1d2a3a", "#fbfaf7", "#1f4e79", "#a34e00", "#5b6470"
SCORE_COLOURS = {1: "#dbe6f0", 2: "#a9c4dc", 3: "#6b98bf", 4: "#2f6596", 5: "#12304e"}
"""One hue from light to dark, so that prints and colour-blind eyes keep the order."""
SCORE_INK = {1: INK, 2: INK, 3: INK, 4: "#ffffff", 5: "#ffffff"}

_STYLE = """
<style>
.block-container {padding-top: 2.6rem; padding-bottom: 4rem; max-width: 1180px;}
button[kind], [data-testid="stBaseButton-segmented_control"] {min-height: 3rem;}
.score-badge {display: inline-block; min-width: 2.4rem; padding: .1rem .5rem; border-radius: .4rem;
  font-weight: 700; font-size: 1.5rem; text-align: center;}
.big-number {font-size: 2.2rem; font-weight: 700; line-height: 1.1;}
.quiet {color: #5b6470;}
@media (max-width: 640px) {.block-container {padding-left: .8rem; padding-right: .8rem;}
  button[kind] {min-height: 3.4rem; font-size: 1.1rem;}}
@media print {[data-testid="stSidebar"], header, button {display: none !important;}}
</style>
"""


def apply() -> None:
    """Put the styles into the page."""
    st.html(_STYLE)


def score_badge(score: int | None) -> str:
    """Return a score as a coloured number, HTML; a dash where there is none."""
    if score is None:
        return '<span class="score-badge" style="border:1px dashed #5b6470">–</span>'
    return (
        f'<span class="score-badge" style="background:{SCORE_COLOURS[score]};'
        f'color:{SCORE_INK[score]}">{score}</span>'
    )


def plain(text: str) -> str:
    """Return text safe to stand in HTML."""
    return html.escape(text)
