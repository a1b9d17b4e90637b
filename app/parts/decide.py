"""Confirm or override a score: five buttons with the scale's words beside them."""

from __future__ import annotations

import streamlit as st

from app import session, texts
from app.parts import look, pass_view, player
from app.texts import t
from gait.errors import GaitError, StoreConflict
from gait.farm import decide as keep_decision
from gait.farm import lame_today
from gait.herd.records import DecisionKind, PassRecord
from gait.score import SCORES

WHY = ("slipped", "distracted", "looks_worse", "looks_better", "one_leg", "film")
"""Reasons that take one tap; more can be typed."""
SHOWING = "check_showing"
"""The pass on the screen: it stays there whatever others do, until this person is done with it."""


def seen_version(record: PassRecord) -> int:
    """Return which version of a pass the person was looking at when they pressed something.

    The page is drawn anew on every press, by then perhaps with somebody else's decision in it;
    what counts is what stood there before. To be asked once each time the page is drawn.
    """
    key, now = f"seen_{record.summary.pass_id}", record.summary.version
    before = int(st.session_state.get(key, now))
    st.session_state[key] = now
    return before


def buttons(record: PassRecord, *, place: str) -> None:
    """Show the five scores; one tap on the proposed one confirms, another one asks why."""
    proposed, pass_id = record.summary.proposed, record.summary.pass_id
    seen = seen_version(record)
    own = st.session_state.get(f"{place}_own_{pass_id}")
    if own is not None:
        _ask_why(record, own, place, seen)
        return
    tapped = score_buttons(record, place=place, proposed=proposed)
    if tapped is not None:
        if proposed is None or tapped == proposed:
            _keep(record, tapped, "", seen)
        else:
            st.session_state[f"{place}_own_{pass_id}"] = tapped
            st.rerun()
    row = st.container(horizontal=True, gap="small")
    if row.button(t("decide.second"), key=f"{place}_second_{pass_id}", width="stretch", wrap=True):
        _other(record, "second_opinion_wanted", "", seen)
    if row.button(
        t("decide.unusable"), key=f"{place}_unusable_{pass_id}", width="stretch", wrap=True
    ):
        _other(record, "unusable", t("decide.unusable_reason"), seen)


def score_buttons(record: PassRecord, *, place: str, proposed: int | None) -> int | None:
    """Show whose score it is and five large buttons with the scale's definitions.

    Returns the score just pressed.
    """
    pass_id = record.summary.pass_id
    st.markdown(t("decide.tap" if proposed else "decide.tap_own"))
    # Her number stands here too: on a phone the heading is far above the buttons.
    st.markdown(f"**{look.literal(pass_view.name_of(record.summary))}**")
    tapped = None
    with st.container(key=f"{place}_scores_{pass_id}"):
        for score in SCORES:
            label = f"**{score}** {t(f'scale.{score}')}"
            if score == proposed:
                label += f" **{t('decide.proposed')}**"
            if st.button(
                label,
                key=f"{place}_score_{score}_{pass_id}",
                type="primary" if score == proposed else "secondary",
                shortcut=str(score),
                width="stretch",
            ):
                tapped = score
    if proposed is not None:
        player.keys({"Enter": f"{place}_score_{proposed}_{pass_id}"}, key=f"{place}_keys_{pass_id}")
    return tapped


def _ask_why(record: PassRecord, score: int, place: str, seen: int) -> None:
    pass_id = record.summary.pass_id
    box = f"{place}_why_box_{pass_id}"
    with st.container(border=True, key=box):
        st.markdown(f"**{look.literal(pass_view.name_of(record.summary))}**")
        st.markdown(f"**{t('decide.differs', own=score, proposed=record.summary.proposed)}**")
        picked = st.pills(
            t("decide.why"),
            WHY,
            format_func=lambda name: t(f"why.{name}"),
            key=f"{place}_why_pick_{pass_id}",
        )
        typed = st.text_input(
            t("decide.why_more"), key=f"{place}_why_{pass_id}", placeholder=t("decide.why_hint")
        )
        reason = ": ".join(w for w in (t(f"why.{picked}") if picked else "", typed.strip()) if w)
        one, two = st.columns([2, 1])
        label = t("decide.keep", score=score)
        if one.button(label, type="primary", key=f"{place}_keep_{pass_id}", width="stretch"):
            if reason:
                st.session_state.pop(f"{place}_own_{pass_id}", None)
                _keep(record, score, reason, seen)
            else:
                st.warning(t("decide.say_why"))
        if two.button(t("decide.back"), key=f"{place}_back_{pass_id}", width="stretch"):
            st.session_state.pop(f"{place}_own_{pass_id}", None)
            st.rerun()
        player.scroll(f"{pass_id}_{score}", place=f"{place}_why", to=box)


def _keep(record: PassRecord, score: int, reason: str, seen: int) -> None:
    store, summary = session.store(), record.summary
    was_lame = _is_lame(summary.cow)
    try:
        keep_decision(
            store,
            summary.pass_id,
            who=session.who(),
            score=score,
            reason=reason,
            expected_version=seen,
        )
    except GaitError as problem:
        refused(problem, summary.pass_id)
        return
    st.session_state["said"] = _what_it_means(summary.cow, score, was_lame)
    leave(record)


def _what_it_means(cow: str | None, score: int, was_lame: bool) -> str:
    if cow is None:
        return t("decide.no_cow", score=score)
    is_lame = _is_lame(cow)
    if is_lame == was_lame:
        return t("decide.kept", cow=cow, score=score)
    return t("decide.enters" if is_lame else "decide.leaves", cow=cow, score=score)


def named(cow: str, score: int) -> str:
    """Say what it means that a scored cow has got her number: it may be a known one's."""
    return t("decide.enters" if _is_lame(cow) else "decide.kept", cow=cow, score=score)


def _other(record: PassRecord, kind: DecisionKind, reason: str, seen: int) -> None:
    try:
        session.store().decisions.add(
            record.summary.pass_id,
            kind=kind,
            who=session.who(),
            reason=reason,
            expected_version=seen,
        )
    except GaitError as problem:
        refused(problem, record.summary.pass_id)
        return
    st.session_state["said"] = t(f"decide.done_{kind}")
    leave(record)


def refused(problem: GaitError, pass_id: int) -> None:
    """Show why a decision was not taken; after a conflict, show the pass as it is now."""
    if not isinstance(problem, StoreConflict):
        session.show(problem)
        return
    st.session_state["refused"] = texts.said(str(problem))
    st.query_params["pass"] = str(pass_id)
    st.rerun()


def leave(record: PassRecord) -> None:
    """Go on to the next pass, and remember this one for taking it back."""
    cow = record.summary.cow or t("pass.not_named")
    st.session_state["last_decided"] = {"pass_id": record.summary.pass_id, "cow": cow}
    st.session_state.pop(SHOWING, None)
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
    trouble = st.session_state.pop("refused", None)
    if trouble:
        st.error(trouble)


def disputes(pass_id: int) -> None:
    """Show who said what so far, and decisions that came at the same time."""
    store = session.store()
    for made in store.decisions.of_pass(pass_id):
        score = "" if made.score is None else f" {made.score}"
        line = f"{look.clock(made.at)} {made.who}: {t(f'kind.{made.kind}')}{score}"
        st.caption(line + (f" – {texts.said(made.reason)}" if made.reason else ""))
    for both in store.decisions.conflicts(pass_id=pass_id):
        st.warning(t("second.conflict", who=both.who, score=both.score or "–"))
        if session.allowed("decide") and st.button(
            t("second.settled"), key=f"settle_{both.conflict_id}"
        ):
            store.decisions.settle(both.conflict_id, who=session.who())
            st.rerun()


def _is_lame(cow: str | None) -> bool:
    return cow is not None and bool(lame_today(session.store(), cow=cow))
