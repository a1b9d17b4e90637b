"""Which passes the vet is asked about: those that a score can still be given for."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING

from gait.herd.lame_list import is_treatment
from gait.herd.records import PassSummary

if TYPE_CHECKING:
    from gait.store import Store


def for_second_opinion(store: Store, since: datetime, limit: int = 100) -> list[PassSummary]:
    """Return the passes worth a second opinion, most urgent first.

    Left out are walks that were only seen by eye, and those of cows treated on a later day:
    nobody can look at the first again, and the second tell nothing of her feet now. Where
    somebody asked, or two people differ, a pass stays in any case.

    Parameters
    ----------
    store : Store
    since : datetime
        Aware; see :meth:`gait.store.lists.Queue.for_vet`.
    limit : int
    """
    found = store.queue.for_vet(since, limit)
    disputed = store.queue.disputed(since)
    treated: dict[str, date] = {}
    for trim in store.trims.of_cows({p.cow for p in found if p.cow is not None}):
        if is_treatment(trim.reason, trim.findings):
            treated[trim.cow] = max(trim.on, treated.get(trim.cow, trim.on))

    def is_asked(one: PassSummary) -> bool:
        return one.wants_second_opinion or one.pass_id in disputed

    def is_open(one: PassSummary) -> bool:
        walked = one.observed_at.date()
        return one.clip_id is not None and treated.get(one.cow or "", walked) <= walked

    return [one for one in found if is_asked(one) or is_open(one)]
