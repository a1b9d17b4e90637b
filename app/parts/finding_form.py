"""Enter one finding: foot, claw, zone, what it is, what was done, and what was measured."""

from __future__ import annotations

import functools
from collections.abc import Callable

import streamlit as st

from app.parts import draft, look
from app.parts.icon_button import icon_button
from app.texts import decimals, said, t
from gait.herd.blocks import OTHER_CLAW, blocked_claw
from gait.herd.feet import (
    CLAW_TERMS,
    CLAWS,
    DD_STAGES,
    FEET,
    FOR_THE_VET,
    SEVERITIES,
    ZONES,
    LengthUnit,
    check_claw,
    check_finding,
    to_mm,
)
from gait.herd.records import Finding


def show(name: str) -> None:
    """Show the form of one finding and add it to those of the draft of that name."""
    turn = st.session_state.setdefault(draft.key(name, "turn"), 0)
    place = functools.partial(_place, name, turn)
    foot = _segments("foot", FEET, place("foot"))
    claw = _segments("claw", CLAWS, place("claw"))
    zone = _choice("zone", tuple(ZONES), place("zone"))
    code = _choice("term", tuple(CLAW_TERMS), place("code"), show_code=True)
    stage = None
    if code == "DD":
        stage = st.segmented_control(t("findings.stage"), DD_STAGES, key=place("stage"))
    severity = None
    if code:
        severity = _segments("severity", dict.fromkeys(SEVERITIES, ""), place("sev"))
    if code in FOR_THE_VET:
        st.warning(t("findings.for_vet"))
    one, two = st.columns(2)
    block = one.checkbox(t("findings.block"), key=place("block"))
    bandage = two.checkbox(t("findings.bandage"), key=place("bandage"))
    block_claw = _block_claw(place("block_claw")) if block else None
    toe, sole, is_sound = _lengths(place)
    note = st.text_input(t("findings.finding_note"), key=place("note"))
    if not st.button(t("findings.add"), key=f"findings_add_{name}_{turn}", width="stretch"):
        return
    if foot is None or not is_sound:
        st.warning(t("findings.say_foot" if foot is None else "findings.mend_length"))
        return
    if block and block_claw is None:
        st.warning(t("findings.say_block"))
        return
    finding = Finding(
        foot=foot, claw=claw or "", zone=zone, code=code, stage=stage, severity=severity,
        block=block, block_claw=block_claw, bandage=bandage, toe_length_mm=toe, sole_mm=sole,
        note=note.strip(),
    )  # fmt: skip
    wrong = check_finding(finding)
    if wrong:
        for sentence in wrong:
            st.warning(said(sentence))
        return
    found(name).append(finding)
    st.session_state[draft.key(name, "turn")] = turn + 1
    st.rerun()


def found(name: str) -> list[Finding]:
    """Return the findings of a draft, to be read and changed."""
    kept: list[Finding] = st.session_state.setdefault(draft.key(name, "found"), [])
    return kept


def listed(name: str) -> list[Finding]:
    """Show what was put down so far, each with a button to take it out again, and return it."""
    kept = found(name)
    for place, finding in enumerate(kept):
        text, off = st.columns([5, 1], vertical_alignment="center")
        text.markdown(f"- {look.literal(finding_text(finding))}")
        with off:
            dropped = icon_button(t("findings.remove"), "close", f"finding_off_{name}_{place}")
        if dropped:
            kept.pop(place)
            st.rerun()
    if not kept:
        st.caption(t("findings.none_yet"))
    return kept


def is_begun(name: str) -> bool:
    """Tell whether the form holds something that was not added yet, so that it is not lost."""
    turn = st.session_state.get(draft.key(name, "turn"), 0)
    begun = ("foot", "claw", "zone", "code", "block", "bandage", "note", "toe_mm", "toe_in",
             "sole_mm", "sole_in", "gives", "pink")  # fmt: skip
    return any(st.session_state.get(_place(name, turn, field)) for field in begun)


def _place(name: str, turn: int, field: str) -> str:
    return draft.key(name, f"{field}_{turn}")


def finding_text(finding: Finding) -> str:
    """Return a finding as one line."""
    parts = [t(f"foot.{finding.foot}")]
    if finding.claw:
        parts.append(t(f"claw.{finding.claw}"))
    if finding.zone:
        parts.append(t(f"zone.{finding.zone}"))
    if finding.code:
        parts.append(f"{t(f'term.{finding.code}')} ({finding.code})")
    if finding.stage:
        parts.append(finding.stage)
    if finding.severity:
        parts.append(t(f"severity.{finding.severity}"))
    if finding.block:
        parts.append(t(f"block.{blocked_claw(finding) or 'unsaid'}"))
    if finding.bandage:
        parts.append(t("findings.bandage"))
    if finding.toe_length_mm is not None:
        parts.append(t("findings.toe_text", length=f"{finding.toe_length_mm:.0f}"))
    if finding.sole_mm is not None:
        parts.append(t("findings.sole_text", length=decimals(f"{finding.sole_mm:.1f}")))
    return " · ".join([*parts, finding.note] if finding.note else parts)


def _segments(kind: str, options: dict[str, str], key: str) -> str | None:
    return st.segmented_control(
        t(f"findings.{kind}"), list(options), format_func=lambda v: t(f"{kind}.{v}"), key=key,
        wrap=True,
    )  # fmt: skip


def _block_claw(key: str) -> str | None:
    """Ask which claw carries the block; it is another one than the sore claw."""
    return st.segmented_control(
        t("findings.block_claw"), list(OTHER_CLAW), format_func=lambda c: t(f"claw.{c}"), key=key
    )


def _choice(
    kind: str, options: tuple[str, ...], key: str, *, show_code: bool = False
) -> str | None:
    def name(value: str) -> str:
        return t(f"{kind}.{value}") + (f" ({value})" if show_code else "")

    ordered = sorted(options, key=name) if show_code else options
    return st.selectbox(
        t(f"findings.{kind}"), ordered, index=None, format_func=name, key=key,
        placeholder=t("findings.choose_or_none"),
    )  # fmt: skip


def _lengths(place: Callable[[str], str]) -> tuple[float | None, float | None, bool]:
    """Ask for toe length and sole thickness; return them in mm, and whether they can be."""
    with st.expander(t("findings.measured")):
        st.session_state.setdefault(place("unit"), "mm")
        unit: LengthUnit = st.segmented_control(
            t("findings.unit"), ["mm", "in"], required=True,
            format_func=lambda u: t(f"unit.{u}"), key=place("unit"),
        )  # fmt: skip
        step, shape = (1.0, "%.0f") if unit == "mm" else (0.125, "%.3f")
        one, two = st.columns(2)
        toe = one.number_input(t("findings.toe"), value=None, min_value=0.0, step=step,
                               format=shape, key=place(f"toe_{unit}"))  # fmt: skip
        sole = two.number_input(
            t("findings.sole"), value=None, min_value=0.0, step=step / 2,
            format="%.1f" if unit == "mm" else shape, key=place(f"sole_{unit}"),
        )  # fmt: skip
        gives = one.checkbox(t("findings.gives"), key=place("gives"))
        pink = two.checkbox(t("findings.pink"), key=place("pink"))
        toe_mm = None if toe is None else to_mm(toe, unit)
        sole_mm = None if sole is None else to_mm(sole, unit)
        try:
            warnings = check_claw(
                toe_length_mm=toe_mm, sole_mm=sole_mm, gives_under_thumb=gives, looks_pink=pink
            )
        except ValueError as odd:
            st.error(look.literal(said(str(odd))))
            return None, None, False
        for warning in warnings:
            text = f"**{look.literal(said(warning.message))}** {look.literal(said(warning.source))}"
            (st.error if warning.level == "stop" else st.warning)(text)
    return toe_mm, sole_mm, True
