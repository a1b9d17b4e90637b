"""Days and decimals as a language writes them, on pages and on sheets printed from them.

Files, lists for others and the command line keep 2026-11-28 and 9.2 in every language.
"""

from __future__ import annotations

import re
from datetime import date

DAYS = {"en": "%Y-%m-%d", "de": "%d.%m.%Y"}
"""As charts and :meth:`datetime.date.strftime` spell the order."""
DAY_BOXES = {"en": "YYYY-MM-DD", "de": "DD.MM.YYYY"}
"""As boxes for a day spell it."""
COMMA = frozenset({"de"})
"""Languages with a decimal comma."""
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_DECIMAL = re.compile(r"-?\d+\.\d+( ?%| [a-z]{1,2})?")


def day(language: str, on: date) -> str:
    """Return a day in the order of the language."""
    return f"{on:{DAYS[language]}}"


def decimals(language: str, text: str) -> str:
    """Return a text made of figures with the decimal sign of the language."""
    return text.replace(".", ",") if language in COMMA else text


def figure(language: str, text: str) -> str:
    """Return a day or a decimal number in the language's way; any other text as it is."""
    if _DECIMAL.fullmatch(text):
        return decimals(language, text)
    if _DAY.fullmatch(text):
        try:
            return day(language, date.fromisoformat(text))
        except ValueError:  # only looks like a day
            return text
    return text
