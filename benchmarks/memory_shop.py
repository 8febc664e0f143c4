"""What new jobs of a simulated shop are like with a memory and without: forecasts, steps to a recipe, another laser."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from loop import Truth
from memory_truth import CARRIED, GRADERS, LASERS, SURFACES, Shop, doubtful
from numpy.typing import NDArray

import proofpatch as pp
from proofpatch.learn.belief import Recalled
from proofpatch.learn.grading import CLEAN_EDGE
from proofpatch.learn.memory import Population, Site, population, site
from proofpatch.learn.memory.carried import carried
from proofpatch.learn.memory.levels import concretes, layout
from proofpatch.learn.memory.population import recalling
from proofpatch.learn.memory.skill import grade_chances

Floats = NDArray[np.float64]
MEMORIES = (0, 10, 100, 1000)
PATCHES, ASKED, STEPS = 8, 6, 12
PAST = 100
HISTORY_DRAWS, FEWER = 1024, 512  # of past jobs; the fewer where there are more than PAST
NEW = 100_000  # numbers of pieces nobody remembers
CARRY_FROM = 30_000  # shops whose recipes are carried; 10000 to 10028 and 20000 to 20029 were looked at
LEAST = 1e-3  # no forecast is scored as surer than this; the finished surface alone


def draw_job(seed: int, number: int) -> tuple[pp.Surface, str, str]:
    """(surface, laser, grader) of the number-th job of a shop; surfaces in turn."""
    rng = np.random.default_rng([seed, 6, number])
    return SURFACES[number % len(SURFACES)], str(rng.choice(LASERS)), str(rng.choice(GRADERS))


def remembered(seed: int, number: int, draws: int = HISTORY_DRAWS) -> Site:
    """What the number-th past job taught: PATCHES patches where published data are in doubt."""
    surface, laser, grader = draw_job(seed, number)
    seen, _ = Shop(seed).piece(surface, laser, grader, number)
    rng = np.random.default_rng([seed, 7, number])
    settings = doubtful(pp.prior(surface, laser, seed=number, draws=64), PATCHES, rng)
    graded = [replace(seen.grade(setting), grader=grader) for setting in settings]
    return site(pp.update(pp.prior(surface, laser, seed=number, draws=draws), graded))


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


def worked(seen: Truth, true: Truth, memory: Recalled | None) -> tuple[pp.Belief, pp.Recipe, int, int, str]:
    """(belief, recipe, graded patches, harmed ones, how the recipe truly ends) of the six calls on one piece."""
    limits, used, harmed = pp.Limits(), 0, 0
    belief = pp.prior(seen.surface, seen.laser, memory=memory)
    found = None
    while used < STEPS:
        patches = pp.next_patch(belief, limits, count=min(3, STEPS - used))
        if not patches:
            break
        laid = []
        for patch in patches[: STEPS - used]:
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


def one_shop(task: tuple[int, int, int, int]) -> dict[str, Any]:
    """What a shop of (seed, past jobs, new ones, of those worked) shows with memories of the first of its past jobs."""
    seed, past, new, working = task
    sites = [remembered(seed, number, HISTORY_DRAWS if past <= PAST else FEWER) for number in range(past)]
    fits = [population(sites[:m]) if m else None for m in MEMORIES if m <= past]
    first = NEW + working * seed  # so that shops work pieces of other kinds
    numbers = range(first, first + new)
    starts = [_starts(seed, number, fits) for number in numbers]
    return {
        "scores": [asked(seed, *each) for each in zip(numbers, starts, strict=True)],
        "steps": [stepped(seed, *each) for each in zip(numbers[:working], starts[:working], strict=True)],
        "because": fits[-1].because(SURFACES[0]) if fits[-1] else "",
    }


def ceiling(task: tuple[int, int, int]) -> list[tuple[float, float, float]]:
    """Scores of the new jobs of `one_shop` (seed, new ones, of those worked) if all they share were known exactly."""
    seed, new, working = task
    first, shop, found = NEW + working * seed, Shop(seed), []
    for number in range(first, first + new):
        surface, laser, grader = draw_job(seed, number)
        each = []
        for concrete in concretes(surface, laser, grader, leans=False):
            own = layout(concrete)
            spread = sum(shop.spread(key) * piece for key, piece in zip(own.scales, own.piece, strict=True))
            each.append((shop.common(concrete), np.diag(own.rest + spread)))
        found += asked(seed, number, [recalling(each, "all that is shared")])
    return found


def _starts(seed: int, number: int, fits: Sequence[Population | None]) -> list[Recalled | None]:
    surface, laser, grader = draw_job(seed, number)
    return [None if fitted is None else fitted.recalled(surface, laser, grader) for fitted in fits]
