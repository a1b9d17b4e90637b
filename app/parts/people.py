"""Who works here: sign-in, and the corner that shows it."""

from __future__ import annotations

import streamlit as st

from app import session
from app.texts import LANGUAGES, t
from gait.errors import GaitError


def sign_in() -> None:
    """Ask for name and PIN; without anybody set up, ask the first person to set a PIN."""
    st.title(t("app.title"))
    everybody = [p for p in session.store().people.all() if p.has_pin]
    if not everybody:
        _first_person()
        return
    with st.form("sign_in"):
        name = st.selectbox(t("person.name"), [p.name for p in everybody])
        pin = st.text_input(t("person.pin"), type="password")
        if st.form_submit_button(t("person.sign_in"), type="primary"):
            try:
                st.session_state["person"] = session.store().people.sign_in(name, pin).name
            except GaitError as problem:
                session.show(problem)
            else:
                st.rerun()


def _first_person() -> None:
    st.write(t("person.first"))
    with st.form("first_person"):
        name = st.text_input(t("person.name"))
        pin = st.text_input(t("person.pin"), type="password")
        if st.form_submit_button(t("person.start"), type="primary"):
            try:
                session.store().people.put(name, ["manager"], pin=pin)
            except GaitError as problem:
                session.show(problem)
            else:
                st.session_state["person"] = name.strip()
                st.rerun()


def corner() -> None:
    """Show in the side bar who works here, and let them change that and the language."""
    with st.sidebar:
        st.segmented_control(
            t("app.language"),
            list(LANGUAGES),
            format_func=LANGUAGES.__getitem__,
            default=st.session_state.get("language", "en"),
            key="language_choice",
            on_change=_change_language,
        )
        names = [p.name for p in session.store().people.all()]
        if session.must_sign_in():
            st.caption(t("person.here", name=session.who()))
            if st.button(t("person.sign_out"), key="sign_out"):
                st.session_state.pop("person", None)
                st.rerun()
        elif names:
            index = names.index(session.who()) if session.who() in names else None
            chosen = st.selectbox(t("person.who"), names, index=index, key="person_choice")
            st.session_state["person"] = chosen
        broken = session.store().read_only_because
        if broken:
            st.error(broken)
            if st.button(t("app.try_writing"), key="try_writing"):
                session.store().try_writing_again()
                st.rerun()


def _change_language() -> None:
    chosen = st.session_state.get("language_choice")
    if chosen:
        st.session_state["language"] = chosen
