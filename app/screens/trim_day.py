"""A day at the chute: choose the day, see who is proposed and why, change the list, print it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app import session
from app.parts import look
from app.parts.icon_button import icon_button
from app.texts import day_box, said, sheet_words, shown, t
from gait import trim_day
from gait.errors import GaitError
from gait.herd.lame_list import LameCow
from gait.herd.records import TRIM_REASONS, TrimDay, TrimEntry
from gait.herd.trim_plan import Proposed
from gait.withdrawals import withdrawals

LARGEST_DAY = 200
NEW_DAY = 0


def plan(suggested: date) -> None:
    """Ask for day, trimmer and room, and propose cows."""
    with st.form("plan_day"):
        one, two, three = st.columns(3)
        on = one.date_input(t("trim.on"), value=suggested, min_value="today", format=day_box(),
                            key="trim_on")  # fmt: skip
        trimmer = two.text_input(t("trim.trimmer"), key="trim_trimmer")
        capacity = three.number_input(t("trim.capacity"), 1, LARGEST_DAY, 12, key="trim_capacity")
        if not st.form_submit_button(t("trim.propose"), type="primary", width="stretch"):
            return
    try:
        day = trim_day.plan_day(session.store(), on, trimmer=trimmer, capacity=int(capacity))
    except GaitError as problem:
        session.show(problem)
        return
    st.session_state["trim_new_day"] = day.trim_day_id
    st.rerun()


def choose(days: list[TrimDay]) -> TrimDay | None:
    """Let people choose an open day, or none to plan a new one."""
    options = [*(d.trim_day_id for d in days), NEW_DAY]
    names = {d.trim_day_id: day_name(d) for d in days} | {NEW_DAY: t("trim.new")}
    new = st.session_state.pop("trim_new_day", None)
    if new in options:
        st.session_state["trim_day_choice"] = new
    if st.session_state.get("trim_day_choice") not in options:
        st.session_state.pop("trim_day_choice", None)
    chosen = st.selectbox(
        t("trim.which"), options, format_func=names.__getitem__, key="trim_day_choice"
    )
    return next((d for d in days if d.trim_day_id == chosen), None)


def day_name(day: TrimDay) -> str:
    """Return how a day is called in lists."""
    return f"{shown(day.on)}" + (f" · {day.trimmer}" if day.trimmer else "")


def cow_row(day: TrimDay, entry: TrimEntry, count: int, cautions: tuple[str, ...]) -> None:
    """Show one cow on the list with what can be done about her."""
    with st.container(border=True, key=f"trim_row_{entry.cow}"):
        who, act = st.columns([3, 2], vertical_alignment="center")
        number, reason = look.plain(entry.cow), look.mark(
            t(f"reason.{entry.reason}"), urgent=entry.reason == "therapeutic")  # fmt: skip
        state = "" if entry.state == "planned" else look.mark(t(f"entry.{entry.state}"))
        who.html(
            f"<div class='cow-line'><span class='quiet'>{entry.position}</span>"
            f"<span class='big-number' style='font-size:1.5rem'>{number}</span>{reason}{state}"
            f"</div><span class='quiet'>{look.plain(said(entry.why))}</span>"
        )
        for caution in cautions:
            who.caption(f":material/warning: {look.literal(said(caution))}")
        with act.container(
            horizontal=True, horizontal_alignment="right", vertical_alignment="center"
        ):
            if entry.state == "planned":
                _row_buttons(day, entry, count)
            st.page_link("screens/findings.py", label=t("lame.findings"),
                         query_params={"cow": entry.cow})  # fmt: skip


def _row_buttons(day: TrimDay, entry: TrimEntry, count: int) -> None:
    store, cow = session.store(), entry.cow
    if icon_button(t("trim.up", cow=cow), "arrow_upward", f"up_{cow}", entry.position == 1):
        trim_day.move(store, day, cow, -1)
        st.rerun()
    if icon_button(t("trim.down", cow=cow), "arrow_downward", f"down_{cow}",
                   entry.position == count):  # fmt: skip
        trim_day.move(store, day, cow, 1)
        st.rerun()
    if icon_button(t("trim.off", cow=cow), "close", f"off_{cow}"):
        trim_day.take_off(store, day, cow)
        st.rerun()


def add_cow(day: TrimDay, left_over: tuple[Proposed, ...], taken: set[str]) -> None:
    """Put another cow on, one of those proposed or any of the herd."""
    title = t("trim.more", count=len(left_over)) if left_over else t("trim.more_none")
    with st.expander(title, expanded=False):
        for proposed in left_over[:20]:
            text, put = st.columns([3, 1], vertical_alignment="center")
            text.markdown(
                f"**{look.literal(proposed.cow)}** {t(f'reason.{proposed.reason}')}. "
                f"{look.literal(said(proposed.why))}"
            )
            if put.button(t("trim.put_on"), key=f"put_{proposed.cow}", width="stretch"):
                put_on(day, proposed.cow, proposed.reason, proposed.why)
        if len(left_over) > 20:
            st.caption(t("trim.and_more", count=len(left_over) - 20))
        free = [n for n in session.numbers() if n not in taken]
        cow = st.selectbox(t("trim.any"), free, index=None, placeholder=t("who.type"),
                           key="trim_any")  # fmt: skip
        reason = st.segmented_control(
            t("trim.reason"), TRIM_REASONS, format_func=lambda r: t(f"reason.{r}"),
            default="maintenance", key="trim_any_reason",
        )  # fmt: skip
        if st.button(t("trim.put_on"), key="trim_put_any"):
            if cow and reason:
                put_on(day, cow, reason, t("trim.by_hand", who=look.person(session.who())))
            else:
                st.warning(t("who.say"))


def put_on(day: TrimDay, cow: str, reason: str, why: str) -> None:
    """Put a cow on the list."""
    try:
        trim_day.put_on(session.store(), day, cow, reason=reason, why=why)  # type: ignore[arg-type]
    except GaitError as problem:
        session.show(problem)
        return
    st.rerun()


def print_it(day: TrimDay, entries: list[TrimEntry], lame: list[LameCow]) -> None:
    """Offer the sheet for printing, and close the day."""
    one, two, three = st.columns(3)
    sheet = sheet_button(one, day, "trim_pdf", lame)
    two.download_button(
        t("trim.html"), sheet.html, file_name=f"trim_sheet_{day.on:%Y-%m-%d}.html",
        mime="text/html", width="stretch", key="trim_html", on_click="ignore",
    )  # fmt: skip
    with three:
        close(day, [e for e in entries if e.state == "planned"])


def sheet_button(
    where: DeltaGenerator, day: TrimDay, key: str, lame: list[LameCow] | None = None
) -> trim_day.PlannedSheet:
    """Offer the sheet of a day as PDF, and return it."""
    sheet = trim_day.sheet_of(session.store(), day, lame=lame, words=sheet_words())
    where.download_button(
        t("trim.pdf"), sheet.pdf, file_name=f"trim_sheet_{day.on:%Y-%m-%d}.pdf",
        mime="application/pdf", icon=":material/print:", type="primary", width="stretch", key=key,
        on_click="ignore",
    )  # fmt: skip
    return sheet


def close(day: TrimDay, left: list[TrimEntry]) -> None:
    """Close the day; ask first while cows on it are still to be done."""
    if not left:
        if st.button(t("trim.close"), key="trim_close", width="stretch"):
            set_closed(day, True)
        return
    with st.popover(t("trim.close"), width="stretch"):
        cows = ", ".join(look.literal(e.cow) for e in left)
        st.write(t("trim.close_left", count=len(left), cows=cows))
        if st.button(t("trim.close_yes"), key="trim_close", width="stretch"):
            set_closed(day, True)


def set_closed(day: TrimDay, closed: bool) -> None:
    """Close a day, or open it again."""
    session.store().trim_days.change(replace(day, closed=closed))
    st.session_state["trim_new_day"] = NEW_DAY if closed else day.trim_day_id
    st.rerun()


def closed_days() -> None:
    """Let people look at the sheets of closed days, and open one again."""
    days = [d for d in session.store().trim_days.all() if d.closed]
    if not days:
        return
    with st.expander(t("trim.closed", count=len(days))):
        day = st.selectbox(
            t("trim.which"), days, index=None, format_func=day_name, key="trim_closed_day",
            placeholder=t("app.choose"),
        )  # fmt: skip
        if day is None:
            return
        entries = session.store().trim_days.entries(day.trim_day_id)
        for entry in entries:
            state = t("trim.left" if entry.state == "planned" else f"entry.{entry.state}")
            cow, reason = look.literal(entry.cow), t(f"reason.{entry.reason}")
            st.markdown(f"{entry.position}. **{cow}** · {reason} · {state}")
        row = st.container(horizontal=True)
        sheet_button(row, day, "trim_closed_pdf")
        if row.button(t("trim.open_again"), key="trim_open_again", width="stretch"):
            set_closed(day, False)


def show(day: TrimDay) -> None:
    """Show the list of one day."""
    store = session.store()
    lame = session.lame()
    entries = store.trim_days.entries(day.trim_day_id)
    st.caption(t("trim.count", count=len(entries), capacity=day.capacity))
    if len(entries) > day.capacity:
        st.warning(t("trim.too_many", count=len(entries) - day.capacity))
    if not entries:
        st.info(t("trim.nobody"))
    else:
        print_it(day, entries, lame)
    cautions = {cow: (caution,) for cow, caution in withdrawals(store).items()}
    cautions |= {line.cow.number: line.cautions for line in lame}
    for entry in entries:
        cow_row(day, entry, len(entries), cautions.get(entry.cow, ()))
    room = max(day.capacity - len(entries), 0)
    more = trim_day.propose(store, day.on, room or 1, day=day, lame=lame)
    add_cow(day, more.on_list + more.left_over, {e.cow for e in entries})


st.title(t("trim_day.title"))
st.write(t("trim.how"))
if not session.guarded("plan"):
    st.stop()
days = trim_day.open_days(session.store())
chosen = choose(days) if days else None
if chosen is None:
    plan(date.today() + timedelta(days=1))
    if not session.numbers():
        st.info(t("herd.no_cows"))
        st.page_link("screens/settings.py", label=t("herd.to_settings"))
else:
    show(chosen)
closed_days()
