"""Farms and pages for these tests."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from gait.store import Store, open_store

MAIN = Path(__file__).resolve().parents[2] / "app" / "main.py"
OpenPage = Callable[..., AppTest]


@pytest.fixture
def farm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    """Give an empty farm that the pages open too."""
    monkeypatch.setenv("EXITLANE_FARM", str(tmp_path / "farm"))
    monkeypatch.delenv("EXITLANE_OPEN_TO_NETWORK", raising=False)
    with open_store(tmp_path / "farm") as store:
        yield store
    st.cache_resource.clear()


@pytest.fixture
def page(farm: Store) -> OpenPage:
    """Give a function that opens a page, as a person if wanted."""

    def open_page(name: str = "lame_list", *, person: str = "", **query: str) -> AppTest:
        at = AppTest.from_file(str(MAIN), default_timeout=60)
        at.session_state["language"] = "en"
        if person:
            at.session_state["person"] = person
        at.run()
        if name != "lame_list":
            at.switch_page(f"screens/{name}.py")
        for key, value in query.items():
            at.query_params[key] = value
        return at.run()

    return open_page


def words_of(at: AppTest) -> str:
    """Return all that stands on a page, for looking things up."""
    parts = [*at.markdown, *at.caption, *at.info, *at.success, *at.warning, *at.error, *at.title]
    parts += [*at.subheader]
    bodies = [str(part.value) for part in parts]
    # st.html has no class of its own in this kind of test.
    bodies += [str(e.proto.body) for e in at.get("html")]
    return "\n".join(bodies).replace("\\", "")
