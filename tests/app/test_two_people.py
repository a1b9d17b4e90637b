"""To check with several people: nobody's decision is replaced or taken back unseen."""

from __future__ import annotations

from datetime import timedelta

import pytest
from streamlit.testing.v1 import AppTest

from gait.store import Store
from tests.app.conftest import OpenPage, words_of
from tests.app.test_checking import press
from tests.farms import NOON, add_pass


def people(farm: Store) -> None:
    farm.people.put("Hans", ["herdsperson"])
    farm.people.put("Maria", ["manager"])


def undo_offered(at: AppTest) -> list[str]:
    return [b.label for b in at.button if b.key == "undo"]


def test_undo_does_not_take_back_what_somebody_else_decided_since(
    farm: Store, page: OpenPage
) -> None:
    people(farm)
    pass_id = add_pass(farm, "209")
    at = press(page("to_check", person="Hans"), "check_score_3")
    farm.decisions.add(pass_id, kind="overridden", score=5, who="Maria", reason="limps")
    at = press(at, "undo")
    assert "Maria decided on this pass in the meantime (gave 5). Nothing was taken back." in (
        words_of(at).replace("\n", " ")
    )
    assert farm.passes.get(pass_id).summary.score == 5
    assert f"check_score_3_{pass_id}" in [b.key for b in at.button]  # the pass as it is now
    assert undo_offered(at) == []


def test_what_another_decides_while_the_reason_is_asked_is_not_replaced(
    farm: Store, page: OpenPage
) -> None:
    people(farm)
    pass_id = add_pass(farm, "209")
    at = press(page("to_check", person="Hans"), "check_score_1")
    farm.decisions.add(pass_id, kind="overridden", score=5, who="Maria", reason="limps")
    at = at.pills(key=f"check_why_pick_{pass_id}").select("slipped").run()
    at = press(at, "check_keep")
    assert "Maria decided on this pass in the meantime" in words_of(at)
    assert farm.passes.get(pass_id).summary.score == 5
    (both,) = farm.decisions.conflicts(pass_id=pass_id)
    assert (both.who, both.score) == ("Hans", 1)
    assert "Hans gave 1 at the same time" in words_of(at)
    # Seen now, so the next word counts, and nothing is left to be settled.
    at = press(at, "check_score_3")
    assert farm.passes.get(pass_id).summary.score == 3
    for person in ("Hans", "Maria"):
        at = page("to_check", person=person, **{"pass": str(pass_id)})
        assert "at the same time" not in words_of(at)


def test_a_redraw_does_not_count_as_having_seen_another_decision(
    farm: Store, page: OpenPage
) -> None:
    people(farm)
    pass_id = add_pass(farm, "209")
    at = page("to_check", person="Hans")
    farm.decisions.add(pass_id, kind="overridden", score=5, who="Maria", reason="limps")
    at = press(at.run(), "check_score_3")
    assert farm.passes.get(pass_id).summary.score == 5
    assert len(farm.decisions.conflicts(pass_id=pass_id)) == 1


def test_ones_own_last_decision_can_be_taken_back_after_the_page_was_loaded_anew(
    farm: Store, page: OpenPage
) -> None:
    people(farm)
    pass_id = add_pass(farm, "209")
    press(page("to_check", person="Hans"), "check_score_3")
    assert undo_offered(page("to_check", person="Maria")) == []
    at = page("to_check", person="Hans")
    assert undo_offered(at) == ["Undo (cow 209)"]
    at = press(at, "undo")
    assert "Taken back." in words_of(at)
    assert farm.passes.get(pass_id).summary.status == "to_check"
    assert undo_offered(at) == undo_offered(page("to_check", person="Hans")) == []


def test_a_score_that_a_second_opinion_outranks_is_told_plainly(
    farm: Store, page: OpenPage
) -> None:
    people(farm)
    pass_id = add_pass(farm, "213")
    farm.decisions.add(pass_id, kind="second_opinion", score=2, who="Vera")
    at = page("to_check", person="Hans", **{"pass": str(pass_id)})
    at = press(at, "check_score_5")
    at = at.pills(key=f"check_why_pick_{pass_id}").select("looks_worse").run()
    at = press(at, "check_keep")
    told = words_of(at)
    assert "Cow 213: your score 5 is on record but does not count." in told
    assert "The second opinion of Vera stands: score 2." in told
    assert "is kept" not in told
    assert "Vera: second opinion 2\n" in told
    assert "own score 5 (does not count: the second opinion stands) – Walks worse" in told
    # She is still shown, so that a new opinion is asked for with one tap.
    at = press(at, f"check_second_{pass_id}")
    assert farm.passes.get(pass_id).summary.wants_second_opinion


def test_who_gave_no_name_is_somebody_in_either_language(farm: Store, page: OpenPage) -> None:
    pass_id = add_pass(farm, "209")
    press(page("to_check"), "check_score_3")
    (made,) = farm.decisions.of_pass(pass_id)
    assert made.who == "somebody"
    old = add_pass(farm, "213", "b")
    farm.decisions.add(old, kind="confirmed", score=3, who="not named")  # as written before
    told = words_of(page("lame_list"))
    assert told.count("last scored by somebody") == 2
    at = page("lame_list")
    at.session_state["language"] = "de"
    assert words_of(at.run()).count("zuletzt benotet von jemand") == 2


def test_a_score_on_an_older_walk_says_that_a_newer_one_counts(farm: Store, page: OpenPage) -> None:
    sound = add_pass(farm, "213", "b", observed_at=NOON + timedelta(days=1))
    farm.decisions.add(sound, kind="overridden", score=2, who="Ann", reason="even")
    pass_id = add_pass(farm, "213")
    at = press(page("to_check", **{"pass": str(pass_id)}), "check_score_3")
    assert "Cow 213: score 3 is kept. Her newer walk, of 2026-03-03, was scored 2" in words_of(at)


def test_a_reason_tapped_in_german_is_read_in_either_language(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    pass_id, unusable = add_pass(farm, "213"), add_pass(farm, "209", "b")
    monkeypatch.setattr("app.texts.language", lambda: "de")
    at = press(page("to_check", **{"pass": str(pass_id)}), "check_score_5")
    at = at.pills(key=f"check_why_pick_{pass_id}").select("one_leg").run()
    at = press(at.text_input(key=f"check_why_{pass_id}").input("hinten links").run(), "check_keep")
    press(at, f"check_unusable_{unusable}")
    reasons = [farm.decisions.of_pass(one)[-1].reason for one in (pass_id, unusable)]
    assert reasons == ["Spares one leg: hinten links", "cannot be judged from this film"]
    assert "Schont ein Bein: hinten links" in words_of(page("to_check", **{"pass": str(pass_id)}))
    monkeypatch.setattr("app.texts.language", lambda: "en")
    assert "Spares one leg: hinten links" in words_of(page("to_check", **{"pass": str(pass_id)}))
