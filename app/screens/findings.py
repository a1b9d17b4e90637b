"""What was found and done at the chute: foot by foot, claw by claw."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date, timedelta

import streamlit as st

from app import session
from app.parts import finding_form, look
from app.parts.icon_button import icon_button
from app.texts import t
from gait import trim_day
from gait.errors import GaitError
from gait.exchange.trim_guide import CAUTIONS
from gait.farm import rules_of
from gait.herd.records import (
    TRIM_REASONS,
    Finding,
    Trim,
    TrimDay,
    TrimEntry,
    TrimReason,
)

NEXT_STEPS = ("none", "recheck", "block_off", "bandage_off", "vet", "again")


def planned() -> tuple[TrimDay | None, list[TrimEntry]]:
    """Return the next open day and the cows on it still to be done."""
    store = session.store()
    for day in trim_day.open_days(store):
        entries = [e for e in store.trim_days.entries(day.trim_day_id) if e.state == "planned"]
        if entries:
            return day, entries
    return None, []


def choose(entries: list[TrimEntry]) -> str | None:
    """Let people choose the cow: one of the day's list in its order, or any of the herd."""
    on_list = [e.cow for e in entries]
    listed = set(on_list)
    numbers = on_list + [n for n in session.numbers() if n not in listed]
    asked = st.query_params.get("cow")
    if asked and asked in numbers and st.session_state.get("findings_asked") != asked:
        st.session_state["findings_asked"] = asked
        st.session_state["findings_cow"] = asked
    names = {e.cow: f"{e.cow} · {t(f'reason.{e.reason}')}" for e in entries}
    return st.selectbox(
        t("findings.cow"),
        numbers,
        index=None,
        format_func=lambda n: names.get(n, n),
        placeholder=t("who.type"),
        key="findings_cow",
        accept_new_options=True,
    )


def listed_findings(cow: str) -> list[Finding]:
    """Show what was put down so far for this cow, and return it."""
    kept: list[Finding] = st.session_state.setdefault(f"findings_{cow}", [])
    for place, finding in enumerate(kept):
        text, off = st.columns([5, 1], vertical_alignment="center")
        text.markdown(f"- {look.literal(finding_form.finding_text(finding))}")
        with off:
            dropped = icon_button(t("findings.remove"), "close", f"finding_off_{cow}_{place}")
        if dropped:
            kept.pop(place)
            st.rerun()
    if not kept:
        st.caption(t("findings.none_yet"))
    return kept


def medicine() -> tuple[str, date | None, str]:
    """Ask for medicine and withdrawal, only as they stand on the label or the vet's record."""
    with st.expander(t("findings.medicine")):
        st.caption(t("findings.medicine_text"))
        name = st.text_input(t("findings.product"), key="findings_product")
        until = st.date_input(t("findings.withdrawal"), value=None, key="findings_until")
        source = st.radio(
            t("findings.source"),
            ["label", "vet"],
            format_func=lambda s: t(f"source.{s}"),
            index=None,
            horizontal=True,
            key="findings_source",
        )
    return name.strip(), until, t(f"source.{source}") if source else ""


def what_next(found: list[Finding]) -> tuple[str, date | None]:
    """Ask for the next step and the day she is looked at again."""
    days = rules_of(session.store()).recheck_days
    treated = any(f.block or f.bandage or f.code for f in found)
    step = st.selectbox(
        t("findings.next"), NEXT_STEPS, index=1 if treated else 0,
        format_func=lambda s: t(f"next.{s}"), key=f"findings_next_{treated}",
    )  # fmt: skip
    due = st.date_input(
        t("findings.recheck"),
        value=date.today() + timedelta(days=days) if treated else None,
        min_value=date.today(),
        help=t("findings.recheck_help", days=days),
        key=f"findings_recheck_{treated}",
    )
    return ("" if step == "none" else t(f"next.{step}")), due


def keep(trim: Trim) -> None:
    """Keep the trim and go on to the next cow."""
    try:
        session.store().trims.add(trim)
    except GaitError as problem:
        session.show(problem)
        return
    st.session_state["chute_cautions"] = False
    for name in [n for n in st.session_state if str(n).startswith("findings_")]:
        st.session_state.pop(name)
    st.query_params.pop("cow", None)
    key = "findings.kept_recheck" if trim.recheck_on else "findings.kept"
    st.session_state["said_findings"] = t(key, cow=trim.cow, day=trim.recheck_on)
    st.rerun()


def reason_of(cow: str, entries: list[TrimEntry]) -> TrimReason:
    """Return why she is at the chute, as planned."""
    return next((e.reason for e in entries if e.cow == cow), "therapeutic")


def enter(cow: str, day: TrimDay | None, entries: list[TrimEntry]) -> None:
    """Enter one cow's trim."""
    left, right = st.columns([3, 2], gap="large")
    with left:
        st.subheader(t("findings.foot_title"))
        finding_form.show(cow)
    with right:
        st.subheader(t("findings.so_far", cow=look.literal(cow)))
        found = listed_findings(cow)
        planned_reason = reason_of(cow, entries)
        reason = st.segmented_control(
            t("trim.reason"), TRIM_REASONS, format_func=lambda r: t(f"reason.{r}"),
            default=planned_reason, key=f"findings_reason_{cow}", required=True,
        )  # fmt: skip
        who = st.text_input(t("findings.who"), value=session.who(), key="findings_who")
        product, until, source = medicine()
        step, due = what_next(found)
        note = st.text_area(t("findings.note"), key="findings_note")
        if not st.button(t("findings.keep"), type="primary", key="findings_keep", width="stretch"):
            return
        if finding_form.is_begun(cow):
            st.warning(t("findings.add_first"))
            return
        if until and not source:
            st.warning(t("findings.say_source"))
            return
        on_day = day.trim_day_id if day and any(e.cow == cow for e in entries) else None
        keep(
            Trim(
                cow=cow, on=date.today(), who=who.strip() or session.who(),
                reason=reason or "therapeutic", findings=tuple(Finding(**asdict(f)) for f in found),
                trim_day_id=on_day, medicine=product, withdrawal_until=until,
                withdrawal_source=source, next_step=step, recheck_on=due, note=note.strip(),
            )
        )  # fmt: skip


st.title(t("findings.title"))
text = st.session_state.pop("said_findings", None)
if text:
    st.success(text)
first_visit = st.session_state.setdefault("chute_cautions", True)
with st.expander(t("findings.cautions"), icon=":material/warning:", expanded=first_visit):
    st.markdown("\n".join(f"- {t(f'caution.{i}')}" for i in range(len(CAUTIONS))))
if session.guarded("trim"):
    chosen_day, waiting = planned()
    if chosen_day is not None:
        st.caption(t("findings.day", day=chosen_day.on, count=len(waiting)))
    chosen = choose(waiting)
    if chosen:
        enter(str(chosen).strip(), chosen_day, waiting)
    else:
        st.info(t("findings.choose"))
