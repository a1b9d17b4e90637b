"""How numbers are shown: with the decimals their error reaches; traces without strays."""

from __future__ import annotations

import math
from collections.abc import Sequence

TWO_SIDED_90 = 1.645
"""So many standard errors each way hold the truth in nine cases of ten."""
MOST_DECIMALS = 2


def decimals(se: float) -> int:
    """Return how many decimals a measure with this error deserves: those that the error reaches.

    Parameters
    ----------
    se : float
        Standard error, in the measure's unit; 0 or NaN when it is not known.
    """
    spread = TWO_SIDED_90 * se
    if not math.isfinite(spread) or spread <= 0:
        return MOST_DECIMALS
    # an error that begins with 1 is given to two figures, or rounding would change it by a third
    return min(MOST_DECIMALS, max(0, math.ceil(-math.log10(spread / 2))))


def figures(value: float, se: float) -> str:
    """Return a number with the decimals that its standard error reaches, and no -0."""
    places = decimals(se)
    return f"{round(value, places) + 0.0:.{places}f}"


def range_without_strays(values: Sequence[float]) -> tuple[float, float]:
    """Return the range to draw of a trace, so that a few strays do not flatten the rest.

    Strays lie farther outside the middle nine tenths than three quarters of their span. A nod
    once a stride takes up more than a twentieth of the time, so it is never taken for one.

    Parameters
    ----------
    values : sequence of float
        Finite ones, at least one.
    """
    ordered = sorted(values)
    last = len(ordered) - 1
    low, high = ordered[round(0.05 * last)], ordered[round(0.95 * last)]
    room = 0.75 * (high - low)
    if room == 0:
        return ordered[0], ordered[-1]
    kept = [v for v in ordered if low - room <= v <= high + room]
    return kept[0], kept[-1]
