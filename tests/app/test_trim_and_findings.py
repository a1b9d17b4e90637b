"""Trim day, sheet, findings and recheck: the way of a lame cow through the chute."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from app.parts.finding_form import finding_text
from gait import trim_day
from gait.errors import StoreError
from gait.farm import lame_today, plan_trim_day
from gait.herd.records import Cow, Finding, TrimEntry
from gait.store import Store
from tests.app.conftest import OpenPage, words_of
from tests.app.test_checking import press
from tests.page_farm import HERD, load_history

TODAY = date.today()


def entry(cow: str, place: int) -> TrimEntry:
    return TrimEntry(trim_day_id=1, cow=cow, reason="maintenance", why="", position=place)


@pytest.mark.parametrize(
    ("cow", "places", "order"),
    [("c", -1, "acbd"), ("a", -1, "abcd"), ("a", 1, "bacd"), ("d", 9, "abcd"), ("x", 1, "abcd")],
)
def test_a_cow_moves_by_so_many_places_and_stays_at_the_ends(
    cow: str, places: int, order: str
) -> None:
    entries = [entry(c, i) for i, c in enumerate("abcd", 1)]
    moved = trim_day.moved(entries, cow, places)
    assert "".join(e.cow for e in moved) == order
    assert [e.position for e in moved] == [1, 2, 3, 4]


def test_day_is_proposed_with_lame_cows_first_and_their_reasons(
    farm: Store, page: OpenPage
) -> None:
    load_history(farm)
    at = page("trim_day")
    at.number_input(key="trim_capacity").set_value(3)
    at.text_input(key="trim_trimmer").set_value("Tom")
    at = next(b for b in at.button if b.label == "Propose the cows").click().run()
    (day,) = farm.trim_days.all()
    entries = farm.trim_days.entries(day.trim_day_id)
    assert (day.trimmer, day.capacity, day.on) == ("Tom", 3, TODAY + timedelta(days=1))
    assert entries[0].cow == "0423"
    assert entries[0].reason == "therapeutic"
    assert {e.cow for e in entries} >= {"0417"}
    assert "Score 4, lame since" in words_of(at)
    assert "3 cows on the list, room for 3." in words_of(at)


def test_list_is_changed_by_hand(farm: Store, page: OpenPage) -> None:
    load_history(farm)
    day = trim_day.plan_day(farm, TODAY, trimmer="", capacity=12)
    before = [e.cow for e in farm.trim_days.entries(day.trim_day_id)]
    at = press(page("trim_day"), f"down_{before[0]}")
    swapped = [before[1], before[0], *before[2:]]
    assert [e.cow for e in farm.trim_days.entries(day.trim_day_id)] == swapped
    at = press(at, f"off_{before[0]}")
    assert before[0] not in [e.cow for e in farm.trim_days.entries(day.trim_day_id)]
    free = [n for n in HERD if n not in before]
    at.selectbox(key="trim_any").select(free[0])
    press(at, "trim_put_any")
    newest = farm.trim_days.entries(day.trim_day_id)[-1]
    assert (newest.cow, newest.reason) == (free[0], "maintenance")


def test_a_cow_stands_on_one_open_day_only(farm: Store) -> None:
    load_history(farm)
    first = trim_day.plan_day(farm, TODAY, trimmer="", capacity=12)
    on_first = {e.cow for e in farm.trim_days.entries(first.trim_day_id)}
    second = trim_day.plan_day(farm, TODAY + timedelta(days=1), trimmer="", capacity=12)
    assert "0423" in on_first
    assert not on_first & {e.cow for e in farm.trim_days.entries(second.trim_day_id)}
    with pytest.raises(StoreError, match="on the list already"):
        trim_day.put_on(farm, first, "0423", reason="therapeutic", why="")


def test_sheet_is_the_planned_day_and_planning_twice_does_not_double_it(farm: Store) -> None:
    load_history(farm)
    sheet = plan_trim_day(farm, TODAY, trimmer="Tom", capacity=12)
    again = plan_trim_day(farm, TODAY, trimmer="Tom", capacity=12)
    assert len(farm.trim_days.all()) == 1
    assert sheet.count == again.count == len(sheet.content.cows)
    assert sheet.pdf().startswith(b"%PDF")
    assert "0423" in sheet.html()
    assert "Tom" in sheet.html()


def test_finding_is_entered_and_the_recheck_follows(farm: Store, page: OpenPage) -> None:
    load_history(farm)
    day = trim_day.plan_day(farm, TODAY, trimmer="Tom", capacity=12)
    at = page("findings", cow="0423")
    assert "Hold the cow safely in a chute" in words_of(at)
    at.segmented_control(key="draft:0423:foot_0").select("RH").run()
    at.segmented_control(key="draft:0423:claw_0").select("outer").run()
    at.selectbox(key="draft:0423:zone_0").select("typical_place").run()
    at.selectbox(key="draft:0423:code_0").select("SU").run()
    at.checkbox(key="draft:0423:block_0").check().run()
    at = press(at, "findings_add_0423_0")
    assert "Say which claw the block is on" in words_of(at)
    at.segmented_control(key="draft:0423:block_claw_0").select("outer").run()
    at = press(at, "findings_add_0423_0")
    assert "The block is on the sore claw" in words_of(at)
    at.segmented_control(key="draft:0423:block_claw_0").select("inner").run()
    at = press(at, "findings_add_0423_0")
    sore = "right hind · outer · where sole meets heel · sole ulcer (SU)"
    assert f"{sore} · Block on the inner claw" in words_of(at)
    at = press(at, "findings_keep")
    assert f"Recheck on {TODAY + timedelta(days=14)}" in words_of(at)
    trim = farm.trims.of_cows(["0423"])[-1]
    assert (trim.on, trim.reason, trim.trim_day_id) == (TODAY, "therapeutic", day.trim_day_id)
    assert trim.next_step == "watch her walk again"
    (finding,) = trim.findings
    assert (finding.foot, finding.claw, finding.code, finding.block) == ("RH", "outer", "SU", True)
    assert finding.block_claw == "inner"
    (promise,) = farm.rechecks.all(cows=["0423"], only_open=True)
    assert promise.due_on == TODAY + timedelta(days=14)
    states = {e.cow: e.state for e in farm.trim_days.entries(day.trim_day_id)}
    assert states["0423"] == "done"


def test_a_claw_that_nobody_chose_is_kept_as_not_said(farm: Store, page: OpenPage) -> None:
    farm.cows.put([Cow(number="0423")])
    at = page("findings", cow="0423")
    at.segmented_control(key="draft:0423:foot_0").select("LH").run()
    assert not [c for c in at.segmented_control if "block_claw" in str(c.key)]
    at.selectbox(key="draft:0423:code_0").select("SU").run()
    at = press(at, "findings_add_0423_0")
    assert "- left hind · sole ulcer (SU)\n" in words_of(at) + "\n"
    press(at, "findings_keep")
    (finding,) = farm.trims.of_cows(["0423"])[-1].findings
    assert finding.claw == ""


def test_a_block_of_older_records_is_shown_without_a_claw_made_up() -> None:
    old = Finding(foot="LH", claw="outer", code="SU", block=True)
    assert finding_text(old).endswith("sole ulcer (SU) · Block, on which claw was not said")


def test_inches_are_kept_as_millimetres_and_a_thin_sole_warns(farm: Store, page: OpenPage) -> None:
    farm.cows.put([Cow(number="0423")])
    at = page("findings", cow="0423")
    at.segmented_control(key="draft:0423:foot_0").select("LF").run()
    at.segmented_control(key="draft:0423:unit_0").select("in").run()
    at.number_input(key="draft:0423:toe_in_0").set_value(3.25).run()
    assert "83 mm is not shortened" in words_of(at)
    at.number_input(key="draft:0423:sole_in_0").set_value(0.125).run()
    assert "too thin. Take no more off." in words_of(at)
    at = press(at, "findings_add_0423_0")
    press(at, "findings_keep")
    (finding,) = farm.trims.of_cows(["0423"])[-1].findings
    assert finding.toe_length_mm == pytest.approx(82.55)  # 3.25 x 25.4
    assert finding.sole_mm == pytest.approx(3.175)


def test_a_finding_begun_but_not_added_is_not_lost(farm: Store, page: OpenPage) -> None:
    farm.cows.put([Cow(number="0423")])
    at = page("findings", cow="0423")
    at.segmented_control(key="draft:0423:foot_0").select("LF").run()
    at = press(at, "findings_keep")
    assert "begun but not added" in words_of(at)
    assert farm.trims.of_cows(["0423"]) == []
    at = press(press(at, "findings_add_0423_0"), "findings_keep")
    (trim,) = farm.trims.of_cows(["0423"])
    assert [f.foot for f in trim.findings] == ["LF"]


def test_an_empty_trim_is_kept_only_by_saying_so(farm: Store, page: OpenPage) -> None:
    farm.cows.put([Cow(number="0423")])
    farm.decisions.add_by_eye("0423", score=5, who="Ann")
    day = trim_day.plan_day(farm, TODAY, trimmer="", capacity=12)
    at = press(page("findings", cow="0423"), "findings_keep")
    assert "Nothing was found or done?" in words_of(at)
    assert farm.trims.of_cows(["0423"]) == farm.rechecks.all() == []
    assert [e.state for e in farm.trim_days.entries(day.trim_day_id)] == ["planned"]
    assert lame_today(farm)[0].treated_on is None
    at.segmented_control(key="draft:0423:foot_0").select("LF").run()
    assert "Nothing was found or done?" not in words_of(at)  # something is being entered
    at.segmented_control(key="draft:0423:foot_0").unselect("LF").run()
    press(at, "findings_empty")
    assert [t.findings for t in farm.trims.of_cows(["0423"])] == [()]
    assert "No finding" in words_of(page("cow", cow="0423"))


def test_length_that_no_claw_has_is_not_taken(farm: Store, page: OpenPage) -> None:
    farm.cows.put([Cow(number="0423")])
    at = page("findings", cow="0423")
    at.segmented_control(key="draft:0423:foot_0").select("LF").run()
    at.number_input(key="draft:0423:toe_mm_0").set_value(3.0).run()
    assert "check millimetres or inches" in words_of(at)
    at = press(at, "findings_add_0423_0")
    assert "Put the length right first." in words_of(at)


def test_medicine_needs_its_withdrawal(farm: Store, page: OpenPage) -> None:
    farm.cows.put([Cow(number="0423")])
    at = page("findings", cow="0423")
    at.text_input(key="draft:0423:product").set_value("as on the label").run()
    at = press(at, "findings_keep")
    assert "Enter until when the withdrawal lasts" in words_of(at)
    assert farm.trims.of_cows(["0423"]) == []


def test_withdrawal_date_needs_its_source(farm: Store, page: OpenPage) -> None:
    farm.cows.put([Cow(number="0423")])
    at = page("findings", cow="0423")
    at.text_input(key="draft:0423:product").set_value("as on the label").run()
    at.date_input(key="draft:0423:until").set_value(TODAY + timedelta(days=3)).run()
    at = press(at, "findings_keep")
    assert "Say where the withdrawal end was read" in words_of(at)
    assert farm.trims.of_cows(["0423"]) == []
    at.radio(key="draft:0423:source").set_value("label").run()
    press(at, "findings_keep")
    (trim,) = farm.trims.of_cows(["0423"])
    assert (trim.withdrawal_until, trim.withdrawal_source) == (TODAY + timedelta(days=3), "label")


@pytest.mark.parametrize(
    ("score", "says", "still_lame"),
    [(1, "sound. She leaves the lame list.", False), (2, "sound", False), (3, "better", True),
     (4, "not better. Call the vet.", True), (5, "worse. Call the vet.", True)],
)  # fmt: skip
def test_recheck_says_how_she_is_and_moves_the_list(
    farm: Store, page: OpenPage, score: int, says: str, still_lame: bool
) -> None:
    farm.cows.put([Cow(number="0423")])
    long_ago = datetime.now(UTC) - timedelta(days=15)
    farm.decisions.add_by_eye("0423", score=4, who="Ann", observed_at=long_ago)
    promise = farm.rechecks.open("0423", TODAY, why="after the trim", who="Ann")
    at = page("recheck")
    assert "due today" in words_of(at)
    at = press(at, "recheck_keep")
    assert "Choose a score first." in words_of(at)
    at.segmented_control(key=f"recheck_score_{promise.recheck_id}").select(score).run()
    at = press(at, "recheck_keep")
    assert says in words_of(at)
    assert farm.rechecks.all(only_open=True) == []
    assert bool(lame_today(farm)) == still_lame


def test_closing_a_day_asks_while_cows_are_not_done(farm: Store, page: OpenPage) -> None:
    load_history(farm)
    day = trim_day.plan_day(farm, TODAY, trimmer="Tom", capacity=12)
    on_it = [e.cow for e in farm.trim_days.entries(day.trim_day_id)]
    at = page("trim_day")
    assert f"{len(on_it)} cows are not done yet: {', '.join(on_it)}." in words_of(at)
    labels = [b.label for b in at.button if b.key == "trim_close"]
    assert labels == ["Close it"]  # inside the question only
    at = press(at, "trim_close")
    assert farm.trim_days.get(day.trim_day_id).closed
    assert at.selectbox(key="trim_closed_day").value is None
    assert [b.label for b in at.button if b.key == "trim_close"] == []


def test_a_day_that_is_done_closes_at_one_tap(farm: Store, page: OpenPage) -> None:
    load_history(farm)
    day = trim_day.plan_day(farm, TODAY, trimmer="Tom", capacity=12)
    for entry in farm.trim_days.entries(day.trim_day_id):
        farm.trim_days.set_state(day.trim_day_id, entry.cow, "done")
    at = page("trim_day")
    assert "not done yet" not in words_of(at)
    press(at, "trim_close")
    assert farm.trim_days.get(day.trim_day_id).closed


def test_a_closed_day_is_looked_at_and_opened_again(farm: Store, page: OpenPage) -> None:
    load_history(farm)
    day = trim_day.plan_day(farm, TODAY, trimmer="Tom", capacity=12)
    first, *_ = farm.trim_days.entries(day.trim_day_id)
    farm.trim_days.set_state(day.trim_day_id, first.cow, "done")
    at = press(page("trim_day"), "trim_close")
    at.selectbox(key="trim_closed_day").select(farm.trim_days.get(day.trim_day_id)).run()
    assert f"**{first.cow}** · Lame · done" in words_of(at)
    assert "not done" in words_of(at)
    at = press(at, "trim_open_again")
    assert not farm.trim_days.get(day.trim_day_id).closed
    assert at.selectbox(key="trim_day_choice").value == day.trim_day_id
