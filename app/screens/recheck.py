"""Cows to be looked at again after treatment, to see whether they are better."""

from __future__ import annotations

from datetime import date, timedelta

import streamlit as st

from app import session
from app.parts import decide, look
from app.texts import t
from gait.errors import GaitError
from gait.farm import close_recheck, rechecks_waiting
from gait.herd.records import Recheck
from gait.score import SCORES


def card(promise: Recheck, today: date) -> None:
    """Show one recheck and take her new score."""
    late = (today - promise.due_on).days
    with st.container(border=True):
        who, act = st.columns([2, 3], vertical_alignment="center")
        with who:
            st.html(f"<div class='big-number'>{look.plain(promise.cow)}</div>")
            st.markdown(f"**{due_text(late)}**")
            st.caption(promise.why)
        with act:
            score = st.segmented_control(
                t("recheck.score"),
                SCORES,
                key=f"recheck_score_{promise.recheck_id}",
                help=t("recheck.help"),
            )
            one, two = st.columns(2)
            if one.button(t("recheck.keep"), key=f"recheck_keep_{promise.recheck_id}"):
                keep(promise, score)
            if two.button(t("recheck.drop"), key=f"recheck_drop_{promise.recheck_id}"):
                drop(promise)


def due_text(late: int) -> str:
    """Return when she is due in words."""
    if late > 0:
        return t("recheck.late", days=late)
    return t("recheck.today") if late == 0 else t("recheck.in", days=-late)


def keep(promise: Recheck, score: int | None) -> None:
    """Keep the new score and the outcome."""
    if score is None:
        st.warning(t("decide.choose"))
        return
    try:
        outcome = close_recheck(session.store(), promise, score=int(score), who=session.who())
    except GaitError as problem:
        session.show(problem)
        return
    st.session_state["said"] = t(f"recheck.{outcome}", cow=promise.cow, score=score)
    st.rerun()


def drop(promise: Recheck) -> None:
    """Leave the recheck out, on record."""
    store = session.store()
    store.rechecks.close(promise.recheck_id, who=session.who(), outcome=None, dropped=True)
    st.rerun()


st.title(t("recheck.title"))
st.write(t("recheck.how"))
decide.said()
today = date.today()
promises = rechecks_waiting(session.store())
due = [p for p in promises if p.due_on <= today]
soon = [p for p in promises if today < p.due_on <= today + timedelta(days=7)]
if not promises:
    st.info(t("recheck.nothing"))
elif not due:
    st.success(t("recheck.none_due", day=promises[0].due_on))
if session.guarded("decide"):
    for promise in due:
        card(promise, today)
    if soon:
        st.subheader(t("recheck.this_week"))
        for promise in soon:
            card(promise, today)
later = [p for p in promises if p.due_on > today + timedelta(days=7)]
if later:
    with st.expander(t("recheck.later", count=len(later))):
        for promise in later:
            st.html(f"<p><b>{look.plain(promise.cow)}</b> {promise.due_on} <span class='quiet'>"
                    f"{look.plain(promise.why)}</span></p>")  # fmt: skip
