"""The whole way in a real browser: a film in, checked, on the lame list, on the trim sheet."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from gait.store import open_store
from tests.browser.conftest import Tab

PAGES = {
    "lame_list": "",
    "to_check": "to-check",
    "film": "film",
    "second_opinion": "second-opinion",
    "trim_day": "trim-day",
    "findings": "findings?cow=0423",
    "recheck": "recheck",
    "cow": "cow?cow=0423",
    "herd": "herd",
    "settings": "settings",
}
# Streamlit now and then draws a film that does not start by itself; here it never does.
NO_AUTOPLAY = """
const set = Element.prototype.setAttribute;
Element.prototype.setAttribute = function (name, value) {
  if (name !== "autoplay") set.call(this, name, value);
};
"""
pytestmark = pytest.mark.timeout(900)


@pytest.mark.parametrize("tab", [("desktop", "en-GB"), ("phone", "en-GB")], indirect=True)
def test_film_to_lame_list_to_trim_sheet(tab: Tab, lame_film: Path, tmp_path: Path) -> None:
    page = tab.page
    page.add_init_script(NO_AUTOPLAY)
    hand_in(tab, lame_film)
    check(tab)
    tab.open("")
    card = page.locator("[data-testid=stVerticalBlock]").filter(has_text="0431").last
    assert "0431" in card.inner_text()
    tab.picture("lame_list")
    trim_sheet(tab, tmp_path)
    findings(tab)
    with open_store(tmp_path / "farm", read_only=True) as store:
        score = store.scores.of_cows(["0431"])[-1]
        assert score.score == 4
        assert score.decided_by == "somebody"
        (day,) = store.trim_days.all()
        entries = {e.cow: e.state for e in store.trim_days.entries(day.trim_day_id)}
        assert entries["0431"] == "done"
        assert store.rechecks.all(cows=["0431"], only_open=True)
    ours = ("http://127.0.0.1", "ws://127.0.0.1", "data:", "blob:")
    assert [url for url in tab.outside if not url.startswith(ours)] == []


def hand_in(tab: Tab, film: Path) -> None:
    """Drop the film in and wait until it was watched."""
    page = tab.page
    tab.open("film")
    page.locator("input[type=file]").set_input_files(str(film))
    page.get_by_role("spinbutton", name="hour, Time").click()
    page.keyboard.type("0000")
    page.keyboard.press("Tab")
    tab.settle()
    page.get_by_role("button", name="Watch this film").click()
    page.get_by_text("1 cow walked past.").wait_for(timeout=400_000)
    tab.picture("film")
    tab.open("film")
    page.locator("input[type=file]").set_input_files(str(film))
    page.get_by_text("came in before").first.wait_for()
    page.get_by_role("link", name="Check them").click()
    tab.settle()


def check(tab: Tab) -> None:
    """Look at the cow, frame by frame, and give score 4 by the keyboard or by a tap."""
    page = tab.page
    page.get_by_role("heading", name="Cow 0431").wait_for()
    page.wait_for_function("document.querySelector('video')?.readyState >= 2")
    assert page.evaluate("document.querySelector('video').playbackRate") == 0.5
    page.get_by_role("button", name="Pause").click()
    before = page.evaluate("document.querySelector('video').currentTime")
    page.get_by_role("button", name="One frame on").click()
    page.wait_for_timeout(300)
    stepped = page.evaluate("document.querySelector('video').currentTime") - before
    assert stepped == pytest.approx(1 / 25, abs=0.01)
    page.get_by_role("button", name="Speed 0.25").click()
    page.wait_for_timeout(600)
    assert page.evaluate("document.querySelector('video').playbackRate") == 0.25
    page.get_by_text("not validated on scored cows").first.wait_for()
    tab.picture("to_check")
    assert serious_barriers(tab) == []
    proposed = page.locator("[class*=check_scores] button[kind=primary]").inner_text()
    if tab.size == "desktop":
        page.locator("h1").click()
        page.keyboard.press("4")
        page.wait_for_timeout(100)  # quicker than any hand it would count as a tag reader
        page.keyboard.press("Space")
    else:
        page.locator("[class*=check_score_4] button").click()
    tab.settle()
    if not proposed.lstrip().startswith("4"):
        page.get_by_text("Spares one leg").click()
        tab.settle()
        tab.picture("to_check_why")
        page.get_by_role("button", name="Keep score 4").click()
        tab.settle()
    page.get_by_text("She enters the lame list.").wait_for()
    tab.picture("checked")


def trim_sheet(tab: Tab, folder: Path) -> None:
    """Plan a day, move the cow and download the sheet."""
    page = tab.page
    tab.open("trim-day")
    page.get_by_role("button", name="Propose the cows").click()
    tab.settle()
    page.get_by_role("button", name="Move cow 0431 up").click()
    tab.settle()
    tab.picture("trim_day")
    assert serious_barriers(tab) == []
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Print sheet (PDF)").click()
    waiting.value.save_as(folder / "sheet.pdf")
    assert (folder / "sheet.pdf").read_bytes().startswith(b"%PDF")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Sheet as web page").click()
    waiting.value.save_as(folder / "sheet.html")
    assert "0431" in (folder / "sheet.html").read_text(encoding="utf-8")


def findings(tab: Tab) -> None:
    """Enter what was found on one foot."""
    page = tab.page
    tab.open("findings?cow=0431")
    for choice in ("right hind", "outer"):
        page.get_by_role("radio", name=choice).first.click()
        tab.settle()
    page.get_by_text("Block", exact=True).first.click()
    tab.settle()
    page.get_by_role("radio", name="inner").last.click()
    tab.settle()
    page.get_by_role("button", name="Add this finding").click()
    tab.settle()
    page.get_by_text("right hind · outer · Block on the inner claw").wait_for()
    tab.picture("findings")
    page.get_by_role("button", name="Keep, next cow").click()
    page.get_by_text("Cow 0431 is on record. Recheck on").wait_for()


@pytest.mark.parametrize("tab", [("desktop", "en-GB"), ("phone", "de-DE")], indirect=True)
def test_no_page_has_a_serious_barrier(tab: Tab) -> None:
    found: dict[str, list[str]] = {}
    for name, path in PAGES.items():
        tab.open(path)
        tab.picture(f"page_{name}")
        found |= {name: barriers} if (barriers := serious_barriers(tab)) else {}
    assert found == {}, json.dumps(found, indent=1)


def serious_barriers(tab: Tab) -> list[str]:
    """Return what axe-core finds on the page that keeps people out (WCAG 2.2 A and AA)."""
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    ).Axe()
    levels = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    result = axe.run(tab.page, options={"runOnly": levels})
    return [
        f"{rule['id']}: {[node['html'][:160] for node in rule['nodes']][:3]}"
        for rule in result.response["violations"]
        if rule["impact"] in ("serious", "critical")
    ]
