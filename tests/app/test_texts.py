"""Every word that people see is there, in both languages, with the same places to fill in."""

from __future__ import annotations

import re
import string
from pathlib import Path

import pytest

from app.texts import LANGUAGES, _sentences, preferred, said, words
from gait.exchange.trim_guide import CAUTIONS
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
    "scale": range(1, 6),
    "caution": range(len(CAUTIONS)),
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
        assert told.endswith("(0.78 Rumpflängen; gesunde Kühe etwa 0.98): spricht für 4")
        assert not told.startswith(words_of_grade)


@pytest.mark.usefixtures("_german")
def test_a_sentence_not_known_stays_as_it_is() -> None:
    assert said("Something new {0}.") == "Something new {0}."
    assert said("Recheck due 2026-03-02: own words") == "Nachkontrolle fällig 2026-03-02: own words"
    assert len(_sentences("de")) > 50
