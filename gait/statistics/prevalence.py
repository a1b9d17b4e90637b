"""Share of lame cows: interval, herd size, the scorer's known error, how many to score."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gait.errors import MeasureError


@dataclass(frozen=True, kw_only=True)
class Share:
    """A share with its interval, all between 0 and 1.

    ``count`` of ``total`` cows were scored so; ``note`` says in words what limits the figure.
    """

    value: float
    low: float
    high: float
    count: int
    total: int
    note: str = ""


def z_of(level: float) -> float:
    """Return the two-sided standard normal quantile for a level such as 0.95 (1.959964)."""
    from scipy.special import ndtri

    return float(ndtri(0.5 + level / 2))


def wilson_share(
    count: int, total: int, *, level: float = 0.95, herd_size: int | None = None
) -> Share:
    """Return a share with the Wilson score interval.

    Parameters
    ----------
    count : int
        Cows with the trait.
    total : int
        Cows scored.
    level : float
        Coverage, 0.95 by default.
    herd_size : int, optional
        Size of the herd they are taken from. The interval then narrows by the finite herd
        correction, and closes on the share itself when every cow was scored.

    Returns
    -------
    Share
        With NaN for value, low and high when no cow was scored.

    Raises
    ------
    MeasureError
        If the count is not between 0 and the total, or the herd smaller than the total.

    Notes
    -----
    The correction replaces the number scored n by n (N - 1) / (N - n), which shrinks the
    variance p (1 - p) / n by the usual factor (N - n) / (N - 1).

    References
    ----------
    Wilson 1927, J Am Stat Assoc 22:209; Newcombe 1998, Stat Med 17:857 (method 3).
    """
    _check(count, total, herd_size)
    if total == 0:
        nan = math.nan
        return Share(value=nan, low=nan, high=nan, count=0, total=0, note="No cow was scored.")
    share = count / total
    if herd_size == total:
        note = "Every cow was scored."
        return Share(value=share, low=share, high=share, count=count, total=total, note=note)
    n = float(total)
    if herd_size is not None:
        n = total * (herd_size - 1) / (herd_size - total)
    z = z_of(level)
    middle = share + z * z / (2 * n)
    half = z * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    stretch = 1 + z * z / n
    return Share(
        value=share,
        low=0.0 if count == 0 else max(0.0, (middle - half) / stretch),
        high=1.0 if count == total else min(1.0, (middle + half) / stretch),
        count=count,
        total=total,
    )


def _check(count: int, total: int, herd_size: int | None) -> None:
    if not 0 <= count <= total:
        raise MeasureError(f"{count} of {total} cows is not a share.", "Check both numbers.")
    if herd_size is not None and herd_size < total:
        raise MeasureError(
            f"{total} cows were scored but the herd has only {herd_size}.", "Check the herd list."
        )


def wald_half_width(count: int, total: int, herd_size: int, *, level: float = 0.95) -> float:
    """Return half the width of the plain interval with the finite herd correction.

    z sqrt(p (1 - p) / n) sqrt((N - n) / (N - 1)); for planning, where Wilson is not needed.
    """
    _check(count, total, herd_size)
    share = count / total
    spread = math.sqrt(share * (1 - share) / total)
    return z_of(level) * spread * math.sqrt((herd_size - total) / (herd_size - 1))


def cows_to_score(
    herd_size: int,
    *,
    expected_share: float = 0.5,
    half_width: float = 0.10,
    level: float = 0.95,
    z: float | None = None,
    least: int = 0,
    cautious: bool = True,
) -> int:
    """Return how many cows to score for a wanted precision.

    Parameters
    ----------
    herd_size : int
        Cows in the herd.
    expected_share : float
        What is expected; 0.5 asks for most cows.
    half_width : float
        Wanted half width of the interval, as a share: 0.10 = ten points to either side.
    level : float
        Coverage of the interval.
    z : float, optional
        Normal quantile to be used instead of that of ``level`` (tables use 1.96).
    least : int
        Never fewer than this (or the whole herd, if it is smaller).
    cautious : bool
        True rounds up; False rounds to the nearest, as the Welfare Quality table does.

    Raises
    ------
    MeasureError
        If a share or width is not between 0 and 1.

    References
    ----------
    n0 = z^2 p (1 - p) / d^2, n = n0 / (1 + (n0 - 1) / N) (Cochran, Sampling Techniques).
    The table of the Welfare Quality dairy protocol (2009) follows from p = 0.5, d = 0.10,
    z = 1.96, at least 30 cows.
    """
    if not (0 < expected_share < 1 and 0 < half_width < 1):
        raise MeasureError("Expected share and width must lie between 0 and 1.", "")
    z = z_of(level) if z is None else z
    unlimited = z * z * expected_share * (1 - expected_share) / half_width**2
    wanted = unlimited / (1 + (unlimited - 1) / herd_size)
    cows = math.ceil(wanted - 1e-9) if cautious else round(wanted)
    return min(herd_size, max(cows, least))


def corrected_share(
    count: int,
    total: int,
    *,
    sensitivity: float,
    specificity: float,
    level: float = 0.95,
) -> Share:
    """Return the true share of lame cows, given how often the scorer is known to be wrong.

    Parameters
    ----------
    count, total : int
        Cows scored lame, and cows scored.
    sensitivity, specificity : float
        Share of lame cows that the scorer calls lame, and of sound cows that he calls sound.
    level : float
        Coverage of the interval.

    Returns
    -------
    Share
        Cut off at 0 and 1. ``note`` says when the estimate was cut off. The interval takes
        sensitivity and specificity as known exactly, so it is too narrow if they are not.

    Raises
    ------
    MeasureError
        If sensitivity and specificity together are not above 1: then scoring says nothing.

    References
    ----------
    Rogan and Gladen 1978, Am J Epidemiol 107:71: (AP + Sp - 1) / (Se + Sp - 1), with the
    ends of the Wilson interval of AP put through the same formula.
    """
    gain = sensitivity + specificity - 1
    if gain <= 0:
        raise MeasureError(
            "A scorer who is right no more often than by chance cannot be corrected for.",
            "Use figures of sensitivity and specificity that together exceed 1.",
        )
    seen = wilson_share(count, total, level=level)
    raw = (seen.value + specificity - 1) / gain

    def cut(share: float) -> float:
        return min(1.0, max(0.0, (share + specificity - 1) / gain))

    note = ""
    if raw < 0:
        note = "Fewer were called lame than a scorer with this specificity calls lame by mistake."
    elif raw > 1:
        note = "More were called lame than this sensitivity allows."
    return Share(
        value=math.nan if math.isnan(raw) else cut(seen.value),
        low=seen.low if math.isnan(raw) else cut(seen.low),
        high=seen.high if math.isnan(raw) else cut(seen.high),
        count=count,
        total=total,
        note=note or seen.note,
    )
