"""Show one pass: film, still, traces, measures, proposal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import altair as alt
import pandas as pd
import streamlit as st

from app import session
from app.parts import look
from app.texts import t
from gait.filing import read_traces
from gait.herd.records import PassRecord

NAMES = ("back_arch", "head_bob_a1_pct", "step_time_asymmetry_pct", "stance_time_asymmetry_pct",
         "tracking_up_pct", "stride_length_bl", "stride_duration_s", "speed_bl_s",
         "triple_support_pct", "stance_share_pct", "head_height_ratio")  # fmt: skip
LEGS = ("near_hind", "near_fore", "far_hind", "far_fore")


def film(record: PassRecord) -> None:
    """Play the film with everything drawn in; fall back on the still."""
    folder, files = session.folder(), record.files
    slow = st.toggle(t("pass.slow"), key=f"slow_{record.summary.pass_id}")
    path = files.get("slow") if slow and "slow" in files else files.get("film")
    if path and (folder / path).is_file():
        st.video(str(folder / path), loop=True, autoplay=True, muted=True, alt=t("pass.film_alt"))
    still(record)


def still(record: PassRecord) -> None:
    """Show the still with the back drawn against a straight line."""
    path = record.files.get("still")
    if path and (session.folder() / path).is_file():
        st.image(str(session.folder() / path), caption=t("pass.still"))


def proposal(record: PassRecord) -> None:
    """Show the proposed score with its confidence, plausible run and reasons."""
    found = record.proposal
    if found is None:
        st.info(" ".join(record.problems) or t("pass.no_proposal"))
        return
    run = found["plausible"]
    st.html(
        f"<div>{look.score_badge(found['value'])} "
        f"<span class='quiet'>{t('pass.sure', share=round(100 * found['confidence']))} · "
        f"{t('pass.plausible', low=run[0], high=run[-1])}</span></div>"
    )
    probabilities(found["probabilities"])
    for reason in found["reasons"]:
        st.write(f"- {reason}")
    for problem in record.problems:
        st.caption(problem)


def probabilities(chances: list[float]) -> None:
    """Draw the probability of each score as bars."""
    table = pd.DataFrame({"score": [1, 2, 3, 4, 5], "share": chances})
    table["text"] = [f"{100 * c:.0f} %" for c in chances]
    base = alt.Chart(table).encode(
        x=alt.X("score:O", title=t("pass.score"), axis=alt.Axis(labelAngle=0)),
        y=alt.Y("share:Q", title=None, axis=None, scale=alt.Scale(domain=[0, 1.1])),
    )
    colour = alt.Color(
        "score:O",
        scale=alt.Scale(domain=list(look.SCORE_COLOURS), range=list(look.SCORE_COLOURS.values())),
        legend=None,
    )
    bars = base.mark_bar(stroke=look.INK, strokeWidth=0.5).encode(color=colour)
    labels = base.mark_text(dy=-8, color=look.INK).encode(text="text:N")
    st.altair_chart((bars + labels).properties(height=130), width="stretch")


def traces(record: PassRecord) -> None:
    """Draw the head over the strides and the time each hoof is on the floor."""
    found = read_traces(session.folder(), record.files)
    if found is None:
        st.caption(t("pass.no_traces"))
        return
    head = pd.DataFrame({"time": found["time_s"], "head": found["head_pct"]}).dropna()
    if len(head) > 1:
        st.altair_chart(_head_chart(head), width="stretch")
    spans = hoof_spans(found)
    if len(spans):
        st.altair_chart(_hoof_chart(spans), width="stretch")


def hoof_spans(found: Mapping[str, Any]) -> pd.DataFrame:
    """Return one row a hoof contact with known ends (an end out of view is the film's)."""
    first, last = found["time_s"][0], found["time_s"][-1]
    rows = [
        {
            "leg": t(f"leg.{leg}"),
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
        .mark_bar(color=look.INK, height=14)
        .encode(
            x=alt.X("from:Q", title=t("pass.time_s"), scale=alt.Scale(zero=False)),
            x2="to:Q",
            y=alt.Y("leg:N", title=None, sort=[t(f"leg.{leg}") for leg in LEGS]),
        )
        .properties(height=130, title=t("pass.hoof_title"))
    )


def measures(record: PassRecord) -> None:
    """List every measure with its error, or the reason why there is none."""
    rows = []
    for name in NAMES:
        m = record.measures.get(name)
        if m is None:
            continue
        rows.append({t("pass.measure"): t(f"measure.{name}"), t("pass.value"): value_text(m)})
    if rows:
        st.table(pd.DataFrame(rows).set_index(t("pass.measure")))


def value_text(measure: Mapping[str, Any]) -> str:
    """Return a measure as people read it: value, give or take, unit; or the reason."""
    if measure.get("value") is None:
        return str(measure.get("reason") or t("pass.not_measured"))
    unit = "" if measure["unit"] in ("1", "") else f" {measure['unit']}"
    return f"{measure['value']:.2f} ± {1.645 * measure['se']:.2f}{unit}"
