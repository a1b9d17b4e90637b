"""Take a number off the list that was entered by mistake and is no cow of the herd."""

from __future__ import annotations

import streamlit as st

from app import session
from app.parts import look
from app.texts import t
from gait.cow_numbers import take_off_list
from gait.errors import GaitError


def show() -> None:
    """Ask which number; one on which records hang is refused."""
    with st.expander(t("take_off.title")), st.form("take_off", clear_on_submit=True, border=False):
        st.caption(t("take_off.text"))
        number = st.selectbox(t("take_off.which"), session.numbers(), index=None,
                              placeholder=t("who.type"), key="take_off")  # fmt: skip
        if st.form_submit_button(t("take_off.do")):
            take_off(number)


def take_off(number: str | None) -> None:
    """Do it and say so, or say why not."""
    if not number:
        st.warning(t("take_off.say"))
        return
    try:
        take_off_list(session.store(), number, who=session.who())
    except GaitError as problem:
        session.show(problem)
        return
    st.session_state["settings_said"] = t("take_off.done", cow=look.literal(number))
    st.rerun()
