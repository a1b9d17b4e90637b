"""Two or more clips of the same cow on the same day count as one look."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gait.score.model import Measured, is_measured


@dataclass(frozen=True, kw_only=True)
class Combined:
    """A measure combined over clips."""

    value: float
    se: float
    reason: str | None = None


def combine_clips(clips: Sequence[Mapping[str, Measured]]) -> dict[str, Combined]:
    """Combine the measures of several clips of one cow.

    Each measure is the mean weighted by 1 / se². Where the clips differ by more than their errors
    say, the error is widened (Birge ratio; Birge 1932, Phys Rev 40:207-227).

    Parameters
    ----------
    clips : sequence of mappings of str to Measure

    Returns
    -------
    dict of str to Combined
        Measures that no clip has keep the reason of the first.
    """
    names = list(dict.fromkeys(name for clip in clips for name in clip))
    return {name: _combine([clip[name] for clip in clips if name in clip]) for name in names}


def _combine(same: Sequence[Measured]) -> Combined:
    good = [m for m in same if is_measured(m) and m.se > 0]
    if not good:
        reason = next((m.reason for m in same if m.reason), "not measured in any clip.")
        return Combined(value=math.nan, se=math.nan, reason=reason)
    weight = [1 / m.se**2 for m in good]
    total = sum(weight)
    mean = sum(w * m.value for w, m in zip(weight, good, strict=True)) / total
    se = math.sqrt(1 / total)
    if len(good) > 1:
        chi2 = sum(w * (m.value - mean) ** 2 for w, m in zip(weight, good, strict=True))
        se *= max(1.0, math.sqrt(chi2 / (len(good) - 1)))
    return Combined(value=mean, se=se)
