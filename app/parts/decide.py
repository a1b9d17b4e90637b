"""Confirm or override a score: five buttons with the scale's words beside them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app import session, texts
from app.parts import look, pass_view, player
from app.texts import in_english, t
from gait.checking import outranked
from gait.errors import GaitError, StoreConflict
from gait.farm import decide as keep_decision
from gait.farm import lame_today
from gait.herd.records import Decision, DecisionKind, PassRecord, PassSummary
from gait.score import SCORES

WHY = ("slipped", "distracted", "looks_worse", "looks_better", "one_leg", "film")
"""Reasons that take one tap; more can be typed."""
SHOWING = "check_showing"
"""The pass on the screen: it stays there whatever others do, until this person is done with it."""
SEEN = "seen_version"
"""The pass on the screen and its version when it came there."""
UNDO_FOR = timedelta(minutes=15)
"""So long one's own decision can be taken back on the spot after the page was loaded anew."""


def seen_version(record: PassRecord) -> int:
    """Return which version of a pass the person is looking at: that with which it came up.

    The page is drawn anew on every press and with every word typed in, by then perhaps with
    somebody else's decision in it, of which this person knows nothing.
    """
    pass_id, now = record.summary.pass_id, record.summary.version
    if st.session_state.get(SEEN, (None, 0))[0] != pass_id:
        st.session_state[SEEN] = pass_id, now
    return int(st.session_state[SEEN][1])


def buttons(record: PassRecord, *, place: str) -> None:
    """Show the five scores; one tap on the proposed one confirms, another one asks why."""
    proposed, pass_id = record.summary.proposed, record.summary.pass_id
    seen = seen_version(record)
    own = st.session_state.get(f"{place}_own_{pass_id}")
    if own is not None:
        _ask_why(record, *own, place=place)
        return
    tapped = score_buttons(record, place=place, proposed=proposed)
    if tapped is not None:
        if proposed is None or tapped == proposed:
            _keep(record, tapped, "", seen)
        else:
            st.session_state[f"{place}_own_{pass_id}"] = tapped, seen
            st.rerun()
    with st.container(key=f"{place}_keys_told"):
        st.caption(t("decide.keys"))
    scores = {str(score): f"{place}_score_{score}_{pass_id}" for score in SCORES}
    player.keys(scores, key=f"{place}_keys_{pass_id}")
    row = st.container(horizontal=True, gap="small")
    if row.button(t("decide.second"), key=f"{place}_second_{pass_id}", width="stretch", wrap=True):
        _other(record, "second_opinion_wanted", "", seen)
    if row.button(
        t("decide.unusable"), key=f"{place}_unusable_{pass_id}", width="stretch", wrap=True
    ):
        photo = pass_view.is_photo(record)
        why = in_english("decide.unusable_photo" if photo else "decide.unusable_reason")
        _other(record, "unusable", why, seen)


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
                width="stretch",
            ):
                tapped = score
    return tapped


def _ask_why(record: PassRecord, score: int, seen: int, *, place: str) -> None:
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
        canned = in_english(f"why.{picked}") if picked else ""
        reason = ": ".join(w for w in (canned, typed.strip()) if w)
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
    was_lame = is_lame(summary.cow)
    try:
        made = keep_decision(
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
    standing = outranked(store, made)
    if standing is not None:
        _say_what_stands(made, standing)
    st.session_state["said"] = _what_it_means(summary.cow, made, was_lame)
    leave(made)


def _say_what_stands(made: Decision, standing: PassSummary) -> None:
    """Say that a score does not count, and stay: a second opinion can be asked for right there."""
    remember(made)
    st.session_state["refused"] = t(
        "decide.outranked",
        name=pass_view.name_of(standing),
        score=made.score,
        who=look.person(standing.decided_by or ""),
        standing=standing.score,
    )
    st.query_params["pass"] = str(made.pass_id)
    st.rerun()


def _what_it_means(cow: str | None, made: Decision, was_lame: bool) -> str:
    score = made.score
    if cow is None:
        return t("decide.no_cow", score=score)
    lame = is_lame(cow)
    if lame != was_lame:
        return t("decide.enters" if lame else "decide.leaves", cow=cow, score=score)
    kept = t("decide.kept", cow=cow, score=score)
    newest = session.store().scores.of_cows([cow])[-1]
    if newest.pass_id == made.pass_id or newest.score == score:
        return kept
    newer = t("decide.newer", day=newest.observed_at.astimezone().date(), score=newest.score)
    return f"{kept} {newer}"


def named(cow: str, score: int) -> str:
    """Say what it means that a scored cow has got her number: it may be a known one's."""
    return t("decide.enters" if is_lame(cow) else "decide.kept", cow=cow, score=score)


def _other(record: PassRecord, kind: DecisionKind, reason: str, seen: int) -> None:
    try:
        made = session.store().decisions.add(
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
    leave(made)


def refused(problem: GaitError, pass_id: int) -> None:
    """Show why something was not done; after a conflict, show the pass as it is now."""
    if not isinstance(problem, StoreConflict):
        session.show(problem)
        return
    st.session_state["refused"] = texts.said(str(problem))
    st.session_state.pop(SEEN, None)
    st.query_params["pass"] = str(pass_id)
    st.rerun()


def leave(made: Decision) -> None:
    """Go on to the next pass, and remember what was decided for taking it back."""
    remember(made)
    st.session_state.pop(SHOWING, None)
    st.query_params.pop("pass", None)
    st.rerun()


def remember(made: Decision | None) -> None:
    """Offer to this person from now on to take this decision back, or none."""
    st.session_state[f"last_decided_{session.who()}"] = made
    st.session_state.pop(SEEN, None)


def offer_undo(place: DeltaGenerator) -> None:
    """Offer to take back one's own last decision, also after the page was loaded anew."""
    key = f"last_decided_{session.who()}"
    if key not in st.session_state:
        since = datetime.now(UTC) - UNDO_FOR
        st.session_state[key] = session.store().decisions.newest_by(session.who(), since)
    made: Decision | None = st.session_state[key]
    if made is None:
        return
    cow = session.store().passes.get(made.pass_id).summary.cow or t("pass.not_named")
    label = t("check.undo", cow=cow)
    if place.button(label, icon=":material/undo:", key="undo", width="stretch"):
        _take_back(made)


def _take_back(made: Decision) -> None:
    """Take back this decision, unless something was decided after it, and show its pass."""
    remember(None)
    try:
        session.store().decisions.undo(
            made.pass_id, who=session.who(), expected_version=made.version
        )
    except GaitError as problem:
        refused(problem, made.pass_id)
        return
    st.session_state["said"] = t("decide.undone")
    st.query_params["pass"] = str(made.pass_id)
    st.rerun()


def said() -> None:
    """Show once what the last decision meant."""
    text = st.session_state.pop("said", None)
    if text:
        st.success(text)
    trouble = st.session_state.pop("refused", None)
    if trouble:
        st.error(trouble)


def is_lame(cow: str | None) -> bool:
    """Say whether a cow is on the lame list."""
    return cow is not None and bool(lame_today(session.store(), cow=cow))
