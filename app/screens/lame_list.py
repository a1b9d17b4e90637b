"""Today's lame list: who, how bad, since when, what next."""

from __future__ import annotations

import streamlit as st

from app import session
from app.parts import look
from app.texts import t
from gait.farm import lame_today
from gait.herd.lame_list import LameCow


def card(line: LameCow) -> None:
    """Show one cow."""
    with st.container(border=True):
        number, state, act = st.columns([1, 3, 1], vertical_alignment="center")
        number.html(
            f"<div class='big-number'>{look.plain(line.cow.number)}</div>{look.score_badge(line.score)}"
        )
        with state:
            st.markdown(f"**{t(f'urgency.{line.urgency}')}** {line.next_step}")
            notes = [t("lame.since", day=f"{line.since:%Y-%m-%d}", who=line.decided_by)]
            if line.is_chronic:
                notes.append(t("lame.chronic"))
            if line.times_before:
                notes.append(t("lame.before", times=line.times_before))
            if line.treated_on:
                notes.append(t("lame.treated", day=line.treated_on))
            st.caption(" · ".join(notes))
            for caution in line.cautions:
                st.caption(f":material/warning: {caution}")
        with act:
            query = {"cow": line.cow.number}
            st.page_link("screens/cow.py", label=t("lame.history"), query_params=query)
            st.page_link("screens/findings.py", label=t("lame.findings"), query_params=query)


st.title(t("lame_list.title"))
lines = lame_today(session.store())
waiting = session.store().queue.waiting()
first, second, third = st.columns(3)
first.metric(t("lame.count"), len(lines))
second.metric(t("lame.to_check"), waiting.to_check)
third.metric(t("lame.second"), waiting.second_opinion)
if waiting.to_check:
    st.page_link("screens/to_check.py", label=t("lame.check_now"), icon=":material/visibility:")
if not lines:
    st.info(t("lame.empty"))
for line in lines:
    card(line)
