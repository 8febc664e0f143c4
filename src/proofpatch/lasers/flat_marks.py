"""Marks of a beam with a flat part: least squares over the threshold, and over how much of the beam is flat."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from proofpatch.errors import InputError
from proofpatch.lasers.estimate import MISFIT, NINE_IN_TEN, NORMAL_90
from proofpatch.physics.beam import threshold_radius

Floats = NDArray[np.float64]
DEEPEST = 7.0  # ln of energy over threshold beyond which an end counts as not bounded
STEPS = 400
SHARES, SHARES_TRIED = 51, 21  # of the grid where the share is fitted, and where one is only checked
FINEST = 1e-3  # no diameter is read finer than this share of itself


class MarkSearch:
    """Sums of squares over a grid of top-hat shares and ln E_th, refined once around all that fit.

        D² = 4 w² u(E/E_th, m),  u the square of the mark's radius in units of w     (1)

    For a given m and E_th this is linear in w², so the grid finds the best wherever the others dip.

    pulse_energy [J], square: D² [m²], shares: of the grid, reach: (lowest, highest) ln E_th [ln J], floor: least
    variance of D² that is believed [m⁴], unknowns: how many the fit has.
    """

    def __init__(
        self,
        pulse_energy: Floats,
        square: Floats,
        shares: Floats,
        reach: tuple[float, float],
        floor: float,
        unknowns: int,
    ) -> None:
        self.energies, self.y, self.shares, self.unknowns = pulse_energy, square, shares, unknowns
        self.freedom = len(square) - unknowns
        self._lay(np.linspace(*reach, STEPS, endpoint=False))
        self._bound(floor)
        inside = np.flatnonzero((self.squares <= self.limit).any(axis=0))
        step = self.logs[1] - self.logs[0]
        low = max(self.logs[inside[0]] - step, reach[0])
        self._lay(np.linspace(low, min(self.logs[inside[-1]] + step, reach[1]), STEPS, endpoint=False))
        self._bound(floor)

    def _lay(self, logs: Floats) -> None:
        self.logs = logs
        ratio = self.energies / np.exp(logs)[:, None]
        m = self.shares[:, None, None]
        # With w = 1 and E = π E/E_th the threshold fluence is 2 − m: r² is the square of D/2w.
        shape = threshold_radius(2 - m, np.pi * ratio, 1.0, m) ** 2
        size = np.maximum((shape**2).sum(axis=2), 1e-12)
        self.square = (shape @ self.y) / (4 * size)  # (1), best w²
        self.squares = (self.y @ self.y) - (shape @ self.y) ** 2 / size
        self.size = size

    def _bound(self, floor: float) -> None:
        least = float(self.squares.min())
        self.variance = max(least / self.freedom, floor)
        self.limit = least + stdtrit(self.freedom, NINE_IN_TEN) ** 2 * self.variance

    @property
    def least(self) -> float:
        """Smallest sum of squares."""
        return float(self.squares.min())

    def region(self) -> tuple[Floats, Floats, Floats]:
        """(E_th, w², share), the best first, then the rim of all that fit."""
        best = np.unravel_index(int(np.argmin(self.squares)), self.squares.shape)
        i, j = np.nonzero(self.squares <= self.limit)
        wide = np.sqrt((self.limit - self.squares[i, j]) / (16 * self.size[i, j]))
        square = self.square[i, j]
        narrow = np.maximum(square - wide, 1e-6 * square)
        return (
            np.exp(self.logs[np.concatenate([[best[1]], j, j])]),
            np.concatenate([[self.square[best]], narrow, square + wide]),
            self.shares[np.concatenate([[best[0]], i, i])],
        )


def search_marks(energies: Floats, diameters: Floats, share: float | None, error: float) -> MarkSearch:
    """The search at this share, or over all shares.

    Args:
        energies: E [J]. diameters: D, 0 where no mark is left [m].
        share: m [1]; None: over all.
        error: half the 90 % width of how finely a diameter is read [m].

    Raises:
        InputError: another share fits clearly better than the stated one (F test of one more unknown).
    """
    y = diameters**2
    floor = float(np.mean((2 * diameters * np.maximum(error / NORMAL_90, FINEST * diameters)) ** 2))
    marked = energies[diameters > 0]
    reach = (math.log(marked.min()) - DEEPEST, math.log(marked.max()))
    shares = np.linspace(0.0, 1.0, SHARES if share is None else SHARES_TRIED)
    free = MarkSearch(energies, y, shares if share is None else np.append(shares, share), reach, floor, 3)
    search = free if share is None else MarkSearch(energies, y, np.array([share]), reach, floor, 2)
    excess = math.sqrt(max(search.least - free.least, 0.0) / free.variance)  # F test of one more unknown
    if 2 * stdtr(free.freedom, -excess) <= MISFIT:
        raise InputError(
            "marks",
            f"The marks follow a top-hat share near {free.region()[2][0]:.2g}, not the {share:.2g} they are read with.",
            "State another share, have it fitted, or leave out marks that heat has widened.",
        )
    return search
