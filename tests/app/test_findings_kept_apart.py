"""Findings at the chute: each cow's own, on the right day, corrected without being lost."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from streamlit.proto.WidgetStates_pb2 import WidgetState
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.element_tree import Selectbox

from gait import trim_day
from gait.errors import StoreConflict
from gait.herd.records import Cow, Finding, Trim
from gait.store import Store
from tests.app.conftest import OpenPage, words_of
from tests.app.test_checking import press
from tests.farms import add_pass
from tests.page_farm import load_history

TODAY = date.today()
YESTERDAY = TODAY - timedelta(days=1)


def turn_to(at: AppTest, cow: str) -> AppTest:
    """Choose or type a cow in the box at the chute."""
    box = f"findings_cow_{at.session_state['findings_turn']}"
    at.session_state[box] = cow
    return at.run()


def keep(at: AppTest) -> AppTest:
    """Press what keeps the trim; where nothing was entered, say that nothing was found."""
    at = press(at, "findings_keep")
    asked = any(str(b.key).startswith("findings_empty") for b in at.button)
    return press(at, "findings_empty") if asked else at


def on_record(farm: Store, cow: str = "184", **more: object) -> Trim:
    trim = Trim(cow=cow, on=TODAY, who="Tom", reason="therapeutic", **more)  # type: ignore[arg-type]
    return farm.trims.add(trim)


@pytest.fixture(autouse=True)
def _typing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a box take a typed number, as a browser does; this kind of test only chooses."""

    def state(box: Selectbox[str]) -> WidgetState:
        text = None if box.value is None else box.format_func(box.value)
        return WidgetState(id=box.id, string_value=text)

    monkeypatch.setattr(Selectbox, "_widget_state", property(state))


@pytest.fixture
def herd(farm: Store) -> Store:
    farm.cows.put([Cow(number=n) for n in ("184", "262", "300", "375")])
    return farm


def test_what_was_typed_for_one_cow_is_not_saved_at_another(herd: Store, page: OpenPage) -> None:
    at = page("findings", cow="375")
    at.text_input(key="draft:375:product").set_value("as on the label")
    at.date_input(key="draft:375:until").set_value(TODAY + timedelta(days=3))
    at.radio(key="draft:375:source").set_value("label")
    at.text_area(key="draft:375:note").set_value("note for 375").run()
    at = turn_to(at, "300")
    keep(at)
    (trim,) = herd.trims.of_cows(["300"])
    assert (trim.medicine, trim.withdrawal_until, trim.withdrawal_source) == ("", None, "")
    assert trim.note == ""


def test_keeping_one_cow_leaves_what_was_put_down_for_another(herd: Store, page: OpenPage) -> None:
    at = page("findings", cow="184")
    at.text_area(key="draft:184:note").set_value("walk her slowly")
    at.segmented_control(key="draft:184:foot_0").select("RH").run()
    at = press(at, "findings_add_184_0")
    at = keep(turn_to(at, "262"))
    at = turn_to(at, "184")
    assert "right hind" in words_of(at)
    assert at.text_area(key="draft:184:note").value == "walk her slowly"
    keep(at)
    (trim,) = herd.trims.of_cows(["184"])
    assert ([f.foot for f in trim.findings], trim.note) == (["RH"], "walk her slowly")


def test_a_draft_outlasts_a_look_at_another_page(herd: Store, page: OpenPage) -> None:
    at = page("findings", cow="184")
    at.text_area(key="draft:184:note").set_value("walk her slowly").run()
    at.switch_page("screens/lame_list.py").run().run()
    at.switch_page("screens/findings.py").run()
    at = turn_to(at, "184")
    assert at.text_area(key="draft:184:note").value == "walk her slowly"


def test_the_next_cow_of_the_list_comes_by_herself(farm: Store, page: OpenPage) -> None:
    load_history(farm)
    day = trim_day.plan_day(farm, TODAY, trimmer="", capacity=12)
    order = [e.cow for e in farm.trim_days.entries(day.trim_day_id)]
    at = page("findings", cow=order[1])
    # What stands in the list is what a browser sends back: the bare number, whatever she is for.
    assert at.selectbox(key="findings_cow_0").options[: len(order)] == order
    at = keep(at)
    assert at.selectbox(key="findings_cow_1").value == order[2]
    assert f"Cow {order[1]} is on record." in words_of(at)
    at = turn_to(at, order[-1])
    at = keep(at)
    assert at.selectbox(key="findings_cow_2").value == order[0]


def test_a_cow_beside_the_list_leaves_the_box_empty(farm: Store, page: OpenPage) -> None:
    load_history(farm)
    at = keep(page("findings", cow="0412"))
    assert at.selectbox(key="findings_cow_1").value is None
    assert "Choose the cow in the chute." in words_of(at)


def test_a_sheet_is_entered_the_next_morning(herd: Store, page: OpenPage) -> None:
    at = page("findings", cow="184")
    assert at.date_input(key=f"findings_{TODAY}").max == TODAY
    at.date_input(key=f"findings_{TODAY}").set_value(YESTERDAY).run()
    at = keep(at)
    (trim,) = herd.trims.of_cows(["184"])
    assert (trim.on, trim.recheck_on) == (YESTERDAY, YESTERDAY + timedelta(days=14))
    keep(turn_to(at, "262"))  # the day stays for the rest of the sheet
    assert herd.trims.of_cows(["262"])[0].on == YESTERDAY


def test_a_mistyped_number_is_asked_about(herd: Store, page: OpenPage) -> None:
    at = turn_to(page("findings"), "1845")
    assert "Cow 1845 is not on the herd list. Which cow is meant?" in words_of(at)
    assert not [b for b in at.button if b.key == "findings_keep"]
    at = press(at, "findings_cow_0_near_184")
    keep(at)
    assert [t.cow for t in herd.trims.since(TODAY)] == ["184"]
    assert herd.cows.get("1845") is None


def test_a_new_number_is_taken_once_somebody_says_so(herd: Store, page: OpenPage) -> None:
    at = press(turn_to(page("findings"), "1845"), "findings_cow_0_is_new")
    keep(at)
    assert [t.cow for t in herd.trims.since(TODAY)] == ["1845"]


def test_without_a_herd_list_any_number_is_taken(farm: Store, page: OpenPage) -> None:
    at = keep(turn_to(page("findings"), "7"))
    keep(turn_to(at, "8"))
    assert [t.cow for t in farm.trims.since(TODAY)] == ["7", "8"]


def test_a_pass_is_not_named_by_a_slip(herd: Store, page: OpenPage) -> None:
    pass_id = add_pass(herd)
    at = page("to_check")
    at.session_state[f"who_{pass_id}"] = "1845"
    at = press(at.run(), f"who_keep_{pass_id}")
    assert "Cow 1845 is not on the herd list." in words_of(at)
    assert herd.passes.get(pass_id).summary.cow is None
    press(press(at, f"who_{pass_id}_near_184"), f"who_keep_{pass_id}")
    assert herd.passes.get(pass_id).summary.cow == "184"


def test_a_second_trim_of_the_day_shows_the_first_one_before(herd: Store, page: OpenPage) -> None:
    on_record(herd, findings=(Finding(foot="RH", code="DD"),))
    at = page("findings", cow="184")
    assert f"Cow 184 has a trim of {TODAY} on record already." in words_of(at)
    assert "right hind" in words_of(at)
    at = keep(press(at, "findings_second"))
    assert len(herd.trims.of_cows(["184"])) == 2


def test_the_second_of_two_people_is_told_of_the_first(herd: Store, page: OpenPage) -> None:
    at = page("findings", cow="184")
    at.text_area(key="draft:184:note").set_value("mine").run()
    on_record(herd)
    at = keep(at)
    assert "on record already" in words_of(at)
    assert len(herd.trims.of_cows(["184"])) == 1
    at = keep(press(at, "findings_second"))
    assert [t.note for t in herd.trims.of_cows(["184"])] == ["", "mine"]


def test_a_trim_is_corrected_and_the_old_one_stays_in_her_history(
    herd: Store, page: OpenPage
) -> None:
    wrong = on_record(
        herd, findings=(Finding(foot="RH", code="SU"),), note="old",
        recheck_on=TODAY + timedelta(9), next_step="vet",
        medicine="as on the label", withdrawal_until=TODAY,
        withdrawal_source="vet's record",
    )  # fmt: skip
    at = press(page("findings", cow="184"), f"findings_correct_{wrong.uid}")
    name = f"draft:correct {wrong.uid}"
    assert "You are correcting the trim of cow 184" in words_of(at)
    assert at.radio(key=f"{name}:source").value == "vet"
    at.text_area(key=f"{name}:note").set_value("new").run()
    at = keep(at)
    (right,) = herd.trims.of_cows(["184"])
    assert (right.note, right.corrects, right.next_step) == ("new", wrong.uid, "vet")
    assert (right.findings, right.recheck_on) == (wrong.findings, wrong.recheck_on)
    assert (right.medicine, right.withdrawal_source) == ("as on the label", "vet's record")
    (promise,) = herd.rechecks.all(only_open=True)
    assert promise.trim_uid == right.uid
    seen = words_of(page("cow", cow="184"))
    assert "old" in seen
    assert "no longer stands" in seen


def test_a_trim_of_the_wrong_cow_moves_to_the_right_one(farm: Store, page: OpenPage) -> None:
    load_history(farm)
    day = trim_day.plan_day(farm, TODAY, trimmer="", capacity=12)
    one, two = [e.cow for e in farm.trim_days.entries(day.trim_day_id)][:2]
    wrong = farm.trims.add(
        Trim(cow=one, on=TODAY, who="Tom", reason="therapeutic", trim_day_id=day.trim_day_id)
    )
    farm.people.put("Ann", ["herdsperson"])
    at = page("findings", person="Ann", cow=one, correct=wrong.uid)
    at.session_state[f"draft:correct {wrong.uid}:cow"] = two
    keep(at.run())
    assert wrong.uid not in [t.uid for t in farm.trims.of_cows([one])]
    right = farm.trims.of_cows([two])[-1]
    assert (right.corrects, right.who, right.note) == (wrong.uid, "Tom", "(corrected by Ann)")
    states = {e.cow: e.state for e in farm.trim_days.entries(day.trim_day_id)}
    assert (states[one], states[two]) == ("planned", "done")


def test_a_trim_that_never_was_is_taken_off_the_record(herd: Store, page: OpenPage) -> None:
    first, second = on_record(herd, recheck_on=TODAY + timedelta(14)), on_record(herd)
    at = press(page("findings", cow="184", correct=first.uid), "findings_take_back")
    assert "The trim of cow 184 is taken off." in words_of(at)
    assert [t.uid for t in herd.trims.of_cows(["184"])] == [second.uid]
    assert len(herd.trims.of_cows(["184"], corrected=True)) == 3
    assert herd.rechecks.all(only_open=True) == []
    assert herd.trims.last_days() == {"184": TODAY}


def test_the_second_of_two_corrections_is_told(herd: Store, page: OpenPage) -> None:
    wrong = on_record(herd)
    at = page("findings", cow="184", correct=wrong.uid)
    on_record(herd, corrects=wrong.uid)
    at = keep(at)
    assert "corrected in the meantime" in words_of(at)
    assert len(herd.trims.of_cows(["184"])) == 1
    with pytest.raises(StoreConflict, match="in the meantime"):
        on_record(herd, corrects=wrong.uid)


def test_medicine_is_shown_without_a_withdrawal_date_too(herd: Store, page: OpenPage) -> None:
    on_record(herd, medicine="as on the label", next_step="vet")
    seen = words_of(page("cow", cow="184"))
    assert "Medicine: as on the label" in seen


def test_a_lame_trim_without_findings_has_a_recheck_that_the_page_calls_in(
    herd: Store, page: OpenPage
) -> None:
    herd.decisions.add_by_eye("184", score=3, who="Ann")
    at = page("findings", cow="184")
    assert at.selectbox(key="draft:184:next_True").value == "recheck"
    keep(at)
    later = TODAY + timedelta(days=14)
    assert f"Recheck on {later}" in words_of(page("lame_list"))
    assert "<b>184</b>" in words_of(page("recheck"))


def test_a_recheck_cleared_by_hand_still_stands_by_the_rule(herd: Store, page: OpenPage) -> None:
    herd.decisions.add_by_eye("184", score=3, who="Ann")
    on_record(herd)
    later = TODAY + timedelta(days=14)
    assert f"Recheck on {later}" in words_of(page("lame_list"))
    assert f"<b>184</b> {later}" in words_of(page("recheck"))
    assert f"Recheck on {later}" in words_of(page("cow", cow="184"))


def test_a_recheck_by_the_rule_is_kept_like_one_promised(farm: Store, page: OpenPage) -> None:
    farm.cows.put([Cow(number="184")])
    long_ago = datetime.now(UTC) - timedelta(days=20)
    farm.decisions.add_by_eye("184", score=4, who="Ann", observed_at=long_ago)
    farm.trims.add(Trim(cow="184", on=long_ago.date(), who="Tom", reason="therapeutic"))
    at = page("recheck")
    at.segmented_control(key="recheck_score_cow_184").select(2).run()
    at = press(at, "recheck_keep")
    assert "sound. She leaves the lame list." in words_of(at)
    (closed,) = farm.rechecks.all()
    assert closed.state == "done"


def test_a_maintenance_trim_has_no_recheck(herd: Store, page: OpenPage) -> None:
    at = page("findings", cow="184")
    at.segmented_control(key="draft:184:reason").select("maintenance").run()
    assert at.selectbox(key="draft:184:next_False").value == "none"
    keep(at)
    assert herd.rechecks.all() == []
