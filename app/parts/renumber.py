"""Give a cow another animal number, so that the old one is free."""

from __future__ import annotations

import streamlit as st

from app import session
from app.parts import look
from app.texts import t
from gait.cow_numbers import renumber_cow
from gait.errors import GaitError


def show() -> None:
    """Ask which cow and which number; all that is recorded about her goes along."""
    cows = session.store().cows.all(include_left=True)
    if not cows:
        return
    with st.expander(t("renumber.title")), st.form("renumber", clear_on_submit=True, border=False):
        st.caption(t("renumber.text"))
        old = st.selectbox(t("renumber.old"), [c.number for c in cows], index=None,
                           placeholder=t("who.type"), key="renumber_old")  # fmt: skip
        new = st.text_input(t("renumber.new"), key="renumber_new")
        if st.form_submit_button(t("renumber.do")):
            renumber(old, new.strip())


def renumber(old: str | None, new: str) -> None:
    """Do it and say so, or say why not."""
    if not old or not new:
        st.warning(t("renumber.say"))
        return
    try:
        renumber_cow(session.store(), old, new, who=session.who())
    except GaitError as problem:
        session.show(problem)
        return
    told = t("renumber.done", old=look.literal(old), new=look.literal(new))
    st.session_state["settings_said"] = told
    st.rerun()
