"""What is being typed in for one cow, kept apart from that of every other cow."""

from __future__ import annotations

import streamlit as st

from app import remembering

_BEGIN = "draft:"


def key(draft: str, field: str) -> str:
    """Return the key of one field of a draft."""
    return f"{_BEGIN}{draft}:{field}"


def start(draft: str, **values: object) -> None:
    """Put values into those fields of a draft that hold none yet."""
    for field, value in values.items():
        st.session_state.setdefault(key(draft, field), value)


def hold() -> None:
    """Keep all drafts through this run and over a reload.

    Streamlit drops fields that are not on the page, and all of them with the page.
    """
    if "drafts_picked_up" not in st.session_state:
        st.session_state["drafts_picked_up"] = True
        for name, value in remembering.pick_up().items():
            st.session_state.setdefault(name, value)
    drafts = {
        str(name): st.session_state[name]
        for name in list(st.session_state)
        if str(name).startswith(_BEGIN)
    }
    for name, value in drafts.items():
        st.session_state[name] = value
    before: set[str] = st.session_state.get("drafts_laid_by", set())
    remembering.lay_by(drafts, gone=before - drafts.keys())
    st.session_state["drafts_laid_by"] = set(drafts)


def drop(draft: str) -> None:
    """Forget one draft; those of other cows stay."""
    for name in list(st.session_state):
        if str(name).startswith(key(draft, "")):
            del st.session_state[name]
