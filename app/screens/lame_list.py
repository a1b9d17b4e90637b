"""Today's lame list: who, how bad, since when, what next."""

from __future__ import annotations

from datetime import date

import streamlit as st

from app import session
from app.parts import look
from app.texts import said, sheet_words, t
from gait.exchange.sheet_content import lame_sheet
from gait.exchange.sheet_pdf import lame_sheet_pdf
from gait.herd.lame_list import URGENCIES, LameCow
from gait.trim_day import FARM_NAME_SETTING

AT_A_TIME = 25
URGENT = ("vet", "same_day", "recheck_due")


def card(line: LameCow) -> None:
    """Show one cow."""
    notes = [t("lame.since", day=line.since.date(), who=look.person(line.decided_by))]
    if line.times_before:
        notes.append(t("lame.before", times=line.times_before))
    if line.treated_on:
        notes.append(t("lame.treated", day=line.treated_on))
    if line.cow.group:
        notes.append(t("lame.group", group=line.cow.group))
    chronic = look.mark(t("lame.chronic")) if line.is_chronic else ""
    with st.container(border=True):
        state, act = st.columns([4, 1], vertical_alignment="center")
        state.html(
            f"<div class='cow-line'><span class='big-number'>{look.plain(line.cow.number)}</span>"
            f"{look.score_badge(line.score)}"
            f"{look.mark(t(f'urgency.{line.urgency}'), urgent=line.urgency in URGENT)}{chronic}"
            f"</div><div>{look.plain(said(line.next_step))}</div>"
            f"<div class='quiet'>{look.plain(' · '.join(notes))}</div>"
            f"{look.cautions(*line.cautions)}"
        )
        with act.container(horizontal=True, gap="small"):
            query = {"cow": line.cow.number}
            st.page_link("screens/findings.py", label=t("lame.findings"), query_params=query,
                         width="stretch")  # fmt: skip
            st.page_link("screens/cow.py", label=t("lame.history"), query_params=query,
                         width="stretch")  # fmt: skip


def figures(lines: list[LameCow]) -> None:
    """Say how many are lame and what waits."""
    waiting = session.store().queue.waiting()
    found = {
        t("lame.count"): len(lines),
        t("lame.to_check"): waiting.to_check,
        t("lame.second"): waiting.second_opinion,
    }
    st.html(look.figures(found))
    row = st.container(horizontal=True, gap="small", vertical_alignment="center")
    with row:
        if waiting.to_check:
            st.page_link("screens/to_check.py", label=t("lame.check_now"),
                         icon=":material/visibility:")  # fmt: skip
        elif not lines:
            st.page_link("screens/film.py", label=t("lame.first_film"),
                         icon=":material/videocam:")  # fmt: skip
    if waiting.unnamed:
        unnamed(waiting.unnamed)
    if lines:
        farm = str(session.store().settings.get(FARM_NAME_SETTING, ""))
        words = sheet_words()
        row.download_button(
            t("lame.print"),
            lambda: lame_sheet_pdf(lame_sheet(lines, on=date.today(), farm=farm, words=words)),
            file_name=f"lame_list_{date.today()}.pdf", mime="application/pdf",
            icon=":material/print:", key="lame_pdf", on_click="ignore",
        )  # fmt: skip


def unnamed(count: int) -> None:
    """Tell of scored cows that are on no list because nobody has named them."""
    (worst,) = session.store().queue.unnamed(limit=1)
    st.warning(t("unnamed.lame_list", count=count, score=worst.score))
    st.page_link("screens/to_check.py", label=t("unnamed.say"), icon=":material/help:",
                 query_params={"pass": str(worst.pass_id)})  # fmt: skip


def chosen(lines: list[LameCow]) -> list[LameCow]:
    """Let people look at one urgency only, when the list is long."""
    if len(lines) <= AT_A_TIME:
        return lines
    there = [u for u in URGENCIES if any(line.urgency == u for line in lines)]
    counts = {u: sum(line.urgency == u for line in lines) for u in there}
    picked = st.pills(
        t("lame.show"), there, key="lame_urgency",
        format_func=lambda u: f"{t(f'urgency.{u}')} ({counts[u]})",
    )  # fmt: skip
    return [line for line in lines if picked is None or line.urgency == picked]


st.title(t("lame_list.title"))
lines = session.lame()
figures(lines)
if not lines:
    st.info(t("lame.empty"))
shown = chosen(lines)
count: int = st.session_state.setdefault("lame_shown", AT_A_TIME)
for line in shown[:count]:
    card(line)
rest = len(shown) - count
if rest > 0 and st.button(t("lame.more", count=min(rest, AT_A_TIME)), key="lame_more",
                          width="stretch"):  # fmt: skip
    st.session_state["lame_shown"] = count + AT_A_TIME
    st.rerun()
