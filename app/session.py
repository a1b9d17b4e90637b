"""The farm and the person of this browser tab."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import date
from pathlib import Path
from urllib.parse import urlsplit

import streamlit as st

from app import remembering
from app.texts import said, t
from gait.errors import GaitError
from gait.farm import lame_today
from gait.herd.lame_list import LameCow
from gait.herd.people import NOBODY_NAMED, may
from gait.herd.records import Person
from gait.overview import Overview, herd_overview
from gait.store import Store, open_store
from gait.store.stamp import Stamp
from gait.trim_day import FARM_NAME_SETTING

FARM = "EXITLANE_FARM"
OPEN_TO_NETWORK = "EXITLANE_OPEN_TO_NETWORK"
THIS_COMPUTER = ("127.0.0.1", "localhost", "::1")
HANDED_ON = ("Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-Ip", "Via")
"""What proxies add to a request."""


@st.cache_resource(on_release=lambda store: store.close())
def _opened(where: str) -> Store:
    return open_store(where)


def store() -> Store:
    """Return the farm's records, shared by all tabs."""
    return _opened(os.environ.get(FARM, "farm"))


def folder() -> Path:
    """Return the farm folder."""
    found = store().folder
    return found if found is not None else Path(os.environ.get(FARM, "farm"))


def farm_name() -> str:
    """Return what the open farm is called: the name given under Settings, else its folder's."""
    return str(store().settings.get(FARM_NAME_SETTING, "")) or folder().name


def numbers() -> list[str]:
    """Return the animal numbers of the herd, in order."""
    return [c.number for c in store().cows.all()]


@st.cache_resource(max_entries=4, show_spinner=False)
def _lame(_store: Store, where: str, stamp: Stamp, today: date) -> list[LameCow]:
    return lame_today(_store)


def lame() -> list[LameCow]:
    """Return the lame list; it is kept until something new is recorded."""
    return _lame(store(), str(folder()), store().stamp(), date.today())


@st.cache_resource(max_entries=4, show_spinner=False)
def _overview(_store: Store, where: str, stamp: Stamp, today: date) -> Overview:
    return herd_overview(_store)


def overview() -> Overview:
    """Return the herd's figures; they are kept until something new is recorded."""
    return _overview(store(), str(folder()), store().stamp(), date.today())


def must_sign_in() -> bool:
    """Tell whether people have to sign in: open to the network, PINs set, or OIDC set up."""
    open_to_network = bool(os.environ.get(OPEN_TO_NETWORK))
    return open_to_network or oidc_set_up() or any(p.has_pin for p in store().people.all())


def oidc_set_up() -> bool:
    """Tell whether sign-in by an outside service is set up in Streamlit's secrets."""
    try:
        return "auth" in st.secrets
    except FileNotFoundError:  # no secrets at all
        return False


def oidc_names() -> tuple[str, ...]:
    """Return under which names the outside service knows who is here; empty when nobody is."""
    if not oidc_set_up() or not getattr(st.user, "is_logged_in", False):
        return ()
    verified = st.user.get("email_verified", False)
    given = (st.user.get("email") if verified else None, st.user.get("sub"))
    return tuple(str(name) for name in given if name)


def person() -> Person | None:
    """Return who works in this tab, or None."""
    everybody = {p.name: p for p in store().people.all()}
    chosen = st.session_state.get("person")
    if chosen in everybody:
        return everybody[chosen]
    return next((everybody[name] for name in oidc_names() if name in everybody), None)


def work_as(name: str | None, *, signed_in: bool = False) -> None:
    """Let somebody work in this tab, and in this browser when it is reloaded; None: nobody."""
    st.session_state["person"] = name
    if name is None:
        remembering.forget()
    else:
        remembering.keep(name, signed_in=signed_in)


def recall() -> None:
    """After a reload, go on as the person that worked in this browser."""
    if "person" not in st.session_state:
        name = remembering.recall(need_pin=must_sign_in())
        if name is not None:
            st.session_state["person"] = name


def on_this_computer() -> bool:
    """Tell whether the browser runs on the farm's own computer.

    Only a connection from 127.0.0.1 counts, asked for under that name and not handed on by a
    proxy: a strange site cannot claim to be here, nor can another computer.
    """
    headers = st.context.headers
    if st.context.ip_address is not None:  # None from 127.0.0.1 and ::1
        return False
    if any(name in headers for name in HANDED_ON):
        return False
    asked = [urlsplit(f"//{headers.get('Host', '')}"), urlsplit(headers.get("Origin", ""))]
    return all(one.hostname in THIS_COMPUTER for one in asked)


def who() -> str:
    """Return the name that goes on record."""
    known = person()
    return known.name if known else NOBODY_NAMED


def allowed(action: str) -> bool:
    """Tell whether this person may do something; without any people set up, everybody may."""
    known = person()
    if known is not None:
        return may(known.roles, action)
    return not store().people.all()


def guarded(action: str) -> bool:
    """Say so where a person may not do something, and return whether they may.

    Who has not said their name is asked for it on the spot, so use it once a page and action.
    """
    if allowed(action):
        return True
    if person() is not None:
        st.info(t("person.may_not"))
    else:
        st.info(t("person.choose_here"))
        _ask_name(f"name_here_{action}")
    return False


def _ask_name(key: str) -> None:
    """Let people say who works here without the menu, which a phone hides."""

    def take() -> None:
        st.session_state["person_choice"] = st.session_state[key]
        work_as(st.session_state[key])

    names = [p.name for p in store().people.all()]
    st.selectbox(t("person.who"), names, index=None, key=key, on_change=take,
                 placeholder=t("app.choose"))  # fmt: skip


def show(problem: GaitError) -> None:
    """Show an error in its own words, in the person's language."""
    st.error(said(str(problem)))


def wake_worker() -> None:
    """Start the process that works off films, unless it runs."""
    running: subprocess.Popen[bytes] | None = _worker_slot().get("process")
    if running is not None and running.poll() is None:
        return
    root = str(Path(__file__).resolve().parent.parent)
    surroundings = {**os.environ, "PYTHONPATH": os.pathsep.join([root, *sys.path[:1]])}
    _worker_slot()["process"] = subprocess.Popen(
        [sys.executable, "-m", "gait.worker", str(folder())],
        env=surroundings,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


@st.cache_resource
def _worker_slot() -> dict[str, subprocess.Popen[bytes]]:
    return {}
