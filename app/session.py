"""The farm and the person of this browser tab."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import streamlit as st

from app.texts import t
from gait.errors import GaitError
from gait.herd.people import may
from gait.herd.records import Person
from gait.store import Store, open_store

FARM = "EXITLANE_FARM"
OPEN_TO_NETWORK = "EXITLANE_OPEN_TO_NETWORK"


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


def must_sign_in() -> bool:
    """Tell whether people have to sign in: the page is open to the network, or PINs are set."""
    return bool(os.environ.get(OPEN_TO_NETWORK)) or any(p.has_pin for p in store().people.all())


def person() -> Person | None:
    """Return who works in this tab, or None."""
    name = st.session_state.get("person")
    return store().people.get(name) if name else None


def who() -> str:
    """Return the name that goes on record."""
    known = person()
    return known.name if known else t("person.unnamed")


def allowed(action: str) -> bool:
    """Tell whether this person may do something; without any people set up, everybody may."""
    known = person()
    if known is not None:
        return may(known.roles, action)
    return not store().people.all()


def guarded(action: str) -> bool:
    """Say so where a person may not do something, and return whether they may."""
    if allowed(action):
        return True
    st.info(t("person.may_not"))
    return False


def show(problem: GaitError) -> None:
    """Show an error in its own words."""
    st.error(f"{problem.message} {problem.hint}".strip())


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
