"""Colours and sizes: ink on paper, one blue scale for scores, orange for what wants attention."""

from __future__ import annotations

import html

import streamlit as st

INK, PAPER, BLUE, ORANGE, GREY = "#1d2a3a", "#fbfaf7", "#1f4e79", "#a34e00", "#565f6b"
LINE = "#cfc9bb"
SCORE_COLOURS = {1: "#dbe6f0", 2: "#a9c4dc", 3: "#6b98bf", 4: "#2f6596", 5: "#12304e"}
"""One hue from light to dark, so that prints and colour-blind eyes keep the order."""
SCORE_INK = {1: INK, 2: INK, 3: INK, 4: "#ffffff", 5: "#ffffff"}

_STYLE = """
<style>
.block-container {padding-top: 3.2rem; padding-bottom: 4rem; max-width: 1180px;}
.block-container h1 {font-size: 1.9rem; padding: 0 0 .3rem;}
.block-container h2 {font-size: 1.35rem; padding: 1rem 0 .2rem;}
.block-container h3 {font-size: 1.1rem; padding: .6rem 0 .1rem;}
button[kind^="secondary"], button[kind^="primary"], [data-testid="stPageLink-NavLink"]
  {min-height: 3rem;}
button:focus-visible, a:focus-visible, input:focus-visible {outline: 3px solid #a34e00 !important;
  outline-offset: 2px;}
[data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] p, .quiet {color: #565f6b;
  opacity: 1;}
.score-badge {display: inline-block; min-width: 2.6rem; padding: .05rem .5rem; border-radius: .45rem;
  font-weight: 700; font-size: 1.6rem; line-height: 2.4rem; text-align: center;
  border: 1px solid #12304e;}
.score-badge.none {border: 1px dashed #565f6b; color: #565f6b;}
.big-number {font-size: 2.1rem; font-weight: 700; line-height: 1.15;}
.cow-line {display: flex; align-items: center; gap: .8rem; flex-wrap: wrap;}
.mark {display: inline-block; border: 1px solid #565f6b; border-radius: 1rem; padding: 0 .6rem;
  font-size: .85rem; color: #1d2a3a; background: #efece4;}
.mark.urgent {background: #a34e00; border-color: #a34e00; color: #ffffff;}
.reasons {margin: .3rem 0 .6rem 1.1rem; padding: 0;} .reasons li {margin: .15rem 0;}
[class*="_scores_"] button {justify-content: flex-start; text-align: left; min-height: 3.4rem;
  line-height: 1.25; padding: .45rem .8rem;}
[class*="_scores_"] button p {text-align: left; white-space: normal;}
[class*="_scores_"] button > div {justify-content: flex-start;}
[class*="_scores_"] [data-testid="stVerticalBlock"] {gap: .45rem;}
@media (max-width: 640px) {
  .block-container {padding-left: .8rem; padding-right: .8rem; padding-top: 3.4rem;}
  button[kind^="secondary"], button[kind^="primary"] {min-height: 3.4rem; font-size: 1.05rem;}}
@media print {[data-testid="stSidebar"], header, button {display: none !important;}}
</style>
"""


def apply() -> None:
    """Put the styles into the page."""
    st.html(_STYLE)


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


def plain(text: object) -> str:
    """Return text safe to stand in HTML."""
    return html.escape(str(text))


def literal(text: object) -> str:
    """Return text that Markdown shows letter by letter, with nothing in it taken as a sign."""
    return "".join(f"\\{c}" if c in "\\`*_{}[]()#+-.!|<>$:~^" else c for c in str(text))
