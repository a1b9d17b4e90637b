"""On a phone a new cow is shown from the top, so that nobody scores a cow unseen."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from gait.store import open_store
from tests.browser.conftest import Tab
from tests.farms import add_pass, proposal

pytestmark = pytest.mark.timeout(600)
SCROLLED = "document.querySelector('[data-testid=stMain]').scrollTop"


@pytest.mark.parametrize("tab", [("phone", "en-GB")], indirect=True)
def test_after_a_tap_the_next_cow_stands_at_the_top(tab: Tab, tmp_path: Path) -> None:
    now = datetime.now(UTC)
    with open_store(tmp_path / "farm") as store:
        add_pass(store, "0412", "a", observed_at=now, proposal=proposal(5, 0.9, (5,)))
        add_pass(store, "0417", "b", observed_at=now, proposal=proposal(2, 0.9, (2,)))
    page = tab.page
    tab.open("to-check")
    page.locator("[class*=check_score_5] button").evaluate("b => b.scrollIntoView()")
    assert page.evaluate(SCROLLED) > 0
    page.locator("[class*=check_score_5] button").click()
    tab.settle()
    assert page.evaluate(SCROLLED) == 0
    tall = page.viewport_size["height"]
    said = page.get_by_text("Cow 0412: score 5. She enters the lame list.").first
    for found in (said, page.get_by_role("heading", name="Cow 0417")):
        box = found.bounding_box()
        assert box["y"] >= 0
        assert box["y"] + box["height"] <= tall
    # Another score asks why: the question is in view, and she is named in it.
    page.locator("[class*=check_score_4] button").click()
    tab.settle()
    box = page.locator("[class*=check_why_box]").bounding_box()
    assert 0 <= box["y"] < tall / 2


@pytest.mark.parametrize("tab", [("phone", "en-GB")], indirect=True)
def test_the_menu_closes_once_a_name_or_a_page_was_chosen(tab: Tab, tmp_path: Path) -> None:
    with open_store(tmp_path / "farm") as store:
        store.people.put("Ann", ["manager"])
        store.people.put("Bea", ["herdsperson"])
    page = tab.page
    close = page.locator("[data-testid=stSidebarCollapseButton] button")
    box = page.locator(".st-key-person_choice input")
    tab.open("to-check")
    for name in ("Ann", "Bea", None):
        page.locator("[data-testid=stExpandSidebarButton]").click()
        close.wait_for(state="attached")
        if name is None:
            page.locator(".st-key-menu a").last.click()
        else:
            box.click()
            page.get_by_role("option", name=name, exact=True).click()
        close.wait_for(state="detached")
        tab.settle()
        assert close.count() == 0
