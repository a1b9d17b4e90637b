"""All words that people see, one file a language."""

from __future__ import annotations

import functools
import json
import re
from datetime import date
from pathlib import Path

import streamlit as st

from app.texts import local
from gait.exchange.sheet_words import SheetWords

LANGUAGES = {"en": "English", "de": "Deutsch"}
HERE = Path(__file__).resolve().parent
PLACE = re.compile(r"\{\d\}")
SENTENCE_END = re.compile(r"(?<=[.!?])\s+")
ON_RECORD = ("why.", "decide.unusable_")
"""How the keys begin of texts that go on record, in English, perhaps with own words behind."""


@functools.cache
def words(language: str) -> dict[str, str]:
    """Return the words of one language by key."""
    found: dict[str, str] = json.loads((HERE / f"{language}.json").read_text(encoding="utf-8"))
    return found


def language() -> str:
    """Return the language this person chose."""
    return str(st.session_state.get("language", "en"))


def preferred(locale: str | None) -> str:
    """Return the language that suits a browser's locale, such as ``de-AT``; else English."""
    short = (locale or "").split("-")[0].lower()
    return short if short in LANGUAGES else "en"


def t(key: str, **values: object) -> str:
    """Return a text in the person's language, with values filled in, days as `shown` does.

    With ``count=1`` the text of the key with ``_one`` behind it is taken, where there is one.

    Raises
    ------
    KeyError
        The key is in no language; a test keeps both files complete.
    """
    if values.get("count") == 1 and has(f"{key}_one"):
        key = f"{key}_one"
    text = words(language()).get(key) or words("en")[key]
    return text.format(**{name: shown(value) for name, value in values.items()}) if values else text


def in_english(key: str) -> str:
    """Return a text as it goes on record: its reader may have another language than its writer."""
    return words("en")[key]


def shown(value: object) -> object:
    """Return a day as the person's language writes it; any other value as it is."""
    return local.day(language(), value) if isinstance(value, date) else value


def decimals(text: str) -> str:
    """Return a text made of figures with the decimal sign of the person's language."""
    return local.decimals(language(), text)


def day_format() -> str:
    """Return the order of a day in the person's language, for charts."""
    return local.DAYS[language()]


def day_box() -> str:
    """Return the order of a day in the person's language, for boxes that ask for one."""
    return local.DAY_BOXES[language()]


def has(key: str) -> bool:
    """Tell whether there is a text of that key."""
    return key in words("en")


@functools.cache
def _sentences(language: str) -> list[tuple[re.Pattern[str], str]]:
    """Return what the library says in English as patterns, with the same in the language.

    The entry with most words of its own comes first, so that the more exact one is taken.
    """
    found: dict[str, str] = {}
    for file in sorted(HERE.glob(f"sentences_{language}*.json")):
        found |= json.loads(file.read_text(encoding="utf-8"))
    for key, english in words("en").items():
        if key.startswith(ON_RECORD):
            other = words(language)[key]
            found |= {english: other, f"{english}: {{0}}": f"{other}: {{0}}"}
    longest_first = sorted(found, key=lambda english: -len(PLACE.sub("", english)))
    return [
        (re.compile("(.+?)".join(map(re.escape, PLACE.split(english))), re.DOTALL), found[english])
        for english in longest_first
    ]


def said(text: str) -> str:
    """Return what the library says in the person's language; a sentence not known stays English.

    A text of several sentences is said sentence by sentence. A file's name may look like the end
    of one, so neighbours are tried together as well.
    """
    return _said(language(), text)


def sheet_words() -> SheetWords:
    """Return the person's language for printed sheets.

    It is fixed when the page is drawn: a sheet is made at the click, outside the page's run,
    where nobody's language is known.
    """
    spoken = language()
    return SheetWords(language=spoken, say=functools.partial(_said, spoken))


@functools.lru_cache(maxsize=4096)
def _said(language: str, text: str) -> str:
    parts = SENTENCE_END.split(text)
    told, at = [], 0
    while at < len(parts):
        for end in range(at + 1, len(parts) + 1):
            other = _whole(language, " ".join(parts[at:end]))
            if other is not None:
                break
        else:
            other, end = local.figure(language, parts[at]), at + 1
        told.append(other)
        at = end
    return " ".join(told)


def _whole(language: str, sentence: str) -> str | None:
    """Return the text of the entry that fits the whole of it, or None."""
    for pattern, other in _sentences(language):
        match = pattern.fullmatch(sentence)
        if match:
            return other.format(*(_said(language, part) for part in match.groups()))
    return None
