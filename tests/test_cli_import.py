"""What ``exitlane import`` takes in: nothing twice, nothing in part, nothing lost in silence."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from gait.cli import main
from gait.herd.records import Cow, Finding, Trim
from gait.store import Store, open_store
from tests.farms import NOON, add_pass

Run = Callable[..., tuple[int, str, str]]
TRIMS = "animal_id,trimmed_on,who,foot,code\n"


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def command(*words: object) -> tuple[int, str, str]:
        code = main([str(word) for word in words])
        told = capsys.readouterr()
        return code, told.out, told.err

    return command


@pytest.fixture
def herd(tmp_path: Path) -> Path:
    """Give a farm folder with two cows and nothing else."""
    with open_store(tmp_path / "herd") as store:
        store.cows.put([Cow(number="0412", electronic="276000123456789"), Cow(number="17")])
    return tmp_path / "herd"


def decided(store: Store) -> list[tuple[str, str, int | None]]:
    return sorted((x.decision.uid, x.decision.kind, x.decision.score)
                  for x in store.decisions.lines())  # fmt: skip


def trims_of(farm: Path) -> list[Trim]:
    with open_store(farm) as store:
        return store.trims.since(date.min)


def test_decisions_exported_from_one_farm_stand_on_another_once(
    tmp_path: Path, herd: Path, run: Run
) -> None:
    first, listed = tmp_path / "first", tmp_path / "decisions.csv"
    with open_store(first) as store:
        seen, other = add_pass(store, "0412", "a"), add_pass(store, "99", "b")
        store.decisions.add(seen, kind="overridden", score=4, who="Ann", reason="stiff")
        store.decisions.undo(seen, who="Ann")
        store.decisions.add(other, kind="confirmed", score=3, who="Bob")
        written = decided(store)
    assert run("export", "decisions", listed, "--farm", first)[0] == 0
    code, out, _ = run("import", "decisions", listed, "--farm", herd)
    assert code == 0
    assert "3 new decisions, 0 on record already, 0 left out." in out
    assert "Not on the herd list: 99." in out
    _, out, _ = run("import", "decisions", listed, "--farm", herd)
    assert "0 new decisions, 3 on record already, 0 left out." in out
    with open_store(herd) as store:
        assert decided(store) == written
        assert [(s.cow, s.score) for s in store.scores.latest()] == [("99", 3)]


def test_a_list_without_identifiers_brought_in_twice_counts_once(
    tmp_path: Path, herd: Path, run: Run
) -> None:
    listed = tmp_path / "decisions.csv"
    row = "0412,2026-03-02T12:00:00Z,confirmed,Ann,2026-03-02T13:00:00Z,3\n"
    listed.write_text("animal_id,observed_at,kind,who,decided_at,score\n" + 2 * row)
    for _ in range(2):
        assert run("import", "decisions", listed, "--farm", herd)[0] == 0
    with open_store(herd) as store:
        (line,) = store.decisions.lines()
    assert (line.cow, line.decision.score, line.observed_at) == ("0412", 3, NOON)


def test_a_pass_with_a_bad_row_comes_in_whole_and_in_order_once_mended(
    tmp_path: Path, herd: Path, run: Run
) -> None:
    listed = tmp_path / "decisions.csv"
    text = (
        "animal_id,observed_at,kind,who,decided_at,score\n"
        "0412,2026-03-02T12:00:00Z,overridden,Ann,2026-03-02T13:00:00Z,44\n"
        "0412,2026-03-02T12:00:00Z,overridden,Bob,2026-03-02T14:00:00Z,2\n"
    )
    listed.write_text(text)
    _, out, _ = run("import", "decisions", listed, "--farm", herd)
    assert "line 2: A score goes from 1 to 5, not '44'." in out
    assert "line 3: Another row of the same pass cannot be taken." in out
    assert "0 new decisions, 0 on record already, 2 left out." in out
    listed.write_text(text.replace(",44", ",4"))
    run("import", "decisions", listed, "--farm", herd)
    with open_store(herd) as store:
        assert [d.who for d in store.decisions.of_cow("0412")] == ["Ann", "Bob"]
        assert [s.score for s in store.scores.latest()] == [2]


def test_a_preview_keeps_nothing(tmp_path: Path, herd: Path, run: Run) -> None:
    listed = tmp_path / "trims.csv"
    listed.write_text(TRIMS + "0412,2026-03-02,Tom,RH,SU\n")
    _, out, _ = run("import", "trims", listed, "--preview", "--farm", herd)
    assert "1 new trims, 0 on record already, 0 left out." in out
    assert trims_of(herd) == []


def test_a_trim_with_a_bad_row_comes_in_whole_once_the_list_is_mended(
    tmp_path: Path, herd: Path, run: Run
) -> None:
    listed = tmp_path / "trims.csv"
    text = TRIMS + "0412,2026-03-02,Tom,RH,SU\n0412,2026-03-02,Tom,LH,ZZ\n17,2026-03-02,Tom,,\n"
    listed.write_text(text)
    code, out, _ = run("import", "trims", listed, "--farm", herd)
    assert code == 0
    assert "line 2: Another row of the same trim cannot be taken." in out
    assert "line 3: Unknown claw health code: ZZ." in out
    assert [trim.cow for trim in trims_of(herd)] == ["17"]
    listed.write_text(text.replace("ZZ", "DD"))
    _, out, _ = run("import", "trims", listed, "--farm", herd)
    assert "1 new trims, 1 on record already, 0 left out." in out
    found = {trim.cow: [x.code for x in trim.findings] for trim in trims_of(herd)}
    assert found == {"17": [], "0412": ["SU", "DD"]}


def test_findings_missing_on_record_are_told_not_lost_in_silence(
    tmp_path: Path, herd: Path, run: Run
) -> None:
    listed = tmp_path / "trims.csv"
    listed.write_text(TRIMS + "0412,2026-03-02,Tom,RH,SU\n")
    assert "on record without" not in run("import", "trims", listed, "--farm", herd)[1]
    assert "on record without" not in run("import", "trims", listed, "--farm", herd)[1]
    listed.write_text(TRIMS + "0412,2026-03-02,Tom,RH,SU\n0412,2026-03-02,Tom,LH,DD\n")
    _, out, _ = run("import", "trims", listed, "--farm", herd)
    assert "Cow 0412, trim of 2026-03-02: on record without some of these findings" in out
    assert [len(trim.findings) for trim in trims_of(herd)] == [1]


def test_all_or_nothing_refuses_a_list_with_a_bad_row(tmp_path: Path, herd: Path, run: Run) -> None:
    listed = tmp_path / "trims.csv"
    listed.write_text(TRIMS + "0412,2026-03-02,Tom,RH,SU\n99,2026-03-02,Tom,,\n")
    code, _, err = run("import", "trims", listed, "--all-or-nothing", "--farm", herd)
    assert code == 2
    assert "1 cannot be taken in, the first: line 3: Cow 99 is not on the herd list." in err
    assert "Nothing was changed." in err
    assert trims_of(herd) == []


def test_own_ade_events_are_recognised_and_come_in_once_elsewhere(
    tmp_path: Path, herd: Path, run: Run
) -> None:
    first, events = tmp_path / "first", tmp_path / "events.json"
    with open_store(first) as store:
        store.cows.put([Cow(number="0412", electronic="276000123456789")])
        found = (Finding(foot="RH", claw="outer", code="SU"), Finding(foot="LH", code="DD"))
        store.trims.add(
            Trim(cow="0412", on=NOON.date(), who="Tom", reason="therapeutic", findings=found)
        )
    run("export", "ade", events, "--farm", first)
    _, out, _ = run("import", "ade", events, "--farm", first)
    assert "0 new trims, 1 on record already, 0 left out." in out
    for _ in range(2):
        assert run("import", "ade", events, "--farm", herd)[0] == 0
    (trim,) = trims_of(herd)
    assert (trim.cow, trim.on, trim.who, trim.findings) == ("0412", NOON.date(), "Tom", found)


def test_foreign_ade_events_come_in_once_and_a_time_without_zone_is_the_farms(
    tmp_path: Path, herd: Path, run: Run
) -> None:
    events = tmp_path / "events.json"
    place = {"position": "OuterToeRearRight"}
    event = {
        "resourceType": "icarDiagnosisEventResource",
        "animal": {"scheme": "farm", "id": "17"},
        "eventDateTime": "2026-03-02T14:05:00",
        "responsible": "Vet",
        "diagnoses": [{"diagnosisCode": {"id": "SU"}, "positions": [place]}],
    }
    strange = {**event, "diagnoses": [{"diagnosisCode": {"id": "XX"}, "positions": [place]}]}
    weight = {"resourceType": "icarWeightEventResource"}
    events.write_text(json.dumps([event, weight]))
    _, out, _ = run("import", "ade", events, "--farm", herd)
    assert "Event 2 was not taken: icarWeightEventResource is not read here." in out
    assert "1 new trims, 0 on record already, 1 left out." in out
    run("import", "ade", events, "--farm", herd)
    (trim,) = trims_of(herd)
    assert (trim.on, trim.findings[0].code) == (date(2026, 3, 2), "SU")
    later = [{**e, "eventDateTime": "2026-03-03T14:05:00"} for e in (event, strange)]
    events.write_text(json.dumps(later))
    _, out, _ = run("import", "ade", events, "--farm", herd)
    assert "Event 1 was not taken: another event of the same trim cannot be taken." in out
    assert "Event 2 was not taken: XX is no claw health code known here." in out
    assert len(trims_of(herd)) == 1


@pytest.mark.parametrize(
    ("what", "content", "sentence"),
    [
        ("ade", "{", "This file is no JSON."),
        ("ade", "[[]]", "This file holds no ADE events."),
        ("trims", "animal_id,who\n1,Tom\n", "The list lacks the column trimmed_on."),
        ("decisions", "", "The list is empty."),
    ],
)
def test_another_kind_of_file_is_refused_with_one_sentence(
    what: str, content: str, sentence: str, tmp_path: Path, herd: Path, run: Run
) -> None:
    file = tmp_path / "file"
    file.write_text(content)
    code, _, err = run("import", what, file, "--farm", herd)
    assert code == 2
    assert sentence in err


def test_a_missing_file_is_refused_and_no_farm_is_made(
    tmp_path: Path, herd: Path, run: Run
) -> None:
    code, _, err = run("import", "trims", tmp_path / "none.csv", "--farm", herd)
    assert (code, "none.csv could not be used" in err) == (2, True)
    code, _, err = run("import", "trims", tmp_path / "none.csv", "--farm", tmp_path / "new")
    assert (code, "There are no records in" in err) == (2, True)
    assert not (tmp_path / "new").exists()
