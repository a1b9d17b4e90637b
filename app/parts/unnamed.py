"""A scored cow without a number: asked for until somebody names her or says that nobody knows."""

from __future__ import annotations

import streamlit as st

from app import session
from app.parts import decide, look, who_is_she
from app.texts import t
from gait.errors import GaitError
from gait.herd.records import PassRecord

ASKED = "unnamed_asked"
"""The scored pass whose number was asked for: once it is named, the page goes on."""


def ask(record: PassRecord) -> None:
    """Ask which cow it is, or let people say that nobody knows."""
    summary = record.summary
    st.session_state[ASKED] = summary.pass_id
    who = look.person(summary.decided_by or "")
    st.warning(t("unnamed.ask", score=summary.score, who=who))
    who_is_she.change(record)
    if session.guarded("identify"):
        _nobody_knows(summary.pass_id)


def _nobody_knows(pass_id: int) -> None:
    """Take the word that nobody knows; asked twice, since she is on no page afterwards."""
    sure = f"unnamed_sure_{pass_id}"
    if not st.session_state.get(sure):
        if st.button(t("unnamed.nobody"), key=f"unnamed_nobody_{pass_id}", width="stretch"):
            st.session_state[sure] = True
            st.rerun()
        return
    st.write(t("unnamed.sure"))
    row = st.container(horizontal=True, gap="small")
    if row.button(t("unnamed.yes"), key=f"unnamed_yes_{pass_id}", width="stretch"):
        try:
            session.store().identities.set(pass_id, None, who=session.who(), source="person")
        except GaitError as problem:
            session.show(problem)
            return
        st.session_state["said"] = t("unnamed.kept")
        _go_on()
    if row.button(t("decide.back"), key=f"unnamed_back_{pass_id}", width="stretch"):
        st.session_state.pop(sure)
        st.rerun()


def go_on_when_named(record: PassRecord) -> None:
    """Say what the score means for the cow just named, and go on to the next one."""
    summary = record.summary
    if summary.cow is None or summary.score is None:
        return
    if st.session_state.get(ASKED) == summary.pass_id:
        st.session_state["said"] = decide.named(summary.cow, summary.score)
        _go_on()


def _go_on() -> None:
    st.session_state.pop(ASKED, None)
    st.session_state.pop(decide.SHOWING, None)
    st.query_params.pop("pass", None)
    st.rerun()
