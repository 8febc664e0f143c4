"""One quantity read again and again: has it fallen, and did it fall at once or slowly."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from proofpatch.errors import InputError
from proofpatch.lasers.estimate import Estimate
from proofpatch.physics.setting import finite_number

Floats = NDArray[np.float64]
FALSE_ALARM = 0.05  # how often readings of one and the same power may be called a fall
LEAST_FOR_SHAPE = 5  # readings from which a step and a drift can be told apart
EVIDENCE = 6.0  # 2 ln of how much likelier one shape must be than the other; 6 is twenty times
STEP, DRIFT = "step", "drift"


@dataclass(frozen=True)
class Trend:
    """The latest reading against the best before it.

    change: latest over best − 1 [1]. since: date of the best. fallen: beyond what reading errors do. shape: "step"
    (between the two dates of `between`), "drift", or "" where the readings cannot tell.
    """

    change: Estimate
    since: datetime.date
    latest: datetime.date
    fallen: bool
    shape: str = ""
    between: tuple[datetime.date, datetime.date] | None = None


def trend(dates: Sequence[datetime.date], values: Sequence[float], error: float) -> Trend | None:
    """The latest reading against the best before it; None for fewer than two.

        fallen where  1 − y_n/y_best > z √2 σ,  z the normal quantile of 1 − 0.05/(n − 1)    (1)

    The best of several readings is high by luck, so each earlier one gets only its part of the false alarms
    (Bonferroni). The shape is looked for in the readings from the best on, and those just before that are as good: a
    step after which it stays, or a straight fall in time; the likelier by twenty to one, a step paying for its date
    (Schwarz), is named.

    Args:
        dates: of the readings, any order; of one day the later in the list counts as later.
        values: of one quantity on one scale, > 0.
        error: σ, one standard deviation of a reading over its value, > 0 [1].

    Raises:
        InputError: a number that is none, or as many dates as values are not given.

    Source: textbook tests; G. Schwarz, Ann. Stat. 6, 461 (1978) (from memory).
    """
    sigma = finite_number("error", "The reading error", error, 1e-6, 1.0, "")
    if len(dates) != len(values):
        raise InputError("values", f"There are {len(dates)} dates and {len(values)} values.", "Give one for each.")
    found = [finite_number("values", "A reading", v, 1e-12, 1e12, "") for v in values]
    order = sorted(range(len(found)), key=lambda i: dates[i])
    if len(order) < 2:
        return None
    day = [dates[i] for i in order]
    y = np.array([found[i] for i in order])
    # Of equal best readings the newest, so that "since" says when it was last so good.
    best = len(y) - 2 - int(np.argmax(y[-2::-1]))
    change, width = float(y[-1] / y[best]) - 1, math.sqrt(2) * sigma
    half = float(ndtri(0.95)) * width
    beyond = float(ndtri(1 - FALSE_ALARM / (len(y) - 1))) * width
    fallen = change < -beyond
    shape, between = "", None
    begin = best
    while begin and y[begin - 1] >= y[best] * (1 - beyond):
        begin -= 1
    if fallen and len(y) - begin >= LEAST_FOR_SHAPE:
        shape, between = _shape(day[begin:], y[begin:], sigma)
    return Trend(Estimate(change, change - half, change + half), day[best], day[-1], fallen, shape, between)


def _shape(
    day: Sequence[datetime.date], y: Floats, sigma: float
) -> tuple[str, tuple[datetime.date, datetime.date] | None]:
    """(step or drift, dates a step lies between), or nothing where neither is clearly likelier."""
    s = sigma * y.max()
    t = np.array([d.toordinal() for d in day], dtype=float)
    t -= t.mean()
    if not t.any():
        return "", None
    line = y - y.mean() - (t @ y) / (t @ t) * t
    cuts = [k for k in range(1, len(y)) if day[k] > day[k - 1]]
    left = [float(np.sum((y[:k] - y[:k].mean()) ** 2) + np.sum((y[k:] - y[k:].mean()) ** 2)) / s**2 for k in cuts]
    cut = int(np.argmin(left))
    drift, step = float(line @ line) / s**2, left[cut] + math.log(len(y))  # a step has a date besides its two levels
    if abs(drift - step) < EVIDENCE:
        return "", None
    if drift < step:
        return DRIFT, None
    return STEP, (day[cuts[cut] - 1], day[cuts[cut]])
