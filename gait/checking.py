"""What waits under To check, in which order, and whether a score just given counts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gait.farm import rules_of
from gait.herd.records import Decision, PassSummary

if TYPE_CHECKING:
    from gait.store import Store


def passes_to_check(store: Store, limit: int = 50) -> list[PassSummary]:
    """Return what waits to be checked, in the order in which it should be gone through.

    First the scored cows without a number that want attention the same day: they are on no list
    until somebody says who they are. Then what nobody has decided yet, last the other scored cows
    without a number.

    Parameters
    ----------
    store : Store
    limit : int
    """
    unnamed = store.queue.unnamed(limit)
    from_score = rules_of(store).same_day_from
    urgent = [one for one in unnamed if one.score is not None and one.score >= from_score]
    rest = [one for one in unnamed if one not in urgent]
    return [*urgent, *store.queue.to_check(limit), *rest][:limit]


def outranked(store: Store, made: Decision) -> PassSummary | None:
    """Return the pass where another score than the one just given stands; None where this does.

    Parameters
    ----------
    store : Store
    made : Decision
        With a score.
    """
    summary = store.passes.get(made.pass_id).summary
    return None if summary.score == made.score else summary
