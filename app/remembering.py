"""What outlives a reload: who works in this browser, and what is half typed in there.

A random key is in a cookie; the rest is with us, in memory.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Collection
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


@dataclass(frozen=True, kw_only=True)
class LaidBy:
    """What is half typed in at a browser, by the names of its fields, and how long it is kept."""

    fields: dict[str, object]
    until_s: float


@st.cache_resource(show_spinner=False)
def _browsers() -> dict[str, Remembered]:
    """By key. Only in memory: nobody is remembered once the program has been stopped."""
    return {}


@st.cache_resource(show_spinner=False)
def _laid_by() -> dict[str, LaidBy]:
    """By key, as the browsers are."""
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
    for key in _keys():
        _browsers().pop(key, None)
        _laid_by().pop(key, None)
    st.session_state.pop("browser_key", None)


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


def _keys() -> tuple[str, ...]:
    """Return the keys of this browser: the newest one may not be in its cookie yet."""
    known = (st.session_state.get("browser_key"), st.context.cookies.get(cookie_name()))
    return tuple(key for key in known if key)


def lay_by(fields: dict[str, object], *, gone: Collection[str]) -> None:
    """Keep what is half typed in at this browser; one without a key gets one.

    Parameters
    ----------
    fields : dict
        Of this tab; those of the browser's other tabs stay.
    gone : collection of str
        Fields of this tab that are done with.
    """
    now, laid_by = time.time(), _laid_by()
    for old in [key for key, one in laid_by.items() if one.until_s < now]:
        laid_by.pop(old, None)
    kept = {name: value for name, value in pick_up().items() if name not in gone} | fields
    for key in _keys():
        laid_by.pop(key, None)
    if not kept:
        return
    if not _keys():
        st.session_state["browser_key"] = secrets.token_urlsafe(32)
    laid_by[_keys()[0]] = LaidBy(fields=kept, until_s=now + KEPT_FOR_S)


def pick_up() -> dict[str, object]:
    """Return what was half typed in when this browser was reloaded."""
    kept = [one for key in _keys() if (one := _laid_by().get(key)) is not None]
    return dict(kept[0].fields) if kept and kept[0].until_s >= time.time() else {}
