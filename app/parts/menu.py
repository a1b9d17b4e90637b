"""The menu: pages under three headings, with what waits beside their names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

import streamlit as st

from app import session
from app.parts import look, script
from app.texts import t
from gait.farm import is_demo


def show(pages: Mapping[str, Sequence[st.Page]]) -> st.Page:
    """Show the menu in the side bar and return the page that was chosen.

    Parameters
    ----------
    pages : mapping
        Pages by the heading they stand under.
    """
    chosen = st.navigation([p for some in pages.values() for p in some], position="hidden")
    waiting = _waiting()
    with st.sidebar, st.container(key="menu", gap="xxsmall"):
        st.caption(t("app.farm", name=look.literal(session.farm_name())))
        for heading, some in pages.items():
            st.html(f"<h2 class='menu'>{look.plain(t(f'menu.{heading}'))}</h2>")
            for page in some:
                count = waiting.get(page.url_path, 0)
                label = f"{page.title} ({count})" if count else page.title
                st.page_link(page, label=label, width="stretch")
        script.component("close_menu")(key="close_menu", data={"who": session.who()})
    return chosen


def demo_notice() -> None:
    """Say on every page of the demo farm that its animals are invented."""
    if is_demo(session.store()):
        told = f"<b>{look.plain(t('app.demo'))}</b> {look.plain(t('app.demo_own'))}"
        st.html(f"<p class='demo'>{told} <code>python3 -m app --page-only</code></p>")


def _waiting() -> dict[str, int]:
    """Return how much waits on a page, by its address."""
    store = session.store()
    queue = store.queue.waiting()
    due = [r for r in store.rechecks.all(only_open=True) if r.due_on <= date.today()]
    return {"to-check": queue.to_check, "second-opinion": queue.second_opinion, "recheck": len(due)}
