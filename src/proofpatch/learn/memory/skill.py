"""How good were the forecasts? What was said before the fact against what then came.

A forecast scores ln of the chance it gave to what came (proper: nobody gains by saying other than what he believes;
Good, J. R. Stat. Soc. B 14 (1952) 107, from memory). Beside it stands the base rate: the share of such outcomes among
the shop's earlier jobs, as it was known then. Patches of one job hang together, so errors are of jobs, not of patches.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import expect
from proofpatch.learn.belief import Belief, expect_belief
from proofpatch.learn.evidence import HARMS, RESIDUES, Graded
from proofpatch.learn.kernels import patch_logs
from proofpatch.learn.update import patch_arguments
from proofpatch.physics.setting import finite_number

Floats = NDArray[np.float64]
SUREST = 1e-3  # no forecast is scored as surer than this; common practice, no source
FEW = 5  # jobs under which no error is told


@dataclass(frozen=True)
class Foretold:
    """One forecast: chance p of an outcome ("clean", "harm"), said for a job at a time, and whether it came."""

    job: str
    when: float
    outcome: str
    p: float
    came: bool

    def __post_init__(self) -> None:
        finite_number("p", "The chance", self.p, 0.0, 1.0, "")
        finite_number("when", "The time", self.when, -1e12, 1e12, "s")


@dataclass(frozen=True)
class Skill:
    """Forecasts from one time to another: mean score and that of the base rate [nats a forecast].

    gain: of the forecasts over the base rate, mean over jobs. error: its standard error, paired by job; None where
    there are too few.
    """

    first: float
    last: float
    jobs: int
    forecasts: int
    score: float
    base: float
    gain: float
    error: float | None

    @property
    def because(self) -> str:
        """What it comes to."""
        head = f"{self.forecasts} forecasts on {self.jobs} job{'s' if self.jobs != 1 else ''}: "
        if self.error is None:
            return head + "too few to tell skill from luck."
        size = f"{self.gain:+.2f} ± {self.error:.2f} nats a forecast against the shop's own base rate"
        if self.gain > 2 * self.error:
            return f"{head}better than the base rate ({size})."
        if self.gain < -2 * self.error:
            return f"{head}worse than the base rate ({size}): trust patches, not forecasts."
        return f"{head}no better than the base rate as far as can be told ({size})."


def grade_chances(belief: Belief, laid: Sequence[Graded]) -> Floats:
    """(patches, residues, harms) chance the belief gives to each pair of grades, before it learns of them.

    The likelihood reads a grade of harm as "this or worse"; here it is just this, so that all add up to 1.
    """
    expect_belief(belief)
    by_eye = [replace(g, fraction_left=None, fraction_error=None) for g in laid]
    every = [replace(g, residue=r, harm=h) for g in by_eye for r in RESIDUES for h in HARMS]
    logs = patch_logs(belief.layer, belief.substrate, *patch_arguments(belief, every))
    read = (belief.weight @ np.exp(logs)).reshape(len(laid), len(RESIDUES), len(HARMS))
    worse = np.pad(read[:, :, 2:], ((0, 0), (0, 0), (0, 1)))
    just = np.concatenate([read[:, :, :1], read[:, :, 1:] - worse], axis=2)
    return np.asarray(np.maximum(just, 0.0) / just.sum(axis=(1, 2), keepdims=True))


def foretell(belief: Belief, graded: Graded, job: str, when: float) -> tuple[Foretold, Foretold]:
    """What this belief, not yet taught by the patch, said of it: that it is graded clean, and that it shows harm."""
    (chances,) = grade_chances(belief, [graded])
    clean, harm = float(chances[RESIDUES.index("clean")].sum()), float(chances[:, 1:].sum())
    return (
        Foretold(job, when, "clean", min(clean, 1.0), graded.residue == "clean"),
        Foretold(job, when, "harm", min(harm, 1.0), graded.harm != "none"),
    )


def skill(foretold: Sequence[Foretold], periods: int = 1) -> tuple[Skill, ...]:
    """The skill in each of `periods` stretches of equally many jobs, the earliest first.

    Raises:
        InputError: an entry that is no forecast.
    """
    for each in foretold:
        expect("foretold", each, Foretold, "Make them with foretell(belief, graded, job, when).")
    order = sorted(foretold, key=lambda f: (f.when, f.job, f.outcome))
    scores = [_log(f.p, f.came) for f in order]
    base = [_log(p, f.came) for p, f in zip(_base_rates(order), order, strict=True)]
    first_of = {f.job: i for i, f in reversed(list(enumerate(order)))}
    jobs = sorted(first_of, key=lambda job: first_of[job])
    found = []
    for part in np.array_split(np.arange(len(jobs)), min(periods, max(len(jobs), 1))):
        mine = {jobs[i] for i in part}
        chosen = [i for i, f in enumerate(order) if f.job in mine]
        if chosen:
            found.append(_skill(order, scores, base, chosen))
    return tuple(found)


def _skill(order: Sequence[Foretold], scores: list[float], base: list[float], chosen: list[int]) -> Skill:
    gains: dict[str, list[float]] = {}
    for i in chosen:
        gains.setdefault(order[i].job, []).append(scores[i] - base[i])
    each = np.array([np.mean(g) for g in gains.values()])
    error = float(each.std(ddof=1) / math.sqrt(len(each))) if len(each) >= FEW else None
    when = [order[i].when for i in chosen]
    return Skill(
        min(when), max(when), len(each), len(chosen), float(np.mean([scores[i] for i in chosen])),
        float(np.mean([base[i] for i in chosen])), float(each.mean()), error,
    )  # fmt: skip


def _base_rates(order: Sequence[Foretold]) -> list[float]:
    """Share of each outcome among earlier jobs, one of each kind added (Laplace's rule), so that none is 0 or 1."""
    before: dict[str, list[tuple[str, bool]]] = {}
    found = []
    for f in order:
        seen = [came for job, came in before.get(f.outcome, []) if job != f.job]
        found.append((sum(seen) + 1) / (len(seen) + 2))
        before.setdefault(f.outcome, []).append((f.job, f.came))
    return found


def _log(p: float, came: bool) -> float:
    bounded = min(max(p, SUREST), 1 - SUREST)
    return math.log(bounded if came else 1 - bounded)
