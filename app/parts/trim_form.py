"""A cow's trim beside its findings: why she came, who did it, medicine, and what is next."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

import streamlit as st

from app import session
from app.parts import draft, finding_form
from app.texts import LANGUAGES, day_box, said, t, words
from gait.farm import rules_of
from gait.herd.lame_list import is_treatment
from gait.herd.records import TRIM_REASONS, Finding, Trim, TrimReason

NEXT_STEPS = ("none", "recheck", "block_off", "bandage_off", "vet", "again")
SOURCES = ("label", "vet")


def begin(name: str, reason: TrimReason) -> None:
    """Begin the draft of a new trim."""
    draft.start(name, **{"reason": reason, _who(): session.who()})


def begin_from(name: str, trim: Trim) -> None:
    """Begin the draft of a correction with what is on record."""
    step = _option("next", NEXT_STEPS, trim.next_step) if trim.next_step else "none"
    source = _option("source", SOURCES, trim.withdrawal_source)
    draft.start(
        name,
        found=list(trim.findings),
        reason=trim.reason,
        product=trim.medicine,
        until=trim.withdrawal_until,
        source=source if source in SOURCES else None,
        note=trim.note,
    )
    draft.start(name, **{_who(): trim.who})
    for wanted in (True, False):
        draft.start(name, **{f"next_{wanted}": step, _due(trim.on, wanted): trim.recheck_on})


def show(name: str, cow: str, on: date) -> Trim:
    """Show the form of the draft of that name and return the trim as it stands there."""
    found = finding_form.listed(name)
    reason = st.segmented_control(
        t("trim.reason"), TRIM_REASONS, format_func=lambda r: t(f"reason.{r}"),
        key=draft.key(name, "reason"), required=True,
    )  # fmt: skip
    reason = reason or "therapeutic"
    who = st.text_input(t("findings.who"), key=draft.key(name, _who()))
    product, until, source = _medicine(name)
    step, due = _what_next(name, on, reason, found)
    note = st.text_area(t("findings.note"), key=draft.key(name, "note"))
    return Trim(
        cow=cow, on=on, who=who.strip() or session.who(), reason=reason, findings=tuple(found),
        medicine=product, withdrawal_until=until, withdrawal_source=source, next_step=step,
        recheck_on=due, note=note.strip(),
    )  # fmt: skip


def _medicine(name: str) -> tuple[str, date | None, str]:
    """Ask for medicine and withdrawal, only as they stand on the label or the vet's record."""
    with st.expander(t("findings.medicine")):
        st.caption(t("findings.medicine_text"))
        product = st.text_input(t("findings.product"), key=draft.key(name, "product"))
        until = st.date_input(t("findings.withdrawal"), value=None, format=day_box(),
                              key=draft.key(name, "until"))  # fmt: skip
        source = st.radio(
            t("findings.source"), SOURCES, format_func=lambda s: t(f"source.{s}"), index=None,
            horizontal=True, key=draft.key(name, "source"),
        )  # fmt: skip
    return product.strip(), until, words("en")[f"source.{source}"] if source else ""


def _what_next(
    name: str, on: date, reason: TrimReason, found: Iterable[Finding]
) -> tuple[str, date | None]:
    """Ask for the next step and the day she is looked at again.

    Both are set beforehand for whatever the lame list takes for a treatment.
    """
    days = rules_of(session.store()).recheck_days
    found = tuple(found)
    wanted = is_treatment(reason, found) or any(f.code for f in found)
    later = on + timedelta(days=days) if wanted else None
    first = "recheck" if wanted else "none"
    draft.start(name, **{f"next_{wanted}": first, _due(on, wanted): later})
    own = st.session_state[draft.key(name, f"next_{wanted}")]
    steps = NEXT_STEPS if own in NEXT_STEPS else (*NEXT_STEPS, own)
    step = st.selectbox(
        t("findings.next"), steps, key=draft.key(name, f"next_{wanted}"),
        format_func=lambda s: t(f"next.{s}") if s in NEXT_STEPS else said(s),
    )  # fmt: skip
    due = st.date_input(
        t("findings.recheck"), value=None, min_value=on + timedelta(days=1), format=day_box(),
        help=t("findings.recheck_help", days=days), key=draft.key(name, _due(on, wanted)),
    )  # fmt: skip
    if step == "none":
        return "", due
    # In English on record: whoever reads it may have another language than the writer.
    return (words("en")[f"next.{step}"] if step in NEXT_STEPS else step), due


def _who() -> str:
    # Whoever takes over at this screen signs with their own name.
    return f"who_{session.who()}"


def _due(on: date, wanted: bool) -> str:
    return f"due_{on}_{wanted}"


def _option(family: str, options: Iterable[str], text: str) -> str:
    """Return which option a text on record is, written in any language; else the text."""
    for option in options:
        if text in {words(language)[f"{family}.{option}"] for language in LANGUAGES}:
            return option
    return text
