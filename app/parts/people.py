"""Who works here: sign-in, and the corner that shows it."""

from __future__ import annotations

from collections.abc import Collection

import streamlit as st

from app import remembering, session
from app.parts import look, script
from app.texts import LANGUAGES, said, t
from gait.errors import GaitError
from gait.herd.people import ROLES

WIDTH_PX = 460


def sign_in() -> None:
    """Ask for name and PIN, or hand over to the outside service; set up the first person."""
    st.title(t("app.title"))
    with st.container(width=WIDTH_PX):
        _ways_in()


def _ways_in() -> None:
    if session.oidc_set_up():
        _outside()
    everybody = [p for p in session.store().people.all() if p.has_pin]
    if everybody:
        _pin([p.name for p in everybody])
    elif not session.store().people.all():
        _first_person()
    elif not session.oidc_set_up():
        _first_pin()


def _pin(names: list[str]) -> None:
    with st.form("sign_in"):
        name = st.selectbox(t("person.name"), names, key="sign_in_name")
        pin = st.text_input(t("person.pin"), type="password", key="sign_in_pin")
        if st.form_submit_button(t("person.sign_in"), type="primary", width="stretch"):
            try:
                person = session.store().people.sign_in(name, pin)
            except GaitError as problem:
                session.show(problem)
            else:
                session.work_as(person.name, signed_in=True)
                st.rerun()
    st.caption(t("person.no_pin_hint"))


def _outside() -> None:
    """Sign in by the service that is set up in Streamlit's secrets."""
    names = session.oidc_names()
    if not names:
        if st.button(t("person.outside"), type="primary", key="outside", width="stretch"):
            st.login()
        return
    st.warning(t("person.outside_unknown", name=look.literal(names[0])))
    if st.button(t("person.sign_out"), key="outside_out"):
        st.logout()


def _first_person() -> None:
    """Set up the manager, on the farm's own computer only."""
    if not session.on_this_computer():
        st.warning(t("person.first_here", port=st.get_option("server.port")))
        return
    st.write(t("person.first"))
    with st.form("first_person"):
        name = st.text_input(t("person.name"), key="first_name")
        _start(name, ["manager"])


def _first_pin() -> None:
    """Give the first PIN to a manager, on the farm's own computer only."""
    if not session.on_this_computer():
        st.warning(t("person.nobody_can", port=st.get_option("server.port")))
        return
    st.write(t("person.first_pin"))
    roles = {p.name: p.roles for p in session.store().people.all()}
    managers = [name for name, has in roles.items() if "manager" in has]
    with st.form("first_pin_of"):
        name = st.selectbox(t("person.name"), managers or list(roles), key="first_pin_name")
        _start(name, roles[name])


def _start(name: str, roles: Collection[str]) -> None:
    """Ask for a PIN, keep it and let this person in."""
    pin = st.text_input(t("person.pin"), type="password", help=t("person.needs_pin"),
                        key="first_pin")  # fmt: skip
    if not st.form_submit_button(t("person.start"), type="primary", width="stretch"):
        return
    if not pin:
        st.warning(t("person.needs_pin"))
        return
    try:
        session.store().people.put(name, roles, pin=pin)
    except GaitError as problem:
        session.show(problem)
    else:
        session.work_as(name.strip(), signed_in=True)
        st.rerun()


def corner() -> None:
    """Show in the side bar who works here, and let them change that and the language."""
    with st.sidebar:
        _keep_in_browser()
        names = [p.name for p in session.store().people.all()]
        if session.must_sign_in():
            st.caption(look.literal(t("person.here", name=session.who())))
            if st.button(t("person.sign_out"), key="sign_out"):
                _sign_out()
        elif names:
            if st.session_state.get("person_choice") not in names:
                here = session.who()
                st.session_state["person_choice"] = here if here in names else None
            chosen = st.selectbox(t("person.who"), names, index=None, key="person_choice",
                                  placeholder=t("app.choose"))  # fmt: skip
            if chosen != st.session_state.get("person"):
                session.work_as(chosen)
                st.rerun()
        st.segmented_control(
            t("app.language"),
            list(LANGUAGES),
            format_func=LANGUAGES.__getitem__,
            default=st.session_state.get("language", "en"),
            key="language_choice",
            on_change=_change_language,
            required=True,
        )
        broken = session.store().read_only_because
        if broken:
            st.error(said(broken))
            if st.button(t("app.try_writing"), key="try_writing"):
                session.store().try_writing_again()
                st.rerun()


def _keep_in_browser() -> None:
    """Give this browser the key by which it is known again after a reload."""
    key = st.session_state.get("browser_key")
    if key:
        data = {"name": remembering.cookie_name(), "key": key, "seconds": remembering.KEPT_FOR_S}
        script.component("browser_key")(key="browser_key_script", data=data)


def roles_text(roles: tuple[str, ...]) -> str:
    """Return roles in words."""
    known = [t(f"role.{r}") for r in ROLES if r in roles]
    return ", ".join(known) or t("role.none")


def _sign_out() -> None:
    session.work_as(None)
    if session.oidc_names():
        st.logout()
    st.rerun()


def _change_language() -> None:
    chosen = st.session_state.get("language_choice")
    if chosen:
        st.session_state["language"] = chosen
