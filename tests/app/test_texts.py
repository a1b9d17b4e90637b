"""Every word that people see is there, in both languages, with the same places to fill in."""

from __future__ import annotations

import re
import string
from datetime import date, datetime
from pathlib import Path

import pytest

from app.parts import charts, comparison, decide, look
from app.texts import LANGUAGES, _said, _sentences, local, preferred, said, t, words
from gait.comparison import against
from gait.exchange.trim_guide import CAUTIONS
from gait.farm import published_model
from gait.herd.blocks import OTHER_CLAW
from gait.herd.feet import CLAW_TERMS, CLAWS, FEET, SEVERITIES, ZONES
from gait.herd.lame_list import URGENCIES
from gait.herd.people import ROLES
from gait.herd.records import DECISION_KINDS, TRIM_REASONS
from gait.score.sentences import WORDS

APP = Path(__file__).resolve().parents[2] / "app"
USED = re.compile(r"\bt\(\s*\"([^\"]+)\"(?:\s+if\s[^\"]*?\selse\s+\"([^\"]+)\")?")
FAMILIES = {
    "foot": FEET,
    "claw": CLAWS,
    "zone": ZONES,
    "term": CLAW_TERMS,
    "severity": SEVERITIES,
    "urgency": URGENCIES,
    "role": ROLES,
    "reason": TRIM_REASONS,
    "kind": DECISION_KINDS,
    "why": decide.WHY,
    "scale": range(1, 6),
    "caution": range(len(CAUTIONS)),
    "block": (*OTHER_CLAW, "unsaid"),
}


def places(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def test_both_languages_hold_the_same_keys() -> None:
    assert set(words("en")) == set(words("de"))


def test_both_languages_fill_in_the_same_values() -> None:
    differ = [k for k, text in words("en").items() if places(text) != places(words("de")[k])]
    assert differ == []


def test_every_key_used_by_a_page_exists() -> None:
    used = {
        key
        for file in APP.rglob("*.py")
        for pair in USED.findall(file.read_text(encoding="utf-8"))
        for key in pair
        if key
    }
    assert len(used) > 150
    assert used <= set(words("en"))


@pytest.mark.parametrize("family", sorted(FAMILIES))
def test_every_member_of_a_family_has_a_text(family: str) -> None:
    wanted = {f"{family}.{member}" for member in FAMILIES[family]}
    assert wanted <= set(words("en"))


def test_german_is_not_a_copy_of_english() -> None:
    same = [k for k, text in words("en").items() if words("de")[k] == text and len(text) > 12]
    assert same == []


@pytest.mark.parametrize(
    ("locale", "language"), [("de-AT", "de"), ("de", "de"), ("fr-FR", "en"), (None, "en")]
)
def test_language_follows_the_browser(locale: str | None, language: str) -> None:
    assert preferred(locale) == language
    assert language in LANGUAGES


@pytest.fixture
def _german(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.texts.language", lambda: "de")


@pytest.mark.usefixtures("_german")
@pytest.mark.parametrize("measure", sorted(WORDS))
def test_every_reason_is_said_in_german(measure: str) -> None:
    for words_of_grade in WORDS[measure]:
        told = said(
            f"{words_of_grade} (0.78 trunk lengths; sound cows about 0.98): pushes towards 4"
        )
        assert told.endswith("(0,78 Rumpflängen; gesunde Kühe etwa 0,98): spricht für 4")
        assert not told.startswith(words_of_grade)


@pytest.mark.usefixtures("_german")
def test_a_sentence_not_known_stays_as_it_is() -> None:
    assert said("Something new {0}.") == "Something new {0}."
    assert said("Recheck due 2026-03-02: own words") == "Nachkontrolle fällig 02.03.2026: own words"
    assert len(_sentences("de")) > 50


@pytest.mark.parametrize(
    ("text", "german"),
    [
        ("2026-11-28", "28.11.2026"), ("2026-02-31", "2026-02-31"), ("9.2", "9,2"),
        ("1.46 s", "1,46 s"), ("-0.5 %", "-0,5 %"),
        ("40%", "40%"), ("0412", "0412"), ("127.0.0.1", "127.0.0.1"),
        ("herd-20261128-1", "herd-20261128-1"), ("Kuh 7. Mai.mp4", "Kuh 7. Mai.mp4"),
        ("clip 2026-11-28.mp4", "clip 2026-11-28.mp4"), ("0.9.0", "0.9.0"),
    ],
)  # fmt: skip
def test_only_a_whole_figure_or_day_is_written_the_german_way(text: str, german: str) -> None:
    assert local.figure("de", text) == german
    assert local.figure("en", text) == text


def test_every_language_says_how_it_writes_days() -> None:
    assert set(local.DAYS) == set(local.DAY_BOXES) == set(LANGUAGES)
    assert set(LANGUAGES) >= local.COMMA


@pytest.mark.usefixtures("_german")
def test_days_and_decimals_of_a_page_are_german() -> None:
    on = date(2026, 11, 28)
    assert t("lame.treated", day=on) == "behandelt 28.11.2026"
    assert look.clock(datetime(2026, 11, 28, 5, 30).astimezone()) == "28.11.2026 05:30"
    line = against("head_bob_a1_pct", {"value": 9.24, "se": 0.31, "unit": "%"}, [], [])
    assert comparison.value_text(line) == "9,2 ± 0,5 %"
    assert charts.decimal_axis().to_dict() == {"labelExpr": "replace(datum.label, '.', ',')"}


@pytest.mark.parametrize(
    ("count", "text"), [(1, "Put more cows on (1 more is due)"), (2, "(2 more are due)")]
)
def test_what_is_counted_stands_in_the_right_number(count: int, text: str) -> None:
    assert text in t("trim.more", count=count)


def test_what_the_published_model_rests_on_is_said_in_german() -> None:
    told = _said("de", published_model().notes["statement"])
    assert told.endswith("Nicht an benoteten Kühen geprüft.")
    assert "Rests on" not in told
