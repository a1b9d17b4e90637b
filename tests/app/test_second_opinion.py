"""Second opinion: who waits, blind to what was proposed, and what stands afterwards."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from gait.errors import StoreConflict
from gait.herd.records import Cow
from gait.store import Store
from tests.app.conftest import OpenPage, words_of
from tests.app.test_checking import press
from tests.farms import add_pass, proposal

NOW = datetime.now(UTC)


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
    pass_id = add_pass(farm, "0412", observed_at=NOW)
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
    add_pass(farm, "0412", observed_at=NOW)
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
