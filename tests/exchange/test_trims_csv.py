"""Trims go out and come back with every finding; senseless rows are named."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait.errors import StoreError
from gait.exchange.csv_files import as_dicts, read_csv
from gait.exchange.trims_csv import read_trims, trims_csv
from gait.herd.feet import CLAW_TERMS, FEET, SEVERITIES, ZONES
from gait.herd.records import TRIM_REASONS, Cow, Finding, Trim
from gait.store import Store


def test_trims_are_written_one_row_per_finding() -> None:
    trim = Trim(
        cow="0412",
        on=date(2026, 3, 2),
        who="Tom",
        reason="therapeutic",
        uid="t1",
        findings=(
            Finding(foot="RH", claw="outer", zone="sole", code="SU", toe_length_mm=82.5),
            Finding(foot="RH", block=True, block_claw="inner"),
        ),
    )
    rows = [row for _, row in as_dicts(read_csv(trims_csv([trim])))]
    assert [(r["foot"], r["claw"], r["code"], r["block"], r["block_claw"]) for r in rows] == [
        ("RH", "outer", "SU", "false", ""),
        ("RH", "", "", "true", "inner"),
    ]
    assert rows[0]["toe_length_mm"] == "82.5"


words = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=15)
lengths = st.none() | st.floats(1, 200)
anything = {
    "foot": st.sampled_from(sorted(FEET)),
    "zone": st.none() | st.sampled_from(sorted(ZONES)),
    "code": st.none() | st.sampled_from(sorted(CLAW_TERMS)),
    "severity": st.none() | st.sampled_from(SEVERITIES),
    "bandage": st.booleans(),
    "toe_length_mm": lengths,
    "sole_mm": lengths,
    "note": words,
}
blocks = st.builds(
    Finding, claw=st.just("outer"), block=st.just(True),
    block_claw=st.sampled_from([None, "inner"]), **anything,
)  # fmt: skip
findings = blocks | st.builds(Finding, claw=st.sampled_from(["", "outer", "both"]), **anything)


@st.composite
def trims(draw: st.DrawFn) -> Trim:
    on = draw(st.dates(date(2000, 1, 1), date(2060, 1, 1)))
    return Trim(
        cow=draw(st.sampled_from(["0412", "17", "=1"])),
        on=on,
        who=draw(words),
        reason=draw(st.sampled_from(TRIM_REASONS)),
        findings=tuple(draw(st.lists(findings, max_size=3))),
        medicine=draw(words),
        withdrawal_until=on + timedelta(days=3),
        withdrawal_source="label",
        next_step=draw(words),
        recheck_on=draw(st.none() | st.just(on + timedelta(days=14))),
        note=draw(words),
        uid=draw(st.uuids()).hex,
        corrects=draw(st.none() | st.just("t0")),
    )


@given(st.lists(trims(), max_size=4))
def test_any_trim_comes_back_as_it_was_written(given_: list[Trim]) -> None:
    read = read_trims(trims_csv(given_).encode())
    assert read.rejected == ()
    assert list(read.trims) == given_


def test_a_trimmers_list_with_the_least_columns_is_read() -> None:
    read = read_trims(
        "animal_id;trimmed_on;who;foot;claw;code;toe_length_mm\n"
        "0412;02.03.2026;Tom;RH;outer;SU;82,5\n"
        "0412;02.03.2026;Tom;LH;inner;;\n"
        "17;02.03.2026;Tom;;;;\n"
    )
    assert [(t.cow, t.on, len(t.findings)) for t in read.trims] == [
        ("0412", date(2026, 3, 2), 2),
        ("17", date(2026, 3, 2), 0),
    ]
    assert read.trims[0].findings[0].toe_length_mm == 82.5
    assert read.trims[0].reason == "maintenance"


def test_the_same_list_brought_in_again_doubles_nothing(store: Store) -> None:
    content = "animal_id,trimmed_on,who,foot,code\n0412,2026-03-02,Tom,RH,SU\n"
    for _ in range(2):
        store.bulk.load(trims=read_trims(content).trims)
    (trim,) = store.trims.of_cows(["0412"])
    assert trim.findings == (Finding(foot="RH", code="SU"),)
    with pytest.raises(StoreError, match="contradicts what is on record"):
        store.trims.add(trim)


def test_rows_that_make_no_sense_are_rejected_with_their_reason() -> None:
    read = read_trims(
        "animal_id,trimmed_on,who,foot,code,toe_length_mm,medicine\n"
        "0412,2026-03-02,Tom,RH,ZZ,,\n"
        "0412,2026-03-02,Tom,RH,SU,3250,\n"
        "0412,2026-03-02,Tom,RH,SU,long,\n"
        "0412,2026-03-02,Tom,,,,something\n"
        "99,2026-03-02,Tom,,,,\n"
        "0412,,Tom,,,,\n",
        [Cow(number="0412")],
    )
    assert read.trims == ()
    assert [(r.line, r.why) for r in read.rejected] == [
        (2, "Unknown claw health code: ZZ."),
        (3, "A length of 3250 mm cannot be right: check millimetres or inches."),
        (4, "'long' is no length in millimetres."),
        (5, "Enter until when the withdrawal lasts, from the label or the vet."),
        (6, "Cow 99 is not on the herd list."),
        (7, "The day of the trim is missing."),
    ]
