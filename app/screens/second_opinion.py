"""Borderline, severe and disputed scores for the vet; blind to the proposal if wanted."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import streamlit as st

from app import session
from app.parts import comparison, decide, look, pass_view, who_is_she
from app.texts import t
from gait.errors import GaitError
from gait.herd.records import PassRecord, PassSummary

LOOK_BACK = timedelta(days=14)
LONGEST = 100


def waiting() -> list[PassSummary]:
    """Return the passes worth a second opinion, most urgent first."""
    return session.store().queue.for_vet(datetime.now(UTC) - LOOK_BACK, limit=LONGEST)


def choose(found: list[PassSummary]) -> PassRecord:
    """Let the vet choose among the cows; the one chosen stays, whatever others do meanwhile."""
    names = {p.pass_id: label(p) for p in found}
    asked = st.query_params.get("pass", "")
    if asked.isdecimal():
        st.session_state["second_pass"] = int(asked)
        st.query_params.pop("pass", None)
    showing = st.session_state.get("second_pass")
    if showing is not None and showing not in names:
        names = {showing: label(session.store().passes.get(showing).summary)} | names
    chosen = st.selectbox(
        t("second.which", count=len(found)), list(names), format_func=names.__getitem__,
        key="second_pass",
    )  # fmt: skip
    return session.store().passes.get(int(chosen))


def label(summary: PassSummary) -> str:
    """Return the line of one pass, which tells nothing of the score."""
    cow = t("pass.cow", cow=summary.cow) if summary.cow else t("pass.cow_not_named")
    wanted = f" · {t('second.asked')}" if summary.wants_second_opinion else ""
    return f"{cow} · {summary.observed_at:%Y-%m-%d %H:%M}{wanted}"


def answer(record: PassRecord, *, blind: bool) -> None:
    """Take the second opinion: a note if wanted, then one tap."""
    pass_id, seen = record.summary.pass_id, decide.seen_version(record)
    note = st.text_input(t("second.note"), key=f"second_note_{pass_id}")
    tapped = decide.score_buttons(record, place="second", proposed=None)
    if tapped is None:
        return
    try:
        session.store().decisions.add(
            pass_id,
            kind="second_opinion",
            score=tapped,
            who=session.who(),
            reason=note,
            blind=blind,
            expected_version=seen,
        )
    except GaitError as problem:
        decide.refused(problem, pass_id)
        return
    st.session_state["said"] = told(record, tapped)
    st.session_state["second_done"] = True
    st.rerun()


def told(record: PassRecord, score: int) -> str:
    """Say what was kept, and only now what the program had proposed."""
    proposed = record.summary.proposed
    cow = record.summary.cow or t("pass.not_named")
    if proposed is None:
        return t("second.kept", cow=cow, score=score)
    return t("second.kept_beside", cow=cow, score=score, proposed=proposed)


st.title(t("second_opinion.title"))
st.write(t("second.how"))
decide.said()
if st.session_state.pop("second_done", False):
    st.session_state.pop("second_pass", None)
found = waiting()
if not found:
    st.success(t("second.nothing"))
    st.page_link("screens/lame_list.py", label=t("check.to_list"),
                 icon=":material/format_list_numbered:")  # fmt: skip
    st.stop()
blind = st.toggle(t("second.blind"), value=True, key="second_blind")
record = choose(found)
left, right = st.columns([3, 2], gap="large")
with left:
    pass_view.heading(record)
    pass_view.film(record)
with right:
    if not blind:
        pass_view.proposal(record)
        st.markdown(f"**{look.literal(t('second.said_so_far'))}**")
        decide.disputes(record.summary.pass_id)
    if session.guarded("second_opinion"):
        answer(record, blind=blind)
    who_is_she.change(record)
if not blind:
    left, right = st.columns(2, gap="large")
    with left:
        pass_view.still(record)
        pass_view.traces(record)
    with right:
        comparison.show(record)
