"""Take in the herd list: match columns, see what would change, see what is left out."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from app import session
from app.parts import look, renumber, take_off
from app.texts import said, t
from gait.errors import ExchangeError, GaitError
from gait.exchange.csv_files import read_csv
from gait.exchange.herd_csv import (
    FIELDS,
    HerdListPreview,
    cows_to_keep,
    herd_list_csv,
    preview_herd_list,
)
from gait.exchange.herd_headers import guess_columns

DATE_ORDERS = ("ymd", "dmy", "mdy")
SHOWN_ROWS = 8


def show() -> None:
    """Show the herd list that is there, and take in a new one."""
    store = session.store()
    cows = store.cows.all()
    st.write(t("import.count", count=len(cows)))
    if cows:
        st.download_button(t("import.download"), herd_list_csv(cows), file_name="herd_list.csv",
                           mime="text/csv", key="herd_download", on_click="ignore")  # fmt: skip
    if not session.guarded("plan"):
        return
    renumber.show()
    take_off.show()
    st.write(t("import.how"))
    file = st.file_uploader(t("import.file"), type=["csv", "txt"], key="herd_file")
    if file is None:
        return
    try:
        preview(file.getvalue())
    except GaitError as problem:
        session.show(problem)


def preview(content: bytes) -> None:
    """Show what the list would bring, and take it in on demand."""
    table = read_csv(content)
    columns = match_columns(table.header, guess_columns(table.header))
    known = session.store().cows.all(include_left=True)
    order: Any = st.segmented_control(
        t("import.dates"), ["auto", *DATE_ORDERS], default="auto", required=True,
        format_func=lambda o: t(f"import.{o}"), key="herd_dates",
    )  # fmt: skip
    found = preview_herd_list(
        table, known, columns=columns, date_order=None if order == "auto" else order
    )
    counts = {
        t("import.new"): len(found.new),
        t("import.changed"): len(found.changed),
        t("import.unchanged"): len(found.unchanged),
        t("import.rejected"): len(found.rejected),
    }
    st.html(look.figures(counts))
    rows(found)
    strict = st.checkbox(t("import.strict"), key="herd_strict")
    if st.button(t("import.take", count=len(found.cows)), type="primary", key="herd_take",
                 disabled=not found.cows):  # fmt: skip
        take(found, strict=strict)


def match_columns(header: tuple[str, ...], guessed: dict[str, int]) -> dict[str, int]:
    """Let people put right which column holds which field."""
    places: list[int | None] = [None, *range(len(header))]
    chosen: dict[str, int] = {}
    with st.expander(t("import.columns"), expanded="number" not in guessed):
        cells = st.columns(2)
        for turn, field in enumerate(FIELDS):
            with cells[turn % 2]:
                place = st.selectbox(
                    t(f"field.{field}"), places, index=places.index(guessed.get(field)),
                    format_func=lambda i: t("import.no_column") if i is None else header[i],
                    key=f"herd_column_{field}",
                )  # fmt: skip
            if place is not None:
                chosen[field] = place
    if "number" not in chosen:
        raise ExchangeError(t("import.no_number"), t("import.say_number"))
    return chosen


def rows(found: HerdListPreview) -> None:
    """Show the first cows and every row that is left out, with why."""
    if found.cows:
        fields = [f for f in FIELDS if f in found.columns]
        st.markdown(f"**{t('import.first')}**")
        st.dataframe(
            pd.DataFrame(
                [{t(f"field.{f}"): _text(getattr(c, f)) for f in fields}
                 for c in found.cows[:SHOWN_ROWS]]
            ),
            hide_index=True,
        )  # fmt: skip
    if found.rejected:
        st.warning(t("import.left_out", count=len(found.rejected)))
        for row in found.rejected[:50]:
            st.markdown(f"- {t('import.line', line=row.line)} {look.literal(said(row.why))}")
    if found.not_used:
        st.caption(t("import.not_used", columns=look.literal(", ".join(found.not_used))))


def take(found: HerdListPreview, *, strict: bool) -> None:
    """Put the cows into the records."""
    try:
        session.store().cows.put(cows_to_keep(found, all_or_nothing=strict))
    except GaitError as problem:
        session.show(problem)
        return
    st.session_state["settings_said"] = t("import.done", count=len(found.cows))
    st.rerun()


def _text(value: object) -> str:
    return "" if value is None else str(value)
