"""What confirmed pieces make of the tests' likelihoods, and what they may never do.

Of the pieces that turned out to be one finish, N answered a test and n of them with one value. With p the table's share
of that value, counted as w pieces,

    share = (w p + n) / (w + N)                                                                                    (1)

which is the mean of a Dirichlet-multinomial. A finish of which no piece is confirmed stays as the table has it.

The tables stay the floor of safety. On each ground, with q the chances that the table alone gives for the same
readings and r those of the refit, the chances are

    max(c r, q of what is hazardous, else 0),  c so that they add to 1                                             (2)

the nearest to r that lower none that is hazardous: of all that hold those floors they have the least Kullback-Leibler
divergence from r. The chances of the grounds stay the table's. `held` and `stricter` are the one place for that.

Source of (1): Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), §3.4 (from memory, unverified).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from proofpatch.survey.clear import Stop

Floats = NDArray[np.float64]
WEIGHT = 10.0  # confirmed pieces that a row of the tables counts as; ours, from memory, unverified


@dataclass(frozen=True)
class Counts:
    """How confirmed pieces answered. rows: (finish, test, value, pieces), a piece once a test and less where its
    reading counts less; pieces: how many pieces stand behind them."""

    rows: tuple[tuple[str, str, str, float], ...] = ()
    pieces: int = 0

    def of(self, finish: str, test: str) -> Mapping[str, float]:
        """{value: pieces} of one finish and test; empty where none is confirmed."""
        return _by_cell(self.rows).get((finish, test), {})


NONE = Counts()


@lru_cache(maxsize=16)
def _by_cell(rows: tuple[tuple[str, str, str, float], ...]) -> dict[tuple[str, str], dict[str, float]]:
    found: dict[tuple[str, str], dict[str, float]] = {}
    for finish, test, value, pieces in rows:
        cell = found.setdefault((finish, test), {})
        cell[value] = cell.get(value, 0.0) + pieces
    return found


def shrunk(share: float, answered: float, all_: float, weight: float = WEIGHT) -> float:
    """(1). share: p. answered: n. all_: N, ≥ n. weight: w > 0. All [1]."""
    return (weight * share + answered) / (weight + all_)


def held(table: Floats, refit: Floats, hazardous: NDArray[np.bool_]) -> Floats:
    """(2) on each ground.

    Args:
        table, refit: (grounds, finishes) chances, each of which adds to 1. hazardous: (finishes,).

    Returns:
        (grounds, finishes) chances; of no hazardous finish, on any ground, less than `table`.
    """
    found = np.zeros_like(table)
    for at, (ours, theirs) in enumerate(zip(table, refit, strict=True)):
        under = ours.sum()
        if under > 0.0:
            wanted = theirs / theirs.sum() if theirs.sum() > 0.0 else ours / under
            found[at] = under * _above(wanted, np.where(hazardous, ours / under, 0.0))
    return np.asarray(np.maximum(found, np.where(hazardous, table, 0.0)))


def _above(wanted: Floats, floor: Floats) -> Floats:
    """max(c wanted, floor), adding to 1; each round more stand on their floor, so it ends."""
    low = np.zeros(len(wanted), dtype=bool)
    while True:
        free = wanted[~low].sum()
        scale = max(1.0 - floor[low].sum(), 0.0) / free if free > 0.0 else 0.0
        more = ~low & (scale * wanted < floor)
        if not more.any():
            return np.where(low, floor, scale * wanted)
        low |= more


def stricter(table: Sequence[Stop], refit: Sequence[Stop]) -> tuple[Stop, ...]:
    """The stops of both, each hazard once and open where either has it open; the open ones first."""
    found: dict[tuple[str, str], Stop] = {}
    for stop in (*refit, *table):
        key = stop.hazard, stop.reason if stop.never else ""
        if key not in found or (stop.open and not found[key].open):
            found[key] = stop
    return tuple(sorted(found.values(), key=lambda stop: (not stop.open, not stop.never)))
