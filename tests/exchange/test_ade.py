"""ICAR ADE JSON: events of the published shape, and what is read back."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait.errors import ExchangeError
from gait.exchange.ade import ade_document, attention_event, read_ade, trim_events
from gait.herd.feet import CLAW_TERMS, FEET, SEVERITIES
from gait.herd.records import Cow, Finding, Score, Trim
from tests.exchange.ade_shapes import SHAPES
from tests.farms import NOON

COW = Cow(number="0412", electronic="276000123456789")
findings = st.builds(
    Finding,
    foot=st.sampled_from(sorted(FEET)),
    claw=st.sampled_from(["inner", "outer", "both", ""]),
    code=st.sampled_from(sorted(CLAW_TERMS)),
    severity=st.none() | st.sampled_from(SEVERITIES),
    note=st.text(st.characters(categories=("L",)), max_size=10),
)
trims = st.builds(
    Trim,
    cow=st.just("0412"),
    on=st.just(NOON.date()),
    at=st.just(NOON),
    who=st.just("Tom"),
    reason=st.just("therapeutic"),
    findings=st.lists(findings, max_size=4).map(tuple),
    medicine=st.sampled_from(["", "as on the label"]),
    uid=st.just("t1"),
)


def _check(event: dict) -> None:
    jsonschema.validate(event, SHAPES[event["resourceType"]])


@pytest.mark.parametrize(
    ("score", "priority", "severity"),
    [(1, "Informational", "Light"), (3, "Normal", "Moderate"), (4, "Urgent", "Severe"),
     (5, "Critical", "Severe")],
)  # fmt: skip
def test_a_standing_score_goes_out_as_an_attention_event(
    score: int, priority: str, severity: str
) -> None:
    given_ = Score(
        cow="0412",
        observed_at=NOON,
        score=score,
        pass_id=7,
        decided_at=NOON,
        decided_by="Ann",
        proposed=3,
    )
    event = attention_event(given_, COW, made_at=NOON)
    _check(event)
    assert event["animal"] == {"scheme": "std.iso.11785", "id": "276000123456789"}
    assert (event["priority"], event["severity"]) == (priority, severity)
    assert event["deviceAttentionScore"] == score
    assert event["eventDateTime"] == "2026-03-02T12:00:00.000000Z"
    assert event["remark"] == (
        f"Locomotion score {score} of 5, given by Ann. The tool had proposed 3."
    )


@given(trims)
def test_findings_come_back_as_they_went_out(trim: Trim) -> None:
    events = trim_events(trim, COW, made_at=NOON)
    for event in events:
        _check(event)
    document = json.loads(json.dumps(ade_document(events)))
    read = read_ade(document, [COW])
    assert read.not_taken == ()
    (back,) = read.trims
    assert (back.cow, back.on, back.who, back.medicine) == (
        trim.cow,
        trim.on,
        trim.who,
        trim.medicine,
    )
    assert back.findings == trim.findings


def test_a_block_goes_out_in_words_with_its_own_claw_where_it_was_said() -> None:
    old, new = (
        Finding(foot="LH", claw="outer", code="SU", block=True, block_claw=claw)
        for claw in (None, "inner")
    )
    for finding, words in ((old, "Block on LH."), (new, "Block on LH, inner claw.")):
        trim = Trim(
            cow="0412", on=NOON.date(), who="Tom", reason="therapeutic", findings=(finding,)
        )
        assert words in trim_events(trim, COW, made_at=NOON)[0]["remark"]


def test_a_diagnosis_of_several_feet_is_a_finding_of_each() -> None:
    (_, diagnosis) = trim_events(
        Trim(
            cow="0412", on=NOON.date(), who="Tom", reason="therapeutic", uid="t1",
            findings=(Finding(foot="LH", claw="both", code="DD"),),
        ),
        COW,
        made_at=NOON,
    )  # fmt: skip
    diagnosis["diagnoses"][0]["positions"].append({"position": "LegsFrontLeft"})
    (trim,) = read_ade([diagnosis], [COW]).trims
    assert [(f.foot, f.claw) for f in trim.findings] == [("LH", "both"), ("LF", "")]


def test_the_withdrawal_date_goes_out_in_words_only() -> None:
    trim = Trim(
        cow="0412",
        on=date(2026, 3, 2),
        who="Vet",
        reason="therapeutic",
        medicine="M",
        withdrawal_until=date(2026, 3, 9),
        withdrawal_source="label",
        uid="t1",
    )
    (event,) = trim_events(trim, Cow(number="0412"), made_at=NOON)
    assert "Withdrawal until 2026-03-09 as typed from label." in event["remark"]
    assert "withdrawals" not in event
    assert event["animal"] == {"scheme": "farm", "id": "0412"}
    assert event["eventDateTime"] == "2026-03-02T12:00:00.000000Z"


def test_unknown_fields_are_tolerated_and_other_events_named() -> None:
    (treatment,) = trim_events(
        Trim(cow="0412", on=NOON.date(), who="Tom", reason="maintenance", uid="t1"),
        COW,
        made_at=datetime(2026, 3, 3, tzinfo=UTC),
    )
    strange = treatment | {"somethingNew": {"a": 1}}
    other = {"resourceType": "icarWeightEventResource"}
    stranger = treatment | {"animal": {"scheme": "farm", "id": "99"}}
    read = read_ade([strange, other, stranger, {}], [COW])
    assert len(read.trims) == 1
    assert read.not_taken == (
        "Event 2 was not taken: icarWeightEventResource is not read here.",
        "Event 3 was not taken: animal 99 is not on the herd list.",
        "Event 4 was not taken: it lacks 'resourceType'",
    )
    with pytest.raises(ExchangeError, match="no ADE events"):
        read_ade("text", [COW])
