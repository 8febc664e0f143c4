"""Is what the memory's fit believes the posterior? Against another sampler, by the ranks of truths, and how it grows.

Run: python benchmarks/memory_fit.py             2 problems, 60 replications, 1 000 jobs: prints
     python benchmarks/memory_fit.py --growth    the growth alone
     python benchmarks/memory_fit.py --write     3 problems, 160 replications, 10 000 jobs: writes docs/memory-fit.md

The other sampler is emcee (Foreman-Mackey et al., PASP 125 (2013) 306, from memory) on the joint density of effects and
ln spreads, written down plainly with SciPy's normal densities. Ranks: Talts et al., arXiv 1804.06788 (from memory).
"""

from __future__ import annotations

import os
import sys
import time
from dataclasses import dataclass

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # many small matrices: a library's threads wait for each other

import emcee
import numpy as np
from memory_code import origin
from numpy.typing import NDArray
from posterior import BINS, uniformity
from scipy import stats
from stamp import DOCS

import proofpatch as pp
from proofpatch.learn.memory.fit import Fit, fit
from proofpatch.learn.memory.jobs import Readings, arranged
from proofpatch.learn.memory.levels import Layout, concretes, heard, scale_shape

Floats = NDArray[np.float64]
WALKERS, STEPS, BURN = 64, 12_000, 2_000
NEAR = 0.1  # sd, of means and sds against the other sampler
KEPT = 63  # draws a rank is taken among
THIN = 6  # sweeps between them
SURE = 0.01
MINUTES = 5  # of one core that the fit of all jobs may take


@dataclass(frozen=True, eq=False)
class Problem:
    """Simulated jobs of known truth: groups of (layout, F of each job, g of each job), effects and spreads drawn."""

    groups: list[tuple[Layout, list[Floats], list[Floats]]]
    effects: dict[tuple, float]
    spreads: dict[tuple, float]

    def readings(self) -> Readings:
        """As the fit takes them."""
        return arranged(self.groups)


def small_layouts() -> list[Layout]:
    """Two pairs of five unknowns: a film of two, a substrate of two, one factor; the film and the factor are shared."""
    found = []
    for under in ("oak", "steel"):
        effects = (("film", "a"), ("film", "b"), (under, "c"), (under, "d"), ("all", "e"), (under, "e"))
        loading = np.zeros((5, 6))
        loading[(0, 1, 2, 3, 4, 4), range(6)] = np.sqrt([0.5, 0.4, 0.5, 0.3, 0.3, 0.2])
        piece = np.zeros((2, 5))
        piece[0, :2], piece[1, 2:] = (0.5, 0.6), (0.5, 0.6, 0.4)
        rest = np.array([0.0, 0.0, 0.0, 0.1, 0.1])
        found.append(Layout(effects, loading, (("film",), (under,)), piece, rest))
    return found


def real_layouts(laser: str | None = "pulsed-500") -> list[Layout]:
    """Those of five surfaces, two of one coating, two of one substrate, one of two layers."""
    aged = [pp.Layer("oil-varnish", condition="aged")]
    surfaces = (
        pp.Surface(aged, "oak", condition="aged"),
        pp.Surface(aged, "walnut", condition="aged"),
        pp.Surface([pp.Layer("wax", condition="aged"), *aged], "oak", condition="aged"),
        pp.Surface([pp.Layer("loose-rust", colour="red-brown", condition="aged")], "mild-steel"),
    )
    return [heard(concretes(surface, laser, "Ida")[0]) for surface in surfaces]


def draw_problem(layouts: list[Layout], jobs: int, rank: int, seed: int, shape: float | None = None) -> Problem:
    """Draws effects, spreads, jobs (in turn over the layouts) and what was read of each."""
    rng, alpha = np.random.default_rng([seed, 12]), scale_shape() if shape is None else shape
    effects = {key: float(rng.standard_normal()) for found in layouts for key in found.effects}
    spreads = {key: float(stats.invgamma.rvs(alpha, scale=alpha - 1, random_state=rng)) for found in layouts
               for key in found.scales}  # fmt: skip
    groups: list[tuple[Layout, list[Floats], list[Floats]]] = [(found, [], []) for found in layouts]
    for n in range(jobs):
        found, readings, reads = groups[n % len(groups)]
        variance = found.rest + sum(spreads[key] * own for key, own in zip(found.scales, found.piece, strict=True))
        y = found.loading @ [effects[key] for key in found.effects] + np.sqrt(variance) * rng.standard_normal(
            len(variance)
        )
        f = rng.standard_normal((rank, len(y))) * np.geomspace(2.0, 0.3, rank)[:, None]
        readings.append(f)
        reads.append(f @ y + rng.standard_normal(rank))
    return Problem([g for g in groups if g[1]], effects, spreads)


def log_joint(problem: Problem, readings: Readings, x: Floats) -> Floats:
    """ln density (walkers,) of all effects and ln spreads x (walkers, effects + scales), the pieces' own integrated."""
    size = len(readings.effects)
    effects, logs = x[:, :size], np.clip(x[:, size:], -8.0, 8.0)
    of = {key: effects[:, i] for i, key in enumerate(readings.effects)}
    spread = {key: np.exp(logs[:, i]) for i, key in enumerate(readings.scales)}
    alpha = scale_shape()
    total = stats.norm.logpdf(effects).sum(axis=1)
    total += (stats.invgamma.logpdf(np.exp(logs), alpha, scale=alpha - 1) + logs).sum(axis=1)
    for found, jobs, reads in problem.groups:
        mean = np.stack([of[key] for key in found.effects], axis=1) @ found.loading.T
        variance = found.rest + sum(
            spread[key][:, None] * own for key, own in zip(found.scales, found.piece, strict=True)
        )
        for f, g in zip(jobs, reads, strict=True):
            root = np.linalg.cholesky(np.eye(len(g)) + (f * variance[:, None, :]) @ f.T)
            white = np.linalg.solve(root, (g - mean @ f.T)[:, :, None])[:, :, 0]
            total += -0.5 * (white**2).sum(axis=1) - np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    return np.asarray(np.where(np.abs(x[:, size:]).max(axis=1) > 8.0, -np.inf, total))


def reference(problem: Problem, seed: int, steps: int = STEPS, burn: int = BURN) -> tuple[Floats, Floats, float]:
    """(means, sds of effects and ln spreads, how far two halves of the run stand apart [sd])."""
    readings = problem.readings()
    size = len(readings.effects) + len(readings.scales)
    moves = [(emcee.moves.DEMove(), 0.9), (emcee.moves.DEMove(gamma0=1.0), 0.1)]
    sampler = emcee.EnsembleSampler(
        WALKERS, size, lambda x: log_joint(problem, readings, x), moves=moves, vectorize=True
    )
    sampler.random_state = np.random.RandomState(seed).get_state()  # what emcee takes
    sampler.run_mcmc(0.3 * np.random.default_rng(seed).standard_normal((WALKERS, size)), steps)
    chain = sampler.get_chain(discard=burn)
    halves = [half.reshape(-1, size) for half in np.array_split(chain, 2)]
    every = np.concatenate(halves)
    sd = every.std(axis=0)
    apart = max(
        float(np.abs((halves[0].mean(axis=0) - halves[1].mean(axis=0)) / sd).max()),
        float(np.abs((halves[0].std(axis=0) - halves[1].std(axis=0)) / sd).max()),
    )
    return every.mean(axis=0), sd, apart


def off(found: Fit, mean: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """|difference| of means and of sds of effects and ln spreads, in the reference's sds."""
    logs = np.log(found.spread_draws)
    ours = np.append(found.mean, logs.mean(axis=0)), np.append(np.sqrt(np.diag(found.covariance)), logs.std(axis=0))
    return np.abs(ours[0] - mean) / sd, np.abs(ours[1] - sd) / sd


def ranks(layouts: list[Layout], jobs: int, rank: int, seed: int) -> dict[str, int]:
    """Of one truth among KEPT draws: of every spread, some effects, and of how far all effects lie out."""
    problem = draw_problem(layouts, jobs, rank, seed)
    readings = problem.readings()
    found = fit(readings, seed, warm=20, kept=KEPT * THIN)
    effects, spreads = found.effect_draws[::THIN], found.spread_draws[::THIN]
    truth = np.array([problem.effects[key] for key in readings.effects])
    chosen = range(0, len(truth), max(len(truth) // 12, 1))
    columns = {f"effect {'/'.join(map(str, readings.effects[i]))}": (effects[:, i], truth[i]) for i in chosen}
    columns |= {
        f"spread {'/'.join(map(str, key))}": (spreads[:, i], problem.spreads[key])
        for i, key in enumerate(readings.scales)
    }
    columns["all effects, squared"] = ((effects**2).sum(axis=1), float((truth**2).sum()))
    return {name: int((draws < value).sum()) for name, (draws, value) in columns.items()}


def calibration(layouts: list[Layout], replications: int, jobs: int = 12, rank: int = 3) -> dict[str, Floats]:
    """Ranks of every quantity over so many truths."""
    every = [ranks(layouts, jobs, rank, 70_000 + n) for n in range(replications)]
    return {name: np.array([found[name] for found in every]) for name in every[0]}


def matrix_rate(size: int = 1000) -> float:
    """Floating-point operations a second of a matrix product, on one thread."""
    a = np.random.default_rng(0).standard_normal((size, size))
    a @ a
    began = time.process_time()
    a @ a
    return 2 * size**3 / (time.process_time() - began)


def work(readings: Readings, sweeps: int) -> float:
    """Operations the fit cannot do without: the joint precision's products and its factor, every sweep."""
    rank = readings.read.shape[1]
    columns = [(len(cell.which), len(cell.effects)) for cell in readings.cells]
    return sweeps * (sum(2 * n * rank * k * k for n, k in columns) + len(readings.effects) ** 3 / 3)


def shop_of(jobs: int, pairs: int, seed: int = 0) -> Readings:
    """Readings of so many simulated jobs over so many pairs, three lasers and three graders; ten directions each."""
    coats = ("oil-varnish", "shellac", "alkyd-paint", "latex-paint", "wax", "loose-rust", "baked-grease", "epoxy")
    under = ("oak", "pine", "walnut", "maple", "beech", "mild-steel", "tool-steel", "cast-iron", "aluminium", "granite")
    rng = np.random.default_rng(seed)
    every = [(c, u) for c in coats for u in under][:pairs]
    layouts = []
    for coat, ground in every:
        surface = pp.Surface([pp.Layer(coat, condition="aged")], ground)
        for laser in ("pulsed-100", "pulsed-300", "pulsed-500"):
            whose = concretes(surface, laser, f"grader {rng.integers(3)}")[0]
            layouts.append(heard(whose))
    return draw_problem(layouts, jobs, 8, seed).readings()


def growth(jobs: int) -> tuple[int, int, float, float]:
    """(jobs, effects, processor seconds of the whole fit, ratio to the time its matrix work alone would take)."""
    readings = shop_of(jobs, 80 if jobs >= 80 else jobs)
    rate = matrix_rate()
    began = time.process_time()
    found = fit(readings)
    seconds = time.process_time() - began
    return jobs, len(readings.effects), seconds, seconds / (work(readings, int(len(found.effect_draws) * 1.25)) / rate)


def agreed(
    seed: int, jobs: int = 10, steps: int = STEPS, burn: int = BURN, kept: int = 4000
) -> tuple[float, float, float]:
    """(farthest mean, farthest sd, how far the reference's halves stand apart), in sds."""
    problem = draw_problem(small_layouts(), jobs, 3, seed)
    mean, sd, apart = reference(problem, seed, steps, burn)
    means, sds = off(fit(problem.readings(), seed, warm=100, kept=kept), mean, sd)
    return float(means.max()), float(sds.max()), apart


def study(problems: int = 3, replications: int = 160, most: int = 10_000) -> list[str]:
    """The whole study as lines of a page."""
    began = time.perf_counter()
    rows = []
    for seed in range(problems):
        means, sds, apart = agreed(seed, jobs=4 + 8 * seed)
        rows.append((seed, 4 + 8 * seed, means, sds, apart))
        print(rows[-1], flush=True)
    found = calibration(real_layouts(), replications)
    chances = {name: uniformity(r) for name, r in found.items()}
    least = min(chances, key=lambda name: chances[name])
    joint = min(1.0, chances[least] * len(chances))
    print(joint, least, flush=True)
    sizes = [n for n in (10, 100, 1000, 10_000) if n <= most]
    grown = [growth(n) for n in sizes]
    met = "reached" if max(max(r[2], r[3]) for r in rows) <= NEAR else "**not reached**"
    soon = "reached" if max(seconds for *_, seconds, _ in grown) <= MINUTES * 60 else "**not reached**"
    even = "reached" if joint > SURE else "**not reached**"
    return [
        "# Is what the memory's fit believes the posterior?",
        "",
        "Simulated jobs of known truth: effects and spreads drawn from what they are taken to be before any job, then",
        "what each job's site reads. This asks about the fit, not about the world.",
        "",
        origin(f"Seeds 0 to {problems - 1} and 70000 to {70_000 + replications - 1}"),
        "",
        "## Against another sampler",
        "",
        f"Means and standard deviations of all effects and ln spreads, in standard deviations (asked {NEAR}: {met}).",
        "",
        "| problem | jobs | farthest mean | farthest sd | halves of the reference apart |",
        "|---|---|---|---|---|",
        *(f"| {seed} | {jobs} | {m:.3f} | {s:.3f} | {a:.3f} |" for seed, jobs, m, s, a in rows),
        "",
        "## Ranks of the truth",
        "",
        f"{replications} truths of 12 jobs on real surfaces, {len(found)} quantities, rank among {KEPT} draws, χ² over"
        f" {BINS} bins: joint chance (Bonferroni) {joint:.3f}, least for {least} (asked over {SURE}: {even}).",
        "",
        "| quantity | chance | mean rank (½) |",
        "|---|---|---|",
        *(f"| {name} | {chances[name]:.3f} | {(r.mean() + 0.5) / (KEPT + 1):.3f} |" for name, r in found.items()),
        "",
        "## Growth",
        "",
        "The whole fit from kept sites (eight directions a job; ten patches leave up to six), on one thread. The",
        "limit is the matrix work it cannot do without, at the rate of a matrix product measured in the same run.",
        f"Asked: within {MINUTES} minutes of one core: {soon}.",
        "",
        "| jobs | effects | processor seconds | times the limit |",
        "|---|---|---|---|",
        *(f"| {n} | {e} | {s:.1f} | {r:.1f} |" for n, e, s, r in grown),
        "",
        f"Took {time.perf_counter() - began:.0f} s.",
    ]


if __name__ == "__main__":
    if sys.argv[1:] == ["--growth"]:
        print(*(growth(n) for n in (10, 100, 1000, 10_000)), sep="\n")
    elif sys.argv[1:] == ["--write"]:
        DOCS.joinpath("memory-fit.md").write_text("\n".join(study()) + "\n", encoding="utf-8")
    else:
        print("\n".join(study(2, 60, 1000)))
