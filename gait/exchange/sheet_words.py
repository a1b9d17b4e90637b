"""The language of a printed sheet, handed in by whoever knows other languages than English."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, kw_only=True)
class SheetWords:
    """A language: its code, as in HTML, and what says an English text in it."""

    language: str = "en"
    say: Callable[[str], str] = str

    def fill(self, sentence: str, *values: object) -> str:
        """Return a sentence in the language with values for its {0}, {1} ...

        Values are filled in afterwards, so that what people typed stays as they typed it.
        """
        told = (self.day(value) if isinstance(value, date) else value for value in values)
        return self.say(sentence).format(*told)

    def day(self, on: date) -> str:
        """Return a day as the language writes it."""
        return self.say(on.isoformat())

    def columns(self, heads: str) -> tuple[str, ...]:
        """Return the heads of a table, given as one text with bars between them.

        They are said as one: a translator who knows Block by itself would also change the name
        of a person called so.
        """
        return tuple(self.say(heads).split(" | "))


ENGLISH = SheetWords()
