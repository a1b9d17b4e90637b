"""One measurement: a number with its standard error, or the reason why there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist


@dataclass(frozen=True, kw_only=True)
class Measure:
    """A measurement of one cow in one pass.

    Parameters
    ----------
    value : float
        The measurement in `unit`; NaN when it could not be had.
    se : float
        Standard error in `unit`: value +- 1.645 se is meant to hold the truth in nine cases of
        ten. It holds the scatter of this pass's strides or of the fit, and a floor for what the
        network adds alike to all frames; the floors are set on drawn films, real ones may be off
        by more. NaN when `value` is.
    unit : str
        For instance ``"s"``, ``"% of withers height"``, or ``"1"`` for a pure number.
    strides : int
        Number of strides the value rests on; 0 for a photo.
    reason : str or None
        Why there is no value and what to do next, one or two sentences. None when there is one.

    Raises
    ------
    ValueError
        If a value comes with a reason, a missing one without, or a value without its error.
    """

    value: float
    se: float
    unit: str
    strides: int
    reason: str | None = None

    def __post_init__(self) -> None:
        if math.isnan(self.value) != (self.reason is not None):
            raise ValueError("A measure has either a value or a reason why it has none.")
        if math.isfinite(self.value) and not self.se >= 0:
            raise ValueError(f"A value needs a standard error, not {self.se}.")

    @property
    def is_known(self) -> bool:
        """Whether there is a value."""
        return self.reason is None

    def interval(self, level: float = 0.9) -> tuple[float, float]:
        """Return the interval that should hold the truth in a share `level` of cases, in `unit`."""
        reach = NormalDist().inv_cdf(0.5 + level / 2) * self.se
        return self.value - reach, self.value + reach

    def as_json(self) -> dict[str, float | int | str | None]:
        """Return plain values for JSON; a missing number becomes null, never zero."""

        def plain(number: float) -> float | None:
            return float(number) if math.isfinite(number) else None

        return {
            "value": plain(self.value),
            "se": plain(self.se),
            "unit": self.unit,
            "strides": int(self.strides),
            "reason": self.reason,
        }


def known(value: float, se: float, unit: str, strides: int) -> Measure:
    """Return a measurement that could be had."""
    return Measure(value=float(value), se=float(se), unit=unit, strides=int(strides))


def missing(unit: str, reason: str, strides: int = 0) -> Measure:
    """Return a measurement that could not be had, and why."""
    return Measure(value=math.nan, se=math.nan, unit=unit, strides=strides, reason=reason)
