"""What the farm's commands refuse before anything is made or written over."""

from __future__ import annotations

import csv
from datetime import date, timedelta
from pathlib import Path

import pytest

from gait.cli import main
from gait.herd.records import Cow
from gait.store import open_store

READ_ONLY = (
    ["lame"],
    ["queue"],
    ["decide", "1", "--by", "Ann"],
    ["trim-day", "sheet.pdf"],
    ["backup", "farm.zip"],
    ["export", "herd", "herd.csv"],
    ["import", "trims", "trims.csv", "--preview"],
    ["model", "list"],
    ["learn", "--by", "Ann"],
    ["agree"],
)


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("trims.csv").write_text("animal_id,trimmed_on,who\n1,2026-03-02,Tom\n", "utf-8")
    Path("herd.csv").write_text("number\n107\n", "utf-8")


@pytest.mark.parametrize("command", READ_ONLY, ids=" ".join)
def test_a_mistyped_farm_is_refused_and_not_made(
    command: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    before = sorted(Path().iterdir())
    assert main([*command, "--farm", "typo"]) == 2
    assert "There are no records in typo." in capsys.readouterr().err
    assert sorted(Path().iterdir()) == before


def test_a_herd_list_begins_a_farm_but_looking_at_it_does_not(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["cows", "herd.csv", "--preview", "--farm", "new"]) == 0
    assert "1 new cows" in capsys.readouterr().out
    assert not Path("new").exists()
    assert main(["cows", "herd.csv", "--farm", "new"]) == 0
    assert main(["lame", "--farm", "new"]) == 0
    with open_store("new") as store:
        assert [cow.number for cow in store.cows.all()] == ["107"]


@pytest.fixture
def farm() -> str:
    """Give a farm in this folder, with one lame cow."""
    with open_store("farm") as store:
        store.cows.put([Cow(number="107", group="north")])
        store.decisions.add_by_eye("107", score=4, who="Ann")
    return "farm"


def test_a_backup_writes_over_no_file_unless_told_so(
    farm: str, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("old.zip").write_text("kept", "utf-8")
    assert main(["backup", "old.zip", "--farm", farm]) == 2
    assert "There is a file old.zip already." in capsys.readouterr().err
    assert Path("old.zip").read_text("utf-8") == "kept"
    for replace in ([], ["--replace"]):
        assert main(["backup", "herd.csv", *replace, "--farm", farm]) == 2
        assert "A backup is written as a .zip file." in capsys.readouterr().err
    assert Path("herd.csv").read_text("utf-8") == "number\n107\n"
    for _ in range(2):
        assert main(["backup", "farm.zip", "--replace", "--farm", farm]) == 0
    assert sorted(p.name for p in Path().glob("farm.zip*")) == ["farm.zip"]


@pytest.mark.parametrize(
    ("what", "name", "sentence"),
    [
        ("lame", "lame.xlsx", "The lame list is written as a .csv, .pdf, .html or .htm file."),
        ("lame", "lame", "The lame list is written"),
        ("herd", "herd.xlsx", "The herd list is written as a .csv file."),
        ("trims", "trims.pdf", "The list of trims is written as a .csv file."),
        ("ade", "events.csv", "ICAR ADE is written as a .json file."),
    ],
)
def test_a_list_is_not_written_under_the_name_of_another_kind(
    what: str, name: str, sentence: str, farm: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["export", what, name, "--farm", farm]) == 2
    assert sentence in capsys.readouterr().err
    assert not Path(name).exists()


def test_the_lame_list_is_csv_where_the_name_says_so(farm: str) -> None:
    assert main(["export", "lame", "lame.CSV", "--farm", farm]) == 0
    with Path("lame.CSV").open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert (row["animal_id"], row["score"], row["group"]) == ("107", "4", "north")
    assert (row["urgency"], row["lame_since"]) == ("same_day", date.today().isoformat())
    assert main(["export", "lame", "lame.pdf", "--farm", farm]) == 0
    assert Path("lame.pdf").read_bytes().startswith(b"%PDF")


def test_the_history_of_no_cow_is_not_written(
    farm: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["export", "history", "cow.csv", "--cow", "99999", "--farm", farm]) == 2
    assert "There is no cow 99999 on the list." in capsys.readouterr().err
    assert not Path("cow.csv").exists()
    assert main(["export", "history", "cow.csv", "--cow", "107", "--farm", farm]) == 0


def test_a_trim_day_is_not_planned_for_a_day_that_is_over(
    farm: str, capsys: pytest.CaptureFixture[str]
) -> None:
    yesterday = date.today() - timedelta(days=1)
    assert main(["trim-day", "sheet.pdf", "--on", str(yesterday), "--farm", farm]) == 2
    assert f"The {yesterday} is over" in capsys.readouterr().err
    assert main(["trim-day", "sheet.csv", "--farm", farm]) == 2
    with open_store(farm) as store:
        assert store.trim_days.all() == []
    assert main(["trim-day", "sheet.pdf", "--farm", farm]) == 0
    assert "\n1 cow on the sheet of" in "\n" + capsys.readouterr().out


DAY = "is no day, or not written year-month-day, such as 2026-12-01."
TIME = "is no time, or not written year-month-day and clock, such as 2026-11-28T05:30."


@pytest.mark.parametrize(
    ("command", "written", "sentence"),
    [
        (["trim-day", "sheet.pdf", "--on"], "01.12.2026", DAY),
        (["trim-day", "sheet.pdf", "--on"], "2026-02-30", DAY),
        (["export", "trims", "trims.csv", "--since"], "last week", DAY),
        (["score", "film.mp4", "--filmed-at"], "28.11.2026", TIME),
        (["score", "film.mp4", "--filmed-at"], "0001-01-01T00:00", TIME),
    ],
)
def test_a_day_or_time_written_otherwise_is_told_in_one_sentence(
    command: list[str], written: str, sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main([*command, written])
    (line,) = capsys.readouterr().err.splitlines()
    assert ended.value.code == 2
    assert f"argument {command[-1]}: {written} {sentence} See: exitlane {command[0]} --help" in line
