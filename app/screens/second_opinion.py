"""Borderline, severe and disputed scores for the vet; blind to the proposal if wanted."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import streamlit as st

from app import session
from app.parts import comparison, decide, look, pass_view, player, who_is_she
from app.texts import t
from gait.errors import GaitError
from gait.herd.records import PassRecord, PassSummary
from gait.second_opinion import for_second_opinion

LOOK_BACK = timedelta(days=14)
LONGEST = 100
SHOWING = "second_pass"
# The pass on the screen, and the key of the box that names it.


def waiting() -> list[PassSummary]:
    """Return the passes worth a second opinion, most urgent first."""
    return for_second_opinion(session.store(), datetime.now(UTC) - LOOK_BACK, limit=LONGEST)


def choose(found: list[PassSummary]) -> PassRecord:
    """Let the vet choose among the cows; the one chosen stays, whatever others do meanwhile."""
    names = {p.pass_id: label(p) for p in found}
    asked = st.query_params.get("pass", "")
    if asked.isdecimal():
        st.session_state[SHOWING] = int(asked)
        st.query_params.pop("pass", None)
    showing = st.session_state.get(SHOWING)
    if showing is None:
        showing = found[0].pass_id
    elif showing not in names:
        names = {showing: label(session.store().passes.get(showing).summary)} | names
    # Said to the box anew each time: the browser would go on naming the cow before.
    st.session_state[SHOWING] = showing
    st.selectbox(
        t("second.which", count=len(found)), list(names), format_func=names.__getitem__,
        key=SHOWING,
    )  # fmt: skip
    return session.store().passes.get(st.session_state[SHOWING])


def label(summary: PassSummary) -> str:
    """Return the line of one pass, which tells nothing of the score."""
    wanted = f" · {t('second.asked')}" if summary.wants_second_opinion else ""
    return f"{pass_view.name_of(summary)} · {look.clock(summary.observed_at)}{wanted}"


def answer(record: PassRecord, found: list[PassSummary], *, blind: bool) -> None:
    """Take the second opinion: a note if wanted, then one tap; or leave it."""
    pass_id, seen = record.summary.pass_id, decide.seen_version(record)
    tapped = None
    if pass_view.is_seen(record):
        note = st.text_input(t("second.note"), key=f"second_note_{pass_id}")
        tapped = decide.score_buttons(record, place="second", proposed=None)
    else:
        note = ""
        nothing_to_see(record)
    row = st.container(horizontal=True, gap="small")
    declined = row.button(t("second.decline"), key=f"second_decline_{pass_id}", width="stretch")
    following = after(pass_id, found)
    if following is not None:
        row.button(t("second.skip"), key="second_skip", icon=":material/skip_next:",
                   on_click=show, args=(following,), width="stretch")  # fmt: skip
    if tapped is not None or declined:
        keep(record, tapped, note, seen, blind=blind)


def nothing_to_see(record: PassRecord) -> None:
    """Say that no score can be given here, and where more is known of her."""
    st.write(t("second.nothing_to_see"))
    if record.summary.cow:
        st.page_link("screens/cow.py", label=t("second.history"), icon=":material/timeline:",
                     query_params={"cow": record.summary.cow})  # fmt: skip


def after(pass_id: int, found: list[PassSummary]) -> int | None:
    """Return the pass that follows in the queue, from its end back to its beginning."""
    order = [p.pass_id for p in found]
    place = order.index(pass_id) + 1 if pass_id in order else 0
    others = [p for p in order[place:] + order[:place] if p != pass_id]
    return others[0] if others else None


def show(pass_id: int) -> None:
    """Show this pass next."""
    st.session_state[SHOWING] = pass_id


def keep(record: PassRecord, score: int | None, note: str, seen: int, *, blind: bool) -> None:
    """Keep a score, or that none can be given."""
    try:
        session.store().decisions.add(
            record.summary.pass_id,
            kind="second_opinion_declined" if score is None else "second_opinion",
            score=score,
            who=session.who(),
            reason=note,
            blind=blind,
            expected_version=seen,
        )
    except GaitError as problem:
        decide.refused(problem, record.summary.pass_id)
        return
    st.session_state["said"] = t("second.declined") if score is None else told(record, score)
    st.session_state["second_done"] = True
    st.rerun()


def told(record: PassRecord, score: int) -> str:
    """Say what was kept, and only now what the program had proposed."""
    cow, proposed = record.summary.cow, record.summary.proposed
    if cow is None:
        return t("decide.no_cow", score=score)
    if proposed is None:
        return t("second.kept", cow=cow, score=score)
    return t("second.kept_beside", cow=cow, score=score, proposed=proposed)


st.title(t("second_opinion.title"))
st.write(t("second.how"))
decide.said()
if st.session_state.pop("second_done", False):
    st.session_state.pop(SHOWING, None)
found = waiting()
if not found:
    st.success(t("second.nothing"))
    st.page_link("screens/lame_list.py", label=t("check.to_list"),
                 icon=":material/format_list_numbered:")  # fmt: skip
    st.stop()
blind = st.toggle(t("second.blind"), value=True, key="second_blind")
record = choose(found)
player.scroll(str(record.summary.pass_id), place="second")
left, right = st.columns([3, 2], gap="large")
with left:
    pass_view.heading(record)
    pass_view.film(record)
    if pass_view.kept(record, "film") is None:
        pass_view.still(record)
with right:
    if not blind:
        pass_view.proposal(record)
        st.markdown(f"**{look.literal(t('second.said_so_far'))}**")
        decide.disputes(record.summary.pass_id)
    if session.guarded("second_opinion"):
        answer(record, found, blind=blind)
    who_is_she.change(record)
if not blind:
    left, right = st.columns(2, gap="large")
    with left:
        if pass_view.kept(record, "film") is not None:
            pass_view.still(record)
        pass_view.traces(record)
    with right:
        comparison.show(record)
