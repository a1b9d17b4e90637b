"""What people said about a pass until now, and what two of them entered at the same time."""

from __future__ import annotations

import streamlit as st

from app import session, texts
from app.parts import look
from app.texts import t
from gait.herd.records import Decision
from gait.herd.standing import overruled


def show(pass_id: int) -> None:
    """Show who said what so far, and decisions that came at the same time until one decides."""
    store = session.store()
    made = store.decisions.of_pass(pass_id)
    without_effect = overruled(made)
    for one in made:
        st.caption(_line(one, counts=one not in without_effect))
    for both in store.decisions.conflicts(pass_id=pass_id):
        st.warning(t("second.conflict", who=look.person(both.who), score=both.score or "–"))
        if session.allowed("decide") and st.button(
            t("second.settled"), key=f"settle_{both.conflict_id}"
        ):
            store.decisions.settle(both.conflict_id, who=session.who())
            st.rerun()


def _line(made: Decision, *, counts: bool) -> str:
    score = "" if made.score is None else f" {made.score}"
    mark = "" if counts else f" ({t('second.outranked')})"
    line = f"{look.clock(made.at)} {look.person(made.who)}: {t(f'kind.{made.kind}')}{score}{mark}"
    return line + (f" – {texts.said(made.reason)}" if made.reason else "")
