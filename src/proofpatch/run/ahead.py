"""What is left of a day, as a range: the offer's own draws, corrected by the minutes really needed so far.

    ln R' = ln R + b (ln d − ln D),   b = cov(ln R, ln D)/var(ln D)                     (1)

D what a draw of the offer gives to the work that is done, R to the rest, d the time it really took. It is the normal
conjugate update on logarithms, every draw moved by it: what done and left have in common (the hand's day, overlap,
turning) is corrected, what each zone has for itself (its area, a window that had to be cleaned) is not. b is 0 where
nothing is done, near 1 where much is. A zone that is open has taken longer than nought: draws in which it would be over
by now are left out.

Source: regression adjustment of draws, Beaumont, Zhang & Balding, Genetics 162 (2002) 2025 (from memory).
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.units import show

Floats = NDArray[np.float64]
RANGE = (0.1, 0.5, 0.9)  # 8 days in 10 end between the outer two
LEAST_DRAWS = 20
LONGER = 1.1  # a zone that has taken longer than every draw is taken to last a tenth longer still (ours)
ROUNDED = datetime.timedelta(minutes=5)


@dataclass(frozen=True)
class Ahead:
    """What is left. left: (10 %, middle, 90 %) [s]. pace: time taken over the middle of what was thought, or None.

    finish: the same as times of the clock, to five minutes; None without one.
    """

    left: tuple[float, float, float]
    pace: float | None
    finish: tuple[datetime.datetime, datetime.datetime, datetime.datetime] | None
    words: str


def ahead(
    seconds: Any, shares: Sequence[float], taken: Sequence[float], open_zone: int | None = None, elapsed: float = 0.0,
    now: datetime.datetime | None = None,
) -> Ahead:  # fmt: skip
    """What is left of the work at the zones.

    Args:
        seconds: (zones, samples) of `offer.hours.zone_seconds`.
        shares: done of each zone, 0 to 1: passes laid over those of the recipe. taken: seconds each really took for it.
        open_zone: index of the one being worked on, from 0. elapsed: seconds since its last begin.
        now: for the finish on the clock.

    Raises:
        InputError: shares or times that fit no zones, or cannot be.
    """
    z, s, t = np.asarray(seconds, float), np.asarray(shares, float), np.asarray(taken, float)
    if z.ndim != 2 or s.shape != (len(z),) or t.shape != (len(z),):
        raise InputError("zones", "Shares and times do not fit the zones.", "Give one of each for every zone.")
    if not (np.all((s >= 0) & (s <= 1)) and np.all((t >= 0) & np.isfinite(t)) and 0 <= elapsed < 1e9):
        raise InputError("zones", "A share is not from 0 to 1, or a time is below zero.", "Check the log of the run.")
    rest = (1.0 - s)[:, None] * z
    counted = (s > 0) & (t > 0)
    factor, pace = _correction(z, rest, s, t, counted)
    rest = rest * factor
    if open_zone is not None:
        rest = _still_open(rest, open_zone, elapsed)
    low, middle, high = (float(q) for q in np.quantile(rest.sum(axis=0), RANGE))
    finish = None
    if now is not None and high > 0:
        finish = (_clock(now, low), _clock(now, middle), _clock(now, high))
    return Ahead(
        (low, middle, high),
        pace,
        finish,
        _words((low, middle, high), pace, finish, now, f"{int((s >= 1).sum())} of {len(z)}"),
    )


def _correction(z: Floats, rest: Floats, s: Floats, t: Floats, counted: NDArray[np.bool_]) -> tuple[Any, float | None]:
    """(factor on every draw of the rest (samples,), pace) by (1)."""
    if not counted.any():
        return 1.0, None
    done = (s[counted, None] * z[counted]).sum(axis=0)
    took = float(t[counted].sum())
    pace = took / float(np.median(done))
    left = rest.sum(axis=0)
    if not np.all(left > 0):
        return 1.0, pace
    x, y = np.log(done), np.log(left)
    wide = float(np.var(x))
    slope = float(np.mean((x - x.mean()) * (y - y.mean()))) / wide if wide > 0 else 0.0
    return np.exp(slope * (np.log(took) - x)), pace  # (1)


def _still_open(rest: Floats, zone: int, elapsed: float) -> Floats:
    """The rest after the time that ran in the open zone."""
    longer = rest[zone] > elapsed
    if longer.sum() >= LEAST_DRAWS:
        kept = rest[:, longer].copy()
    else:
        kept = rest.copy()
        kept[zone] = np.maximum(kept[zone], LONGER * elapsed)
    kept[zone] -= elapsed
    return kept


def _clock(now: datetime.datetime, seconds: float) -> datetime.datetime:
    """The time so far ahead, to five minutes."""
    then = now + datetime.timedelta(seconds=seconds)
    midnight = then.replace(hour=0, minute=0, second=0, microsecond=0)
    return midnight + round((then - midnight) / ROUNDED) * ROUNDED


def _words(
    left: tuple[float, float, float], pace: float | None,
    finish: tuple[datetime.datetime, datetime.datetime, datetime.datetime] | None, now: datetime.datetime | None,
    zones: str,
) -> str:  # fmt: skip
    if left[2] <= 0:
        return "All zones are done."
    low, high = (show(one, "duration", like=left[2]) for one in (left[0], left[2]))
    said = f"{zones} zones done. {low} to {high} are left at the piece, 8 times in 10."
    if pace is not None:
        said += f" So far it took {pace:.2g} times the middle of what was thought."
    if finish is not None and now is not None:
        if finish[2].date() == now.date():
            said += f" The last zone ends between {finish[0]:%H:%M} and {finish[2]:%H:%M} without longer breaks."
        else:
            said += " It does not end today."
    return said
