"""Other lameness scales, for display only. There is no official conversion.

The map is monotone and keeps *lame or not* (5-point >= 3, UK mobility score >= 2, Welfare Quality
>= 1). Going back from a coarser scale gives an interval, never a number.
"""

from __future__ import annotations

from collections.abc import Mapping

MOBILITY_0_3: Mapping[int, tuple[int, ...]] = {1: (0,), 2: (1,), 3: (2,), 4: (2, 3), 5: (3,)}
"""UK 0-3 mobility scores that fit a 1-5 locomotion score; a 4 is 3 if she cannot keep pace."""

WELFARE_QUALITY: Mapping[int, tuple[int, ...]] = {1: (0,), 2: (0,), 3: (1,), 4: (1, 2), 5: (2,)}
"""Welfare Quality dairy (2009) lameness levels 0, 1, 2."""

THREE_POINT: Mapping[int, tuple[int, ...]] = {1: (1,), 2: (1,), 3: (2,), 4: (2, 3), 5: (3,)}


def on_scale(score: int, scale: Mapping[int, tuple[int, ...]] = MOBILITY_0_3) -> str:
    """Return the score on another scale as text, for instance ``2-3``.

    Raises
    ------
    ValueError
        The score is not from 1 to 5.
    """
    if score not in scale:
        raise ValueError(f"A locomotion score is from 1 to 5, not {score}.")
    fits = scale[score]
    return str(fits[0]) if len(fits) == 1 else f"{fits[0]}-{fits[-1]}"


def back_to_locomotion(
    other: int, scale: Mapping[int, tuple[int, ...]] = MOBILITY_0_3
) -> tuple[int, ...]:
    """Return the locomotion scores that may lie behind a score on another scale.

    Raises
    ------
    ValueError
        No locomotion score fits.
    """
    fits = tuple(score for score, others in scale.items() if other in others)
    if not fits:
        raise ValueError(f"{other} is not a score of that scale.")
    return fits
