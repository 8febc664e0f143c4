"""What memory is worth: new jobs of a simulated shop that remembers 0, 10, 100 or 1 000 earlier ones.

Run: python benchmarks/memory.py [past jobs] [new jobs] [of those, worked]     prints; 100, 14, 3 without
     python benchmarks/memory.py --write      ten shops of 100 past jobs, one of 1 000: docs/memory.md
     python benchmarks/memory.py --carry      another laser alone: 30 pieces

*Log score*: what was said of six patches and of the finished surface at their settings before any patch was laid.
*Steps to recipe*: graded patches until a recipe is confirmed, at most 12.
Sites are formed about published data, then anew from what all other jobs of the memory say (`memory.reform`).
*Another laser*: a piece is worked on 300 W and its recipe carried to 500 W.
"""

from __future__ import annotations

import os
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import get_context
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # many small matrices: a library's threads wait for each other

import numpy as np
from loop import Truth
from memory_truth import CARRIED, GRADERS, LASERS, SURFACES, Shop, doubtful
from numpy.typing import NDArray
from scipy import stats
from stamp import DOCS, stamp

import proofpatch as pp
from proofpatch.learn.belief import Recalled
from proofpatch.learn.grading import CLEAN_EDGE
from proofpatch.learn.memory import Population, Site, population, site
from proofpatch.learn.memory.carried import carried
from proofpatch.learn.memory.reform import cavities
from proofpatch.learn.memory.skill import grade_chances

Floats = NDArray[np.float64]
MEMORIES = (0, 10, 100, 1000)
PATCHES, ASKED, STEPS = 8, 6, 12
HISTORY_DRAWS = 2048
NEW = 100_000  # numbers of pieces nobody remembers
FIRST = 300  # shops that are scored; 0, 101 and 102 were looked at in building, 201 on were scored before with 10 jobs
LEAST_SHOPS = 5  # from so many on the error is between shops, as new jobs of one shop share its memory
CARRY_FROM = 20_000  # shops whose recipes are carried; `carried.UNTRIED` was chosen after looking at 10000 to 10028
LEAST = 1e-3  # no forecast is scored as surer than this; the finished surface alone
WANTED = 0.95  # share of carried recipes that hold


def draw_job(seed: int, number: int) -> tuple[pp.Surface, str, str]:
    """(surface, laser, grader) of the number-th job of a shop; surfaces in turn."""
    rng = np.random.default_rng([seed, 6, number])
    return SURFACES[number % len(SURFACES)], str(rng.choice(LASERS)), str(rng.choice(GRADERS))


def remembered(seed: int, number: int, start: Recalled | None = None) -> Site:
    """What the number-th past job taught, seen from this start: PATCHES patches where published data are in doubt."""
    surface, laser, grader = draw_job(seed, number)
    seen, _ = Shop(seed).piece(surface, laser, grader, number)
    rng = np.random.default_rng([seed, 7, number])
    settings = doubtful(pp.prior(surface, laser, seed=number, draws=64), PATCHES, rng)
    graded = [replace(seen.grade(setting), grader=grader) for setting in settings]
    return site(pp.update(pp.prior(surface, laser, memory=start, seed=number, draws=HISTORY_DRAWS), graded))


def scores(belief: pp.Belief, laid: Sequence[pp.Graded], true: Truth) -> tuple[float, float, float]:
    """Mean ln chance given to the grades, to clean or not, and to harm or none of the finished surface."""
    chances = grade_chances(belief, laid)
    said = [chances[i, pp.RESIDUES.index(g.residue), pp.HARMS.index(g.harm)] for i, g in enumerate(laid)]
    window = pp.forecast(belief, settings=[g.setting for g in laid])
    need, spread, margin = (
        np.array(v) for v in zip(*(true.outcome(g.setting, patch=False) for g in laid), strict=True)
    )
    return (
        float(np.log(np.maximum(said, 1e-12)).mean()),
        _log_score(window.p_clean, need <= CLEAN_EDGE * spread),
        _log_score(window.p_harm, margin < 0),
    )


def _log_score(p: Floats, happened: NDArray[np.bool_]) -> float:
    bounded = np.clip(p, LEAST, 1 - LEAST)
    return float(np.log(np.where(happened, bounded, 1 - bounded)).mean())


def asked(seed: int, number: int, recalled: Sequence[Recalled | None]) -> list[tuple[float, float, float]]:
    """Scores of one new job with each memory, on the same patches."""
    surface, laser, grader = draw_job(seed, number)
    seen, true = Shop(seed).piece(surface, laser, grader, number)
    rng = np.random.default_rng([seed, 8, number])
    settings = doubtful(pp.prior(surface, laser, seed=number, draws=64), ASKED, rng)
    laid = [replace(seen.grade(setting), grader=grader) for setting in settings]
    return [scores(pp.prior(surface, laser, memory=memory), laid, true) for memory in recalled]


def worked(
    seen: Truth, true: Truth, memory: Recalled | None, steps: int = STEPS
) -> tuple[pp.Belief, pp.Recipe, int, int, str]:
    """(belief, recipe, graded patches, harmed ones, how the recipe truly ends) of the six calls on one piece."""
    limits, used, harmed = pp.Limits(), 0, 0
    belief = pp.prior(seen.surface, seen.laser, memory=memory)
    found = None
    while used < steps:
        patches = pp.next_patch(belief, limits, count=min(3, steps - used))
        if not patches:
            break
        laid = []
        for patch in patches[: steps - used]:
            laid.append(seen.grade(patch.setting))
            used += 1
            if laid[-1].harm != "none":
                harmed += 1
                break
        belief = pp.update(belief, laid)
        found = pp.recipe(belief, limits)
        if found.setting is not None and found.confirmed:
            break
    found = found or pp.recipe(belief, limits)
    return belief, found, used, harmed, true.holds(found.setting)


def stepped(seed: int, number: int, recalled: Sequence[Recalled | None]) -> list[tuple[int, int, bool, str]]:
    """(patches, harmed ones, a confirmed recipe, how it ends) of one new job with each memory."""
    surface, laser, grader = draw_job(seed, number)
    found = []
    for memory in recalled:
        _, named, used, harmed, end = worked(*Shop(seed).piece(surface, laser, grader, number), memory)
        found.append((used, harmed, named.confirmed and named.setting is not None, end))
    return found


def on_another(seed: int) -> tuple[str, str, float | None]:
    """(how the recipe of 300 W ends, how the one carried to 500 W ends, ratio of time) of one piece of one shop."""
    surface, shop = CARRIED[seed % len(CARRIED)], Shop(CARRY_FROM + seed)
    belief, here, *_, end = worked(*shop.piece(surface, "pulsed-300", "Ida", 0), None)
    if here.setting is None:
        return end, "none", None
    moved = carried(belief, "pulsed-500", here=here)
    _, true = shop.piece(surface, "pulsed-500", "Ida", 0)
    return end, true.holds(moved.there.setting), moved.time


@dataclass(frozen=True)
class Shops:
    """All that was measured in `count` shops. scores (jobs, memories, 3); steps: of each worked job and memory."""

    count: int
    memories: tuple[int, ...]
    scores: Floats
    steps: list[list[tuple[int, int, bool, str]]]
    seconds: float
    because: str


def fitted(seed: int, sites: Sequence[Site], mapped: Callable[..., Iterable[Any]]) -> Population | None:
    """What these first jobs of a shop say together, their sites formed anew once; None of none."""
    if not sites:
        return None
    anew = mapped(partial(remembered, seed), range(len(sites)), cavities(population(sites)))
    return population(list(anew))


def shops(past: int, new: int, working: int, count: int = 1, mapped: Callable[..., Iterable[Any]] = map) -> Shops:
    """Past jobs, then new ones with memories of the first of them."""
    memories = tuple(m for m in MEMORIES if m <= past)
    every, steps, fitting, because = [], [], 0.0, ""
    for seed in range(FIRST, FIRST + count):
        sites = list(mapped(partial(remembered, seed), range(past)))
        began = time.perf_counter()
        fits = [fitted(seed, sites[:m], mapped) for m in memories]
        fitting += time.perf_counter() - began
        numbers = range(NEW, NEW + new)
        starts = [_starts(seed, number, fits) for number in numbers]
        every += list(mapped(partial(asked, seed), numbers, starts))
        steps += list(mapped(partial(stepped, seed), numbers[:working], starts[:working]))
        because = fits[-1].because(SURFACES[0]) if fits[-1] else ""
        print(f"shop {seed}: {past} jobs remembered", flush=True)
    return Shops(count, memories, np.array(every), steps, fitting, because)


def _starts(seed: int, number: int, fits: Sequence[Any]) -> list[Recalled | None]:
    surface, laser, grader = draw_job(seed, number)
    return [None if fitted is None else fitted.recalled(surface, laser, grader) for fitted in fits]


def paired_error(gain: Floats, count: int) -> Floats:
    """Standard error (3,) of the mean gain (jobs, 3): between shops, of too few shops between jobs."""
    each = gain.reshape(count, -1, gain.shape[1]).mean(axis=1) if count >= LEAST_SHOPS else gain
    return np.asarray(each.std(axis=0, ddof=1) / np.sqrt(len(each)))


def score_rows(found: Shops) -> list[str]:
    """One row a memory: mean scores, and the gain over no memory with its paired standard error."""
    rows = []
    for m, memory in enumerate(found.memories):
        gain = found.scores[:, m] - found.scores[:, 0]
        error = paired_error(gain, found.count)
        cells = [
            f"{found.scores[:, m, k].mean():.3f}" + (f" ({gain[:, k].mean():+.3f} ± {error[k]:.3f})" if m else "")
            for k in range(3)
        ]
        rows.append(f"| {memory} | {' | '.join(cells)} |")
    return rows


def step_rows(found: Shops) -> list[str]:
    """One row a memory: patches, confirmed recipes, how they end, harmed patches."""
    rows = []
    for m, memory in enumerate(found.memories):
        jobs = [job[m] for job in found.steps]
        ends = Counter(end for *_, end in jobs)
        used = np.array([u for u, *_ in jobs], float)
        rows.append(
            f"| {memory} | {used.mean():.1f} ± {used.std(ddof=1) / np.sqrt(len(used)):.1f} | {np.median(used):.0f} |"
            f" {sum(c for _, _, c, _ in jobs)} | {ends['good']} | {ends['left']} | {ends['harmed']} | {ends['none']} |"
            f" {sum(h for _, h, _, _ in jobs)} |"
        )
    return rows


def interval(good: int, of: int) -> tuple[float, float]:
    """95 % interval of a share, exact (Clopper & Pearson, Biometrika 26 (1934) 404; from memory)."""
    found = stats.binomtest(good, of).proportion_ci(0.95, method="exact")
    return float(found.low), float(found.high)


def carry_lines(found: Sequence[tuple[str, str, float | None]]) -> list[str]:
    """What became of the carried recipes."""
    ends = Counter(there for _, there, _ in found)
    first = Counter(here for here, _, _ in found)
    named = ends["good"] + ends["left"] + ends["harmed"]
    if not named:
        return ["No recipe was carried."]
    low, high = interval(ends["good"], named)
    ratios = [t for *_, t in found if t is not None]
    met = "reached" if ends["good"] / named >= WANTED else "**not reached**"
    return [
        f"{len(found)} pieces, {len(found) - first['none']} with a recipe on 300 W ({first['good']} good,"
        f" {first['left']} leave coating, {first['harmed']} harm); {named} of them carried.",
        "",
        f"- Truly clean and harmless on 500 W, no patch laid there: {ends['good']} of {named}"
        f" ({ends['good'] / named:.1%}; 95 % interval {low:.1%} to {high:.1%}; asked {WANTED:.0%}: {met});"
        f" coating stays in {ends['left']}, harm in {ends['harmed']}.",
        f"- Time of the same area, 500 W over 300 W: median {np.median(ratios):.2f},"
        f" from {min(ratios):.2f} to {max(ratios):.2f}.",
    ]


def study(
    past: int, new: int, working: int, count: int, pieces: int, mapped: Callable[..., Iterable[Any]], long: int = 0
) -> list[str]:
    """The whole study as lines of a page."""
    began = time.perf_counter()
    found = shops(past, new, working, count, mapped)
    longer = score_rows(shops(long, new, 0, 1, mapped)) if long else []
    other = list(mapped(on_another, range(pieces)))
    return [
        "# What memory is worth, in simulated shops",
        "",
        f"{count} shop{'s' if count > 1 else ''} of {len(SURFACES)} kinds of job, {past} remembered jobs each of"
        f" {PATCHES} patches, laid where published data are in doubt; {new} new jobs a shop. Coatings, substrates,",
        "pairs, lasers and graders are as alike as `learn/memory/shares.csv` takes them to be (common practice, no",
        "source): this shows what memory is worth if so, and that it is used rightly, not how it fares in the world.",
        "",
        stamp(f"Shops {FIRST} to {FIRST + count - 1}, pieces from {NEW}; carried: from {CARRY_FROM}"),
        "",
        "## Said before any patch",
        "",
        "Mean ln chance given to what then came, nearer 0 is better; in brackets the gain over no memory, with its",
        f"paired standard error between shops ({len(found.scores)} new jobs). *Grades*: of {ASKED} patches. *Clean*,",
        "*harm*: of the finished surface at those settings.",
        "",
        "| jobs remembered | grades | clean | harm |",
        "|---|---|---|---|",
        *score_rows(found),
        "",
        *(
            [
                f"The first of these shops alone, with {long} jobs:",
                "",
                "| jobs remembered | grades | clean | harm |",
                "|---|---|---|---|",
                *longer,
                "",
            ]
            if longer
            else []
        ),
        "## Steps to recipe",
        "",
        f"{len(found.steps)} of the new jobs, ordinary limits, at most {STEPS} graded patches. A recipe counts as in",
        "docs/loop.md.",
        "",
        "| jobs remembered | patches, mean | median | confirmed | good | left | harmed | none | harmed patches |",
        "|---|---|---|---|---|---|---|---|---|",
        *step_rows(found),
        "",
        f"What a job on aged oak varnish then says of its start: “{found.because}”",
        "",
        "## Another laser",
        "",
        *carry_lines(other),
        "",
        f"Took {time.perf_counter() - began:.0f} s, of these {found.seconds:.0f} s for fitting.",
    ]


def main(words: Sequence[str]) -> None:
    """As the head of this file says."""
    if list(words) == ["--carry"]:
        print("\n".join(carry_lines([on_another(seed) for seed in range(30)])))
    elif list(words) == ["--write"]:
        with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
            page = study(100, 28, 7, 10, 200, pool.map, 1000)
        DOCS.joinpath("memory.md").write_text("\n".join(page) + "\n", encoding="utf-8")
    else:
        past, new, working = [*map(int, words), *(100, 14, 3)[len(words) :]]
        print("\n".join(study(past, new, working, 1, 6, map)))


if __name__ == "__main__":
    main(sys.argv[1:])
