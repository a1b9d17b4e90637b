"""The queue: one cow a screen, most urgent and least certain first; a person decides."""

from __future__ import annotations

import streamlit as st

from app import session
from app.parts import decide, pass_view, who_is_she
from app.texts import t

PLACE = "to_check_pass"


def current() -> int | None:
    """Return the pass on the screen: the one asked for, else the first that waits."""
    asked = st.query_params.get("pass")
    if asked and asked.isdecimal():
        return int(asked)
    waiting = session.store().queue.to_check(limit=1)
    return waiting[0].pass_id if waiting else None


def undo_last() -> None:
    """Offer to take back what this person decided last."""
    last = st.session_state.get("last_decided")
    if last and st.button(t("check.undo", cow=last["cow"]), icon=":material/undo:", key="undo"):
        decide.take_back(last["pass_id"])


st.title(t("to_check.title"))
counts = session.store().queue.waiting()
st.caption(t("check.waiting", count=counts.to_check))
decide.said()
undo_last()
pass_id = current()
if pass_id is None:
    st.success(t("check.nothing"))
    st.page_link("screens/film.py", label=t("check.to_film"))
    st.stop()
record = session.store().passes.get(pass_id)
left, right = st.columns([3, 2], gap="large")
with left:
    pass_view.film(record)
with right:
    who_is_she.line(record)
    pass_view.proposal(record)
    if session.guarded("decide"):
        decide.buttons(record, place="check")
with st.expander(t("check.more"), expanded=False):
    pass_view.traces(record)
    pass_view.measures(record)
