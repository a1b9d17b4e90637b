"""Days and times as they are written on the command line."""

from __future__ import annotations

import argparse
from datetime import date, datetime


def day(text: str) -> date:
    """Read a day.

    Raises
    ------
    argparse.ArgumentTypeError
        With a sentence that says how to write it.
    """
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text} is no day, or not written year-month-day, such as 2026-12-01."
        ) from None


def moment(text: str) -> datetime:
    """Read a time in this computer's own time zone.

    Raises
    ------
    argparse.ArgumentTypeError
        With a sentence that says how to write it.
    """
    try:
        return datetime.fromisoformat(text).astimezone()
    except (ValueError, OverflowError, OSError):  # the last two of years no clock knows
        raise argparse.ArgumentTypeError(
            f"{text} is no time, or not written year-month-day and clock, such as 2026-11-28T05:30."
        ) from None
