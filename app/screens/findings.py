"""What was found and done at the chute: foot by foot, claw by claw."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import streamlit as st

from app import session
from app.parts import cow_number, draft, finding_form, look, player, trim_card, trim_form
from app.texts import day_box, said, t
from gait import trim_day
from gait.errors import GaitError
from gait.exchange.trim_guide import CAUTIONS
from gait.herd.feet import check_trim, is_empty
from gait.herd.records import Trim, TrimDay, TrimEntry
from gait.withdrawals import withdrawals


def planned() -> tuple[TrimDay | None, list[TrimEntry]]:
    """Return the next open day and the cows on it still to be done."""
    store = session.store()
    for day in trim_day.open_days(store):
        entries = [e for e in store.trim_days.entries(day.trim_day_id) if e.state == "planned"]
        if entries:
            return day, entries
    return None, []


def box(turn: int) -> str:
    """Return the key of the box with the cow: another one for each cow, so that it is empty."""
    return f"findings_cow_{turn}"


def choose(entries: list[TrimEntry]) -> tuple[str | None, date]:
    """Let people choose the cow, of the day's list or any of the herd, and the day."""
    listed = [e.cow for e in entries]
    numbers = listed + [n for n in session.numbers() if n not in set(listed)]
    key = box(st.session_state.setdefault("findings_turn", 0))
    asked = st.query_params.get("cow")
    if asked in numbers and (st.session_state.get("findings_asked") != asked
                             or key not in st.session_state):  # fmt: skip
        st.session_state["findings_asked"] = st.session_state[key] = asked
    left, right = st.columns([3, 2])
    with left:
        cow = cow_number.choose(t("findings.cow"), numbers, key=key)
    if cow in numbers:  # so that a reload comes back to her
        st.query_params["cow"] = st.session_state["findings_asked"] = cow
    # Tomorrow it is another field, so that a page left open does not date by yesterday.
    today = date.today()
    on = right.date_input(t("findings.on"), value=today, max_value=today, format=day_box(),
                          key=f"findings_{today}")  # fmt: skip
    return cow, on or today


def enter(cow: str, on: date, day: TrimDay | None, entries: list[TrimEntry]) -> None:
    """Enter one cow's trim; with one of that day on record already, show that first."""
    kept = [trim for trim in session.store().trims.of_cows([cow]) if trim.on == on]
    second = draft.key(cow, f"second_{on}")
    if len(kept) > st.session_state.get(second, 0):
        st.warning(t("findings.is_kept", cow=look.literal(cow), day=on))
        for trim in kept:
            with st.container(border=True):
                trim_card.show(trim)
                if st.button(t("trim.correct"), key=f"findings_correct_{trim.uid}"):
                    st.query_params.from_dict({"cow": cow, "correct": trim.uid})
                    st.rerun()
        if st.button(t("findings.second"), key="findings_second"):
            st.session_state[second] = len(kept)
            st.rerun()
        return
    entry = next((e for e in entries if e.cow == cow), None)
    trim_form.begin(cow, entry.reason if entry else "therapeutic")
    trim = form(cow, cow, on, t("findings.keep"))
    if trim is not None:
        keep(replace(trim, trim_day_id=day.trim_day_id if day and entry else None), cow)


def form(name: str, cow: str, on: date, button: str) -> Trim | None:
    """Show the form of a draft; return the trim when it is to be kept and nothing is amiss."""
    left, right = st.columns([3, 2], gap="large")
    with left:
        st.subheader(t("findings.foot_title"))
        finding_form.show(name)
    with right:
        st.subheader(t("findings.so_far", cow=look.literal(cow)))
        caution = withdrawals(session.store()).get(cow)
        if caution:
            st.html(look.cautions(caution))
        trim = trim_form.show(name, cow, on)
        asked = draft.key(name, "asked_if_empty")
        if st.button(button, type="primary", key=f"findings_keep_{name}", width="stretch"):
            amiss = [t("findings.add_first")] if finding_form.is_begun(name) else []
            amiss += [said(sentence) for sentence in check_trim(trim)]
            for sentence in amiss:
                st.warning(sentence)
            st.session_state[asked] = not amiss
            if not amiss and not is_empty(trim):
                return trim
        return _nothing_found(name, trim, asked)


def _nothing_found(name: str, trim: Trim, asked: str) -> Trim | None:
    """Ask before an empty trim is kept: it counts as treatment and closes her place on the day."""
    if not (st.session_state.get(asked) and is_empty(trim)) or finding_form.is_begun(name):
        return None
    st.warning(t("findings.empty"))
    pressed = st.button(t("findings.empty_yes"), key=f"findings_empty_{name}", width="stretch")
    return trim if pressed else None


def keep(trim: Trim, name: str) -> None:
    """Keep the trim, forget its draft, and go on to the next cow of the day's list."""
    try:
        session.store().trims.add(trim)
    except GaitError as problem:
        session.show(problem)
        return
    leave(name)
    st.session_state["chute_cautions"] = False
    key = "findings.kept_recheck" if trim.recheck_on else "findings.kept"
    key = "findings.taken_back" if trim.reason == "taken_back" else key
    st.session_state["said_findings"] = t(key, cow=trim.cow, day=trim.recheck_on)
    st.session_state["findings_turn"] = turn = st.session_state.get("findings_turn", 0) + 1
    following = trim_day.next_cow(session.store(), trim.trim_day_id, trim.cow)
    if following and not trim.corrects:
        st.session_state[box(turn)] = following
    st.rerun()


def leave(name: str) -> None:
    """Forget a draft and what the page's address asked for."""
    draft.drop(name)
    st.session_state.pop("findings_asked", None)
    for asked in ("cow", "correct"):
        st.query_params.pop(asked, None)


def to_correct() -> Trim | None:
    """Return the trim that is to be corrected, by the page's address; None if none is."""
    cow, uid = st.query_params.get("cow", ""), st.query_params.get("correct")
    found = next((trim for trim in session.store().trims.of_cows([cow]) if trim.uid == uid), None)
    if uid and found is None:
        st.warning(t("findings.no_longer"))
    return found


def correct(wrong: Trim) -> None:
    """Put right a trim that is on record: the new one stands, the old one stays in her history."""
    name = f"correct {wrong.uid}"
    player.scroll(name, place="findings")
    st.info(t("findings.correcting", cow=look.literal(wrong.cow), day=wrong.on))
    draft.start(name, cow=wrong.cow, on=wrong.on)
    trim_form.begin_from(name, wrong)
    one, two = st.columns([3, 2], gap="large")
    with one:
        cow = cow_number.choose(t("findings.cow"), session.numbers(), key=draft.key(name, "cow"))
    on = two.date_input(t("findings.on"), value=None, max_value=date.today(), format=day_box(),
                        key=draft.key(name, "on"))  # fmt: skip
    with st.container(horizontal=True):
        if st.button(t("findings.leave"), key="findings_leave"):
            leave(name)
            st.rerun()
        with st.popover(t("findings.take_back")):
            st.write(t("findings.take_back_text", cow=look.literal(wrong.cow)))
            if st.button(t("findings.take_back_yes"), key="findings_take_back"):
                keep(trim_day.taken_back(wrong, who=session.who()), name)
    if cow is None or on is None:
        return
    trim = form(name, cow, on, t("findings.keep_right"))
    if trim is not None:
        note = signed(trim.note, trim.who)
        keep(replace(trim, note=note, trim_day_id=wrong.trim_day_id, corrects=wrong.uid), name)


def signed(note: str, done_by: str) -> str:
    """Return a correction's note with who corrected, where that is not who did the trim."""
    person = session.person()
    if person is None or person.name == done_by:
        return note
    return f"{note} {t('findings.corrected_by', who=person.name)}".strip()


st.title(t("findings.title"))
text = st.session_state.pop("said_findings", None)
if text:
    st.success(text)
first_visit = st.session_state.setdefault("chute_cautions", True)
with st.expander(t("findings.cautions"), icon=":material/warning:", expanded=first_visit):
    st.markdown("\n".join(f"- {t(f'caution.{i}')}" for i in range(len(CAUTIONS))))
if session.guarded("trim"):
    wrong = to_correct()
    chosen_day, waiting = planned()
    if wrong is not None:
        correct(wrong)
    else:
        if chosen_day is not None:
            cows = ", ".join(look.literal(e.cow) for e in waiting)
            st.caption(t("findings.day", day=chosen_day.on, count=len(waiting), cows=cows))
        chosen, on = choose(waiting)
        player.scroll(chosen or "", place="findings")
        if chosen:
            enter(chosen, on, chosen_day, waiting)
        else:
            st.info(t("findings.choose"))
