"""Second opinion: who waits, blind to what was proposed, and what stands afterwards."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from gait.errors import StoreConflict
from gait.herd.records import Cow, Finding, Trim
from gait.second_opinion import for_second_opinion
from gait.store import Store
from tests.app.conftest import OpenPage, words_of
from tests.app.test_checking import press
from tests.farms import add_pass, proposal

NOW = datetime.now(UTC)
ICON = Path(__file__).resolve().parents[2] / "app" / "parts" / "icon.png"


def pictured(farm: Store, cow: str | None, name: str = "a", **fields: object) -> int:
    """Put in a pass of today with a picture to look at."""
    assert farm.folder is not None
    shutil.copy(ICON, farm.folder / "still.png")
    fields = {"observed_at": NOW, "files": {"still": "still.png"}} | fields
    return add_pass(farm, cow, name, **fields)


def test_borderline_severe_and_asked_ones_wait_but_not_the_clear_ones(
    farm: Store, page: OpenPage
) -> None:
    clear = add_pass(farm, "0412", "a", observed_at=NOW, proposal=proposal(1, 0.9, (1,)))
    borderline = add_pass(farm, "0417", "b", observed_at=NOW, proposal=proposal(2, 0.5, (2, 3)))
    severe = add_pass(farm, "0423", "c", observed_at=NOW, proposal=proposal(1, 0.9, (1,)))
    farm.decisions.add(severe, kind="overridden", score=5, who="Ann", reason="limps")
    asked = add_pass(
        farm, "0431", "d", observed_at=NOW - timedelta(days=90), proposal=proposal(1, 0.9, (1,))
    )
    farm.decisions.add(asked, kind="second_opinion_wanted", who="Ann")
    old = add_pass(farm, "0440", "e", observed_at=NOW - timedelta(days=90))
    waiting = {p.pass_id for p in farm.queue.for_vet(NOW - timedelta(days=14))}
    assert waiting == {borderline, severe, asked}
    assert not {clear, old} & waiting
    (choice,) = [s for s in page("second_opinion").selectbox if s.key == "second_pass"]
    assert len(choice.options) == 3


def test_disputed_pass_waits_until_it_is_settled(farm: Store) -> None:
    pass_id = add_pass(farm, "0412", observed_at=NOW, proposal=proposal(1, 0.9, (1,)))
    farm.decisions.add(pass_id, kind="confirmed", score=1, who="Ann", expected_version=0)
    with pytest.raises(StoreConflict):
        farm.decisions.add(
            pass_id, kind="overridden", score=2, who="Ben", reason="x", expected_version=0
        )
    since = NOW - timedelta(days=14)
    assert [p.pass_id for p in farm.queue.for_vet(since)] == [pass_id]
    farm.decisions.settle(farm.decisions.conflicts()[0].conflict_id, who="Ann")
    assert farm.queue.for_vet(since) == []


def test_blind_vet_sees_neither_proposal_nor_what_others_said(farm: Store, page: OpenPage) -> None:
    farm.people.put("Vera", ["vet"])
    pass_id = add_pass(farm, "0412", observed_at=NOW)
    farm.decisions.add(pass_id, kind="overridden", score=4, who="Ann", reason="spares left hind")
    at = page("second_opinion", person="Vera")
    for hidden in ("back clearly arched", "Proposed score", "spares left hind", "own score"):
        assert hidden not in words_of(at)
    at.toggle(key="second_blind").set_value(False).run()
    for shown in ("back clearly arched", "Proposed score", "spares left hind"):
        assert shown in words_of(at)


def test_second_opinion_outranks_and_is_kept_as_blind(farm: Store, page: OpenPage) -> None:
    farm.people.put("Vera", ["vet"])
    pass_id = pictured(farm, "0412")
    farm.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
    at = press(page("second_opinion", person="Vera"), "second_score_2")
    assert "your score 2 is kept. The program had proposed 3." in words_of(at)
    newest = farm.decisions.of_pass(pass_id)[-1]
    assert (newest.kind, newest.score, newest.who, newest.blind) == (
        "second_opinion", 2, "Vera", True,
    )  # fmt: skip
    assert farm.passes.get(pass_id).summary.score == 2
    assert "No cow waits for a second opinion." in words_of(page("second_opinion", person="Vera"))


def test_herdsperson_may_look_but_not_give_a_second_opinion(farm: Store, page: OpenPage) -> None:
    farm.people.put("Hans", ["herdsperson"])
    pictured(farm, "0412")
    at = page("second_opinion", person="Hans")
    assert not [b for b in at.button if str(b.key).startswith("second_score")]


def test_vet_can_name_a_cow_and_she_stays_the_one_shown(farm: Store, page: OpenPage) -> None:
    farm.people.put("Vera", ["vet"])
    farm.cows.put([Cow(number="0412")])
    add_pass(farm, "0417", "a", observed_at=NOW, proposal=proposal(5, 0.9, (5,)))
    pass_id = add_pass(farm, None, "b", observed_at=NOW, proposal=proposal(4, 0.9, (4,)))
    at = page("second_opinion", person="Vera", **{"pass": str(pass_id)})
    at.selectbox(key=f"who_{pass_id}").select("0412")
    at = press(at, f"who_keep_{pass_id}")
    assert farm.passes.get(pass_id).summary.cow == "0412"
    assert "Cow 0412" in words_of(at)
    assert at.selectbox(key="second_pass").value == pass_id


def test_the_box_names_the_cow_that_is_shown(farm: Store, page: OpenPage) -> None:
    farm.people.put("Vera", ["vet"])
    first = pictured(farm, "0412", "a", proposal=proposal(5, 0.9, (5,)))
    second = pictured(farm, "0417", "b", proposal=proposal(2, 0.5, (2, 3)))
    at = page("second_opinion", person="Vera")
    assert at.selectbox(key="second_pass").value == first
    at = press(at, "second_skip")
    assert at.selectbox(key="second_pass").value == second
    assert [b.key for b in at.button if str(b.key).startswith("second_score_1")] == [
        f"second_score_1_{second}"
    ]
    at = press(press(at, "second_skip"), "second_score_5")
    # The value must be said to the browser, which would keep the cow before.
    box = at.selectbox(key="second_pass")
    assert (box.value, box.proto.set_value) == (second, True)
    assert not [b for b in at.button if b.key == "second_skip"]


def test_nobody_is_asked_for_a_score_without_film_or_picture(farm: Store, page: OpenPage) -> None:
    farm.people.put("Vera", ["vet"])
    pass_id = add_pass(farm, "0412", observed_at=NOW)
    farm.decisions.add(pass_id, kind="confirmed", score=4, who="Ann")
    farm.decisions.add(pass_id, kind="second_opinion_wanted", who="Ann")
    at = page("second_opinion", person="Vera")
    assert "nobody can score this pass here." in words_of(at)
    assert "Her history" in [e.proto.label for e in at.get("page_link")]
    assert not [b for b in at.button if str(b.key).startswith("second_score")]
    at = press(at, "second_decline")
    assert "Kept: no second opinion is possible on this pass." in words_of(at)
    assert "No cow waits for a second opinion." in words_of(at)
    summary = farm.passes.get(pass_id).summary
    assert (summary.status, summary.score, summary.wants_second_opinion) == ("decided", 4, False)


def test_cows_treated_since_and_scores_by_eye_wait_only_when_asked_for(farm: Store) -> None:
    days = [NOW - timedelta(days=d) for d in (6, 5, 4, 3)]
    severe = proposal(5, 0.9, (5,))
    treated, asked, again, trimmed = (
        add_pass(farm, cow, name, observed_at=at, proposal=severe)
        for cow, name, at in zip(("1", "2", "3", "4"), "abcd", days, strict=True)
    )
    for cow, on, reason in (
        ("1", NOW, "therapeutic"), ("2", NOW, "therapeutic"), ("3", days[2], "therapeutic"),
        ("4", NOW, "maintenance"),
    ):  # fmt: skip
        farm.trims.add(Trim(cow=cow, on=on.date(), who="Tom", reason=reason))
    farm.decisions.add(asked, kind="second_opinion_wanted", who="Ann")
    farm.decisions.add_by_eye("5", score=5, who="Ann")
    found = {p.pass_id for p in for_second_opinion(farm, NOW - timedelta(days=14))}
    assert found == {asked, again, trimmed}
    assert treated not in found


def test_a_block_put_on_at_a_maintenance_trim_counts_as_treatment_as_on_the_lame_list(
    farm: Store,
) -> None:
    walked = NOW - timedelta(days=2)
    add_pass(farm, "1", "a", observed_at=walked, proposal=proposal(5, 0.9, (5,)))
    block = Finding(foot="LH", claw="inner", block=True)
    trim = Trim(cow="1", on=NOW.date(), who="Tom", reason="maintenance", findings=(block,))
    farm.trims.add(trim)
    assert for_second_opinion(farm, NOW - timedelta(days=14)) == []


def test_the_effect_is_told_and_the_opinion_can_be_taken_back_on_the_spot(
    farm: Store, page: OpenPage
) -> None:
    farm.people.put("Vera", ["vet"])
    pass_id = pictured(farm, "213", proposal=proposal(4, 0.9, (4,)))
    farm.decisions.add(pass_id, kind="overridden", score=5, who="Ann", reason="limps")
    farm.decisions.add(pass_id, kind="confirmed", score=4, who="Ben")
    at = press(page("second_opinion", person="Vera"), "second_score_2")
    assert "your score 2 is kept." in words_of(at)
    assert "She leaves the lame list." in words_of(at)
    assert "No cow waits for a second opinion." in words_of(at)
    at = press(at, "undo")
    assert "Taken back." in words_of(at)
    assert at.selectbox(key="second_pass").value == pass_id
    assert farm.passes.get(pass_id).summary.score == 4
    at = press(at, "second_score_5")
    assert "the lame list." not in words_of(at)  # she was on it, and stays


def test_a_pass_can_be_opened_though_none_waits(farm: Store, page: OpenPage) -> None:
    farm.people.put("Vera", ["vet"])
    pass_id = pictured(farm, "213", proposal=proposal(1, 0.9, (1,)))
    at = page("second_opinion", person="Vera", **{"pass": str(pass_id)})
    assert at.selectbox(key="second_pass").value == pass_id
    assert "There is no pass 99." in words_of(page("second_opinion", **{"pass": "99"}))


def test_what_is_typed_as_a_note_does_not_hide_what_another_said(
    farm: Store, page: OpenPage
) -> None:
    farm.people.put("Vera", ["vet"])
    pass_id = pictured(farm, "213")
    at = page("second_opinion", person="Vera")
    farm.decisions.add(pass_id, kind="second_opinion", score=4, who="Karl")
    at = at.text_input(key=f"second_note_{pass_id}").set_value("even strides").run()
    at = press(at, "second_score_2")
    assert "Karl decided on this pass in the meantime (gave 4)." in words_of(at)
    assert farm.passes.get(pass_id).summary.score == 4


def test_a_pass_scored_differently_by_two_says_why_it_waits(farm: Store, page: OpenPage) -> None:
    pass_id = pictured(farm, "213", proposal=proposal(1, 0.9, (1,)))
    farm.decisions.add(pass_id, kind="confirmed", score=1, who="Ann")
    farm.decisions.add(pass_id, kind="overridden", score=2, who="Ben", reason="uneven")
    (choice,) = [s for s in page("second_opinion").selectbox if s.key == "second_pass"]
    (line,) = choice.options
    assert line.startswith("Cow 213")
    assert line.endswith("two people differ")


def test_nothing_stands_under_said_so_far_where_nothing_was_said(
    farm: Store, page: OpenPage
) -> None:
    pass_id = pictured(farm, "213")
    at = page("second_opinion").toggle(key="second_blind").set_value(False).run()
    assert "Said so far" not in words_of(at)
    farm.decisions.add(pass_id, kind="second_opinion_wanted", who="Ann")
    assert "Said so far" in words_of(at.run())
