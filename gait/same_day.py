"""All of a cow's clips of one day count as one look."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gait.farm import model_in_use
from gait.score.combine import combine_clips
from gait.score.stored import stored_measures

if TYPE_CHECKING:
    from gait.score import Proposal
    from gait.store import Store


@dataclass(frozen=True, kw_only=True)
class SameDay:
    """What all passes of a cow on one day say together."""

    passes: int
    proposal: Proposal


def same_day(store: Store, pass_id: int) -> SameDay | None:
    """Combine a pass with the other passes of the same cow on the same day.

    Parameters
    ----------
    store : Store
    pass_id : int

    Returns
    -------
    SameDay or None
        None while she is not named, or was seen only once that day, or gets no score together.
    """
    one = store.passes.get(pass_id).summary
    if one.cow is None:
        return None
    day = one.observed_at.date()
    same = [
        p
        for p in store.passes.of_cow(one.cow)
        if p.observed_at.date() == day and p.usable and p.clip_id is not None
    ]
    measured = [stored_measures(store.passes.get(p.pass_id).measures) for p in same]
    measured = [m for m in measured if m]
    if len(measured) < 2:
        return None
    proposal = model_in_use(store).propose(combine_clips(measured))
    return None if proposal.value is None else SameDay(passes=len(measured), proposal=proposal)
