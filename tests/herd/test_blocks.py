"""A block is on a claw of its own: the sound one, never guessed from the finding's."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from gait.herd.blocks import blocked_claw
from gait.herd.feet import check_finding, check_trim
from gait.herd.records import Finding, Trim

DAY = date(2026, 3, 30)
SORE_BLOCK = "The block is on the sore claw: it goes on the sound one of that foot."


@pytest.mark.parametrize(
    ("fields", "wrong"),
    [
        ({"claw": "outer", "code": "SU", "block": True, "block_claw": "inner"}, []),
        ({"claw": "outer", "code": "SU", "block": True, "block_claw": "outer"}, [SORE_BLOCK]),
        ({"claw": "outer", "zone": "sole", "block": True, "block_claw": "outer"}, [SORE_BLOCK]),
        ({"claw": "outer", "block": True, "block_claw": "outer"}, [SORE_BLOCK]),
        ({"claw": "both", "code": "DD", "block": True, "block_claw": "outer"}, []),
        ({"code": "SU", "block": True, "block_claw": "outer"}, []),
        ({"claw": "outer", "block_claw": "inner"}, ["The claw of a block goes with a block only."]),
    ],
)
def test_a_block_goes_on_the_claw_that_is_not_sore(fields: dict, wrong: list[str]) -> None:
    assert check_finding(Finding(foot="LH", **fields)) == wrong


def test_a_block_is_held_against_the_other_findings_of_its_foot() -> None:
    ulcer = Finding(foot="LH", claw="outer", code="SU")
    block = Finding(foot="LH", block=True, block_claw="outer")
    other = Finding(foot="LH", claw="inner", code="SHC")

    def wrong(*findings: Finding) -> list[str]:
        done = Trim(cow="1", on=DAY, who="Tom", reason="therapeutic", findings=findings)
        return check_trim(done)

    assert wrong(ulcer, block) == [SORE_BLOCK]
    assert wrong(replace(ulcer, foot="RH"), block) == []
    assert wrong(ulcer, block, other) == []  # both sore: people choose the sounder one


def test_an_older_block_is_read_and_not_guessed() -> None:
    assert blocked_claw(Finding(foot="LH", claw="outer", code="SU", block=True)) is None
    assert blocked_claw(Finding(foot="LH", claw="inner", block=True)) == "inner"
    assert blocked_claw(Finding(foot="LH", claw="inner")) is None
    assert check_finding(Finding(foot="LH", claw="outer", code="SU", block=True)) == []
