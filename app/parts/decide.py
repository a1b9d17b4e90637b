"""Confirm or override a score: five buttons with the scale's words beside them."""

from __future__ import annotations

import streamlit as st

from app import session
from app.texts import t
from gait.errors import GaitError
from gait.farm import decide as keep_decision
from gait.farm import lame_today
from gait.herd.records import PassRecord
from gait.score import SCORES


def buttons(record: PassRecord, *, place: str, blind: bool = False) -> None:
    """Show the five scores, a reason where one is needed, and what else can be said."""
    pass_id = record.summary.pass_id
    proposed = None if blind else record.summary.proposed
    chosen = score_choice(record, place=place, proposed=proposed)
    reason = ""
    if proposed is not None and chosen != proposed:
        reason = st.text_input(
            t("decide.why"), key=f"{place}_why_{pass_id}", placeholder=t("decide.why_hint")
        )
    label = t("decide.confirm", score=chosen) if chosen == proposed else t("decide.keep")
    if st.button(label, type="primary", key=f"{place}_keep_{pass_id}", width="stretch"):
        _keep(record, chosen, reason, blind)
    one, two = st.columns(2)
    if one.button(t("decide.second"), key=f"{place}_second_{pass_id}", width="stretch"):
        _other(record, "second_opinion_wanted", reason)
    if two.button(t("decide.unusable"), key=f"{place}_unusable_{pass_id}", width="stretch"):
        _other(record, "unusable", reason or t("decide.unusable_reason"))


def score_choice(record: PassRecord, *, place: str, proposed: int | None) -> int | None:
    """Show the five scores with the scale's words; return the chosen one."""
    return st.radio(
        t("decide.your_score"),
        SCORES,
        index=None if proposed is None else proposed - 1,
        format_func=lambda s: f"**{s}** {t(f'scale.{s}')}",
        key=f"{place}_score_{record.summary.pass_id}",
    )


def _keep(record: PassRecord, score: int | None, reason: str, blind: bool) -> None:
    if score is None:
        st.warning(t("decide.choose"))
        return
    proposed = record.summary.proposed
    if proposed is not None and not blind and score != proposed and not reason.strip():
        st.warning(t("decide.say_why"))
        return
    before = _lame()
    try:
        keep_decision(
            session.store(),
            record.summary.pass_id,
            who=session.who(),
            score=score,
            reason=reason,
            blind=blind,
            expected_version=record.summary.version,
        )
    except GaitError as problem:
        session.show(problem)
        return
    _next(record, score, before)


def _other(record: PassRecord, kind: str, reason: str) -> None:
    try:
        session.store().decisions.add(
            record.summary.pass_id,
            kind=kind,  # type: ignore[arg-type]
            who=session.who(),
            reason=reason,
            expected_version=record.summary.version,
        )
    except GaitError as problem:
        session.show(problem)
        return
    st.session_state["said"] = t(f"decide.done_{kind}")
    _leave(record)


def _next(record: PassRecord, score: int, before: set[str]) -> None:
    cow = record.summary.cow
    after = _lame()
    if cow is None:
        text = t("decide.no_cow", score=score)
    elif cow in after - before:
        text = t("decide.enters", cow=cow, score=score)
    elif cow in before - after:
        text = t("decide.leaves", cow=cow, score=score)
    else:
        text = t("decide.kept", cow=cow, score=score)
    st.session_state["said"] = text
    _leave(record)


def _leave(record: PassRecord) -> None:
    cow = record.summary.cow or t("pass.not_named")
    st.session_state["last_decided"] = {"pass_id": record.summary.pass_id, "cow": cow}
    st.query_params.pop("pass", None)
    st.rerun()


def take_back(pass_id: int) -> None:
    """Take back the newest decision on a pass and show it again."""
    try:
        session.store().decisions.undo(pass_id, who=session.who())
    except GaitError as problem:
        session.show(problem)
        return
    st.session_state.pop("last_decided", None)
    st.session_state["said"] = t("decide.undone")
    st.query_params["pass"] = str(pass_id)
    st.rerun()


def said() -> None:
    """Show once what the last decision meant."""
    text = st.session_state.pop("said", None)
    if text:
        st.success(text)


def _lame() -> set[str]:
    return {line.cow.number for line in lame_today(session.store())}
