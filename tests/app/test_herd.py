"""Herd figures: what is shown rests on people's scores, and says how sure it is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from app.parts import charts
from gait.herd.figures import STAGES
from gait.overview import person_and_person
from gait.statistics.prevalence import wilson_share
from gait.store import Store
from tests.app.conftest import OpenPage, words_of
from tests.farms import add_pass
from tests.page_farm import load_history

NOW = datetime.now(UTC)


def test_figures_count_newest_scores_of_people(farm: Store, page: OpenPage) -> None:
    load_history(farm)
    # Newest scores of the four milking cows: 0423 has 4, the others 1, 2 or 3 by the history.
    newest = {s.cow: s.score for s in farm.scores.latest()}
    lame = sum(score >= 3 for score in newest.values())
    at = page("herd")
    assert f"<dd>{100 * lame / 4:.0f} % (" in words_of(at)
    assert "of 4 of 6 cows" in words_of(at).replace("\u00a0", " ")


def test_figures_follow_a_new_decision(farm: Store, page: OpenPage) -> None:
    load_history(farm)
    before = words_of(page("herd"))
    farm.decisions.add_by_eye("0412", score=5, who="Ann")
    farm.decisions.add_by_eye("0431", score=5, who="Ann")
    assert words_of(page("herd")) != before


def test_second_opinions_are_held_against_first_scores_of_others(
    farm: Store, page: OpenPage
) -> None:
    for number, (first, second) in enumerate([(3, 3), (2, 3), (4, 4), (1, 1)]):
        pass_id = add_pass(farm, "0412", f"p{number}", observed_at=NOW - timedelta(days=number))
        farm.decisions.add(pass_id, kind="overridden", score=first, who="Ann", reason="seen")
        farm.decisions.add(pass_id, kind="second_opinion", score=second, who="Vera")
    same = add_pass(farm, "0412", "own")
    farm.decisions.add(same, kind="confirmed", score=3, who="Vera")
    farm.decisions.add(same, kind="second_opinion", score=1, who="Vera")  # herself: no pair
    found = person_and_person(farm)
    assert found is not None
    assert (found.pairs, found.exact, found.within_one) == (4, 0.75, 1.0)
    assert found.table[1][2] == 1
    at = page("herd").segmented_control(key="herd_part").select("agreement").run()
    assert "Too few to judge yet: 4 of 30 passes." in words_of(at)
    assert "drawn for trained people" not in words_of(at)
    for number in range(26):
        pass_id = add_pass(farm, "0412", f"q{number:02d}", proposal=None)
        farm.decisions.add(pass_id, kind="confirmed", score=2, who="Ann")
        farm.decisions.add(pass_id, kind="second_opinion", score=2, who="Vera")
    at = page("herd").segmented_control(key="herd_part").select("agreement").run()
    assert "Same score in 97 %" in words_of(at).replace("\u00a0", " ")
    assert "That reaches the line drawn for trained people" in words_of(at)


def test_model_part_says_what_it_rests_on_and_only_some_may_let_it_learn(
    farm: Store, page: OpenPage
) -> None:
    load_history(farm)
    arch = {"back_arch": {"value": 0.1, "se": 0.02, "unit": "1"}}
    for number in range(3):
        pass_id = add_pass(farm, "0412", f"m{number}", measures=arch)
        farm.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
    farm.people.put("Hans", ["herdsperson"])
    farm.people.put("Maria", ["manager"])
    at = page("herd", person="Hans").segmented_control(key="herd_part").select("model").run()
    assert "not validated on scored cows" in words_of(at)
    assert "too few to judge yet, 3 of 30 confirmed passes" in words_of(at)
    assert not [b for b in at.button if b.key == "learn"]
    at = page("herd", person="Maria").segmented_control(key="herd_part").select("model").run()
    assert [b for b in at.button if b.key == "learn"]


def test_stages_are_drawn_as_they_follow_each_other() -> None:
    share = wilson_share(1, 4)
    stages = ["heifer", *(name for name, _, _ in STAGES), "dry", "not known"]
    chart = charts.shares(dict.fromkeys(stages, share)).to_dict()
    orders = [layer["encoding"]["y"]["sort"] for layer in chart["layer"]]
    assert [name.split(" (")[0].split(" days")[0] for name in orders[0]] == [
        "heifers", "0-60", "61-150", "151-305", "over 305", "dry", "not known",
    ]  # fmt: skip
    assert orders[0] == orders[1]
