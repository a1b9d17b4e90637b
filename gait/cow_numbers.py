"""The herd's numbers: give a cow another one, or take off the list one that is no cow of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gait.errors import StoreError
from gait.herd.near_numbers import without_zeros
from gait.trim_day import open_days

if TYPE_CHECKING:
    from gait.store import Store

RENUMBERED_SETTING = "renumbered_cow"
"""A line each time, like every setting: so it stays known which number a cow had before."""
TAKEN_OFF_SETTING = "number_taken_off"
"""A line each time: which number, with the electronic number that it had."""


def renumber_cow(store: Store, old: str, new: str, *, who: str) -> None:
    """Give a cow another animal number; all records about her go along, and who did so is kept.

    Raises
    ------
    StoreError
        There is no such cow, or the new number is taken, be it but for leading zeros.
    """
    for cow in store.cows.all():
        if cow.number not in (old, new) and without_zeros(cow.number) == without_zeros(new):
            raise StoreError(
                f"But for leading zeros cow {new} is cow {cow.number} on record.",
                "Choose another number.",
            )
    store.cows.renumber(old, new)
    store.settings.put(RENUMBERED_SETTING, {"old": old, "new": new}, who=who)


def take_off_list(store: Store, number: str, *, who: str) -> None:
    """Take a number off the list that was entered by mistake; who did so is kept.

    She comes back when a herd list names her or somebody says that number again.

    Raises
    ------
    StoreError
        There is no such cow on the list, or records hang on her; the message counts them.
    """
    walks = len(store.passes.of_cow(number))
    trims = len(store.trims.of_cows([number]))
    rechecks = len(store.rechecks.all(cows=[number], only_open=True))
    entries = [e for day in open_days(store) for e in store.trim_days.entries(day.trim_day_id)]
    days = sum(entry.cow == number for entry in entries)
    if walks or trims or rechecks or days:
        raise StoreError(
            f"Records hang on cow {number}: walks {walks}, trims {trims}, open rechecks "
            f"{rechecks}, open trim days {days}.",
            "Say of each which cow it was, or give her the right number instead.",
        )
    off = store.cows.take_off(number)
    store.settings.put(TAKEN_OFF_SETTING, {"cow": number, "electronic": off.electronic}, who=who)
