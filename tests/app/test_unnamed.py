"""A scored cow without a number stays waiting, and every page that should tells of her."""

from __future__ import annotations

import pytest

from gait.checking import passes_to_check
from gait.cli import main
from gait.herd.records import Cow
from gait.naming import name_by_file
from gait.store import Store
from tests.app.conftest import OpenPage, words_of
from tests.app.test_checking import press
from tests.farms import add_pass, proposal


@pytest.fixture
def scored(farm: Store) -> int:
    """Give a pass scored 5 whose cow nobody has named."""
    farm.cows.put([Cow(number="0412"), Cow(number="0417")])
    pass_id = add_pass(farm, proposal=proposal(5, 0.9, (5,)))
    farm.decisions.add(pass_id, kind="confirmed", score=5, who="Ann")
    return pass_id


def test_a_severe_one_comes_first_and_the_page_goes_on_once_she_is_named(
    farm: Store, page: OpenPage, scored: int
) -> None:
    urgent = add_pass(farm, "0417", "b", proposal=proposal(5, 0.9, (5,)))
    at = page("to_check")
    asked = "Score 5 was given by Ann, but nobody has said yet which cow this is"
    assert asked in words_of(at)
    assert not [b for b in at.button if str(b.key).startswith("check_score")]
    at.selectbox(key=f"who_{scored}").select("0412")
    at = press(at, f"who_keep_{scored}")
    assert "Cow 0412: score 5. She enters the lame list." in words_of(at)
    at = press(at, f"check_score_5_{urgent}")
    assert "Nothing waits." in words_of(at)
    assert [s.cow for s in farm.scores.latest(at_least=3)] == ["0412", "0417"]


def test_mild_ones_come_after_those_not_scored(farm: Store) -> None:
    severe, mild, open_one = (add_pass(farm, None, name) for name in "abc")
    farm.decisions.add(mild, kind="confirmed", score=3, who="Ann")
    farm.decisions.add(severe, kind="overridden", score=4, who="Ann", reason="limps")
    order = [severe, open_one, mild]
    assert [p.pass_id for p in passes_to_check(farm)] == order
    assert [p.pass_id for p in passes_to_check(farm, limit=2)] == order[:2]


def test_menu_lame_list_and_page_give_one_count(farm: Store, page: OpenPage, scored: int) -> None:
    for name in "bc":
        add_pass(farm, "0417", name)
    at = page("to_check")
    assert "3 passes wait to be checked. 1 of these is scored and waits only to be named." in (
        words_of(at)
    )
    assert "To check (3)" in [e.proto.label for e in at.get("page_link")]
    assert "<dt>Passes to check</dt><dd>3</dd>" in words_of(page("lame_list"))


def test_scoring_an_unnamed_cow_says_that_she_waits_and_keeps_her(
    farm: Store, page: OpenPage
) -> None:
    pass_id = add_pass(farm, proposal=proposal(5, 0.9, (5,)))
    at = press(page("to_check"), "check_score_5")
    assert "she is on no list until somebody says which cow this is" in words_of(at)
    assert any(b.key == f"unnamed_nobody_{pass_id}" for b in at.button)


def test_nobody_knows_is_asked_twice_and_ends_the_wait(
    farm: Store, page: OpenPage, scored: int
) -> None:
    at = press(press(page("to_check"), "unnamed_nobody"), "unnamed_back")
    assert farm.queue.waiting().unnamed == 1
    at = press(press(at, "unnamed_nobody"), "unnamed_yes")
    assert "Kept: nobody knows which cow this was." in words_of(at)
    assert farm.queue.waiting().to_check == 0
    assert farm.passes.get(scored).summary.score == 5


def test_lame_list_and_menu_count_her(farm: Store, page: OpenPage, scored: int) -> None:
    at = page("lame_list")
    assert "1 scored cow has no number yet, so she is on no list. Her score is 5." in words_of(at)
    links = [e.proto.label for e in at.get("page_link")]
    assert "To check (1)" in links
    assert "Say which cow it is" in links


def test_she_can_be_left_for_later(farm: Store, page: OpenPage, scored: int) -> None:
    assert "left for later" in words_of(press(page("to_check"), "next"))


def test_the_command_queue_tells_of_her(
    farm: Store, scored: int, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["queue", "--farm", str(farm.folder)])
    told = capsys.readouterr().out
    assert "score 5 by Ann" in told
    assert f"exitlane name {scored} ANIMAL_NUMBER --by NAME" in told


def test_the_number_of_the_films_name_is_offered_on_an_empty_herd_list(
    farm: Store, page: OpenPage
) -> None:
    pass_id = add_pass(farm)
    name_by_file(farm, [pass_id], "107.mp4", who="Ann")
    at = page("to_check")
    assert "The film's name tells 107. No such cow is on the herd list yet." in words_of(at)
    press(at, f"who_107_{pass_id}")
    assert farm.passes.get(pass_id).summary.cow == "107"
