"""An animal number, chosen or typed; one that is not on the herd list is asked about first."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from app import session
from app.parts import look
from app.texts import t
from gait.herd.near_numbers import is_strange, near_numbers

NEW_NUMBERS = "numbers_said_to_be_new"


def choose(label: str, numbers: Sequence[str], *, key: str) -> str | None:
    """Let people choose or type a number.

    Parameters
    ----------
    label : str
    numbers : sequence of str
        Those to choose from, in their order.
    key : str
        Different for each box of a page.

    Returns
    -------
    str or None
        None with nothing chosen, or while it is not certain that the number is meant.
    """
    # Bare numbers: a browser sends back the words of the list, and a number with words about her
    # is taken for a new one once those words have changed.
    chosen = st.selectbox(
        label, numbers, index=None, placeholder=t("who.type"), key=key, accept_new_options=True
    )
    number = str(chosen or "").strip()
    return number if number and _is_meant(number, key) else None


def _is_meant(number: str, key: str) -> bool:
    """Ask about a number that no herd list has named, unless there is no herd list yet."""
    herd = session.store().cows.all()
    new: set[str] = st.session_state.setdefault(NEW_NUMBERS, set())
    if number in new or not is_strange(number, herd):
        return True
    st.warning(t("who.not_listed", cow=look.literal(number)))
    with st.container(horizontal=True):
        for near in near_numbers(number, [cow.number for cow in herd]):
            st.button(t("pass.cow", cow=look.literal(near)), key=f"{key}_near_{near}",
                      on_click=_take, args=(key, near))  # fmt: skip
        st.button(t("who.is_new", cow=look.literal(number)), key=f"{key}_is_new",
                  on_click=new.add, args=(number,))  # fmt: skip
    return False


def _take(key: str, number: str) -> None:
    st.session_state[key] = number
