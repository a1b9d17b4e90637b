"""What is being typed in for one cow, kept apart from that of every other cow."""

from __future__ import annotations

import streamlit as st

_BEGIN = "draft:"


def key(draft: str, field: str) -> str:
    """Return the key of one field of a draft."""
    return f"{_BEGIN}{draft}:{field}"


def start(draft: str, **values: object) -> None:
    """Put values into those fields of a draft that hold none yet."""
    for field, value in values.items():
        st.session_state.setdefault(key(draft, field), value)


def hold() -> None:
    """Keep all drafts through this run: Streamlit drops fields that are not on the page."""
    for name in list(st.session_state):
        if str(name).startswith(_BEGIN):
            st.session_state[name] = st.session_state[name]


def drop(draft: str) -> None:
    """Forget one draft; those of other cows stay."""
    for name in list(st.session_state):
        if str(name).startswith(key(draft, "")):
            del st.session_state[name]
