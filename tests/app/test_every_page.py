"""Every page, for every role, with nothing recorded and with a herd."""

from __future__ import annotations

import re
from datetime import date

import pytest

from app.texts import words
from gait.farm import DEMO_SETTING
from gait.herd.people import ROLES
from gait.herd.records import Cow
from gait.store import Store
from tests.app.conftest import OpenPage, words_of
from tests.farms import add_pass
from tests.page_farm import load_history

PAGES = (
    "lame_list",
    "to_check",
    "film",
    "second_opinion",
    "trim_day",
    "findings",
    "recheck",
    "cow",
    "herd",
    "settings",
)
MARKUP = re.compile(r"<style>.*?</style>|<[^>]*>", re.DOTALL)
ENGLISH_FIGURE = re.compile(r"\d{4}-\d\d-\d\d|(?<![\d.])\d+\.\d+(?!\.?\d)")
MAY_NOT = words("en")["person.may_not"]
CLOSED = {
    "herdsperson": {"second_opinion"},
    "vet": {"trim_day", "settings"},
    "manager": {"second_opinion"},
    "trimmer": {"to_check", "second_opinion", "trim_day", "recheck", "settings"},
}
"""Pages on which this role is told that the doing is for others (they may still look)."""


@pytest.mark.parametrize("name", PAGES)
def test_page_works_with_nothing_recorded(page: OpenPage, name: str) -> None:
    at = page(name)
    assert not at.exception
    assert not at.error
    assert at.title[0].value == words("en")[f"{name}.title"]


@pytest.mark.parametrize("name", PAGES)
def test_page_works_in_german(farm: Store, page: OpenPage, name: str) -> None:
    load_history(farm)
    at = page(name)
    at.session_state["language"] = "de"
    at.run()
    assert not at.exception
    assert at.title[0].value == words("de")[f"{name}.title"]


@pytest.mark.parametrize("name", PAGES)
def test_german_page_writes_days_and_decimals_as_germans_do(
    farm: Store, page: OpenPage, name: str
) -> None:
    load_history(farm)
    farm.cows.put([Cow(number="0417", calved_on=date(2026, 1, 30))])
    farm.trim_days.plan(date.today(), trimmer="Tom", capacity=9)
    arch = {"head_bob_a1_pct": {"value": 9.24, "se": 0.31, "unit": "% of withers height"}}
    for cow in ("0417", None):
        add_pass(farm, cow, str(cow), measures=arch, start_s=1.5, end_s=4.5)
    at = page(name, cow="0417")
    at.session_state["language"] = "de"
    at.run()
    boxes = [str(option) for s in at.selectbox for option in s.options]
    shown = "\n".join([words_of(at), *boxes, *(str(table.value) for table in at.table)])
    assert ENGLISH_FIGURE.findall(MARKUP.sub("", shown)) == []
    assert {d.proto.format for d in at.date_input} <= {"DD.MM.YYYY"}


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("name", PAGES)
def test_role_sees_the_page_and_may_do_what_is_its_own(
    farm: Store, page: OpenPage, name: str, role: str
) -> None:
    load_history(farm)
    asked = add_pass(farm, "0412", "b")
    farm.decisions.add(asked, kind="second_opinion_wanted", who="Ann")
    farm.people.put("Ann", [role])
    at = page(name, person="Ann")
    assert not at.exception
    assert (MAY_NOT in words_of(at)) == (name in CLOSED[role])


@pytest.mark.parametrize("name", PAGES)
def test_demo_farm_says_on_every_page_that_it_is_invented(
    farm: Store, page: OpenPage, name: str
) -> None:
    assert words("en")["app.demo"] not in words_of(page(name))
    farm.settings.put(DEMO_SETTING, True, who="Ann")
    told = words_of(page(name))
    assert words("en")["app.demo"] in told
    assert "python3 -m app --page-only" in told


def test_side_bar_names_the_open_farm(farm: Store, page: OpenPage) -> None:
    assert "Farm: farm" in words_of(page()), "the folder, while it has no name"
    farm.settings.put("farm_name", "Lower Meadow", who="Ann")
    assert "Farm: Lower Meadow" in words_of(page())


def test_person_has_to_be_chosen_when_people_are_set_up(farm: Store, page: OpenPage) -> None:
    add_pass(farm, "0412")
    farm.people.put("Ann", ["herdsperson"])
    at = page("to_check")
    assert words("en")["person.choose_here"] in words_of(at)
    at.selectbox(key="person_choice").select("Ann").run()
    assert any(b.key.startswith("check_score_3") for b in at.button)


def test_name_can_be_chosen_on_the_spot_since_a_phone_hides_the_menu(
    farm: Store, page: OpenPage
) -> None:
    add_pass(farm, "0412")
    farm.people.put("Ann", ["herdsperson"])
    at = page("to_check")
    at.selectbox(key="name_here_decide").select("Ann").run()
    assert not at.exception
    assert any(b.key.startswith("check_score_3") for b in at.button)
    assert at.selectbox(key="person_choice").value == "Ann"
    at.run()
    assert at.session_state["person"] == "Ann"


def test_animal_number_is_shown_letter_by_letter_not_run(farm: Store, page: OpenPage) -> None:
    nasty = "<img src=x onerror=alert(1)>"
    farm.cows.put([Cow(number=nasty)])
    farm.decisions.add_by_eye(nasty, score=5, who="<script>alert(2)</script>")
    for name in ("lame_list", "cow", "trim_day"):
        at = page(name, cow=nasty)
        html = "\n".join(str(e.proto.body) for e in at.get("html"))
        assert "<img" not in html
        assert "<script" not in html


def test_a_page_shows_no_stray_text_of_its_code(page: OpenPage) -> None:
    # A bare string in a page script would be put on the page by Streamlit's magic.
    for name in PAGES:
        at = page(name)
        shown = [element.type for element in at.main if element.type not in ("main", "html")]
        assert shown[0] in ("title", "heading"), (name, shown[:3])
