"""One cow: her scores, clips, findings and what is open, on one time line."""

from __future__ import annotations

import streamlit as st

from app import session
from app.parts import charts, comparison, look, pass_view, trim_card
from app.texts import said, shown, t
from gait.exchange.history import history_csv, time_line
from gait.farm import rechecks_waiting
from gait.herd.records import Cow, PassSummary, Score, Trim
from gait.score.scales import on_scale
from gait.withdrawals import withdrawals

PASSES_SHOWN = 40


def choose() -> Cow | None:
    """Let people find the cow by typing."""
    numbers = session.numbers()
    asked = st.query_params.get("cow")
    if asked in numbers and st.session_state.get("cow_asked") != asked:
        st.session_state["cow_asked"] = st.session_state["cow_choice"] = asked
    chosen = st.selectbox(
        t("cow.which"), numbers, index=None, placeholder=t("who.type"), key="cow_choice"
    )
    return session.store().cows.get(chosen) if chosen else None


def heading(cow: Cow, scores: list[Score]) -> None:
    """Show her number, her newest score and what the herd list says of her."""
    known = [
        (t("cow.parity"), cow.parity),
        (t("cow.calved"), cow.calved_on),
        (t("cow.dried_off"), cow.dried_off_on),
        (t("cow.due"), cow.due_on),
        (t("cow.group"), cow.group),
        (t("cow.breed"), cow.breed),
        (t("cow.electronic"), cow.electronic),
    ]
    facts = " · ".join(f"{name} {shown(value)}" for name, value in known if value is not None)
    if not cow.listed:
        facts = t("cow.not_listed")
    withdrawal = withdrawals(session.store()).get(cow.number)
    newest = scores[-1].score if scores else None
    other = t("cow.other_scale", score=on_scale(newest)) if newest else t("cow.no_scores")
    st.html(
        f"<div class='cow-line'><span class='big-number'>{look.plain(cow.number)}</span>"
        f"{look.score_badge(newest)}<span class='quiet'>{look.plain(other)}</span></div>"
        f"<div class='quiet'>{look.plain(facts)}</div>"
        f"{look.cautions(withdrawal)}"
    )


def trims(cow: str, done: list[Trim]) -> None:
    """List trims and findings, newest first; below, folded up, those that no longer stand."""
    for trim in reversed(done):
        with st.container(border=True):
            trim_card.show(trim)
            st.page_link("screens/findings.py", label=t("trim.correct"), icon=":material/edit:",
                         query_params={"cow": cow, "correct": trim.uid})  # fmt: skip
    standing = {trim.uid for trim in done}
    everything = session.store().trims.of_cows([cow], corrected=True)
    replaced = [trim for trim in everything if trim.uid not in standing]
    if replaced:
        with st.expander(t("cow.earlier", count=len(replaced))):
            for trim in reversed(replaced):
                trim_card.show(trim, stands=False)


def pass_table(found: list[PassSummary]) -> None:
    """List her passes with what was decided and proposed."""
    rows = "".join(
        f"<tr><td>{look.clock(p.observed_at)}</td><td>{p.score or '–'}</td>"
        f"<td>{p.proposed or '–'}</td><td>{look.plain(look.person(p.decided_by or '–'))}</td></tr>"
        for p in found
    )
    heads = "".join(
        f"<th scope='col'>{look.plain(t(name))}</th>"
        for name in ("chart.day", "cow.person_said", "cow.program_said", "chart.who")
    )
    st.html(f"<table class='lines'><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>")


def one_pass(found: list[PassSummary]) -> None:
    """Show film and measures of one of her passes."""
    filmed = {p.pass_id: p for p in found if p.clip_id is not None}
    if not filmed:
        return
    chosen = st.selectbox(
        t("cow.show_film"), list(filmed), index=None, key="cow_pass",
        format_func=lambda i: look.clock(filmed[i].observed_at),
        placeholder=t("cow.choose_pass"),
    )  # fmt: skip
    if chosen is None:
        return
    record = session.store().passes.get(chosen)
    left, right = st.columns(2, gap="large")
    with left:
        pass_view.film(record)
        pass_view.still(record)
        st.page_link("screens/to_check.py", label=t("cow.open"),
                     query_params={"pass": str(chosen)})  # fmt: skip
    with right:
        comparison.show(record)


def show(cow: Cow) -> None:
    """Show everything known of her."""
    store = session.store()
    scores = store.scores.of_cows([cow.number])
    done = store.trims.of_cows([cow.number])
    heading(cow, scores)
    for promise in rechecks_waiting(store, cow=cow.number):
        st.info(look.literal(t("cow.recheck", day=promise.due_on, why=said(promise.why))))
    if scores:
        st.altair_chart(charts.cow_line(scores, done), width="stretch")
        st.caption(t("cow.chart"))
    left, right = st.columns(2, gap="large")
    found = store.passes.of_cow(cow.number, limit=PASSES_SHOWN)
    with left:
        st.subheader(t("cow.passes"))
        if found:
            pass_table(found)
        else:
            st.caption(t("cow.no_passes"))
    with right:
        st.subheader(t("cow.trims"))
        trims(cow.number, done)
        if not done:
            st.caption(t("cow.no_trims"))
    one_pass(found)
    st.download_button(
        t("cow.download"), lambda: history_csv(time_line(store, cow.number)), on_click="ignore",
        file_name=f"cow_{cow.number}.csv", mime="text/csv", key="cow_download",
    )  # fmt: skip


st.title(t("cow.title"))
chosen_cow = choose()
if chosen_cow is None:
    st.info(t("cow.choose") if session.numbers() else t("herd.no_cows"))
else:
    show(chosen_cow)
