"""The herd's figures: how many are lame, where it is heading, how soon they are treated."""

from __future__ import annotations

import math

import pandas as pd
import streamlit as st

from app import session
from app.parts import charts, learning, look
from app.texts import decimals, said, t
from gait.overview import (
    Agreement,
    Overview,
    how_many_to_score,
    person_and_person,
    person_and_program,
    too_few,
    true_share,
)
from gait.score import SCORES
from gait.statistics.prevalence import Share

DAYS_FROM_H = 72
# From so many hours on a wait is told in days.


def percent(share: Share) -> str:
    """Return a share with its interval."""
    if not share.total:
        return "–"
    return f"{100 * share.value:.0f} % ({100 * share.low:.0f}–{100 * share.high:.0f})"


def numbers(found: Overview) -> None:
    """Show today's figures."""
    said = {
        t("herd.lame"): percent(found.lame),
        t("herd.severe"): percent(found.severe),
        t("herd.new"): found.new_cases,
        t("herd.wait"): waited(found.treatment.median_hours),
    }
    st.html(look.figures(said))
    chronic = sum(line.is_chronic for line in session.lame())
    st.caption(
        f"{t('herd.interval')} {t('herd.rests_on', scored=found.scored_now, cows=found.cows)} "
        f"{t('herd.chronic', count=chronic)}"
    )


def waited(hours: float) -> str:
    """Return a time in hours, or in days when it is long."""
    if math.isnan(hours):
        return "–"
    if hours < DAYS_FROM_H:
        return t("herd.hours", hours=round(hours))
    return t("herd.days", days=round(hours / 24))


def treatment(found: Overview) -> None:
    """Show how soon and how well lame cows are treated."""
    figures = found.treatment
    said = [
        t("herd.treated", treated=figures.treated, spells=figures.spells),
        t("herd.early", share=percent(figures.early)),
        t("herd.cured", share=percent(figures.cured), first=figures.cure_from,
          last=figures.cure_to),
    ]  # fmt: skip
    st.markdown("\n".join(f"- {look.literal(s)}" for s in said))


def planning(found: Overview) -> None:
    """Say how many cows to score for a wanted precision."""
    width = st.slider(t("herd.precision"), 2, 15, 5, format="± %d %%", key="precision")
    expected = found.lame.value if found.lame.total else 0.25
    count = how_many_to_score(max(found.cows, 1), min(max(expected, 0.05), 0.95), width / 100)
    st.write(t("herd.score_so_many", count=count, cows=found.cows, width=width))
    st.caption(t("herd.not_the_last"))


def confusion(both: Agreement) -> pd.DataFrame:
    """Return how often the two gave which scores."""
    table = pd.DataFrame({str(s): [row[s - 1] for row in both.table] for s in SCORES})
    table.index = pd.Index([str(s) for s in SCORES])
    return table


def agreement(both: Agreement, table_text: str) -> None:
    """Show how well two scorers agree; no verdict on too few passes."""
    few = too_few(both.pairs)
    if few:
        st.info(said(few))
    else:
        verdict(both)
    st.caption(table_text)
    st.table(confusion(both))


def verdict(both: Agreement) -> None:
    """Say how well they agree, and whether that is enough."""
    kappa = both.weighted_kappa
    said = [
        t("herd.kappa", value=_two(kappa.value), low=_two(kappa.low), high=_two(kappa.high),
          pairs=both.pairs),
        t("herd.exact", exact=round(100 * both.exact), within=round(100 * both.within_one)),
        t("herd.accepted" if both.accepted else "herd.not_accepted"),
    ]  # fmt: skip
    st.markdown("\n".join(f"- {look.literal(s)}" for s in said))


def _two(value: float) -> str:
    return "–" if math.isnan(value) else decimals(f"{value:.2f}")


def figures(found: Overview) -> None:
    """Show how many are lame, where it is heading, and how they are treated."""
    numbers(found)
    st.subheader(t("herd.trend"))
    if any(p.lame.total for p in found.trend):
        st.altair_chart(charts.trend(found.trend), width="stretch")
        st.caption(t("herd.trend_text"))
    else:
        st.info(t("herd.no_scores"))
    if found.by_parity or found.by_stage:
        left, right = st.columns(2, gap="large")
        with left:
            st.subheader(t("herd.parity"))
            st.altair_chart(charts.shares(found.by_parity), width="stretch")
        with right:
            st.subheader(t("herd.stage"))
            st.altair_chart(charts.shares(found.by_stage), width="stretch")
        st.caption(t("herd.group_text"))
    st.subheader(t("herd.treatment"))
    treatment(found)
    st.subheader(t("herd.planning"))
    planning(found)


def people_and_program(found: Overview) -> None:
    """Show how well people and program agree, and people with each other."""
    store = session.store()
    left, right = st.columns(2, gap="large")
    with left:
        st.subheader(t("herd.with_program"))
        blind_only = st.toggle(t("herd.blind_only"), key="blind_only")
        both = person_and_program(store, blind_only=blind_only)
        if both is None:
            st.info(t("herd.no_pairs"))
        else:
            agreement(both, t("herd.table"))
            st.caption(t("herd.not_blind_note"))
            corrected(found, both)
    with right:
        st.subheader(t("herd.with_person"))
        people = person_and_person(store)
        if people is None:
            st.info(t("herd.no_second"))
        else:
            agreement(people, t("herd.table_people"))


def corrected(found: Overview, both: Agreement) -> None:
    """Show the share of lame cows corrected for the program's known error."""
    true = true_share(found, both)
    if true is not None:
        st.write(t("herd.true_share", share=percent(true)))
        if true.note:
            st.caption(look.literal(true.note))


st.title(t("herd.title"))
with st.spinner(t("herd.counting")):
    found = session.overview()
if not found.cows:
    st.info(t("herd.no_cows"))
    st.page_link("screens/settings.py", label=t("herd.to_settings"))
    st.stop()
PARTS = ("numbers", "agreement", "model")
part = st.segmented_control(
    t("settings.section"), PARTS, default="numbers", required=True, key="herd_part",
    format_func=lambda p: t(f"herd.{p}"), label_visibility="collapsed",
)  # fmt: skip
if part == "numbers":
    figures(found)
elif part == "agreement":
    people_and_program(found)
else:
    learning.show()
