"""To check: confirm, override with a reason, undo, identity, two people at once."""

from __future__ import annotations

import json

import pytest
from streamlit.testing.v1 import AppTest

from gait.herd.records import Cow
from gait.store import Store
from tests.app.conftest import OpenPage, words_of
from tests.farms import NOON, add_pass, proposal

MEASURES = {
    "back_arch": {"value": 0.5, "se": 0.03, "unit": "1", "strides": 3},
    "tracking_up_pct": {"value": -8.0, "se": 2.0, "unit": "%", "strides": 3},
    "head_bob_a1_pct": {"value": None, "se": None, "unit": "%", "reason": "head not seen"},
}


def press(at: AppTest, start: str) -> AppTest:
    """Press the button whose key begins so."""
    (button,) = [b for b in at.button if str(b.key).startswith(start)]
    return button.click().run()


def test_one_tap_on_the_proposed_score_confirms_and_she_enters_the_lame_list(
    farm: Store, page: OpenPage
) -> None:
    pass_id = add_pass(farm, "0412", measures=MEASURES)
    at = press(page("to_check"), "check_score_3")
    assert "Cow 0412: score 3. She enters the lame list." in words_of(at)
    (made,) = farm.decisions.of_pass(pass_id)
    assert (made.kind, made.score, made.blind) == ("confirmed", 3, False)
    lame = page("lame_list")
    assert "0412" in words_of(lame)


def test_her_number_stands_directly_above_the_buttons(farm: Store, page: OpenPage) -> None:
    add_pass(farm, "0412")
    parts = [e for e in page("to_check").main if e.type in ("markdown", "caption", "button")]
    place = next(i for i, e in enumerate(parts) if e.value == "**Cow 0412**")
    assert parts[place + 1].key.startswith("check_score_1")


def test_another_score_asks_why_and_one_tapped_reason_is_enough(
    farm: Store, page: OpenPage
) -> None:
    pass_id = add_pass(farm, "0412")
    at = press(page("to_check"), "check_score_1")
    assert farm.decisions.of_pass(pass_id) == []
    assert "Your score is 1, proposed was 3. Why?" in words_of(at)
    at = press(at, "check_keep")
    assert "Say why your score differs" in words_of(at)
    assert farm.decisions.of_pass(pass_id) == []
    at = press(at.pills(key=f"check_why_pick_{pass_id}").select("slipped").run(), "check_keep")
    (made,) = farm.decisions.of_pass(pass_id)
    assert (made.kind, made.score, made.reason) == ("overridden", 1, "Slipped or stumbled")
    assert not farm.scores.latest(at_least=3)


def test_back_from_the_question_why_keeps_nothing(farm: Store, page: OpenPage) -> None:
    pass_id = add_pass(farm, "0412")
    at = press(press(page("to_check"), "check_score_5"), "check_back")
    assert farm.decisions.of_pass(pass_id) == []
    assert any(str(b.key).startswith("check_score_3") for b in at.button)


def test_undo_brings_the_pass_back_and_keeps_both_records(farm: Store, page: OpenPage) -> None:
    pass_id = add_pass(farm, "0412")
    at = press(press(page("to_check"), "check_score_3"), "undo")
    assert [d.kind for d in farm.decisions.of_pass(pass_id)] == ["confirmed", "undo"]
    assert farm.passes.get(pass_id).summary.status == "to_check"
    assert any(str(b.key) == f"check_score_3_{pass_id}" for b in at.button)


def test_without_a_proposal_any_score_is_kept_with_one_tap(farm: Store, page: OpenPage) -> None:
    pass_id = add_pass(farm, "0412", proposal=None, problems=("Too dark to judge.",))
    at = page("to_check")
    assert "Too dark to judge." in words_of(at)
    press(at, "check_score_4")
    assert farm.passes.get(pass_id).summary.score == 4


def test_most_urgent_cow_comes_first_and_next_leaves_her_for_later(
    farm: Store, page: OpenPage
) -> None:
    mild = add_pass(farm, "0412", "a", proposal=proposal(2, 0.9, (2,)))
    severe = add_pass(farm, "0417", "b", proposal=proposal(5, 0.9, (5,)))
    at = page("to_check")
    assert any(str(b.key) == f"check_score_5_{severe}" for b in at.button)
    at = press(at, "next")
    assert any(str(b.key) == f"check_score_2_{mild}" for b in at.button)
    at = press(at, "next")
    assert "left for later" in words_of(at)
    assert any(str(b.key) == f"check_score_5_{severe}" for b in press(at, "again").button)


def test_two_people_at_once_are_told_and_both_inputs_are_kept(farm: Store, page: OpenPage) -> None:
    pass_id = add_pass(farm, "0412")
    at = page("to_check")
    farm.decisions.add(pass_id, kind="overridden", score=5, who="Ben", reason="limps")
    at = press(at, "check_score_3")
    assert "Ben decided on this pass in the meantime" in words_of(at)
    (conflict,) = farm.decisions.conflicts(pass_id=pass_id)
    assert conflict.score == 3
    assert farm.passes.get(pass_id).summary.score == 5
    press(at, "settle_")
    assert farm.decisions.conflicts(pass_id=pass_id) == []


def test_cow_is_named_here_and_only_then_enters_a_list(farm: Store, page: OpenPage) -> None:
    farm.cows.put([Cow(number="0412"), Cow(number="0417")])
    pass_id = add_pass(farm)
    at = page("to_check")
    at.selectbox(key=f"who_{pass_id}").select("0417")
    at = press(at, f"who_keep_{pass_id}")
    assert farm.passes.get(pass_id).summary.cow == "0417"
    assert "Cow 0417" in words_of(at)


def test_doubtful_cow_is_settled_with_one_tap(farm: Store, page: OpenPage) -> None:
    pass_id = add_pass(farm)
    farm.identities.set(
        pass_id, "0412", who="x", source="exit_order", doubtful=True, candidates=("0412", "0417")
    )
    at = page("to_check")
    assert "0412, 0417" in words_of(at)
    press(at, "who_0417_")
    summary = farm.passes.get(pass_id).summary
    assert (summary.cow, summary.identity_doubtful) == ("0417", False)


def test_page_says_that_the_model_is_not_validated(farm: Store, page: OpenPage) -> None:
    add_pass(farm, "0412")
    assert "not validated on scored cows" in words_of(page("to_check"))


def test_measures_stand_beside_herd_and_reason_for_missing_ones(
    farm: Store, page: OpenPage
) -> None:
    for number in range(25):
        arch = {"back_arch": {"value": 0.1 + 0.01 * number, "se": 0.02, "unit": "1"}}
        add_pass(farm, "0417", f"c{number:02d}", measures=arch)
    pass_id = add_pass(farm, "0412", measures=MEASURES)
    at = page("to_check", **{"pass": str(pass_id)})
    assert "Where she stands in the herd" in words_of(at)
    table = at.table[0].value
    assert table.loc["Back arch", "This pass"].replace("\\", "") == "0.50 ± 0.05"
    assert table.loc["Head nod, once a stride", "This pass"] == "not measured"
    assert "Not measured: Head nod, once a stride. head not seen" in words_of(at)


def test_traces_are_drawn_where_they_were_kept(farm: Store, page: OpenPage) -> None:
    assert farm.folder is not None
    traces = {
        "time_s": [0.0, 0.1, 0.2],
        "head_pct": [1.0, None, 2.0],
        "arch": [None, 0.3, 0.3],
        "hooves": {"near_fore": [[None, 0.05], [0.1, 0.18], [0.19, None]]},
        "still": None,
    }
    (farm.folder / "traces.json").write_text(json.dumps(traces), encoding="utf-8")
    add_pass(farm, "0412", files={"traces": "traces.json"})
    kinds = [element.type for element in page("to_check").main]
    assert kinds.count("vega_lite_chart") == 2, kinds


@pytest.mark.parametrize("asked", ["999", "0", "abc"])
def test_a_pass_that_is_not_there_is_told_plainly(farm: Store, page: OpenPage, asked: str) -> None:
    add_pass(farm, "0412", observed_at=NOON)
    at = page("to_check", **{"pass": asked})
    assert not at.exception
    assert bool(at.error) == asked.isdecimal()
