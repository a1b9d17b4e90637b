"""Show one pass: film, still, traces, proposal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import altair as alt
import pandas as pd
import streamlit as st

from app import session
from app.parts import look, player
from app.texts import t
from gait.filing import read_traces
from gait.herd.records import PassRecord

LEGS = ("near_fore", "near_hind", "far_fore", "far_hind")


def heading(record: PassRecord) -> None:
    """Say which cow walks here, when, and from which film."""
    summary = record.summary
    name = t("pass.cow", cow=summary.cow) if summary.cow else t("pass.cow_not_named")
    st.subheader(look.literal(name))
    parts = [f"{summary.observed_at:%Y-%m-%d %H:%M}"]
    if record.clip is not None:
        parts.append(record.clip.name)
        parts.append(t("pass.seconds", start=f"{record.start_s:.1f}", end=f"{record.end_s:.1f}"))
    st.caption(look.literal(" · ".join(parts)))


def film(record: PassRecord) -> None:
    """Play the film with everything drawn in; a photo or lost film gives the still instead."""
    path = record.files.get("film")
    if path and (session.folder() / path).is_file():
        fps = float((record.clip.info if record.clip else {}).get("fps") or 25.0)
        player.film(session.folder() / path, key=str(record.summary.pass_id), fps=fps)
    elif "still" not in record.files:
        st.info(t("pass.no_film"))


def still(record: PassRecord) -> None:
    """Show the still with the back drawn against a straight line."""
    path = record.files.get("still")
    if path and (session.folder() / path).is_file():
        st.image(str(session.folder() / path), caption=t("pass.still"), width="stretch")


def proposal(record: PassRecord) -> None:
    """Show the proposed score with its confidence, plausible run and reasons."""
    found = record.proposal
    if found is None or found.get("value") is None:
        st.markdown(f"**{t('pass.no_proposal')}**")
        for problem in record.problems:
            st.write(look.literal(problem))
        return
    run = found["plausible"]
    span = t("pass.plausible_one") if len(run) == 1 else t(
        "pass.plausible", low=run[0], high=run[-1])  # fmt: skip
    st.html(
        f"<div class='cow-line'>{look.score_badge(found['value'])}<span><b>"
        f"{look.plain(t('pass.proposed'))}</b><br><span class='quiet'>"
        f"{look.plain(t('pass.sure', share=round(100 * found['confidence'])))} · "
        f"{look.plain(span)}</span></span></div>"
        f"<ul class='reasons'>{''.join(f'<li>{look.plain(r)}</li>' for r in found['reasons'][:4])}"
        "</ul>"
    )
    probabilities(found["probabilities"])
    for problem in record.problems:
        st.caption(look.literal(problem))


def probabilities(chances: list[float]) -> None:
    """Draw the probability of each score as one bar cut into five."""
    table = pd.DataFrame({"score": [str(s) for s in range(1, 6)], "share": chances})
    table["end"] = table["share"].cumsum()
    table["start"] = table["end"] - table["share"]
    table["middle"] = (table["start"] + table["end"]) / 2
    table["ink"] = list(look.SCORE_INK.values())
    table["percent"] = [f"{100 * c:.0f} %" for c in chances]
    wide = alt.datum.share > 0.07
    base = alt.Chart(table).encode(
        tooltip=[alt.Tooltip("score:N", title=t("pass.score")),
                 alt.Tooltip("percent:N", title=t("pass.probability"))])  # fmt: skip
    bars = base.mark_bar(stroke=look.PAPER, strokeWidth=1, height=26).encode(
        x=alt.X("start:Q", axis=None, scale=alt.Scale(domain=[0, 1])),
        x2="end:Q",
        color=alt.Color("score:N", legend=None, scale=alt.Scale(
            domain=list(table["score"]), range=list(look.SCORE_COLOURS.values()))),
    )  # fmt: skip
    numbers = base.transform_filter(wide).mark_text(fontWeight="bold", fontSize=13).encode(
        x="middle:Q", text="score:N", color=alt.Color("ink:N", scale=None))  # fmt: skip
    percents = base.transform_filter(wide).mark_text(dy=24, fontSize=11, color=look.GREY).encode(
        x="middle:Q", text="percent:N")  # fmt: skip
    chart = (bars + numbers + percents).properties(
        height=56, title=alt.Title(t("pass.chances"), fontSize=12, anchor="start"))  # fmt: skip
    st.altair_chart(chart.configure_view(stroke=None), width="stretch")


def traces(record: PassRecord) -> None:
    """Draw the head over the strides and the time each hoof is on the floor."""
    found = read_traces(session.folder(), record.files)
    if found is None:
        st.caption(t("pass.no_traces"))
        return
    head = pd.DataFrame({"time": found["time_s"], "head": found["head_pct"]}).dropna()
    if len(head) > 1:
        st.altair_chart(_head_chart(head), width="stretch")
        st.caption(t("pass.head_text"))
    spans = hoof_spans(found)
    if len(spans):
        st.altair_chart(_hoof_chart(spans), width="stretch")
        st.caption(t("pass.hoof_text"))


def hoof_spans(found: Mapping[str, Any]) -> pd.DataFrame:
    """Return one row a hoof contact with known ends (an end out of view is the film's)."""
    first, last = found["time_s"][0], found["time_s"][-1]
    rows = [
        {
            "leg": t(f"leg.{leg}"),
            "side": t("leg.near") if leg.startswith("near") else t("leg.far"),
            "from": first if on is None else on,
            "to": last if off is None else off,
        }
        for leg in LEGS
        for on, off in found["hooves"].get(leg, ())
    ]
    return pd.DataFrame(rows)


def _head_chart(head: pd.DataFrame) -> alt.Chart:
    return (
        alt.Chart(head)
        .mark_line(color=look.BLUE, strokeWidth=2)
        .encode(
            x=alt.X("time:Q", title=t("pass.time_s")),
            y=alt.Y("head:Q", title=t("pass.head_axis"), scale=alt.Scale(zero=False)),
        )
        .properties(height=170, title=t("pass.head_title"))
    )


def _hoof_chart(spans: pd.DataFrame) -> alt.Chart:
    return (
        alt.Chart(spans)
        .mark_bar(height=16)
        .encode(
            x=alt.X("from:Q", title=t("pass.time_s"), scale=alt.Scale(zero=False)),
            x2="to:Q",
            y=alt.Y("leg:N", title=None, sort=[t(f"leg.{leg}") for leg in LEGS]),
            color=alt.Color("side:N", legend=None, scale=alt.Scale(
                domain=[t("leg.near"), t("leg.far")], range=[look.ORANGE, look.BLUE])),
        )
        .properties(height=130, title=t("pass.hoof_title"))
    )  # fmt: skip
