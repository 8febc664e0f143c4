"""Is what updates believe the posterior? Against another sampler, and by the ranks of truths among the draws.

Run: python benchmarks/posterior.py             2 data sets, 60 replications: prints
     python benchmarks/posterior.py --write     20 data sets, 300 replications: writes docs/posterior.md

The other sampler is emcee (Foreman-Mackey et al., PASP 125 (2013) 306, from memory), an ensemble of walkers with
differential-evolution moves, started from the prior, the mixture summed out: it shares the likelihood with
`learn.update`, but neither tempering, resampling nor its moves. Two long runs show whether it has converged.
Ranks: Talts et al., arXiv 1804.06788 (from memory): over truths drawn from the prior and graded by the model, the rank
of the truth among independent posterior draws is uniform for anything computed from both.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context

import emcee
import numpy as np
from numpy.typing import NDArray
from posterior_cases import LASER, SURFACES, Case, draw_case, likelihood, names_of, promises
from scipy import special, stats
from stamp import DOCS, stamp

import proofpatch as pp
from proofpatch.learn.belief import DRAWS
from proofpatch.learn.unknowns import latents

Floats = NDArray[np.float64]
NEAR, SHARE = 0.1, 0.95  # standard deviations; of parameters that are to be so near
CONVERGED = 0.03  # standard deviations between two runs of the reference, for SHARE of parameters
WALKERS, STEPS, BURN, THIN = 512, 2400, 500, 10
KEPT = 63  # draws a rank is taken among, of all: near to independent
BINS = 16
SURE = 0.01  # joint chance under which ranks are not uniform
ALSO = ("P(clean)", "P(harm)", "ln likelihood")


@dataclass(frozen=True)
class Moments:
    """Of every unknown on its normal scale, then of P(clean) and P(harm) at a setting: mean and standard deviation."""

    mean: Floats
    sd: Floats


def moments(values: Floats, weight: Floats) -> Moments:
    """Weighted moments of values (draws, quantities)."""
    mean = weight @ values
    return Moments(mean, np.sqrt(weight @ (values - mean) ** 2))


def reference(case: Case, seed: int, walkers: int = WALKERS, steps: int = STEPS, burn: int = BURN) -> list[Moments]:
    """Moments by the other sampler, of the first and the second half of one run."""
    table, logs = latents(case.surface), likelihood(case)
    unknowns, shares = len(table.names), np.log(table.weights)

    def parts(z: Floats) -> Floats:
        each = [share + logs(z, np.full(len(z), c)) for c, share in enumerate(shares)]
        return np.stack(each, axis=1)

    def target(z: Floats) -> Floats:
        return np.asarray(special.logsumexp(parts(z), axis=1) - 0.5 * (z**2).sum(axis=1))

    moves = [(emcee.moves.DEMove(), 0.9), (emcee.moves.DEMove(gamma0=1.0), 0.1)]
    sampler = emcee.EnsembleSampler(walkers, unknowns, target, moves=moves, vectorize=True)
    sampler.random_state = np.random.RandomState(seed).get_state()  # what emcee takes
    start = np.random.default_rng(seed).standard_normal((walkers, unknowns))
    sampler.run_mcmc(start, (burn + steps) // THIN, thin_by=THIN, skip_initial_state_check=True)
    chain = sampler.get_chain(discard=burn // THIN)
    return [_summed_out(case, half.reshape(-1, unknowns), parts) for half in np.array_split(chain, 2)]


def _summed_out(case: Case, z: Floats, parts: Callable[[Floats], Floats]) -> Moments:
    """Moments with P(clean) and P(harm) averaged over the mixture as each draw leaves it."""
    each = special.softmax(parts(z), axis=1)
    found = moments(z, np.full(len(z), 1 / len(z)))
    both = [np.stack(promises(case, z, np.full(len(z), c)), axis=1) for c in range(each.shape[1])]
    weight = np.concatenate(list(each.T)) / len(z)
    promised = moments(np.concatenate(both), weight)
    return Moments(np.append(found.mean, promised.mean), np.append(found.sd, promised.sd))


def pooled(parts: Sequence[Moments]) -> Moments:
    """Of equally many draws of each part."""
    means, variances = np.array([m.mean for m in parts]), np.array([m.sd**2 for m in parts])
    return Moments(means.mean(axis=0), np.sqrt(variances.mean(axis=0) + means.var(axis=0)))


def r_hat(parts: Sequence[Moments]) -> Floats:
    """√((W + B)/W) of each quantity: W the mean variance within the parts, B the variance between their means.

    Source: Gelman & Rubin, Stat. Sci. 7 (1992) 457, for long parts (from memory).
    """
    means, within = np.array([m.mean for m in parts]), np.array([m.sd**2 for m in parts]).mean(axis=0)
    return np.asarray(np.sqrt(1.0 + means.var(axis=0, ddof=1) / np.maximum(within, 1e-30)))


def off(a: Moments, b: Moments) -> tuple[Floats, Floats]:
    """|difference| of the means and of the standard deviations, in standard deviations of b."""
    sd = np.maximum(b.sd, 1e-3)  # a chance that is next to 0 or 1 in nearly every draw has none
    return np.abs(a.mean - b.mean) / sd, np.abs(a.sd - b.sd) / sd


@dataclass(frozen=True)
class Agreement:
    """One data set: means and sds off the reference, how far two runs of it differ (means, sds), and R-hat."""

    case: Case
    means: Floats
    sds: Floats
    gap_means: Floats
    gap_sds: Floats
    r_hat: Floats
    seconds: float


def ours(case: Case, draws: int = DRAWS) -> tuple[Moments, float]:
    """Moments by `learn.update`, and its seconds."""
    start = pp.prior(case.surface, LASER, seed=case.seed, draws=draws)
    began = time.perf_counter()
    belief = pp.update(start, case.evidence)
    seconds = time.perf_counter() - began
    both = np.stack(promises(case, belief.z, belief.component), axis=1)
    return moments(np.column_stack([belief.z, both]), belief.weight), seconds


def agreement(case: Case, walkers: int = WALKERS, steps: int = STEPS, burn: int = BURN) -> Agreement:
    """Ours against two runs of the other sampler."""
    runs = [reference(case, seed, walkers, steps, burn) for seed in (2 * case.seed + 1, 2 * case.seed + 2)]
    found, seconds = ours(case)
    every = runs[0] + runs[1]
    return Agreement(
        case, *off(found, pooled(every)), *off(pooled(runs[0]), pooled(runs[1])), r_hat=r_hat(every), seconds=seconds
    )


def shares(found: Sequence[Agreement]) -> dict[str, float]:
    """Over all quantities of all data sets, how many are near, and how well the reference knows itself."""
    means, sds = np.concatenate([a.means for a in found]), np.concatenate([a.sds for a in found])
    gaps = np.concatenate([np.append(a.gap_means, a.gap_sds) for a in found])
    return {
        "means": float((means <= NEAR).mean()),
        "sds": float((sds <= NEAR).mean()),
        "both": float(((means <= NEAR) & (sds <= NEAR)).mean()),
        "worst": float(max(means.max(), sds.max())),
        "reference apart": float(np.quantile(gaps, SHARE)),
        "reference apart, worst": float(gaps.max()),
        "R-hat": float(np.concatenate([a.r_hat for a in found]).max()),
    }


def rank(values: Floats, truth: float, rng: np.random.Generator) -> int:
    """Of the truth among the values, 0 to len(values); among equals by chance."""
    return int((values < truth).sum() + rng.integers((values == truth).sum() + 1))


def replication(seed: int) -> dict[str, int]:
    """Ranks of one truth: of every unknown, of P(clean), P(harm) at a setting, of the likelihood of the grades."""
    case = draw_case(SURFACES[seed % len(SURFACES)], 50_000 + seed, coarse=True)
    belief = pp.update(pp.prior(case.surface, LASER, seed=seed), case.evidence)
    rng = np.random.default_rng([seed, 63])
    kept = rng.choice(belief.draws, KEPT, replace=False)
    z = np.vstack([belief.z[kept], case.z])
    component = np.append(belief.component[kept], case.component)
    columns = dict(zip(names_of(case.surface), z.T, strict=True))
    columns |= dict(zip(ALSO, (*promises(case, z, component), likelihood(case)(z, component)), strict=True))
    return {name: rank(values[:-1], float(values[-1]), rng) for name, values in columns.items()}


def uniformity(ranks: NDArray[np.int64]) -> float:
    """Chance of ranks at least so uneven over BINS bins, were they uniform (χ²)."""
    counts = np.bincount(ranks * BINS // (KEPT + 1), minlength=BINS)
    return float(stats.chisquare(counts).pvalue)


def calibration(replications: int, first: int = 0) -> dict[str, NDArray[np.int64]]:
    """Ranks of everything that all surfaces have, over so many truths."""
    every = [replication(first + n) for n in range(replications)]
    common = [name for name in every[0] if all(name in ranks for ranks in every)]
    return {name: np.array([ranks[name] for ranks in every]) for name in common}


def joint(ranks: dict[str, NDArray[np.int64]]) -> tuple[float, str]:
    """(Bonferroni's chance, quantity): the least chance times how many; holds however they hang together."""
    chances = {name: uniformity(r) for name, r in ranks.items()}
    least = min(chances, key=lambda name: chances[name])
    return min(1.0, chances[least] * len(chances)), least


def data_sets(count: int) -> list[Case]:
    """Seeded ones, the surfaces in turn."""
    return [draw_case(SURFACES[seed % len(SURFACES)], seed) for seed in range(count)]


def study(sets: int = 20, replications: int = 300) -> list[str]:
    """The whole study as lines of a page."""
    began, found = time.perf_counter(), []
    cases = data_sets(sets)  # first: what this process compiles is compiled for the threads it has
    os.environ |= {"NUMBA_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        for agreed in pool.map(agreement, cases):
            found.append(agreed)
            print(row(agreed), flush=True)
    ranks = calibration(replications)
    chance, least = joint(ranks)
    s = shares(found)
    met = "reached" if min(s["means"], s["sds"]) >= SHARE else "**not reached**"
    known = "reached" if s["reference apart"] <= CONVERGED else "**not reached**"
    even = "reached" if chance > SURE else "**not reached**"
    return [
        *INTRODUCTION,
        stamp(f"Seeds 0 to {sets - 1} and 50000 to {50_000 + replications - 1}"),
        "",
        "## Against another sampler",
        "",
        f"- Means within {NEAR} sd: {s['means']:.1%}; sds: {s['sds']:.1%}; both: {s['both']:.1%}"
        f" (asked {SHARE:.0%} of each: {met}); the farthest {s['worst']:.2f} sd.",
        f"- Two runs of the reference apart by {s['reference apart']:.3f} sd or less in {SHARE:.0%} of means and sds"
        f" (asked {CONVERGED}: {known}), at most {s['reference apart, worst']:.3f}; worst R-hat of their four halves"
        f" {s['R-hat']:.4f}.",
        "",
        "| data set | surface | patches | means near | sds near | farthest | runs apart (95 %) | R-hat | update [s] |",
        "|---|---|---|---|---|---|---|---|---|",
        *(row(a) for a in found),
        "",
        "## Ranks of the truth",
        "",
        f"{replications} truths, {len(ranks)} quantities, rank among {KEPT} of {DRAWS} draws, χ² over {BINS} bins:"
        f" joint chance (Bonferroni) {chance:.3f}, least for {least} (asked over {SURE}: {even}).",
        "",
        "| quantity | chance | mean rank (½) | in the middle half (½) |",
        "|---|---|---|---|",
        *(rank_row(name, r) for name, r in ranks.items()),
        "",
        f"Took {time.perf_counter() - began:.0f} s.",
    ]


def row(a: Agreement) -> str:
    """One data set in the table."""
    names = " on ".join(["+".join(coat.title for coat in a.case.surface.coats), a.case.surface.substrate])
    gap = np.quantile(np.append(a.gap_means, a.gap_sds), SHARE)
    near = [f"{(x <= NEAR).mean():.0%}" for x in (a.means, a.sds)]
    far = max(a.means.max(), a.sds.max())
    patches = len(a.case.evidence)
    numbers = f"{near[0]} | {near[1]} | {far:.2f} | {gap:.3f} | {a.r_hat.max():.4f} | {a.seconds:.2f}"
    return f"| {a.case.seed} | {names} | {patches} | {numbers} |"


def rank_row(name: str, ranks: NDArray[np.int64]) -> str:
    """One quantity in the table."""
    middle = np.abs(ranks - KEPT / 2) < (KEPT + 1) / 4
    return f"| {name} | {uniformity(ranks):.3f} | {(ranks.mean() + 0.5) / (KEPT + 1):.3f} | {middle.mean():.3f} |"


INTRODUCTION = [
    "# Are the draws of an update those of the posterior?",
    "",
    "Truths are drawn from the prior and graded by the model itself, so this asks about the sampler, not about the",
    "world. *Against another sampler*: mean and standard deviation of every unknown on its normal scale, and",
    f"of P(clean) and P(harm) at one setting, by `learn.update` ({DRAWS} draws) and by emcee (two long runs from the",
    "prior). *Ranks*: over many truths, the rank of the truth among the draws must be uniform. The likelihood reads a",
    "grade of harm as “this or worse”, which is no chance of a grade; truths of the ranks therefore report none or",
    "tint only, and judge as advised or later, where the chances of what is seen add up to 1.",
    "",
]


if __name__ == "__main__":
    if sys.argv[1:] == ["--write"]:
        DOCS.joinpath("posterior.md").write_text("\n".join(study()) + "\n", encoding="utf-8")
    else:
        print("\n".join(study(2, 60)))
