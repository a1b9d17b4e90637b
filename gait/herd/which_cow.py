"""Which cow a pass shows, from a list of the order at the exit.

Nothing is guessed in silence. A match that another one comes close to is given as doubtful,
with both animal numbers, for a person to settle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, kw_only=True)
class ExitEntry:
    """One line of an exit-order list: when a cow's number was read or written down."""

    cow: str
    at: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class PassTime:
    """A pass to be named: its identifier and when the cow walked."""

    pass_id: int
    at: datetime


@dataclass(frozen=True, kw_only=True)
class Match:
    """What the list says about one pass.

    ``cow`` is None when no line fits. ``doubtful`` is True when the next best cow fits almost
    as well; ``candidates`` then holds the animal numbers, best first. ``late_s`` is how many
    seconds after the line (lag taken out) the cow walked, None without times.
    """

    pass_id: int
    cow: str | None
    doubtful: bool
    candidates: tuple[str, ...]
    late_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class Matching:
    """All matches, and the lines of the list that no pass was found for."""

    matches: tuple[Match, ...]
    not_filmed: tuple[str, ...]
    lag_s: float


_MISSING = 1.0
_DOUBT = 0.5
_TABLE = list[list[float]]


def match_exit_order(
    entries: Sequence[ExitEntry],
    passes: Sequence[PassTime],
    *,
    tolerance_s: float = 30.0,
    most_lag_s: float = 600.0,
) -> Matching:
    """Match an exit-order list to passes, in order and in time.

    Both sequences are aligned without crossings so that the sum of costs is least: a pair
    costs the square of its difference in time over the tolerance, a cow that was listed but not
    filmed or filmed but not listed costs 1. A pair is therefore taken only while it is no more
    than 1.4 tolerances off. A pass is doubtful when the alignment could, for less than 0.5 more
    cost, give it another cow or none.

    Parameters
    ----------
    entries : sequence of ExitEntry
        In order of exit. All with times, or all without; without, only the order counts.
    passes : sequence of PassTime
        In any order.
    tolerance_s : float
        How far two times may lie apart, after the lag between reader and camera is taken out.
    most_lag_s : float
        The lag is sought within so many seconds.

    Notes
    -----
    The lag is the one at which most pairs of line and pass fall together, found from all
    differences in time.
    """
    ordered = sorted(passes, key=lambda p: (p.at, p.pass_id))
    timed = bool(entries) and all(e.at is not None for e in entries)
    if timed:
        entries = sorted(entries, key=lambda e: e.at)  # type: ignore[arg-type,return-value]
    lag = _lag(entries, ordered, tolerance_s, most_lag_s) if timed else 0.0
    cost = [[_pair_cost(e, p, lag, tolerance_s, timed) for p in ordered] for e in entries]
    ahead = _least_costs(cost, len(entries), len(ordered))
    turned = [row[::-1] for row in cost[::-1]]
    behind = [row[::-1] for row in _least_costs(turned, len(entries), len(ordered))[::-1]]
    pairs = _trace_back(cost, ahead)
    matches = tuple(
        _match(j, p, pairs, cost, ahead, behind, entries, lag if timed else None)
        for j, p in enumerate(ordered)
    )
    taken = set(pairs.values())
    missed = tuple(e.cow for i, e in enumerate(entries) if i not in taken)
    return Matching(matches=matches, not_filmed=missed, lag_s=lag)


def _lag(
    entries: Sequence[ExitEntry],
    passes: Sequence[PassTime],
    tolerance_s: float,
    most_lag_s: float,
) -> float:
    """Return the middle of the fullest window of differences, as wide as the tolerance."""
    differences = sorted(
        d
        for e in entries
        for p in passes
        if e.at is not None and abs(d := (p.at - e.at).total_seconds()) <= most_lag_s
    )
    best: tuple[int, float] = (0, 0.0)
    start = 0
    for end, value in enumerate(differences):
        while value - differences[start] > tolerance_s:
            start += 1
        window = differences[start : end + 1]
        middle = window[len(window) // 2]
        # Between windows equally full the smaller lag is the likelier one.
        if (len(window), -abs(middle)) > (best[0], -abs(best[1])):
            best = (len(window), middle)
    return best[1]


def _pair_cost(
    entry: ExitEntry, walked: PassTime, lag: float, tolerance_s: float, timed: bool
) -> float:
    if not timed or entry.at is None:
        return 0.0
    off = ((walked.at - entry.at).total_seconds() - lag) / tolerance_s
    return off * off


def _least_costs(cost: _TABLE, rows: int, columns: int) -> _TABLE:
    """Return the least cost of aligning the first i lines with the first j passes."""
    table = [[0.0] * (columns + 1) for _ in range(rows + 1)]
    for j in range(1, columns + 1):
        table[0][j] = j * _MISSING
    for i in range(1, rows + 1):
        above, own, costs = table[i - 1], table[i], cost[i - 1]
        own[0] = i * _MISSING
        for j in range(1, columns + 1):
            skipped = min(above[j], own[j - 1]) + _MISSING
            own[j] = min(skipped, above[j - 1] + costs[j - 1])
    return table


def _trace_back(cost: _TABLE, ahead: _TABLE) -> dict[int, int]:
    """Return pass index -> line index of one alignment of least cost."""
    i, j = len(ahead) - 1, len(ahead[0]) - 1
    pairs = {}
    while i and j:
        if ahead[i][j] == ahead[i - 1][j - 1] + cost[i - 1][j - 1]:
            pairs[j - 1] = i - 1
            i, j = i - 1, j - 1
        elif ahead[i][j] == ahead[i - 1][j] + _MISSING:
            i -= 1
        else:
            j -= 1
    return pairs


def _match(
    j: int,
    walked: PassTime,
    pairs: dict[int, int],
    cost: _TABLE,
    ahead: _TABLE,
    behind: _TABLE,
    entries: Sequence[ExitEntry],
    lag: float | None,
) -> Match:
    least = ahead[-1][-1]
    # Cheapest whole alignment that gives this pass line i, and the one that gives it none.
    totals = [
        (ahead[i][j] + cost[i][j] + behind[i + 1][j + 1], entries[i].cow)
        for i in range(len(entries))
    ]
    none = min(ahead[i][j] + behind[i][j + 1] for i in range(len(entries) + 1)) + _MISSING
    close = sorted(t for t in totals if t[0] < least + _DOUBT)
    chosen = entries[pairs[j]].cow if j in pairs else None
    candidates = tuple(
        dict.fromkeys([chosen, *(c for _, c in close)] if chosen else [c for _, c in close])
    )
    maybe_none = none < least + _DOUBT
    doubtful = len(candidates) > 1 or (bool(candidates) and maybe_none)
    late = None
    at = entries[pairs[j]].at if j in pairs else None
    if lag is not None and at is not None:
        late = (walked.at - at).total_seconds() - lag
    return Match(
        pass_id=walked.pass_id,
        cow=chosen,
        doubtful=doubtful,
        candidates=candidates if doubtful else (),
        late_s=late,
    )
