"""All words that people see, one file a language."""

from __future__ import annotations

import functools
import json
import re
from pathlib import Path

import streamlit as st

LANGUAGES = {"en": "English", "de": "Deutsch"}
HERE = Path(__file__).resolve().parent


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
    """Return a text in the person's language, with values filled in.

    With ``count=1`` the text of the key with ``_one`` behind it is taken, where there is one.

    Raises
    ------
    KeyError
        The key is in no language; a test keeps both files complete.
    """
    if values.get("count") == 1 and has(f"{key}_one"):
        key = f"{key}_one"
    text = words(language()).get(key) or words("en")[key]
    return text.format(**values) if values else text


def has(key: str) -> bool:
    """Tell whether there is a text of that key."""
    return key in words("en")


@functools.cache
def _sentences(language: str) -> list[tuple[re.Pattern[str], str]]:
    """Return what the library says in English as patterns, with the same in the language."""
    file = HERE / f"sentences_{language}.json"
    if not file.exists():
        return []
    found: dict[str, str] = json.loads(file.read_text(encoding="utf-8"))
    return [
        (re.compile(re.sub(r"\\\{\d\\\}", "(.+?)", re.escape(english))), other)
        for english, other in found.items()
    ]


def said(sentence: str) -> str:
    """Return a sentence of the library in the person's language; one not known stays English."""
    for pattern, other in _sentences(language()):
        match = pattern.fullmatch(sentence)
        if match:
            return other.format(*(said(part) for part in match.groups()))
    return sentence
