"""How a number with an error is written: its 90 % interval, and the decimals it deserves."""

from __future__ import annotations

import math

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
