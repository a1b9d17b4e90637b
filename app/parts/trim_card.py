"""One trim on record: what was found, given and planned."""

from __future__ import annotations

import streamlit as st

from app.parts import look
from app.parts.finding_form import finding_text
from app.texts import said, shown, t
from gait.herd.records import Trim


def show(trim: Trim, *, stands: bool = True) -> None:
    """Show a trim; one that no longer stands is shown as such."""
    items = "".join(f"<li>{look.plain(part)}</li>" for part in parts(trim))
    taken_off = trim.reason == "taken_back"
    reason = look.mark(t("trim.taken_off") if taken_off else t(f"reason.{trim.reason}"))
    put_right = "" if stands or taken_off else look.mark(t("trim.replaced"))
    st.html(
        f"<div class='cow-line'><b>{shown(trim.on)}</b>{reason}{put_right}"
        f"<span class='quiet'>{look.plain(look.person(trim.who))}</span></div>"
        f"<ul class='reasons'>{items}</ul>"
    )


def parts(trim: Trim) -> list[str]:
    """Return what was found, given and planned, a line each."""
    lines = [finding_text(finding) for finding in trim.findings]
    if not lines and trim.reason != "taken_back":
        lines.append(t("trim.nothing_found"))
    if trim.medicine:
        lines.append(t("cow.medicine", name=trim.medicine))
    if trim.withdrawal_until:
        source = said(trim.withdrawal_source) or "–"
        lines.append(t("cow.withdrawal", day=trim.withdrawal_until, source=source))
    if trim.next_step:
        lines.append(t("cow.next_step", step=said(trim.next_step)))
    if trim.recheck_on:
        lines.append(t("cow.recheck_on", day=trim.recheck_on))
    return [*lines, trim.note] if trim.note else lines
