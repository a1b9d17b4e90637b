"""The farm's rules for its lists."""

from __future__ import annotations

from dataclasses import asdict

import streamlit as st

from app import session
from app.texts import t
from gait.errors import GaitError
from gait.farm import RULES_SETTING, rules_of
from gait.herd.rules import HerdRules, rules_from, rules_to_keep

GROUPS: dict[str, tuple[tuple[str, ...], ...]] = {
    "lame": (("lame_from", "lame_rule"), ("same_day_from", "vet_from")),
    "after": (("recheck_days", "early_hours"), ("block_check_first", "block_check_last")),
    "chronic": (("chronic_episodes", "chronic_weeks"),),
    "trim": (
        ("trimmed_recently", "calving_rest"),
        ("trim_at_dry_off", "dry_off_window"),
        ("mid_lactation",),
        ("mid_lactation_from", "mid_lactation_to"),
        ("springing",),
        ("springing_from", "springing_to"),
    ),
}
"""Rules as they stand beside each other."""
RULES_OF_LAME = ("one_score", "two_threes")


def show() -> None:
    """Show the rules and keep changed ones."""
    if not session.guarded("rules"):
        return
    now = asdict(rules_of(session.store()))
    st.write(t("rules.text"))
    with st.form("rules"):
        wanted: dict[str, object] = {}
        for group, rows in GROUPS.items():
            st.markdown(f"**{t(f'rules.{group}')}**")
            for row in rows:
                columns = st.columns(2, vertical_alignment="bottom")
                for column, name in zip(columns, row, strict=False):
                    with column:
                        wanted[name] = _field(name, now[name])
        keep = st.form_submit_button(t("settings.keep"), type="primary", width="stretch")
    if keep:
        _keep(wanted)
    if now != asdict(HerdRules()) and st.button(t("rules.reset"), key="rules_reset"):
        _keep({})


def _field(name: str, value: object) -> object:
    label, key = t(f"rule.{name}"), f"rule_{name}"
    if isinstance(value, bool):
        return st.checkbox(label, value=value, key=key)
    if name == "lame_rule":
        return st.selectbox(label, RULES_OF_LAME, index=RULES_OF_LAME.index(str(value)),
                            format_func=lambda r: t(f"rule.{r}"), key=key)  # fmt: skip
    return int(st.number_input(label, min_value=0, max_value=400, value=int(str(value)), key=key))


def _keep(wanted: dict[str, object]) -> None:
    try:
        rules = rules_from(wanted)
        session.store().settings.put(RULES_SETTING, rules_to_keep(rules), who=session.who())
    except GaitError as problem:
        session.show(problem)
        return
    st.session_state["settings_said"] = t("settings.kept")
    st.rerun()
