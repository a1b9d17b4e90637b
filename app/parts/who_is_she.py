"""Which cow a pass shows: doubted, typed, put right."""

from __future__ import annotations

import streamlit as st

from app import session
from app.parts import cow_number, look
from app.texts import t
from gait.errors import GaitError
from gait.herd.records import PassRecord


def change(record: PassRecord) -> None:
    """Let people say which cow a pass shows."""
    if not session.allowed("identify"):
        return
    summary = record.summary
    candidates: tuple[str, ...] = ()
    if summary.identity_doubtful:
        candidates = session.store().identities.of_pass(summary.pass_id)[-1].candidates
        is_new = not set(candidates) & set(session.numbers())
        told = "who.offered" if is_new else "who.doubtful"
        st.warning(t(told, cows=look.literal(", ".join(candidates))))
    for cow in candidates:
        if st.button(t("pass.cow", cow=cow), key=f"who_{cow}_{summary.pass_id}"):
            _keep(summary.pass_id, cow)
    label = t("who.change") if summary.cow else t("who.name_her")
    with st.expander(label, expanded=summary.cow is None and not candidates):
        _choose(record)


def _choose(record: PassRecord) -> None:
    pass_id = record.summary.pass_id
    chosen = cow_number.choose(t("who.number"), session.numbers(), key=f"who_{pass_id}")
    if st.button(t("who.keep"), key=f"who_keep_{pass_id}", width="stretch"):
        if chosen:
            _keep(pass_id, chosen)
        else:
            st.warning(t("who.say"))


def _keep(pass_id: int, cow: str) -> None:
    try:
        session.store().identities.set(pass_id, cow, who=session.who(), source="person")
    except GaitError as problem:
        session.show(problem)
        return
    st.session_state["said"] = t("who.kept", cow=cow)
    st.query_params["pass"] = str(pass_id)
    st.rerun()
