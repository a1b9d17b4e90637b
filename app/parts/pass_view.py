"""Show one pass: film, still, traces, proposal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import altair as alt
import pandas as pd
import streamlit as st

from app import session
from app.parts import charts, look, player
from app.texts import decimals, said, t
from gait.filing import read_traces
from gait.herd.records import PassRecord, PassSummary
from gait.same_day import same_day
from gait.statistics.spread import range_without_strays

REASONS_SHOWN = 4
LEAST_LABELLED = 0.09
"""Smaller shares are too narrow to be labelled."""
LEGS = ("near_fore", "near_hind", "far_fore", "far_hind")


def name_of(summary: PassSummary) -> str:
    """Return which cow walks here, in words."""
    return t("pass.cow", cow=summary.cow) if summary.cow else t("pass.cow_not_named")


def heading(record: PassRecord) -> None:
    """Say which cow walks here, when, and from which film."""
    summary = record.summary
    st.subheader(look.literal(name_of(summary)))
    parts = [look.clock(summary.observed_at)]
    if record.clip is not None:
        parts.append(record.clip.name)
        start, end = decimals(f"{record.start_s:.1f}"), decimals(f"{record.end_s:.1f}")
        seconds = t("pass.seconds", start=start, end=end)
        parts.append(t("pass.photo") if is_photo(record) else seconds)
    st.caption(look.literal(" · ".join(parts)))


def film(record: PassRecord) -> None:
    """Play the film with everything drawn in, or say why there is none to play."""
    path = kept(record, "film")
    if path is not None:
        fps = float((record.clip.info if record.clip else {}).get("fps") or 25.0)
        player.film(path, key=str(record.summary.pass_id), fps=fps)
    elif "film" in record.files:
        st.info(t("pass.film_deleted"))
    elif kept(record, "still") is None:
        st.info(t("pass.picture_deleted" if "still" in record.files else "pass.no_film"))


def is_photo(record: PassRecord) -> bool:
    """Tell whether she was seen on a photo, not on a film."""
    return record.clip is not None and bool(record.clip.info.get("is_photo"))


def is_seen(record: PassRecord) -> bool:
    """Tell whether there is a film or a picture of this pass to look at."""
    return kept(record, "film") is not None or kept(record, "still") is not None


def kept(record: PassRecord, kind: str) -> Path | None:
    """Return the film or still made of a pass; None without one, or when it was deleted since."""
    name = record.files.get(kind)
    path = session.folder() / name if name else None
    return path if path is not None and path.is_file() else None


def still(record: PassRecord) -> None:
    """Show the still with the back drawn against a straight line."""
    path = kept(record, "still")
    if path is not None:
        caption = t("pass.still")
        st.image(str(path), caption=caption, alt=caption, width="stretch")


def proposal(record: PassRecord) -> None:
    """Show the proposed score with its confidence, plausible run and reasons."""
    found = record.proposal
    if found is None or found.get("value") is None:
        st.markdown(f"**{t('pass.no_proposal')} {_where_to_look(record)}**")
        for problem in record.problems:
            st.write(look.literal(said(problem)))
        return
    run = found["plausible"]
    span = t("pass.plausible", low=run[0], high=run[-1])
    if len(run) == 1:
        span = t("pass.plausible_one")
    reasons = "".join(f"<li>{look.plain(said(r))}</li>" for r in found["reasons"][:REASONS_SHOWN])
    st.html(
        f"<div class='cow-line'>{look.score_badge(found['value'])}<span><b>"
        f"{look.plain(t('pass.proposed'))}</b><br><span class='quiet'>"
        f"{look.plain(t('pass.sure', share=round(100 * found['confidence'])))} · "
        f"{look.plain(span)}</span></span></div><ul class='reasons'>{reasons}</ul>"
        + chances(found["probabilities"])
    )
    together(record.summary.pass_id)
    for problem in record.problems:
        st.caption(look.literal(said(problem)))


def _where_to_look(record: PassRecord) -> str:
    if kept(record, "film") is not None:
        return t("pass.look_at_film")
    return t("pass.look_at_picture" if is_seen(record) else "pass.look_at_cow")


def together(pass_id: int) -> None:
    """Say what all of the cow's passes of that day propose together, where there are several."""
    found = same_day(session.store(), pass_id)
    if found is None:
        return
    proposed = found.proposal
    st.write(
        t(
            "pass.same_day",
            count=found.passes,
            score=proposed.value,
            share=round(100 * proposed.confidence),
            low=proposed.plausible[0],
            high=proposed.plausible[-1],
        )
    )


def chances(probabilities: Sequence[float]) -> str:
    """Return the probability of each score as one bar cut into five, HTML."""
    spoken = ", ".join(
        t("pass.chance", score=s, share=round(100 * p)) for s, p in enumerate(probabilities, 1)
    )
    parts = []
    for score, share in enumerate(probabilities, 1):
        wide = share >= LEAST_LABELLED
        parts.append(
            f"<span style='flex:{max(share, 0.005):.4f} 1 0'><span class='fill' style='background:"
            f"{look.SCORE_COLOURS[score]};color:{look.SCORE_INK[score]}'>{score if wide else ''}"
            f"</span><span class='percent'>{f'{100 * share:.0f} %' if wide else ''}</span></span>"
        )
    label = f"{t('pass.chances')}: {spoken}"
    return (
        f"<div class='quiet'>{look.plain(t('pass.chances'))}</div>"
        f"<div class='chances' role='img' aria-label='{look.plain(label)}'>{''.join(parts)}</div>"
    )


def traces(record: PassRecord) -> None:
    """Draw the head over the strides and the time each hoof is on the floor."""
    found = read_traces(session.folder(), record.files)
    if found is None:
        st.caption(t("pass.no_traces"))
        return
    head = pd.DataFrame({"time": found["time_s"], "head": found["head_pct"]})
    if head["head"].notna().sum() > 1:
        st.markdown(f"**{t('pass.head_title')}**")
        _head(head)
    spans = hoof_spans(found)
    if len(spans):
        st.markdown(f"**{t('pass.hoof_title')}**")
        st.altair_chart(_hoof_chart(spans), width="stretch")
        st.caption(t("pass.hoof_text"))


def _head(head: pd.DataFrame) -> None:
    """Draw the head; strays are left outside, and that is said."""
    values = head["head"].dropna()
    low, high = range_without_strays(list(values))
    st.altair_chart(_head_chart(head, low, high), width="stretch")
    st.caption(t("pass.head_text"))
    beyond = values[(values < low) | (values > high)]
    if len(beyond):
        middle = values.median()
        far = max(beyond, key=lambda value: abs(value - middle))
        st.caption(t("pass.head_beyond", count=len(beyond), far=f"{far:.0f}"))


def hoof_spans(found: Mapping[str, Any]) -> pd.DataFrame:
    """Return one row a hoof contact of which both ends were seen."""
    rows = [
        {
            "leg": t(f"leg.{leg}"),
            "side": t("leg.near") if leg.startswith("near") else t("leg.far"),
            "from": on,
            "to": off,
            "lasts": decimals(f"{off - on:.2f} s"),
        }
        for leg in LEGS
        for on, off in found["hooves"].get(leg, ())
        if on is not None and off is not None
    ]
    return pd.DataFrame(rows)


def _head_chart(head: pd.DataFrame, low: float, high: float) -> alt.Chart:
    return (
        alt.Chart(head)
        .mark_line(color=look.BLUE, strokeWidth=2, invalid="break-paths-filter-domains", clip=True)
        .encode(
            x=alt.X("time:Q", title=t("pass.time_s"), axis=charts.decimal_axis()),
            y=alt.Y(
                "head:Q",
                title=t("pass.head_axis"),
                axis=charts.decimal_axis(),
                scale=alt.Scale(zero=False, domain=[low, high], nice=False),
            ),
        )
        .properties(height=210)
    )


def _hoof_chart(spans: pd.DataFrame) -> alt.Chart:
    return (
        alt.Chart(spans)
        .mark_bar(height=16)
        .encode(
            x=alt.X("from:Q", title=t("pass.time_s"), scale=alt.Scale(zero=False),
                    axis=charts.decimal_axis()),
            x2="to:Q",
            y=alt.Y("leg:N", title=None, sort=[t(f"leg.{leg}") for leg in LEGS]),
            color=alt.Color("side:N", legend=None, scale=alt.Scale(
                domain=[t("leg.near"), t("leg.far")], range=[look.ORANGE, look.BLUE])),
            tooltip=[alt.Tooltip("leg:N", title=t("pass.hoof")),
                     alt.Tooltip("lasts:N", title=t("pass.lasts"))],
        )
        .properties(height=230)
    )  # fmt: skip
