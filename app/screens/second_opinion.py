"""Borderline, severe and disputed scores for the vet; blind to the proposal if wanted."""

from __future__ import annotations

import streamlit as st

from app import session
from app.parts import decide, pass_view, who_is_she
from app.texts import t
from gait.errors import GaitError
from gait.herd.records import PassRecord, PassSummary


def choose(waiting: list[PassSummary]) -> PassRecord:
    """Let the vet choose among the cows that wait."""
    chosen = st.selectbox(
        t("second.which", count=len(waiting)),
        [p.pass_id for p in waiting],
        format_func={p.pass_id: label(p) for p in waiting}.__getitem__,
        key="second_pass",
    )
    return session.store().passes.get(int(chosen))


def label(summary: PassSummary) -> str:
    """Return the line of one pass."""
    cow = summary.cow or t("pass.not_named")
    return f"{t('pass.cow', cow=cow)} · {summary.observed_at:%Y-%m-%d %H:%M}"


def answer(record: PassRecord, *, blind: bool) -> None:
    """Take the second opinion."""
    pass_id = record.summary.pass_id
    with st.form(f"second_{pass_id}"):
        score = decide.score_choice(record, place="second", proposed=None)
        note = st.text_area(t("second.note"), key=f"second_note_{pass_id}")
        if not st.form_submit_button(t("second.keep"), type="primary", width="stretch"):
            return
    if score is None:
        st.warning(t("decide.choose"))
        return
    try:
        session.store().decisions.add(
            pass_id,
            kind="second_opinion",
            score=score,
            who=session.who(),
            reason=note,
            blind=blind,
            expected_version=record.summary.version,
        )
    except GaitError as problem:
        session.show(problem)
        return
    st.session_state["said"] = t("second.kept", score=score)
    st.rerun()


def disputes(record: PassRecord) -> None:
    """Show who said what so far, and decisions that came at the same time."""
    for made in session.store().decisions.of_pass(record.summary.pass_id):
        score = "" if made.score is None else f" {made.score}"
        st.caption(f"{made.at:%Y-%m-%d %H:%M} {made.who}: {t(f'kind.{made.kind}')}{score} "
                   f"{made.reason}")  # fmt: skip
    for both in session.store().decisions.conflicts(pass_id=record.summary.pass_id):
        st.warning(t("second.conflict", who=both.who, score=both.score))


st.title(t("second_opinion.title"))
st.write(t("second.how"))
decide.said()
waiting = session.store().queue.second_opinions(limit=100)
if not waiting:
    st.success(t("second.nothing"))
    st.stop()
blind = st.toggle(t("second.blind"), value=True, key="second_blind")
record = choose(waiting)
left, right = st.columns([3, 2], gap="large")
with left:
    pass_view.film(record)
with right:
    who_is_she.line(record)
    if not blind:
        pass_view.proposal(record)
        disputes(record)
    if session.guarded("second_opinion"):
        answer(record, blind=blind)
if not blind:
    with st.expander(t("check.more")):
        pass_view.traces(record)
        pass_view.measures(record)
