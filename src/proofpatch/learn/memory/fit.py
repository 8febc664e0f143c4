"""Gibbs draws of what is common to all jobs: effects given spreads, spreads given effects, each exactly.

Given the spreads, (1) of `jobs` is a linear model with normal errors, so the effects are normal: drawn at once, however
they are crossed. Given the effects, the density of one spread is worked out on a grid of ln s, coarse and then fine,
and drawn from there. What pieces have for themselves is integrated out throughout, so that thousands of jobs which say
little hold nothing up.

Source: Ritter & Tanner, J. Am. Stat. Assoc. 87 (1992) 861 (the griddy Gibbs sampler; from memory). Held against
another sampler and by ranks in benchmarks/memory_fit.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from proofpatch.learn.memory.jobs import Readings
from proofpatch.learn.memory.levels import scale_shape

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
WARM, KEPT = 15, 60  # sweeps
MANY, LESS = 1000, 3  # from so many jobs on a third of the sweeps: each spread is then known to a few hundredths
RARELY = 3  # of so many sweeps one gives its covariance, the dearest step of many effects
COARSE = np.linspace(-6.0, 6.0, 49)  # ln s
FINE, DEEP = 33, 12.0  # places of the fine grid; nats below the top where it ends


@dataclass(frozen=True, eq=False)
class Fit:
    """Moments and draws of all effects and spreads.

    mean (effects,), covariance (effects, effects), spreads (scales,): averages of what is known given the rest.
    effect_draws (kept, effects), spread_draws (kept, scales).
    """

    mean: Floats
    covariance: Floats
    spreads: Floats
    effect_draws: Floats
    spread_draws: Floats


def fit(
    readings: Readings, seed: int = 0, warm: int | None = None, kept: int | None = None, shape: float | None = None
) -> Fit:
    """The posterior of effects and spreads from these readings.

    Args:
        readings: of all jobs.
        seed: same seed, same draws.
        warm, kept: sweeps before the draws, and those kept; None: WARM and KEPT, fewer for many jobs.
        shape: of the inverse gamma of the spreads; None: as in shares.csv.
    """
    rng, share = np.random.default_rng(seed), LESS if len(readings.read) >= MANY else 1
    warm, kept = WARM // share if warm is None else warm, KEPT // share if kept is None else kept
    alpha = scale_shape() if shape is None else shape
    effects, scales = len(readings.effects), len(readings.scales)
    spreads = np.ones(scales)
    jobs_of = [np.nonzero(readings.groups == g) for g in range(scales)]
    covariance = np.zeros((effects, effects))
    means: list[Floats] = []
    drawn_effects, drawn_spreads, spread_means = [], [], []
    for sweep in range(warm + kept):
        mean, root = effects_given(readings, spreads)
        drawn = mean + linalg.solve_triangular(root, rng.standard_normal(effects), lower=True, trans="T")
        off = residuals(readings, drawn)
        expected = np.ones(scales)
        for g, (jobs, slots) in enumerate(jobs_of):
            expected[g], spreads[g] = _spread(readings, off, spreads, g, jobs, slots, alpha, rng)
        if sweep >= warm:
            if effects and len(means) % RARELY == 0:
                covariance += _inverse(root)
            means.append(mean)
            drawn_effects.append(drawn)
            drawn_spreads.append(spreads.copy())
            spread_means.append(expected)
    if not means or not effects:
        return Fit(
            np.zeros(effects), np.eye(effects), np.ones(scales), np.zeros((0, effects)), np.zeros((0, scales))
        )  # fmt: skip
    between = np.array(means)
    centre = between.mean(axis=0)
    covariance /= len(means[::RARELY])
    covariance += (between - centre).T @ (between - centre) / kept
    return Fit(
        centre, covariance, np.array(spread_means).mean(axis=0), np.array(drawn_effects), np.array(drawn_spreads)
    )


def effects_given(readings: Readings, spreads: Floats) -> tuple[Floats, Floats]:
    """Mean (effects,) of all effects, and L with L Lᵀ their precision, at these spreads."""
    precision, pull = np.eye(len(readings.effects)), np.zeros(len(readings.effects))
    root = np.linalg.cholesky(readings.spread(spreads))
    for cell in readings.cells:
        both = np.concatenate([cell.reads, readings.read[cell.which, :, None]], axis=2)
        white = np.linalg.solve(root[cell.which], both).reshape(-1, both.shape[2])
        precision[np.ix_(cell.effects, cell.effects)] += white[:, :-1].T @ white[:, :-1]
        pull[cell.effects] += white[:, :-1].T @ white[:, -1]
    if not len(pull):
        return pull, precision
    lower = np.asarray(np.linalg.cholesky(precision))
    return np.asarray(linalg.cho_solve((lower, True), pull)), lower


def residuals(readings: Readings, effects: Floats) -> Floats:
    """g − F Z e (jobs, rank)."""
    off = readings.read.copy()
    for cell in readings.cells:
        off[cell.which] -= cell.reads @ effects[cell.effects]
    return off


def _inverse(root: Floats) -> Floats:
    """(L Lᵀ)⁻¹."""
    half, fault = linalg.lapack.dpotri(root, lower=1)
    if fault:
        raise ValueError("the precision of the effects has no inverse")
    return np.asarray(np.tril(half) + np.tril(half, -1).T)


def _spread(
    readings: Readings, off: Floats, spreads: Floats, g: int, jobs: Whole, slots: Whole, alpha: float,
    rng: np.random.Generator,
) -> tuple[float, float]:  # fmt: skip
    """(mean, draw) of spread g given the effects and the other spreads.

    With S − s V = L Lᵀ and L⁻¹ V L⁻ᵀ = Q diag(w) Qᵀ, and x = Qᵀ L⁻¹ (g − F Z e):

        ln p(s) = −½ Σ (ln(1 + s w) + x²/(1 + s w)) − α ln s − (α − 1)/s                                           (1)

    over ln s.
    """
    matrix = readings.slots[jobs, slots]
    others = spreads.copy()
    others[g] = 0.0
    root = np.linalg.cholesky(readings.spread(others, jobs))
    half = np.linalg.solve(root, matrix)
    w, q = np.linalg.eigh(np.linalg.solve(root, half.transpose(0, 2, 1)))
    white = np.linalg.solve(root, off[jobs][:, :, None])
    x2 = np.ravel((q.transpose(0, 2, 1) @ white)[:, :, 0] ** 2)
    wide = np.maximum(np.ravel(w), 0.0)
    said = wide > 1e-9
    wide, x2 = wide[said], x2[said]

    def log_density(log_s: Floats) -> Floats:
        s = np.exp(log_s)
        grown = 1.0 + wide[:, None] * s
        return np.asarray(-0.5 * (np.log(grown) + x2[:, None] / grown).sum(axis=0) - alpha * log_s - (alpha - 1) / s)

    return _from_grid(log_density, rng)


def _from_grid(log_density: object, rng: np.random.Generator) -> tuple[float, float]:
    """(mean of s, a draw of s) of a density over ln s, first looked at coarsely, then where it stands."""
    assert callable(log_density)
    grid = COARSE
    for _ in range(4):
        logs = log_density(grid)
        top = logs.max()
        high = np.flatnonzero(logs > top - DEEP)
        low, end = max(high[0] - 1, 0), min(high[-1] + 1, len(grid) - 1)
        if len(high) >= FINE // 2:
            break
        grid = np.linspace(grid[low], grid[end], FINE)
    density = np.exp(logs - top)
    step = np.diff(grid)
    share = 0.5 * (density[1:] + density[:-1]) * step
    mean = float((0.5 * (density[1:] * np.exp(grid[1:]) + density[:-1] * np.exp(grid[:-1])) * step).sum() / share.sum())
    i = int(rng.choice(len(share), p=share / share.sum()))
    # Within a step the density runs straight: its own quantile.
    a, b, u = density[i], density[i + 1], rng.random()
    slope = b - a
    t = u if abs(slope) < 1e-12 * (a + b) else (np.sqrt(a * a + u * slope * (a + b)) - a) / slope
    return mean, float(np.exp(grid[i] + t * step[i]))
