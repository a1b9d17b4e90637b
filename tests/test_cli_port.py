"""The port of the page: the usual one, the next free one, or a sentence."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from gait.cli import port, start
from gait.cli.port import page_port
from gait.errors import GaitError

HERE = "127.0.0.1"


@contextmanager
def listening() -> Iterator[int]:
    """Hold a port as an open page does."""
    with socket.socket() as page:
        page.bind((HERE, 0))
        page.listen()
        yield page.getsockname()[1]


def test_the_port_of_an_open_page_is_passed_over(monkeypatch):
    with listening() as taken:
        monkeypatch.setattr(port, "USUAL_PORT", taken)
        assert taken < page_port(HERE, None) < taken + port.NEXT_TRIED


def test_the_usual_port_is_taken_when_it_is_free(monkeypatch):
    with listening() as was_taken:
        pass
    monkeypatch.setattr(port, "USUAL_PORT", was_taken)
    assert page_port(HERE, None) == was_taken == page_port(HERE, was_taken)


def test_a_port_asked_for_is_never_swapped_for_another():
    with listening() as taken, pytest.raises(GaitError, match=f"{taken}.*an open page.*--port"):
        page_port(HERE, taken)


def test_a_port_that_does_not_exist_is_refused():
    with pytest.raises(GaitError, match="cannot be served"):
        page_port(HERE, 70000)


def test_with_all_tried_ports_taken_a_sentence_says_so(monkeypatch):
    with listening() as taken:
        monkeypatch.setattr(port, "USUAL_PORT", taken)
        monkeypatch.setattr(port, "NEXT_TRIED", 1)
        with pytest.raises(GaitError, match="Close pages that are still open"):
            page_port(HERE, None)


def test_of_an_address_of_another_computer_the_page_itself_tells():
    # RFC 5737: kept for documentation, no computer has it.
    assert page_port("203.0.113.7", None) == port.USUAL_PORT


def test_a_phone_is_told_an_address_that_it_can_open(monkeypatch):
    monkeypatch.setattr(start, "network_addresses", lambda _: ["192.0.2.23", "198.51.100.4"])
    told = start.where("0.0.0.0", 8614)
    assert "http://192.0.2.23:8614 or http://198.51.100.4:8614" in told
    assert "On this computer: http://127.0.0.1:8614" in told
    assert "0.0.0.0" not in told
    assert start.where(HERE, 8614).startswith("The page is at http://127.0.0.1:8614")


def test_without_a_network_no_address_is_made_up(monkeypatch):
    monkeypatch.setattr(start, "network_addresses", lambda _: [])
    assert "no network" in start.where("0.0.0.0", 8614)


def test_the_computers_own_addresses_are_found_where_the_page_can_listen():
    for own in port.network_addresses("0.0.0.0"):
        assert not own.startswith("127.")
        with socket.socket() as page:
            page.bind((own, 0))
    assert port.network_addresses("farm.local") == ["farm.local"]


@pytest.mark.parametrize("system", ["linux", "win32"])
def test_addresses_of_this_computer_only_are_no_use_to_a_phone(monkeypatch, system):
    monkeypatch.setattr(port.sys, "platform", system)
    monkeypatch.setattr(port, "_of_linux", lambda: ["127.0.0.1", "192.0.2.23"])
    monkeypatch.setattr(port, "_of_own_name", lambda: ["127.0.1.1", "192.0.2.23"])
    assert port.network_addresses("0.0.0.0") == ["192.0.2.23"]
