"""Charts that explain themselves, in ink and one blue, readable in print."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

import altair as alt
import pandas as pd

from app.parts import look
from app.texts import t
from gait.herd.figures import Period
from gait.herd.records import Score, Trim
from gait.statistics.prevalence import Share


def trend(periods: Sequence[Period]) -> alt.Chart:
    """Draw the share of lame cows over the year with its interval; severe ones below."""
    rows = [
        {"day": pd.Timestamp(p.start), "share": share.value, "low": share.low, "high": share.high,
         "what": t(f"chart.{what}"), "cows": share.total}
        for p in periods
        for what, share in (("lame", p.lame), ("severe", p.severe))
        if share.total
    ]  # fmt: skip
    base = alt.Chart(pd.DataFrame(rows)).encode(
        x=alt.X("day:T", title=None, axis=alt.Axis(format="%b %Y")),
        color=alt.Color(
            "what:N",
            title=None,
            scale=alt.Scale(
                domain=[t("chart.lame"), t("chart.severe")], range=[look.BLUE, look.ORANGE]
            ),
            legend=alt.Legend(orient="top"),
        ),
    )
    band = base.mark_area(opacity=0.18).encode(
        y=alt.Y("low:Q", axis=alt.Axis(format="%", title=t("chart.lame_share"))), y2="high:Q"
    )
    line = base.mark_line(point=True).encode(
        y="share:Q",
        strokeDash=alt.StrokeDash("what:N", legend=None),
        tooltip=[
            alt.Tooltip("day:T", title=t("chart.from_day")),
            alt.Tooltip("share:Q", format=".0%"),
            alt.Tooltip("cows:Q", title=t("chart.cows")),
        ],
    )
    return (band + line).properties(height=280)


def shares(groups: Mapping[str, Share]) -> alt.Chart:
    """Draw the share of lame cows of each group as a point with its interval."""
    rows = [
        {"group": f"{group} ({share.total})", "share": share.value, "low": share.low,
         "high": share.high}
        for group, share in groups.items()
        if share.total
    ]  # fmt: skip
    base = alt.Chart(pd.DataFrame(rows)).encode(
        y=alt.Y("group:N", title=None, sort=None, axis=alt.Axis(labelLimit=220))
    )
    rule = base.mark_rule(color=look.BLUE, strokeWidth=2).encode(
        x=alt.X("low:Q", axis=alt.Axis(format="%", title=t("chart.lame_share"))), x2="high:Q"
    )
    point = base.mark_point(color=look.INK, filled=True, size=70).encode(x="share:Q")
    return (rule + point).properties(height=alt.Step(30))


def cow_line(scores: Sequence[Score], trims: Sequence[Trim]) -> alt.Chart:
    """Draw one cow's scores over time, with a mark on each trim."""
    points = pd.DataFrame(
        [{"day": _naive(s.observed_at), "score": s.score, "who": s.decided_by} for s in scores]
    )
    line = (
        alt.Chart(points)
        .mark_line(color=look.BLUE, interpolate="step-after", point=alt.OverlayMarkDef(size=70))
        .encode(
            x=alt.X("day:T", title=None),
            y=alt.Y(
                "score:Q",
                title=t("pass.score"),
                scale=alt.Scale(domain=[1, 5]),
                axis=alt.Axis(values=[1, 2, 3, 4, 5], format="d"),
            ),
            tooltip=["day:T", "score:Q", "who:N"],
        )
    )
    lame = alt.Chart(pd.DataFrame({"y": [3]})).mark_rule(strokeDash=[4, 4], color=look.GREY)
    layers = [lame.encode(y="y:Q"), line]
    if trims:
        marks = pd.DataFrame(
            [{"day": pd.Timestamp(x.on), "what": t(f"reason.{x.reason}")} for x in trims]
        )
        layers.append(
            alt.Chart(marks)
            .mark_point(shape="triangle-down", size=120, color=look.ORANGE, filled=True)
            .encode(x="day:T", y=alt.value(8), tooltip=["day:T", "what:N"])
        )
    return alt.layer(*layers).properties(height=240)


def reliability(bins: Sequence[tuple[float, float, int]]) -> alt.Chart:
    """Draw stated against found shares of lame cows; on the line is right."""
    rows = pd.DataFrame(bins, columns=["stated", "found", "cows"])
    line = pd.DataFrame({"stated": [0.0, 1.0], "found": [0.0, 1.0]})
    ideal = alt.Chart(line).mark_line(strokeDash=[4, 4], color=look.GREY)
    points = alt.Chart(rows).mark_circle(color=look.BLUE, opacity=1).encode(
        size=alt.Size("cows:Q", title=t("chart.cows"))
    )  # fmt: skip
    axes = {
        "x": alt.X("stated:Q", title=t("chart.stated"), axis=alt.Axis(format="%")),
        "y": alt.Y("found:Q", title=t("chart.found"), axis=alt.Axis(format="%")),
    }
    return (ideal.encode(**axes) + points.encode(**axes)).properties(height=260)


def _naive(at: datetime) -> datetime:
    return at.replace(tzinfo=None)
