"""How true a set of chances was: bins beside what came, one joint test, and two scores against base rates.

Plain numbers in, plain numbers out; `calibration` asks the questions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
TENTHS = tuple(n / 10 for n in range(11))
# Of P(harm): finest where the limits of a job lie (0.003, 0.01, 0.1, as `learn.limits`).
HARM_EDGES = (0.0, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0)
DRAWS = 9999  # of the joint test; p is known to about 0.002 near 0.05
LEAST_CHANCE = 1e-3  # a forecast counts as no surer than this in the log score, whose worst is then 6.9; ours
COVERED = 0.95  # of the interval of a share


@dataclass(frozen=True)
class Bin:
    """One line of a reliability table: questions, mean forecast, how many came true and the interval of their share."""

    low: float
    high: float
    count: int
    forecast: float
    came: int
    least: float
    most: float

    @property
    def holds(self) -> bool:
        """True if the mean forecast lies in the interval."""
        return self.least <= self.forecast <= self.most


@dataclass(frozen=True)
class Scores:
    """Mean score of the forecasts, of the base rate, and of their paired difference with its standard error.

    A score below the base rate's (a difference below 0) is the better one.
    """

    own: float
    base: float
    difference: float
    error: float


def share_interval(came: int, count: int, covered: float = COVERED) -> tuple[float, float]:
    """The shares k of n does not speak against.

        B(α/2; k, n − k + 1) to B(1 − α/2; k + 1, n − k), the quantiles of beta distributions     (1)

    Exact, so never too narrow. Source: Clopper & Pearson, Biometrika 26 (1934) 404 (from memory).
    """
    tail = 0.5 * (1.0 - covered)
    low = float(stats.beta.ppf(tail, came, count - came + 1)) if came > 0 else 0.0
    high = float(stats.beta.ppf(1.0 - tail, came + 1, count - came)) if came < count else 1.0
    return low, high


def place_of(forecast: Floats, edges: tuple[float, ...]) -> NDArray[np.int64]:
    """Index of the bin of each forecast; a bin holds its lower edge, the last one both."""
    return np.asarray(np.clip(np.searchsorted(edges, forecast, side="right") - 1, 0, len(edges) - 2), dtype=np.int64)


def reliability(forecast: Floats, came: Bools, edges: tuple[float, ...]) -> list[Bin]:
    """The bins that hold any question."""
    place = place_of(forecast, edges)
    found = []
    for n, (low, high) in enumerate(pairwise(edges)):
        own = place == n
        if own.any():
            count, true = int(own.sum()), int(came[own].sum())
            found.append(Bin(low, high, count, float(forecast[own].mean()), true, *share_interval(true, count)))
    return found


def joint_test(
    forecast: Floats, came: Bools, edges: tuple[float, ...], rng: np.random.Generator, draws: int = DRAWS
) -> tuple[float, float]:
    """(X², p) of all bins together, if the forecasts were the true chances of questions that do not hang together.

        X² = Σ_b (O_b − Σ p_i)² / Σ p_i (1 − p_i)                       (1)
        p  = (1 + draws whose X² is as large) / (1 + draws)              (2)

    O_b came true in bin b. The outcomes are drawn anew from the forecasts, so bins with few questions, or with chances
    near 0, need no large-sample law; (2) is never too small.

    Args:
        forecast: (questions,) chances.
        came: (questions,) whether it came true.
        edges: of the bins.
        rng: source of the draws.
        draws: how many.

    Source: Davison & Hinkley, Bootstrap Methods and their Application (1997), ch. 4 (from memory).
    """
    place = place_of(forecast, edges)
    member = np.eye(len(edges) - 1)[place][:, np.unique(place)]
    mean, variance = forecast @ member, np.maximum((forecast * (1.0 - forecast)) @ member, 1e-12)

    def statistic(outcomes: Floats) -> Floats:
        return np.asarray(((outcomes @ member - mean) ** 2 / variance).sum(axis=-1))

    drawn = statistic((rng.random((draws, len(forecast))) < forecast).astype(float))
    seen = float(statistic(came.astype(float)))
    return seen, float((1 + (drawn >= seen * (1 - 1e-9)).sum()) / (1 + draws))


def excess(forecast: Floats, came: Bools) -> float:
    """How many standard deviations more came true than forecast: (Σ o − Σ p) / √Σ p (1 − p)."""
    spread = math.sqrt(max(float((forecast * (1.0 - forecast)).sum()), 1e-12))
    return float((came.sum() - forecast.sum()) / spread)


def log_losses(forecast: Floats, came: Bools) -> Floats:
    """−ln of the chance given to what came [nats]; Good, J. R. Stat. Soc. B 14 (1952) 107 (from memory)."""
    sure = np.clip(forecast, LEAST_CHANCE, 1.0 - LEAST_CHANCE)
    return np.asarray(-np.log(np.where(came, sure, 1.0 - sure)))


def brier_losses(forecast: Floats, came: Bools) -> Floats:
    """(p − o)²; Brier, Mon. Weather Rev. 78 (1950) 1 (from memory)."""
    return np.asarray((forecast - came) ** 2)


def base_rates(came: Bools) -> Floats:
    """For each question the share of the others that came true, each outcome counted half a time more.

    (k − o_i + 1/2) / (n − 1 + 1)                                        (1)

    So the base rate has not seen the question it answers, and is never 0 or 1.
    """
    return np.asarray((came.sum() - came + 0.5) / len(came))


def compared(own: Floats, base: Floats) -> Scores:
    """Two methods' losses on the same questions; the error is that of the mean of their differences."""
    apart = own - base
    error = float(apart.std(ddof=1) / math.sqrt(len(apart))) if len(apart) > 1 else math.nan
    return Scores(float(own.mean()), float(base.mean()), float(apart.mean()), error)
