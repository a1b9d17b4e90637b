"""Settings: herd list with preview, people, rules, films, backup."""

from __future__ import annotations

import os
from datetime import date
from pathlib import Path

from streamlit.testing.v1 import AppTest

from app.parts import exports
from gait import blur, keeping
from gait.cli import build_parser
from gait.exchange.backup import check_backup
from gait.farm import lame_today, rules_of
from gait.herd.records import Cow
from gait.store import Store
from tests.app.conftest import OpenPage, words_of
from tests.app.test_checking import press
from tests.farms import add_pass

HERD_CSV = b"""Kuh-Nr;Letzte Kalbung;Laktation;Bemerkung
0412;03.02.2026;2;ruhig
0417;31.02.2026;1;
0417b;04.01.2026;1;
"""


def section(at: AppTest, name: str) -> AppTest:
    return at.segmented_control(key="settings_section").select(name).run()


def with_file(at: AppTest, content: bytes) -> AppTest:
    return at.file_uploader(key="herd_file").set_value(("herd.csv", content, "text/csv")).run()


def test_herd_list_is_shown_before_anything_is_kept(farm: Store, page: OpenPage) -> None:
    farm.cows.put([Cow(number="0412", parity=1)])
    at = with_file(page("settings"), HERD_CSV)
    shown = words_of(at)
    assert "<dt>New</dt><dd>1</dd>" in shown
    assert "<dt>Changed</dt><dd>1</dd>" in shown
    assert "<dt>Left out</dt><dd>1</dd>" in shown
    assert "Line 3:" in shown
    assert "Columns not used: Bemerkung" in shown
    cow = farm.cows.get("0412")
    assert cow is not None
    assert cow.parity == 1
    at = press(at, "herd_take")
    assert "2 cows taken in." in words_of(at)
    cow = farm.cows.get("0412")
    assert cow is not None
    assert (cow.parity, cow.calved_on) == (2, date(2026, 2, 3))
    assert farm.cows.get("0417") is None


def test_all_or_nothing_keeps_nothing_when_a_row_is_bad(farm: Store, page: OpenPage) -> None:
    at = with_file(page("settings"), HERD_CSV)
    at.checkbox(key="herd_strict").check().run()
    at = press(at, "herd_take")
    assert at.error
    assert farm.cows.all() == []


def test_column_is_matched_by_hand_when_the_header_tells_nothing(
    farm: Store, page: OpenPage
) -> None:
    at = with_file(page("settings"), b"A,B\n0412,2\n0417,3\n")
    assert "No column holds the animal number." in words_of(at)
    at.selectbox(key="herd_column_number").select_index(1).run()
    press(at, "herd_take")
    assert [c.number for c in farm.cows.all()] == ["0412", "0417"]


def test_file_that_is_no_list_is_told_plainly(page: OpenPage) -> None:
    at = with_file(page("settings"), bytes(range(256)) * 8)
    assert at.error
    assert not at.exception


def test_first_person_becomes_manager_and_the_last_manager_stays(
    farm: Store, page: OpenPage
) -> None:
    at = section(page("settings"), "people")
    at.text_input(key="person_name").set_value("Maria")
    at = next(b for b in at.button if b.label == "Keep").click().run()
    assert [(p.name, p.roles) for p in farm.people.all()] == [("Maria", ("manager",))]
    at.selectbox(key="person_edit").select("Maria").run()
    at.checkbox(key="person_left_Maria").check()
    at = next(b for b in at.button if b.label == "Keep").click().run()
    assert "One manager has to remain" in words_of(at)
    assert [p.name for p in farm.people.all()] == ["Maria"]


def test_changed_rule_moves_the_lame_list_and_can_be_taken_back(
    farm: Store, page: OpenPage
) -> None:
    pass_id = add_pass(farm, "0412")
    farm.decisions.add(pass_id, kind="confirmed", score=3, who="Ann")
    at = section(page("settings"), "rules")
    at.number_input(key="rule_lame_from").set_value(4)
    at = next(b for b in at.button if b.label == "Keep").click().run()
    assert rules_of(farm).lame_from == 4
    assert lame_today(farm) == []
    assert "No cow is on the lame list." in words_of(page("lame_list"))
    press(section(page("settings"), "rules"), "rules_reset")
    assert rules_of(farm).lame_from == 3


def test_rules_that_contradict_each_other_are_not_kept(farm: Store, page: OpenPage) -> None:
    at = section(page("settings"), "rules")
    at.number_input(key="rule_vet_from").set_value(2)
    at = next(b for b in at.button if b.label == "Keep").click().run()
    assert at.error
    assert rules_of(farm).vet_from == 5


def test_films_settings_are_kept_and_old_films_can_be_deleted(farm: Store, page: OpenPage) -> None:
    assert farm.folder is not None
    film = farm.folder / "clips" / "a.webm"
    film.parent.mkdir(parents=True)
    film.write_bytes(b"film")
    os.utime(film, (1, 1))
    farm.clips.add(sha256="a" * 64, name="a.webm", who="Ann", stored_as="clips/a.webm")
    at = section(page("settings"), "films")
    at.selectbox(key="keep_clips").select(0)
    at.toggle(key="blur").set_value(True)
    at = press(at, "films_keep")
    assert keeping.keep_days(farm) == 0
    assert farm.settings.get(blur.SETTING) is True
    at = section(page("settings"), "films")
    press(at, "drop_now")
    assert not film.exists()


def test_backup_is_written_and_sound(farm: Store, page: OpenPage) -> None:
    add_pass(farm, "0412")
    at = press(section(page("settings"), "backup"), "backup_make")
    assert "Done:" in words_of(at)
    path = Path(os.environ["EXITLANE_FARM"]) / "backup" / "exitlane_backup.zip"
    assert check_backup(path).rows["walk"] == 1
    assert [b for b in at.get("download_button")]


def test_only_the_manager_changes_people_and_rules(farm: Store, page: OpenPage) -> None:
    farm.people.put("Maria", ["manager"])
    farm.people.put("Hans", ["herdsperson"])
    for name in ("people", "rules", "films", "backup", "farm"):
        at = section(page("settings", person="Hans"), name)
        assert not [b for b in at.button if b.label in ("Keep", "Make a backup")], name
        at = section(page("settings", person="Maria"), name)
        assert [b for b in at.button if b.label in ("Keep", "Make a backup")], name


NEW_184 = b"number,birth date\n184,2025-04-02\n"


def test_cow_is_given_another_number_and_the_old_one_is_free(farm: Store, page: OpenPage) -> None:
    farm.cows.put([Cow(number="184", birth_on=date(2019, 5, 1)), Cow(number="185")])
    farm.decisions.add_by_eye("184", score=3, who="Ann")
    farm.people.put("Maria", ["manager"])
    at = with_file(page("settings", person="Maria"), NEW_184)
    assert "Give the old one another number first, under Settings" in words_of(at)
    at = page("settings", person="Maria")
    change = next(b for b in at.button if b.label == "Change the number")
    assert "Choose the cow and type" in words_of(change.click().run())
    at.selectbox(key="renumber_old").select("184")
    at.text_input(key="renumber_new").set_value("185")
    at = next(b for b in at.button if b.label == "Change the number").click().run()
    assert "185 is already on the list" in words_of(at)
    at = page("settings", person="Maria")
    at.selectbox(key="renumber_old").select("184")
    at.text_input(key="renumber_new").set_value(" 184-old ")
    at = next(b for b in at.button if b.label == "Change the number").click().run()
    assert "Cow 184 is cow 184-old now." in words_of(at)
    assert farm.cows.get("184") is None
    assert [s.score for s in farm.scores.of_cows(["184-old"])] == [3]
    ((_, who, told),) = farm.settings.history("renumbered_cow")
    assert (who, told) == ("Maria", {"old": "184", "new": "184-old"})
    at = with_file(page("settings", person="Maria"), NEW_184)
    assert "<dt>Left out</dt><dd>0</dd>" in words_of(at)


def test_number_entered_by_mistake_is_taken_off_the_list(farm: Store, page: OpenPage) -> None:
    farm.cows.put([Cow(number="0412"), Cow(number="4012")])
    farm.decisions.add_by_eye("0412", score=3, who="Ann")
    farm.people.put("Maria", ["manager"])
    at = page("settings", person="Maria")

    def press_it() -> AppTest:
        return next(b for b in at.button if b.label == "This is no cow of ours").click().run()

    assert "Choose the number." in words_of(press_it())
    at.selectbox(key="take_off").select("0412")
    assert "Records hang on cow 0412: walks 1," in words_of(press_it())
    at = page("settings", person="Maria")
    at.selectbox(key="take_off").select("4012")
    assert "4012 is off the list." in words_of(press_it())
    assert [c.number for c in farm.cows.all()] == ["0412"]
    ((_, who, told),) = farm.settings.history("number_taken_off")
    assert (who, told) == ("Maria", {"cow": "4012", "electronic": None})


def test_lists_for_others_are_offered(farm: Store, page: OpenPage) -> None:
    farm.decisions.add_by_eye("184", score=3, who="Ann")
    at = section(page("settings"), "export")
    labels = [b.proto.label for b in at.get("download_button")]
    assert labels == [
        "Scores people gave (CSV)",
        "Trims and findings (CSV)",
        "Events for herd programs (ICAR ADE, JSON)",
    ]
    assert not at.exception
    for written, _, _ in exports.LISTS.values():
        assert written(farm, date.min)


def test_backup_page_says_how_to_bring_one_back(page: OpenPage) -> None:
    at = section(page("settings"), "backup")
    (code,) = at.code
    command = code.value.splitlines()[0].split()
    known = build_parser().parse_args(command[1:])
    assert (known.command, str(known.farm)) == ("restore", "restored_farm")
    opened = code.value.splitlines()[1].removeprefix("python3 -m app ").split()
    assert build_parser().parse_args(["start", *opened]).page_only
