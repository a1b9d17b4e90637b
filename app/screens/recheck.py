"""Cows to be looked at again after treatment, to see whether they are better."""

from __future__ import annotations

from datetime import date, timedelta

import streamlit as st

from app import session
from app.parts import decide, look
from app.texts import said, shown, t
from gait.errors import GaitError
from gait.farm import close_recheck, leave_out_recheck, rechecks_waiting
from gait.herd.records import Recheck
from gait.score import SCORES
from gait.withdrawals import withdrawals

AT_A_TIME = 20


def card(promise: Recheck, today: date, last: dict[str, int], caution: str | None) -> None:
    """Show one recheck and take her new score."""
    late = (today - promise.due_on).days
    with st.container(border=True):
        who, act = st.columns([2, 3], vertical_alignment="center")
        before = ""
        if promise.cow in last:
            before = f"<span class='quiet'>{look.plain(t('recheck.before'))}</span>"
            before += look.score_badge(last[promise.cow])
        who.html(
            f"<div class='cow-line'><span class='big-number'>{look.plain(promise.cow)}</span>"
            f"{look.mark(due_text(late), urgent=late > 0)}{before}</div>"
            f"<span class='quiet'>{look.plain(said(promise.why))}</span>"
            f"{look.cautions(caution)}"
        )
        with act:
            score = st.segmented_control(
                t("recheck.score"), SCORES, key=f"recheck_score_{place(promise)}",
                help=t("recheck.help"), width="stretch",
            )  # fmt: skip
            one, two = st.columns([2, 1])
            if one.button(t("recheck.keep"), key=f"recheck_keep_{place(promise)}",
                          type="primary", width="stretch"):  # fmt: skip
                keep(promise, score)
            if two.button(t("recheck.drop"), key=f"recheck_drop_{place(promise)}",
                          width="stretch"):  # fmt: skip
                drop(promise)


def place(promise: Recheck) -> str:
    """Return what tells this recheck from the others of the page; one by the rule has no number."""
    return str(promise.recheck_id or f"cow_{promise.cow}")


def due_text(late: int) -> str:
    """Return when she is due in words."""
    if late == 0:
        return t("recheck.today")
    if late > 0:
        return t("recheck.late_one") if late == 1 else t("recheck.late", days=late)
    return t("recheck.in_one") if late == -1 else t("recheck.in", days=-late)


def keep(promise: Recheck, score: int | None) -> None:
    """Keep the new score and the outcome."""
    if score is None:
        st.warning(t("decide.choose"))
        return
    try:
        outcome = close_recheck(session.store(), promise, score=int(score), who=session.who())
    except GaitError as problem:
        session.show(problem)
        return
    st.session_state["said"] = t(f"recheck.{outcome}", cow=promise.cow, score=score)
    st.rerun()


def drop(promise: Recheck) -> None:
    """Leave the recheck out, on record."""
    try:
        leave_out_recheck(session.store(), promise, who=session.who())
    except GaitError as problem:
        session.show(problem)
        return
    st.rerun()


def cards(promises: list[Recheck], today: date) -> None:
    """Show rechecks, a screenful at a time."""
    count: int = st.session_state.setdefault("recheck_shown", AT_A_TIME)
    shown = promises[:count]
    last = {s.cow: s.score for s in session.store().scores.of_cows([p.cow for p in shown])}
    for promise in shown:
        card(promise, today, last, withheld.get(promise.cow))
    rest = len(promises) - count
    if rest > 0 and st.button(t("lame.more", count=min(rest, AT_A_TIME)), key="recheck_more",
                              width="stretch"):  # fmt: skip
        st.session_state["recheck_shown"] = count + AT_A_TIME
        st.rerun()


st.title(t("recheck.title"))
st.write(t("recheck.how"))
decide.said()
today = date.today()
withheld = withdrawals(session.store())
promises = rechecks_waiting(session.store(), lame=session.lame())
due = [p for p in promises if p.due_on <= today]
soon = [p for p in promises if today < p.due_on <= today + timedelta(days=7)]
later = promises[len(due) + len(soon) :]
if not promises:
    st.info(t("recheck.nothing"))
elif not due:
    st.success(t("recheck.none_due", day=promises[0].due_on))
if promises and session.guarded("decide"):
    with st.expander(t("recheck.scale")):
        st.markdown("\n".join(f"- **{s}** {t(f'scale.{s}')}" for s in SCORES))
    cards(due, today)
for title, some in ((t("recheck.this_week"), soon), (t("recheck.later", count=len(later)), later)):
    if some:
        with st.expander(title, expanded=some is soon):
            lines = "".join(
                f"<li><b>{look.plain(p.cow)}</b> {shown(p.due_on)} "
                f"<span class='quiet'>{look.plain(said(p.why))}</span>"
                f"{look.cautions(withheld.get(p.cow))}</li>"
                for p in some[:200]
            )
            st.html(f"<ul class='reasons'>{lines}</ul>")
