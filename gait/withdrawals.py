"""Whose milk or meat is being withheld: every cow under a running withdrawal time, lame or not."""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from typing import TYPE_CHECKING

from gait.herd.lame_list import withdrawal_caution

if TYPE_CHECKING:
    from gait.herd.records import Trim
    from gait.store import Store


def withdrawals(store: Store, today: date | None = None) -> dict[str, str]:
    """Return the caution of each cow under a running withdrawal time, by animal number.

    Parameters
    ----------
    store : Store
    today : date, optional
        The last day of a withdrawal still belongs to it.
    """
    on = today or date.today()
    given: dict[str, list[Trim]] = defaultdict(list)
    for trim in store.trims.under_withdrawal(on):
        given[trim.cow].append(trim)
    found = {cow: withdrawal_caution(trims, on) for cow, trims in given.items()}
    return {cow: caution for cow, caution in found.items() if caution}
