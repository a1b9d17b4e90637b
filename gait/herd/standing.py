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
ANSWERS = ("second_opinion", "second_opinion_declined")
"""Of the decisions those that answer a wish for a second opinion."""


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


def _is_judgement(decision: Decision) -> bool:
    return decision.kind == "unusable" or (decision.kind in _RANK and decision.score is not None)


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
    answers = [d for d in valid if d.kind in ANSWERS]
    wishes = [d for d in valid if d.kind == "second_opinion_wanted"]
    wants = bool(wishes) and (not answers or answers[-1].version < wishes[-1].version)
    judged = [d for d in valid if _is_judgement(d)]
    if not judged:
        return Standing(status="to_check", score=None, decision=None, wants_second_opinion=wants)
    best = max(judged, key=lambda d: (_RANK[d.kind], d.version))
    return Standing(
        status="unusable" if best.kind == "unusable" else "decided",
        score=None if best.kind == "unusable" else best.score,
        decision=best,
        wants_second_opinion=wants,
    )


def people_differ(decisions: Sequence[Decision]) -> bool:
    """Say whether people judge a pass differently and no second opinion was given since.

    Of each person the newest word counts. A second opinion, or the word that none can be given,
    settles what was said before it; somebody who differs from that opinion later opens it again.

    Parameters
    ----------
    decisions : sequence of Decision
        All decisions on one pass, in any order.
    """
    words: dict[str, int | None] = {}
    for decision in still_valid(decisions):
        if decision.kind in ANSWERS:
            words.clear()
        if _is_judgement(decision):
            words[decision.who] = None if decision.kind == "unusable" else decision.score
    return len(set(words.values())) > 1


def is_settled(decisions: Sequence[Decision], version: int) -> bool:
    """Say whether somebody judged a pass, or answered a wish for a second opinion, since a version.

    Parameters
    ----------
    decisions : sequence of Decision
        All decisions on one pass, in any order.
    version : int
        The pass's own when the later of two entries came: whoever decides after it can see both.
    """
    return any(
        d.version > version and (_is_judgement(d) or d.kind in ANSWERS)
        for d in still_valid(decisions)
    )


def overruled(decisions: Sequence[Decision]) -> list[Decision]:
    """Return the decisions that do not count because the second opinion given before them stands.

    Parameters
    ----------
    decisions : sequence of Decision
        All decisions on one pass, in any order.
    """
    best = standing_decision(decisions).decision
    judged = [d for d in still_valid(decisions) if _is_judgement(d)]
    return [d for d in judged if best is not None and d.version > best.version]


def scored_by_two(decisions: Sequence[Decision]) -> tuple[int, int] | None:
    """Return (a person's score, another person's second opinion) of one pass, if it has both.

    The opinion is the newest that holds; the score is the newest given before anybody gave an
    opinion: whoever scores later may follow it.

    Parameters
    ----------
    decisions : sequence of Decision
        All decisions on one pass, in any order.
    """
    valid = still_valid(decisions)
    opinions = [d for d in valid if d.kind == "second_opinion"]
    scores = [
        d.score
        for d in valid
        if d.kind in ("confirmed", "overridden")
        and opinions
        and d.version < opinions[0].version
        and d.who != opinions[-1].who
    ]
    if not scores or scores[-1] is None or opinions[-1].score is None:
        return None
    return scores[-1], opinions[-1].score


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
