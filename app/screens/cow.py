"""One cow: her scores, clips, findings and what is open, on one time line."""

from __future__ import annotations

import streamlit as st

from app import session
from app.parts import charts, comparison, look, pass_view
from app.parts.finding_form import finding_text
from app.texts import t
from gait.exchange.history import history_csv, time_line
from gait.herd.records import Cow, Trim
from gait.score.scales import on_scale


def choose() -> Cow | None:
    """Let people find the cow by typing."""
    cows = session.store().cows.all()
    numbers = [c.number for c in cows]
    asked = st.query_params.get("cow")
    chosen = st.selectbox(
        t("cow.which"),
        numbers,
        index=numbers.index(asked) if asked in numbers else None,
        placeholder=t("who.type"),
        key="cow_choice",
    )
    return next((c for c in cows if c.number == chosen), None)


def facts(cow: Cow) -> None:
    """Show what the herd list says of her."""
    said = [
        (t("cow.electronic"), cow.electronic),
        (t("cow.parity"), cow.parity),
        (t("cow.calved"), cow.calved_on),
        (t("cow.dried_off"), cow.dried_off_on),
        (t("cow.due"), cow.due_on),
        (t("cow.group"), cow.group),
        (t("cow.breed"), cow.breed),
    ]
    st.caption(" · ".join(f"{name}: {value}" for name, value in said if value is not None))


def trims(done: list[Trim]) -> None:
    """List trims and findings, newest first."""
    for trim in reversed(done):
        with st.container(border=True):
            st.markdown(f"**{trim.on}** {t(f'reason.{trim.reason}')} · {trim.who}")
            for finding in trim.findings:
                st.caption(finding_text(finding))
            if trim.withdrawal_until:
                st.caption(t("cow.withdrawal", day=trim.withdrawal_until,
                             source=trim.withdrawal_source))  # fmt: skip
            if trim.note:
                st.caption(trim.note)


def passes(number: str) -> None:
    """List her passes with what was proposed and decided."""
    for summary in session.store().passes.of_cow(number, limit=30):
        decided = "–" if summary.score is None else str(summary.score)
        proposed = "–" if summary.proposed is None else str(summary.proposed)
        title = t("cow.pass", day=f"{summary.observed_at:%Y-%m-%d %H:%M}", decided=decided,
                  proposed=proposed)  # fmt: skip
        if summary.clip_id is None:
            st.caption(f"{title} · {t('cow.by_eye')}")
            continue
        with st.expander(title):
            record = session.store().passes.get(summary.pass_id)
            pass_view.still(record)
            comparison.show(record)
            st.page_link("screens/to_check.py", label=t("cow.open"),
                         query_params={"pass": str(summary.pass_id)})  # fmt: skip


st.title(t("cow.title"))
cow = choose()
if cow is None:
    st.info(t("cow.choose") if session.store().cows.all() else t("herd.no_cows"))
    st.stop()
store = session.store()
scores = store.scores.of_cows([cow.number])
done = store.trims.of_cows([cow.number])
st.html(f"<div class='big-number'>{look.plain(cow.number)}</div>")
facts(cow)
if scores:
    newest = scores[-1].score
    st.html(look.score_badge(newest))
    st.caption(t("cow.other_scale", score=on_scale(newest)))
    st.altair_chart(charts.cow_line(scores, done), width="stretch")
    st.caption(t("cow.chart"))
else:
    st.info(t("cow.no_scores"))
for promise in store.rechecks.all(cows=[cow.number], only_open=True):
    st.info(t("cow.recheck", day=promise.due_on, why=promise.why))
left, right = st.columns(2, gap="large")
with left:
    st.subheader(t("cow.passes"))
    passes(cow.number)
with right:
    st.subheader(t("cow.trims"))
    trims(done)
    if not done:
        st.caption(t("cow.no_trims"))
st.download_button(
    t("cow.download"), history_csv(time_line(store, cow.number)), on_click="ignore",
    file_name=f"cow_{cow.number}.csv", mime="text/csv", key="cow_download",
)  # fmt: skip
