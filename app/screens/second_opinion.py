"""Borderline, severe and disputed scores for the vet; blind to the proposal if wanted."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import streamlit as st

from app import session
from app.parts import comparison, decide, look, pass_view, player, said_so_far, who_is_she
from app.texts import t
from gait.errors import GaitError
from gait.herd.records import PassRecord, PassSummary
from gait.second_opinion import for_second_opinion

LOOK_BACK = timedelta(days=14)
LONGEST = 100
SHOWING = "second_pass"
# The pass on the screen, and the key of the box that names it.


def current(found: list[PassSummary]) -> PassRecord | None:
    """Return the pass to show: the one asked for or chosen, whatever others do, else the first."""
    asked = st.query_params.pop("pass", "")
    if asked.isdecimal():
        st.session_state[SHOWING] = int(asked)
    showing: int | None = st.session_state.get(SHOWING)
    if showing is not None:
        try:
            return session.store().passes.get(showing)
        except GaitError as problem:
            session.show(problem)
    return session.store().passes.get(found[0].pass_id) if found else None


def choose(found: list[PassSummary], record: PassRecord, since: datetime) -> None:
    """Let the vet choose among the cows; the one shown is named, waiting or not."""
    disputed = session.store().queue.disputed(since)
    names = {p.pass_id: label(p, disputed) for p in [*found, record.summary]}
    # Said to the box anew each time: the browser would go on naming the cow before.
    st.session_state[SHOWING] = record.summary.pass_id
    st.selectbox(
        t("second.which", count=len(found)), list(names), format_func=names.__getitem__,
        key=SHOWING,
    )  # fmt: skip


def label(summary: PassSummary, disputed: set[int]) -> str:
    """Return the line of one pass, which tells nothing of the score."""
    parts = [pass_view.name_of(summary), look.clock(summary.observed_at)]
    if summary.wants_second_opinion:
        parts.append(t("second.asked"))
    if summary.pass_id in disputed:
        parts.append(t("second.differ"))
    return " · ".join(parts)


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
    decide.offer_undo(row)
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
    was_lame = decide.is_lame(record.summary.cow)
    try:
        made = session.store().decisions.add(
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
    decide.remember(made)
    meant = t("second.declined") if score is None else told(record, score, was_lame)
    st.session_state["said"] = meant
    st.session_state["second_done"] = True
    st.rerun()


def told(record: PassRecord, score: int, was_lame: bool) -> str:
    """Say what was kept and what it means, and only now what the program had proposed."""
    cow, proposed = record.summary.cow, record.summary.proposed
    if cow is None:
        return t("decide.no_cow", score=score)
    kept = t("second.kept", cow=cow, score=score)
    if proposed is not None:
        kept = t("second.kept_beside", cow=cow, score=score, proposed=proposed)
    lame = decide.is_lame(cow)
    if lame == was_lame:
        return kept
    return f"{kept} {t('second.enters' if lame else 'second.leaves')}"


def nothing_waits() -> None:
    """Say so, and offer what to do next."""
    st.success(t("second.nothing"))
    decide.offer_undo(st.container(horizontal=True))
    st.page_link("screens/lame_list.py", label=t("check.to_list"),
                 icon=":material/format_list_numbered:")  # fmt: skip


st.title(t("second_opinion.title"))
st.write(t("second.how"))
decide.said()
if st.session_state.pop("second_done", False):
    st.session_state.pop(SHOWING, None)
since = datetime.now(UTC) - LOOK_BACK
found = for_second_opinion(session.store(), since, limit=LONGEST)
record = current(found)
if record is None:
    nothing_waits()
    st.stop()
blind = st.toggle(t("second.blind"), value=True, key="second_blind")
choose(found, record, since)
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
        if record.summary.version:
            st.markdown(f"**{look.literal(t('second.said_so_far'))}**")
            said_so_far.show(record.summary.pass_id)
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
