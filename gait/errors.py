"""What can go wrong, as a tree. Every message is a sentence for people plus what to do next.

GaitError
├── ClipError            the film or photo cannot be used
│   ├── ClipMissing      there is no such file
│   ├── ClipUnreadable   not a film or photo, or damaged
│   ├── ClipTruncated    much shorter than it says it is
│   └── ClipUnusable     readable, but too dark, too slow a frame rate, ...
├── PoseError            the network could not be used
│   └── ModelFileInvalid the network or score model is not the one on its card
├── MeasureError         the cow could not be measured
├── ScoreError           the score model cannot score these measurements
├── StoreError           the farm's records
│   ├── StoreConflict    somebody else decided in the meantime
│   └── StoreReadOnly    the records cannot be written now
└── ExchangeError        a list or file from outside cannot be taken in
"""

from __future__ import annotations


class GaitError(Exception):
    """Base of all errors meant for people.

    Parameters
    ----------
    message : str
        One sentence: what is wrong.
    hint : str
        One sentence: what to do next. May be empty.
    """

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message} {self.hint}".strip()

    def __reduce__(self) -> tuple[type[GaitError], tuple[str, str]]:
        return type(self), (self.message, self.hint)


class ClipError(GaitError):
    """The film or photo cannot be used."""


class ClipMissing(ClipError):
    """There is no such file."""


class ClipUnreadable(ClipError):
    """Not a film or photo, or damaged."""


class ClipTruncated(ClipError):
    """The file is much shorter than it says it is."""


class ClipUnusable(ClipError):
    """Readable, but it cannot be judged: too dark, too few frames a second, and so on."""


class PoseError(GaitError):
    """The network could not be used."""


class ModelFileInvalid(PoseError):
    """A model file is not the one its card describes."""


class MeasureError(GaitError):
    """The cow could not be measured."""


class ScoreError(GaitError):
    """The score model cannot score these measurements."""


class StoreError(GaitError):
    """The farm's records could not be read or written."""


class StoreConflict(StoreError):
    """Somebody else decided on the same pass in the meantime."""


class StoreReadOnly(StoreError):
    """The records cannot be written at the moment (disk full, folder read-only)."""


class ExchangeError(GaitError):
    """A list or file from outside cannot be taken in."""
