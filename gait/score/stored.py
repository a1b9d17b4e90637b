"""Measures as they come back from the farm's records."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from gait.score.combine import Combined


def stored_measures(kept: Mapping[str, Any]) -> dict[str, Combined]:
    """Return measures kept as JSON in the form that the score model reads.

    Parameters
    ----------
    kept : mapping of str to mapping
        Each with value, se and reason; null stands for a missing number.

    Returns
    -------
    dict of str to Combined
    """
    return {name: _measure(m) for name, m in kept.items()}


def _measure(kept: Mapping[str, Any]) -> Combined:
    value, se = kept.get("value"), kept.get("se")
    if value is None or se is None:
        reason = str(kept.get("reason") or "not measured.")
        return Combined(value=math.nan, se=math.nan, reason=reason)
    return Combined(value=float(value), se=float(se))
