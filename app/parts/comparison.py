"""Each measure of a pass against this cow's own past and against the herd."""

from __future__ import annotations

import math

import altair as alt
import pandas as pd
import streamlit as st

from app import session
from app.parts import look
from app.texts import decimals, said, t
from gait.comparison import Against, compare_pass
from gait.herd.records import PassRecord
from gait.statistics.spread import TWO_SIDED_90, figures

UNITS = {"1": "", "": "", "bl": "", "bl/s": "", "%": " %", "s": " s"}


def show(record: PassRecord) -> None:
    """Draw where the measures stand and list them."""
    lines = compare_pass(session.store(), record)
    if not lines:
        st.caption(t("compare.nothing"))
        return
    placed = [line for line in lines if math.isfinite(line.place)]
    if placed:
        st.markdown(f"**{t('compare.title')}**")
        st.altair_chart(_chart(placed), width="stretch")
        st.caption(t("compare.text", walks=max(line.herd_walks for line in placed)))
    else:
        st.caption(t("compare.too_few"))
    st.table(_table(lines))
    _missing(lines)


def _missing(lines: list[Against]) -> None:
    """Say why measures are missing, each reason once."""
    reasons: dict[str, list[str]] = {}
    for line in lines:
        if line.reason and not math.isfinite(line.value):
            reasons.setdefault(line.reason, []).append(t(f"measure.{line.name}"))
    for reason, names in reasons.items():
        text = t("compare.why", measures=", ".join(names), reason=said(reason))
        st.caption(look.literal(text))


def value_text(line: Against) -> str:
    """Return a measure as people read it: value, give or take, unit."""
    if not math.isfinite(line.value):
        return t("pass.not_measured")
    unit = UNITS.get(line.unit, " %" if line.unit.startswith("%") else f" {line.unit}")
    spread = f" ± {figures(TWO_SIDED_90 * line.se, line.se)}" if math.isfinite(line.se) else ""
    return decimals(f"{figures(line.value, line.se)}{spread}") + unit


def _table(lines: list[Against]) -> pd.DataFrame:
    rows = [
        {
            t("compare.measure"): t(f"measure.{line.name}"),
            t("compare.now"): look.literal(value_text(line)),
            t("compare.own"): _short(line.own_median, line.se),
            t("compare.herd"): _short(line.herd_median, line.se),
            t("compare.sound"): _short(line.sound, line.se),
        }
        for line in lines
    ]
    return pd.DataFrame(rows).set_index(t("compare.measure"))


def _short(value: float, se: float) -> str:
    return decimals(figures(value, se)) if math.isfinite(value) else "–"


def _chart(lines: list[Against]) -> alt.LayerChart:
    names = [t(f"measure.{line.name}") for line in lines]
    now = pd.DataFrame(
        [
            {"measure": n, "place": x.place, "low": x.place_low, "high": x.place_high,
             "value": value_text(x)}
            for n, x in zip(names, lines, strict=True)
        ]
    )  # fmt: skip
    past = pd.DataFrame(
        [
            {"measure": n, "place": p}
            for n, x in zip(names, lines, strict=True)
            for p in x.own_places
            if math.isfinite(p)
        ],
        columns=["measure", "place"],
    )
    y = alt.Y("measure:N", title=None, sort=names, axis=alt.Axis(labelLimit=170))
    scale = alt.Scale(domain=[0, 100])
    axis = alt.Axis(values=[0, 25, 50, 75, 100], labelExpr=_ends(), grid=False)
    x = alt.X("place:Q", title=None, scale=scale, axis=axis)
    band = alt.Chart(pd.DataFrame({"a": [25], "b": [75]})).mark_rect(color="#e3ddd0").encode(
        x=alt.X("a:Q", scale=scale, axis=axis, title=None), x2="b:Q")  # fmt: skip
    own = alt.Chart(past).mark_tick(color=look.BLUE, thickness=2, height=14, opacity=0.7).encode(
        x=x, y=y)  # fmt: skip
    span = alt.Chart(now).mark_rule(color=look.ORANGE, strokeWidth=3).encode(
        x=alt.X("low:Q", scale=scale, axis=axis, title=None), x2="high:Q", y=y)  # fmt: skip
    here = alt.Chart(now).mark_point(
        shape="diamond", filled=True, size=130, color=look.ORANGE, opacity=1
    ).encode(
        x=x, y=y, tooltip=[alt.Tooltip("measure:N", title=t("compare.measure")),
                           alt.Tooltip("value:N", title=t("compare.now"))])  # fmt: skip
    return alt.layer(band, own, span, here).properties(height=alt.Step(28))


def _ends() -> str:
    left, middle, right = (
        t(f"compare.{w}").replace("'", "") for w in ("sound_end", "middle", "lame_end")
    )
    return (f"datum.value == 0 ? '{left}' : datum.value == 50 ? '{middle}' : "
            f"datum.value == 100 ? '{right}' : ''")  # fmt: skip
