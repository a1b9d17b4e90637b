"""The queue: one cow a screen, most urgent and least certain first; a person decides."""

from __future__ import annotations

import streamlit as st

from app import session
from app.parts import (
    comparison,
    decide,
    learning,
    pass_view,
    player,
    said_so_far,
    unnamed,
    who_is_she,
)
from app.texts import t
from gait.checking import passes_to_check
from gait.errors import GaitError
from gait.herd.records import PassRecord


def current(skipped: list[int]) -> int | None:
    """Return the pass on the screen: the one asked for, else the first that waits."""
    asked = st.query_params.get("pass")
    if asked and asked.isdecimal():
        return int(asked)
    showing: int | None = st.session_state.get(decide.SHOWING)
    if showing is None:
        waiting = passes_to_check(session.store(), limit=len(skipped) + 1)
        showing = next((p.pass_id for p in waiting if p.pass_id not in skipped), None)
        st.session_state[decide.SHOWING] = showing
    return showing


def steps(pass_id: int, skipped: list[int]) -> None:
    """Offer to take back the last decision and to leave this cow for later."""
    row = st.container(horizontal=True, gap="small")
    decide.offer_undo(row)
    if row.button(t("check.next"), icon=":material/skip_next:", key="next", width="stretch"):
        skipped.append(pass_id)
        st.session_state.pop(decide.SHOWING, None)
        st.query_params.pop("pass", None)
        st.rerun()


def say_what_waits() -> None:
    """Say how many passes wait, and of how many of them only the cow is to be named."""
    waits = session.store().queue.waiting()
    parts = []
    if waits.to_check:
        parts.append(t("check.waiting", count=waits.to_check))
    if waits.unnamed:
        parts.append(t("unnamed.waiting", count=waits.unnamed))
    if parts:
        st.caption(" ".join(parts))


def nothing_waits(skipped: list[int]) -> None:
    """Say so, and offer what to do next."""
    if skipped:
        st.info(t("check.only_skipped", count=len(skipped)))
        if st.button(t("check.again"), key="again", type="primary"):
            skipped.clear()
            st.rerun()
    else:
        st.success(t("check.nothing"))
    decide.offer_undo(st.container(horizontal=True))
    st.page_link("screens/film.py", label=t("check.to_film"), icon=":material/videocam:")
    st.page_link("screens/lame_list.py", label=t("check.to_list"),
                 icon=":material/format_list_numbered:")  # fmt: skip


def score_her(record: PassRecord, skipped: list[int]) -> None:
    """Take the score, and who she is."""
    if session.guarded("decide"):
        decide.buttons(record, place="check")
    steps(record.summary.pass_id, skipped)
    who_is_she.change(record)


def one_cow(record: PassRecord, skipped: list[int]) -> None:
    """Show a pass and take the decision."""
    left, right = st.columns([3, 2], gap="large")
    with left:
        pass_view.heading(record)
        pass_view.film(record)
        pass_view.proposal(record)
    with right:
        if record.summary.version:
            said_so_far.show(record.summary.pass_id)
        if session.store().queue.is_unnamed(record.summary.pass_id):
            unnamed.ask(record)
            steps(record.summary.pass_id, skipped)
        else:
            score_her(record, skipped)
        learning.not_validated()
    st.subheader(t("check.more"))
    left, right = st.columns(2, gap="large")
    with left:
        pass_view.still(record)
        pass_view.traces(record)
    with right:
        comparison.show(record)


st.title(t("to_check.title"))
skipped: list[int] = st.session_state.setdefault("skipped", [])
say_what_waits()
decide.said()
pass_id = current(skipped)
player.scroll(str(pass_id), place="check")
if pass_id is None:
    nothing_waits(skipped)
    st.stop()
try:
    found = session.store().passes.get(pass_id)
except GaitError as problem:
    session.show(problem)
    st.query_params.pop("pass", None)
    st.session_state.pop(decide.SHOWING, None)
    st.stop()
unnamed.go_on_when_named(found)
one_cow(found, skipped)
