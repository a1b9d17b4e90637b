"""Keys: two of them keep a score; a typed number, a tag reader or Enter keep none."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from gait.store import Store, open_store
from tests.browser.conftest import Tab
from tests.farms import add_pass, proposal

pytestmark = pytest.mark.timeout(600)
FOCUS = "document.activeElement?.closest('[class*=st-key-]')?.className ?? ''"
BY_HAND_MS = 700


@pytest.fixture
def passes(tab: Tab, tmp_path: Path) -> list[int]:
    """Open To check with three cows that wait, all proposed as 4."""
    with open_store(tmp_path / "farm") as store:
        farm = [_severe(store, cow) for cow in ("0412", "0417", "0423")]
    tab.open("to-check")
    tab.page.locator("h1").click()
    return farm


def _severe(store: Store, cow: str) -> int:
    fields = {"observed_at": datetime.now(UTC), "proposal": proposal(4, 0.9, (4,))}
    return add_pass(store, cow, cow[-1], **fields)


def type_in(tab: Tab, *keys: str, every_ms: int) -> None:
    for key in keys:
        tab.page.keyboard.press(key)
        tab.page.wait_for_timeout(every_ms)
    tab.settle()


def kept(tmp_path: Path, passes: list[int]) -> list[int | None]:
    with open_store(tmp_path / "farm", read_only=True) as store:
        return [store.passes.get(p).summary.score for p in passes]


@pytest.mark.parametrize("tab", [("desktop", "en-GB")], indirect=True)
def test_a_digit_and_the_space_bar_keep_a_score_and_nothing_else_does(
    tab: Tab, tmp_path: Path, passes: list[int]
) -> None:
    nothing = [None, None, None]
    for every_ms in (5, BY_HAND_MS):  # a reader, a hand
        type_in(tab, *"304", "Enter", every_ms=every_ms)
        assert kept(tmp_path, passes) == nothing
    type_in(tab, "Enter", every_ms=5)
    type_in(tab, "4", " ", every_ms=5)
    type_in(tab, " ", every_ms=5)
    assert kept(tmp_path, passes) == nothing
    tab.page.wait_for_timeout(BY_HAND_MS)
    type_in(tab, "5", every_ms=5)
    assert f"check_score_5_{passes[0]}" in tab.page.evaluate(FOCUS)
    type_in(tab, "4", every_ms=5)  # on second thoughts
    assert f"check_score_4_{passes[0]}" in tab.page.evaluate(FOCUS)
    type_in(tab, " ", every_ms=5)
    assert kept(tmp_path, passes) == [4, None, None]
    # The next cow is shown with nothing chosen: the same keys again do not keep her score.
    type_in(tab, " ", "Enter", every_ms=BY_HAND_MS)
    assert kept(tmp_path, passes) == [4, None, None]
    # Nor does a reader after a tap, which leaves its button in focus.
    tab.page.locator(f".st-key-check_score_4_{passes[1]} button").click()
    tab.settle()
    type_in(tab, *"301", "Enter", every_ms=5)
    assert kept(tmp_path, passes) == [4, 4, None]


@pytest.mark.parametrize("tab", [("desktop", "en-GB")], indirect=True)
def test_no_key_keeps_a_second_opinion(tab: Tab, tmp_path: Path, passes: list[int]) -> None:
    with open_store(tmp_path / "farm") as store:
        store.decisions.add(passes[0], kind="confirmed", score=4, who="Ann")
    tab.open("second-opinion")
    tab.page.locator("h1").click()
    type_in(tab, "2", " ", "Enter", every_ms=BY_HAND_MS)
    with open_store(tmp_path / "farm", read_only=True) as store:
        assert {d.kind for p in passes for d in store.decisions.of_pass(p)} == {"confirmed"}
