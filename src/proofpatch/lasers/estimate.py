"""A measured value with its interval, always the middle 90 %."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

Floats = NDArray[np.float64]
NINE_IN_TEN = 0.95  # quantile at the upper end of the middle 90 %
MISFIT = 0.01  # how often readings that follow a law may be said not to
UNEVEN = 0.03  # how far pulse and card themselves scatter, over the size of a mark (common practice, no source)
NORMAL_90 = 1.6448536269514722  # half the 90 % width over the standard deviation of a normal


@dataclass(frozen=True)
class Estimate:
    """A value and the ends of its 90 % interval, in the value's unit; an end that nothing bounds is 0 or infinite."""

    value: float
    low: float
    high: float

    def holds(self, value: float) -> bool:
        """True if the interval holds this value."""
        return self.low <= value <= self.high

    def times(self, factor: float) -> Estimate:
        """The same of a quantity `factor` > 0 times as large."""
        return Estimate(self.value * factor, self.low * factor, self.high * factor)

    def __or__(self, other: Estimate) -> Estimate:
        """This value, with an interval that spans both."""
        return Estimate(self.value, min(self.low, other.low), max(self.high, other.high))


def spanned(values: Any) -> Estimate:
    """The first value with the ends of all."""
    return Estimate(float(values[0]), float(np.min(values)), float(np.max(values)))


def explained(rest: Floats, size: Floats, reading_error: float, freedom: int) -> bool:
    """False if readings lie further off their law than reading, pulse and card explain (χ² test).

    Args:
        rest: readings minus law. size: of what was read, in the same unit.
        reading_error: half its 90 % width, in the same unit; 0: not known, so nothing is said.
        freedom: readings less unknowns.
    """
    if reading_error == 0.0:
        return True
    allowed = np.hypot(reading_error / NORMAL_90, UNEVEN * size)
    return bool(chdtrc(freedom, float(np.sum((rest / allowed) ** 2))) > MISFIT)
