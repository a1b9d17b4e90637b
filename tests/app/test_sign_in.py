"""Signing in: PIN, who is asked, lock-out, and the outside service."""

from __future__ import annotations

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from app import session
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
    monkeypatch.setenv(session.OPEN_TO_NETWORK, "1")
    monkeypatch.setattr(type(st.context), "ip_address", None)  # the farm's own computer
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
    monkeypatch.setenv(session.OPEN_TO_NETWORK, "1")
    monkeypatch.setattr(type(st.context), "ip_address", "192.0.2.7")
    at = page()
    assert "on the farm's own computer first" in words_of(at)
    assert not at.text_input


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
