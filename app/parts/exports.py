"""The farm's records as lists for others, to download."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import streamlit as st

from app import session
from app.texts import day_box, t
from gait.exchange.lists import decisions_list, events_list, trims_list

LISTS: dict[str, tuple[Callable[..., str], str, str]] = {
    "decisions": (decisions_list, "decisions.csv", "text/csv"),
    "trims": (trims_list, "trims.csv", "text/csv"),
    "events": (events_list, "icar_ade.json", "application/json"),
}


def show() -> None:
    """Offer each list from a day on."""
    store = session.store()
    st.write(t("export.text"))
    since = st.date_input(t("export.since"), value=None, max_value="today", format=day_box(),
                          key="export_since")  # fmt: skip
    first = since if isinstance(since, date) else date.min
    for name, (written, file_name, mime) in LISTS.items():
        st.download_button(
            t(f"export.{name}"), lambda made=written: made(store, first), file_name=file_name,
            mime=mime, key=f"export_{name}", on_click="ignore",
        )  # fmt: skip
    st.caption(t("export.others"))
