"""Charts that explain themselves, in ink and one blue, readable in print."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

import altair as alt
import pandas as pd

from app.parts import look
from app.texts import day_format, decimals, has, t
from gait.herd.figures import Period
from gait.herd.records import Score, Trim
from gait.statistics.prevalence import Share


def trend(periods: Sequence[Period]) -> alt.LayerChart:
    """Draw the share of lame cows over the year with its interval; severe ones below."""
    what = {"lame": t("chart.lame"), "severe": t("chart.severe")}
    rows = [
        {"day": pd.Timestamp(p.start), "share": share.value, "low": share.low, "high": share.high,
         "what": what[name], "cows": share.total,
         "text": f"{100 * share.value:.0f} % ({100 * share.low:.0f}–{100 * share.high:.0f})"}
        for p in periods
        for name, share in (("lame", p.lame), ("severe", p.severe))
        if share.total
    ]  # fmt: skip
    colours = alt.Scale(domain=list(what.values()), range=[look.BLUE, look.ORANGE])
    base = alt.Chart(pd.DataFrame(rows)).encode(
        x=alt.X("day:T", title=None, axis=alt.Axis(format="%m/%Y", tickCount=6, grid=False)),
        color=alt.Color("what:N", title=None, scale=colours, legend=None),
    )
    y = alt.Y("low:Q", title=t("chart.lame_share"), axis=_PERCENT)
    band = base.transform_filter(alt.datum.what == what["lame"]).mark_area(opacity=0.2)
    bars = base.transform_filter(alt.datum.what == what["severe"]).mark_rule(opacity=0.7)
    line = base.mark_line(point=alt.OverlayMarkDef(size=45, opacity=1)).encode(
        y="share:Q",
        strokeDash=alt.StrokeDash(
            "what:N", title=None, legend=alt.Legend(orient="top", labelLimit=250),
            scale=alt.Scale(domain=list(what.values()), range=[[1, 0], [5, 3]]),
        ),
        tooltip=[
            alt.Tooltip("day:T", title=t("chart.from_day"), format=day_format()),
            alt.Tooltip("what:N", title=t("chart.what")),
            alt.Tooltip("text:N", title=t("chart.share")),
            alt.Tooltip("cows:Q", title=t("chart.cows")),
        ],
    )  # fmt: skip
    return alt.layer(band.encode(y=y, y2="high:Q"), bars.encode(y=y, y2="high:Q"), line).properties(
        height=320
    )


def shares(groups: Mapping[str, Share]) -> alt.LayerChart:
    """Draw the share of lame cows of each group as a point with its interval."""
    rows = [
        {"group": f"{_group(group)} ({share.total})", "share": share.value, "low": share.low,
         "high": share.high,
         "text": f"{100 * share.value:.0f} % ({100 * share.low:.0f}–{100 * share.high:.0f})"}
        for group, share in groups.items()
        if share.total
    ]  # fmt: skip
    # The order is said as a list: charts of several layers forget "as they come" (sort=None).
    order = [row["group"] for row in rows]
    y = alt.Y("group:N", title=None, sort=order, axis=alt.Axis(labelLimit=190))
    base = alt.Chart(pd.DataFrame(rows)).encode(
        y=y, tooltip=[alt.Tooltip("group:N", title=t("chart.what")),
                      alt.Tooltip("text:N", title=t("chart.share"))])  # fmt: skip
    x = alt.X("low:Q", title=t("chart.lame_share"), axis=_PERCENT)
    rule = base.mark_rule(color=look.BLUE, strokeWidth=3).encode(x=x, x2="high:Q")
    point = base.mark_point(color=look.INK, filled=True, size=80, opacity=1).encode(x="share:Q")
    return (rule + point).properties(height=90 + 32 * len(rows))


def cow_line(scores: Sequence[Score], trims: Sequence[Trim]) -> alt.LayerChart:
    """Draw one cow's scores over time, with a mark on each trim."""
    points = pd.DataFrame(
        [
            {"day": _naive(s.observed_at), "score": s.score, "who": look.person(s.decided_by)}
            for s in scores
        ]
    )
    y = alt.Y(
        "score:Q", title=t("pass.score"), scale=alt.Scale(domain=[0.8, 5.6]),
        axis=alt.Axis(values=[1, 2, 3, 4, 5], format="d", grid=True),
    )  # fmt: skip
    line = alt.Chart(points).mark_line(
        color=look.BLUE, strokeWidth=1.5,
        point=alt.OverlayMarkDef(size=70, color=look.BLUE, opacity=1),
    ).encode(
        x=alt.X("day:T", title=None, axis=alt.Axis(format="%m/%Y", tickCount=6, grid=False)),
        y=y,
        tooltip=[alt.Tooltip("day:T", title=t("chart.day"), format=day_format()),
                 alt.Tooltip("score:Q", title=t("pass.score")),
                 alt.Tooltip("who:N", title=t("chart.who"))],
    )  # fmt: skip
    lame = alt.Chart(pd.DataFrame({"y": [3]})).mark_rule(strokeDash=[4, 4], color=look.GREY)
    layers = [lame.encode(y=alt.Y("y:Q")), line]
    if trims:
        marks = pd.DataFrame(
            [{"day": pd.Timestamp(x.on), "what": t(f"reason.{x.reason}")} for x in trims]
        )
        marks["y"] = 5.4
        layers.append(
            alt.Chart(marks)
            .mark_point(shape="triangle-down", size=130, color=look.ORANGE, filled=True, opacity=1)
            .encode(
                x="day:T", y="y:Q",
                tooltip=[alt.Tooltip("day:T", title=t("chart.day"), format=day_format()),
                         alt.Tooltip("what:N", title=t("chart.what"))],
            )
        )  # fmt: skip
    return alt.layer(*layers).properties(height=270)


_PERCENT = alt.Axis(format="%", tickCount=5)


def _group(name: str) -> str:
    """Return a group in the person's language; the herd's own names stay."""
    key = f"stage.{name.split(' days')[0].replace(' ', '_')}"
    return t(key) if has(key) else name


def decimal_axis() -> alt.Axis:
    """Return an axis with the decimal sign of the person's language."""
    return alt.Axis(labelExpr=f"replace(datum.label, '.', '{decimals('.')}')")


def reliability(bins: Sequence[tuple[float, float, int]]) -> alt.LayerChart:
    """Draw stated against found shares of lame cows; on the line is right."""
    rows = pd.DataFrame(bins, columns=["stated", "found", "cows"])
    line = pd.DataFrame({"stated": [0.0, 1.0], "found": [0.0, 1.0]})
    x = alt.X("stated:Q", title=t("chart.stated"), axis=_PERCENT)
    y = alt.Y("found:Q", title=t("chart.found"), axis=_PERCENT)
    ideal = alt.Chart(line).mark_line(strokeDash=[4, 4], color=look.GREY).encode(x=x, y=y)
    points = alt.Chart(rows).encode(
        x=x, y=y,
        tooltip=[alt.Tooltip("stated:Q", title=t("chart.stated"), format=".0%"),
                 alt.Tooltip("found:Q", title=t("chart.found"), format=".0%"),
                 alt.Tooltip("cows:Q", title=t("chart.passes"))],
    )  # fmt: skip
    dots = points.mark_circle(color=look.BLUE, opacity=1, size=90)
    counts = points.mark_text(dy=-13, color=look.INK).encode(text="cows:Q")
    return (ideal + dots + counts).properties(height=300)


def _naive(at: datetime) -> datetime:
    return at.replace(tzinfo=None)
