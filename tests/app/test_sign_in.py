"""Signing in: PIN, who is asked, lock-out, and the outside service."""

from __future__ import annotations

import time

import pytest
import streamlit as st
from streamlit.elements.lib import policies
from streamlit.testing.v1 import AppTest

from app import remembering, session
from gait.herd.records import Cow
from gait.store import Store
from tests.app.conftest import MAIN, OpenPage, words_of


def submit(at: AppTest, label: str) -> AppTest:
    return next(b for b in at.button if b.label == label).click().run()


def test_once_somebody_has_a_pin_everybody_signs_in(farm: Store, page: OpenPage) -> None:
    farm.people.put("Maria", ["manager"], pin="2468")
    at = page()
    assert "Sign in" in [b.label for b in at.button]
    assert not at.get("metric")
    at.selectbox(key="sign_in_name").select("Maria")
    at.text_input(key="sign_in_pin").set_value("1111")
    at = submit(at, "Sign in")
    assert "Name or PIN is not right." in words_of(at)
    at.text_input(key="sign_in_pin").set_value("2468")
    at = submit(at, "Sign in")
    assert at.title[0].value == "Lame list"
    at = at.button(key="sign_out").click().run()
    assert "Sign in" in [b.label for b in at.button]


def test_five_wrong_pins_lock_the_name_even_for_the_right_one(farm: Store, page: OpenPage) -> None:
    farm.people.put("Maria", ["manager"], pin="2468")
    at = page()
    for pin in ("1111",) * 5 + ("2468",):
        at.text_input(key="sign_in_pin").set_value(pin)
        at = submit(at, "Sign in")
    assert "Too many wrong PINs." in words_of(at)


def test_page_open_to_the_network_asks_the_first_person_for_a_pin(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    come_from(monkeypatch)
    at = page()
    at.text_input(key="first_name").set_value("Maria")
    at = submit(at, "Start")
    assert "Choose a PIN" in words_of(at)
    assert farm.people.all() == []
    at.text_input(key="first_name").set_value("Maria")
    at.text_input(key="first_pin").set_value("2468")
    at = submit(at, "Start")
    assert at.title[0].value == "Lame list"
    (person,) = farm.people.all()
    assert (person.name, person.roles, person.has_pin) == ("Maria", ("manager",), True)


def test_first_person_cannot_be_set_up_from_another_machine(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    come_from(monkeypatch, "192.0.2.7")
    at = page()
    assert "On the farm's own computer open http://127.0.0.1:" in words_of(at)
    assert not at.text_input


def test_first_pin_is_chosen_on_the_farms_own_computer(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    farm.people.put("Hans", ["herdsperson"])
    farm.people.put("Maria", ["manager", "vet"])
    come_from(monkeypatch)
    at = page()
    assert at.selectbox(key="first_pin_name").options == ["Maria"], "managers, who can add others"
    at.text_input(key="first_pin").set_value("2468")
    at = submit(at, "Start")
    assert at.title[0].value == "Lame list"
    assert at.session_state["person"] == "Maria"
    kept = farm.people.get("Maria")
    assert kept is not None
    assert (kept.roles, kept.has_pin) == (("manager", "vet"), True)
    assert "Sign in" in [b.label for b in page().button], "from now on everybody signs in"


LOCAL = {"Host": "127.0.0.1:8614", "Origin": "http://127.0.0.1:8614"}


def come_from(monkeypatch: pytest.MonkeyPatch, address: str | None = None, **more: str) -> None:
    """Open the page to the network and come in from an address; None is this computer."""
    monkeypatch.setenv(session.OPEN_TO_NETWORK, "1")
    monkeypatch.setattr(type(st.context), "ip_address", address)
    named = {name.replace("_", "-"): value for name, value in more.items()}
    monkeypatch.setattr(type(st.context), "headers", LOCAL | named)


@pytest.mark.parametrize(
    ("address", "more"),
    [
        ("192.0.2.7", {}),
        (None, {"Host": "farm.example", "Origin": "http://farm.example"}),  # a name led here
        (None, {"Origin": "http://strange.example"}),
        (None, {"Origin": ""}),
        (None, {"Host": ""}),
        (None, {"X_Forwarded_For": "192.0.2.7"}),
        (None, {"Via": "1.1 proxy"}),
        (None, {"Host": "127.0.0.1.strange.example"}),
    ],
)
def test_nobody_else_can_choose_the_first_pin(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch, address: str | None,
    more: dict[str, str],
) -> None:  # fmt: skip
    farm.people.put("Maria", ["manager"])
    come_from(monkeypatch, address, **more)
    at = page()
    assert "choose the first PIN there" in words_of(at)
    assert not at.text_input


def test_this_computer_has_to_sign_in_too_once_there_is_a_pin(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    farm.people.put("Maria", ["manager"], pin="2468")
    farm.people.put("Paul", ["manager"])
    come_from(monkeypatch)
    at = page()
    assert [s.key for s in at.selectbox] == ["sign_in_name"]
    assert at.selectbox(key="sign_in_name").options == ["Maria"]


# --- the browser is known again after a reload ---------------------------------------------------


def reload(
    monkeypatch: pytest.MonkeyPatch, page: OpenPage, before: AppTest, **more: str
) -> AppTest:
    """Open the page anew with the cookie that the browser was given."""
    key = before.session_state["browser_key"]
    monkeypatch.setattr(type(st.context), "cookies", {remembering.cookie_name(): key})
    return page(**more)


def test_chosen_name_outlives_a_reload(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    farm.people.put("Hans", ["herdsperson"])
    farm.people.put("Maria", ["manager"])
    at = page()
    at.selectbox(key="person_choice").select("Hans").run()
    again = reload(monkeypatch, page, at)
    assert again.session_state["person"] == "Hans"
    assert again.selectbox(key="person_choice").value == "Hans"
    again.selectbox(key="person_choice").select("Maria").run()
    assert reload(monkeypatch, page, again).session_state["person"] == "Maria"
    assert "person" not in reload(monkeypatch, page, at).session_state, "the older key is gone"


def signed_in(at: AppTest) -> AppTest:
    at.text_input(key="sign_in_pin").set_value("2468")
    return submit(at, "Sign in")


def test_signed_in_browser_is_known_until_it_signs_out(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    farm.people.put("Maria", ["manager"], pin="2468")
    at = signed_in(page())
    again = reload(monkeypatch, page, at)
    assert again.title[0].value == "Lame list"
    again.button(key="sign_out").click().run()
    assert "Sign in" in [b.label for b in reload(monkeypatch, page, at).button]


def test_name_chosen_without_a_pin_does_not_get_past_one(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    farm.people.put("Maria", ["manager"])
    at = page()
    at.selectbox(key="person_choice").select("Maria").run()
    farm.people.put("Maria", ["manager"], pin="2468")
    assert "Sign in" in [b.label for b in reload(monkeypatch, page, at).button]


def test_browser_is_known_for_a_day_and_by_a_right_key_only(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    farm.people.put("Maria", ["manager"], pin="2468")
    at = signed_in(page())
    for wrong in ("", "Maria", at.session_state["browser_key"] + "x"):
        monkeypatch.setattr(type(st.context), "cookies", {remembering.cookie_name(): wrong})
        assert "Sign in" in [b.label for b in page().button]
    tomorrow = time.time() + remembering.KEPT_FOR_S + 1
    monkeypatch.setattr(remembering.time, "time", lambda: tomorrow)
    assert "Sign in" in [b.label for b in reload(monkeypatch, page, at).button]


def test_new_pin_ends_what_browsers_remember(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    farm.people.put("Maria", ["manager"], pin="2468")
    at = signed_in(page())
    at.switch_page("screens/settings.py").run()
    at.segmented_control(key="settings_section").select("people").run()
    at.selectbox(key="person_edit").select("Maria").run()
    at.text_input(key="person_pin_Maria").set_value("1357")
    submit(at, "Keep")
    assert "Sign in" in [b.label for b in reload(monkeypatch, page, at).button]


def test_somebody_who_left_is_signed_out(farm: Store, page: OpenPage) -> None:
    farm.people.put("Maria", ["manager"], pin="2468")
    farm.people.put("Hans", ["herdsperson"], pin="1357")
    assert page(person="Hans").title[0].value == "Lame list"
    farm.people.put("Hans", ["herdsperson"], active=False)
    assert "Sign in" in [b.label for b in page(person="Hans").button]


class OutsideUser(dict):
    """What the outside service told of who is here."""

    @property
    def is_logged_in(self) -> bool:
        return bool(self)


@pytest.mark.parametrize(
    ("told", "comes_in"),
    [
        ({"email": "vera@example.org", "email_verified": True}, True),
        ({"email": "vera@example.org", "email_verified": False}, False),
        ({"email": "other@example.org", "email_verified": True}, False),
        ({}, False),
    ],
)
def test_outside_service_lets_in_only_verified_names_that_are_set_up(
    farm: Store, monkeypatch: pytest.MonkeyPatch, told: dict[str, object], comes_in: bool
) -> None:
    farm.people.put("vera@example.org", ["vet"])
    monkeypatch.setattr(st, "user", OutsideUser(told))
    at = AppTest.from_file(str(MAIN), default_timeout=60)
    at.secrets["auth"] = {"redirect_uri": "http://127.0.0.1:8614/oauth2callback"}
    at.session_state["language"] = "en"
    at.run()
    assert not at.exception
    assert (at.title[0].value == "Lame list") == comes_in
    if told and not comes_in:
        assert "nobody of that name is set up here" in words_of(at) or not told["email_verified"]
    if not told:
        assert "Sign in with the farm's account" in [b.label for b in at.button]


@pytest.mark.parametrize("people", [("Hans",), ()])
def test_a_half_entered_finding_outlives_a_reload(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch, people: tuple[str, ...]
) -> None:
    monkeypatch.setattr(type(st.context), "cookies", {})  # else a stand-in holding anything
    farm.cows.put([Cow(number="184")])
    for name in people:
        farm.people.put(name, ["manager"])
    at = page("findings", cow="184")
    if people:
        at.selectbox(key="person_choice").select("Hans").run()
    at.segmented_control(key="draft:184:foot_0").select("RH").run()
    at.selectbox(key="draft:184:code_0").select("SU").run()
    at.button(key="findings_add_184_0").click().run()
    at.segmented_control(key="draft:184:foot_1").select("LH").run()
    at.text_area(key="draft:184:note").set_value("walk her slowly").run()
    again = reload(monkeypatch, page, at, name="findings", cow="184")
    assert "right hind · sole ulcer (SU)" in words_of(again)
    assert again.segmented_control(key="draft:184:foot_1").value == "LH"
    assert again.text_area(key="draft:184:note").value == "walk her slowly"
    again.button(key="findings_add_184_1").click().run()
    again.button(key="findings_keep_184").click().run()
    assert [f.foot for f in farm.trims.of_cows(["184"])[0].findings] == ["RH", "LH"]
    assert "draft:184:note" not in page("findings").session_state, "kept, it is no draft any more"


def test_a_name_chosen_on_the_spot_brings_no_warning(
    farm: Store, page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(policies, "_shown_default_value_warning", False)
    for name in ("Hans", "Maria"):
        farm.people.put(name, ["manager"])
    at = page("findings")
    assert at.selectbox(key="person_choice").value is None
    at.selectbox(key="name_here_trim").select("Maria").run()
    assert not at.warning
    assert at.selectbox(key="person_choice").value == "Maria"
