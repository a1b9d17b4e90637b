"""Which decision stands, which identity stands, and which pass is to be checked first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gait.herd.records import Decision, Identity, PassStatus

_RANK = {
    "second_opinion": 2,
    "confirmed": 1,
    "overridden": 1,
    "unusable": 1,
    "second_opinion_wanted": 1,
}
"""Of the decisions that can carry a score; a second opinion declined carries none."""


@dataclass(frozen=True, kw_only=True)
class Standing:
    """What holds for one pass after all decisions made so far."""

    status: PassStatus
    score: int | None
    decision: Decision | None
    wants_second_opinion: bool


def still_valid(decisions: Sequence[Decision]) -> list[Decision]:
    """Return the decisions that were not taken back, oldest first, without the undo records.

    An undo can itself be undone; then the decision holds again.

    Parameters
    ----------
    decisions : sequence of Decision
        All decisions on one pass, in any order.
    """
    taken_back: set[str] = set()
    valid = []
    for decision in sorted(decisions, key=lambda d: d.version, reverse=True):
        if decision.uid in taken_back:
            continue
        if decision.kind == "undo":
            if decision.undoes is not None:
                taken_back.add(decision.undoes)
        else:
            valid.append(decision)
    return valid[::-1]


def standing_decision(decisions: Sequence[Decision]) -> Standing:
    """Return what holds for one pass: the newest decision of the highest rank.

    A second opinion outranks the first person's decision, and only another second opinion
    replaces it. A wish for a second opinion does not take a score away that was given before,
    so that a lame cow stays on the list while she waits for the vet; nor does a vet who says that
    the pass cannot be judged, which only answers the wish.

    Parameters
    ----------
    decisions : sequence of Decision
        All decisions on one pass, in any order.
    """
    valid = still_valid(decisions)
    answers = [d for d in valid if d.kind in ("second_opinion", "second_opinion_declined")]
    wishes = [d for d in valid if d.kind == "second_opinion_wanted"]
    wants = bool(wishes) and (not answers or answers[-1].version < wishes[-1].version)
    judged = [d for d in valid if d.kind in _RANK and (d.kind == "unusable" or d.score is not None)]
    if not judged:
        return Standing(status="to_check", score=None, decision=None, wants_second_opinion=wants)
    best = max(judged, key=lambda d: (_RANK[d.kind], d.version))
    return Standing(
        status="unusable" if best.kind == "unusable" else "decided",
        score=None if best.kind == "unusable" else best.score,
        decision=best,
        wants_second_opinion=wants,
    )


def standing_identity(identities: Sequence[Identity]) -> Identity | None:
    """Return the statement that holds about which cow a pass shows.

    The newest word of a person holds; without one, the file name, then the exit-order list.

    Parameters
    ----------
    identities : sequence of Identity
        All statements about one pass, in any order.
    """
    rank = {"person": 3, "file_name": 2, "exit_order": 1}
    return max(identities, key=lambda i: (rank[i.source], i.identity_id), default=None)


def checking_priority(proposal: Mapping[str, Any] | None) -> float:
    """Return how soon a pass should be looked at: the larger the sooner.

    Twice the probability of a score of 4 or 5, plus that of 3 or more, plus what the tool's
    confidence lacks of certainty. A pass without a proposal counts 1: nobody has judged
    that cow yet, so she comes before those that look sound, after those that look lame.

    Parameters
    ----------
    proposal : mapping or None
        With the keys ``probabilities`` (five, for scores 1 to 5) and ``confidence`` (0 to 1).
    """
    if proposal is None or not proposal.get("probabilities"):
        return 1.0
    probabilities = [float(p) for p in proposal["probabilities"]]
    confidence = float(proposal.get("confidence") or 0.0)
    return 2 * sum(probabilities[3:]) + sum(probabilities[2:]) + (1 - confidence)
