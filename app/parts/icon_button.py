"""A button that shows a sign only, and tells its words to those who cannot see it."""

from __future__ import annotations

import streamlit as st


def icon_button(words: str, icon: str, key: str, disabled: bool = False) -> bool:
    """Show the button; return whether it was pressed.

    Parameters
    ----------
    words : str
        What it does; read aloud, and shown when the pointer rests on it.
    icon : str
        Name of the sign.
    key : str
        Different for each button of a page.
    disabled : bool
    """
    with st.container(key=f"sign_only_{key}", width="content"):
        return st.button(words, icon=f":material/{icon}:", key=key, help=words, disabled=disabled)
