"""Which cow a pass shows: shown, doubted, typed."""

from __future__ import annotations

import streamlit as st

from app import session
from app.texts import t
from gait.errors import GaitError
from gait.herd.records import PassRecord


def line(record: PassRecord) -> None:
    """Show the cow's number and let people say that it is another."""
    summary = record.summary
    name = summary.cow or t("pass.not_named")
    st.subheader(t("pass.cow", cow=name))
    if summary.identity_doubtful:
        said = session.store().identities.of_pass(summary.pass_id)[-1]
        st.warning(t("who.doubtful", cows=", ".join(said.candidates)))
    with st.expander(t("who.change"), expanded=summary.cow is None):
        _choose(record)


def _choose(record: PassRecord) -> None:
    numbers = [c.number for c in session.store().cows.all()]
    chosen = st.selectbox(
        t("who.number"),
        numbers,
        index=None,
        accept_new_options=True,
        key=f"who_{record.summary.pass_id}",
        placeholder=t("who.type"),
    )
    if st.button(t("who.keep"), key=f"who_keep_{record.summary.pass_id}") and chosen:
        try:
            session.store().identities.set(
                record.summary.pass_id, str(chosen), who=session.who(), source="person"
            )
        except GaitError as problem:
            session.show(problem)
            return
        st.rerun()
