"""Who works in this browser, kept over a reload: a random key in a cookie, the name with us."""

from __future__ import annotations

import secrets
import time
from dataclasses import dataclass

import streamlit as st

KEPT_FOR_S = 12 * 3600
"""A working day; the next day everybody says again who they are."""


@dataclass(frozen=True, kw_only=True)
class Remembered:
    """Whose browser it is, whether they came in by a PIN, and until when that is believed."""

    name: str
    signed_in: bool
    until_s: float


@st.cache_resource(show_spinner=False)
def _browsers() -> dict[str, Remembered]:
    """By key. Only in memory: nobody is remembered once the program has been stopped."""
    return {}


def cookie_name() -> str:
    """Return the cookie's name, one a port, since cookies of two farms' pages would mix."""
    return f"exitlane_{st.get_option('server.port')}"


def keep(name: str, *, signed_in: bool) -> None:
    """Remember who works in this browser, in place of anybody before.

    Parameters
    ----------
    name : str
    signed_in : bool
        They came in by a PIN. Who only chose a name is not let in where a PIN is asked for.
    """
    forget()
    now, browsers = time.time(), _browsers()
    for old in [key for key, one in browsers.items() if one.until_s < now]:
        browsers.pop(old, None)
    key = secrets.token_urlsafe(32)
    browsers[key] = Remembered(name=name, signed_in=signed_in, until_s=now + KEPT_FOR_S)
    st.session_state["browser_key"] = key


def forget() -> None:
    """Forget who works in this browser."""
    for key in (st.session_state.pop("browser_key", ""), st.context.cookies.get(cookie_name(), "")):
        _browsers().pop(key, None)


def forget_everywhere(name: str) -> None:
    """Forget somebody in all browsers, as when they get a new PIN."""
    browsers = _browsers()
    for key in [key for key, one in browsers.items() if one.name == name]:
        browsers.pop(key, None)


def recall(*, need_pin: bool) -> str | None:
    """Return who worked in this browser before it was reloaded, or None."""
    one = _browsers().get(st.context.cookies.get(cookie_name(), ""))
    if one is None or one.until_s < time.time() or (need_pin and not one.signed_in):
        return None
    return one.name
