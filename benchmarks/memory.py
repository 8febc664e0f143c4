"""What memory is worth: new jobs of a simulated shop that remembers 0, 10, 100 or 1 000 earlier ones.

Run: python benchmarks/memory.py [past jobs] [new jobs] [of those, worked]     prints; 100, 14, 3 without
     python benchmarks/memory.py --write [processes]      the shops and pairs of below; writes docs/memory.md
     python benchmarks/memory.py --kept       the page from what the long run has done so far
     python benchmarks/memory.py --carry      another laser alone: 30 pieces that were looked at before

*Log score*: what was said of six patches and of the finished surface at their settings before any patch was laid.
*Steps to recipe*: graded patches until a recipe is confirmed, at most 12.
*Another laser*: a piece is worked on 300 W and its recipe carried to 500 W.
The long run keeps each shop and pair it has done in .cache/, and goes on from there when started again.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from textwrap import wrap
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # many small matrices: a library's threads wait for each other

import numpy as np
from memory_code import covers, origin
from memory_shop import (
    ASKED,
    CARRY_FROM,
    FEWER,
    HISTORY_DRAWS,
    MEMORIES,
    NEW,
    PAST,
    PATCHES,
    STEPS,
    ceiling,
    on_another,
    one_shop,
)
from memory_truth import SURFACES
from numpy.typing import NDArray
from scipy import stats
from stamp import DOCS

Floats = NDArray[np.float64]
# Shops below 400 were looked at in building. The first of these remembers more.
SHOPS, MANY, FRESH, WORKED = range(400, 406), 1000, 21, 4
LEAST_SHOPS = 5  # from so many on the error is between shops, as new jobs of one shop share its memory
PAIRS = 100
WANTED = 0.95  # share of carried recipes that hold


@dataclass(frozen=True)
class Shops:
    """All that was measured in `count` shops. scores (jobs, memories, 3); ceiling (jobs, 3); steps: of each worked job
    and memory."""

    count: int
    memories: tuple[int, ...]
    scores: Floats
    ceiling: Floats
    steps: list[list[tuple[int, int, bool, str]]]
    because: str


def shops(found: Sequence[dict[str, Any]]) -> Shops:
    """Several shops of equally many jobs, as `asked_of` leaves them, taken together."""
    scores = np.array([job for shop in found for job in shop["scores"]])
    ceilings = np.array([job for shop in found for job in shop["ceiling"]])
    steps = [[tuple(each) for each in job] for shop in found for job in shop["steps"]]
    return Shops(len(found), MEMORIES[: scores.shape[1]], scores, ceilings, steps, found[0]["because"])


def paired_error(gain: Floats, count: int) -> Floats:
    """Standard error (3,) of the mean gain (jobs, 3): between shops, of too few shops between jobs."""
    each = gain.reshape(count, -1, gain.shape[1]).mean(axis=1) if count >= LEAST_SHOPS else gain
    return np.asarray(each.std(axis=0, ddof=1) / np.sqrt(len(each)))


def score_rows(found: Shops) -> list[str]:
    """One row a memory: mean scores, and the gain over no memory with its paired standard error."""
    rows = [(str(memory), found.scores[:, m]) for m, memory in enumerate(found.memories)]
    return [_score_row(name, scores, found) for name, scores in [*rows, ("all that is shared", found.ceiling)]]


def _score_row(name: str, scores: Floats, found: Shops) -> str:
    gain = scores - found.scores[:, 0]
    error = paired_error(gain, found.count)
    cells = [
        f"{scores[:, k].mean():.3f}" + (f" ({gain[:, k].mean():+.3f} ± {error[k]:.3f})" if gain.any() else "")
        for k in range(3)
    ]
    return f"| {name} | {' | '.join(cells)} |"


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
        f" {first['left']} leave coating, {first['harmed']} harm); {named} of them carried, for the others"
        " none meets what is asked of an untried laser (`carried.UNTRIED`).",
        "",
        f"- Truly clean and harmless on 500 W, no patch laid there: {ends['good']} of {named}"
        f" ({ends['good'] / named:.1%}; 95 % interval {low:.1%} to {high:.1%}; asked {WANTED:.0%}: {met});"
        f" coating stays in {ends['left']}, harm in {ends['harmed']}.",
        f"- Time of the same area, 500 W over 300 W: median {np.median(ratios):.2f},"
        f" from {min(ratios):.2f} to {max(ratios):.2f}.",
    ]


def long_tasks() -> list[tuple[str, Any]]:
    """What `--write` asks."""
    asked = [("shop", (seed, MANY if seed == SHOPS[0] else PAST, FRESH, WORKED)) for seed in SHOPS]
    known = [("ceiling", (seed, FRESH, WORKED)) for seed in SHOPS]
    return [*asked, *known, *(("pair", seed) for seed in range(PAIRS))]


def one(task: tuple[str, Any]) -> Any:
    """A shop, what its new jobs could gain at most, or a pair."""
    name, what = task
    return {"shop": one_shop, "ceiling": ceiling, "pair": on_another}[name](what)


@contextmanager
def one_thread() -> Iterator[None]:
    """What is begun inside computes on one thread; the process itself stays as it is."""
    before = {name: os.environ.get(name) for name in ("NUMBA_NUM_THREADS", "OPENBLAS_NUM_THREADS")}
    os.environ |= dict.fromkeys(before, "1")
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def answers(tasks: Sequence[tuple[str, Any]], kept: Path, workers: int = 2) -> list[Any]:
    """Of each task; what the file keeps of this very code is not asked again, and each is kept once it is done."""
    kept.parent.mkdir(parents=True, exist_ok=True)
    done = read(kept)
    waiting = [task for task in tasks if json.dumps(task) not in done]
    with (
        one_thread(),
        ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool,
        kept.open("a", encoding="utf-8") as file,
    ):
        asked = {pool.submit(one, task): task for task in waiting}
        for future in as_completed(asked):
            task, found = asked[future], future.result()
            print(json.dumps({"task": task, "found": found}), file=file, flush=True)
            done[json.dumps(task)] = found
            if task[0] == "shop":
                print(f"shop {task[1][0]}: {task[1][1]} jobs remembered", flush=True)
    return [done[json.dumps(task)] for task in tasks]


def read(kept: Path) -> dict[str, Any]:
    """{task as JSON: what was found}."""
    lines = kept.read_text(encoding="utf-8").splitlines() if kept.exists() else ()
    return {json.dumps(entry["task"]): entry["found"] for entry in map(json.loads, lines)}


def write(found: dict[str, Any]) -> None:
    """The page of those of the long tasks that are done."""
    names = {task: json.dumps(task) for task in long_tasks()}
    done = {task: found[name] for task, name in names.items() if name in found}
    asked = [what for name, what in done if name == "shop"]
    several = [done["shop", what] | {"ceiling": done["ceiling", (what[0], *what[2:])]} for what in asked]
    pairs = {what: each for (name, what), each in done.items() if name == "pair"}
    seeds = ", ".join(str(seed) for seed, *_ in asked)
    about = origin(f"Shops {seeds}, pieces from {NEW}; carried: shops {CARRY_FROM} to {CARRY_FROM + max(pairs)}")
    lines = page(several, list(pairs.values()), about)
    DOCS.joinpath("memory.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


def kept_in(folder: Path) -> Path:
    """The file of answers of this very code."""
    return folder / f"memory-{hashlib.sha256(covers().encode()).hexdigest()[:16]}.jsonl"


SCORES = ("| jobs remembered | grades | clean | harm |", "|---|---|---|---|")
ENDS = (
    "| jobs remembered | patches, mean | median | confirmed | good | left | harmed | none | harmed patches |",
    "|---|---|---|---|---|---|---|---|---|",
)


def page(found: Sequence[dict[str, Any]], pairs: Sequence[Any], words: str) -> list[str]:
    """Shops, the first with the longest memory, and carried recipes as lines of a page."""
    first, least = shops(found[:1]), min(len(shop["scores"][0]) for shop in found)
    every = shops([
        {
            **shop,
            "scores": [job[:least] for job in shop["scores"]],
            "steps": [job[:least] for job in shop["steps"]],
        }
        for shop in found
    ])  # fmt: skip
    more = len(first.memories) > least
    about = (
        f"{every.count} shop{'s' if every.count > 1 else ''} of {len(SURFACES)} kinds of job, up to"
        f" {first.memories[-1]} remembered jobs each of {PATCHES} patches, laid where published data are in doubt;"
        f" {len(every.scores) // every.count} new jobs a shop. Coatings, substrates, pairs, lasers and graders are as"
        " alike as `learn/memory/shares.csv` takes them to be (common practice, no source): this shows what memory is"
        " worth if so, and that it is used rightly, not how it fares in the world. How noisy a grader is and how the"
        " model drifts over the knobs is not learned (`levels.UNHEARD`). *All that is shared*: if it were known exactly"
        " and only what pieces have for themselves were left open; no memory can be expected to do better."
    )
    return [
        "# What memory is worth, in simulated shops",
        "",
        *wrap(about, 120),
        "",
        words,
        "",
        "## Said before any patch",
        "",
        "Mean ln chance given to what then came, nearer 0 is better; in brackets the gain over no memory, with its",
        f"paired standard error {'between shops' if every.count >= LEAST_SHOPS else 'between jobs'}"
        f" ({len(every.scores)} new jobs). *Grades*: of {ASKED} patches. *Clean*, *harm*: of the",
        "finished surface at those settings.",
        "",
        *SCORES,
        *score_rows(every),
        "",
        *(_of_one(first) if more else ()),
        "## Steps to recipe",
        "",
        f"{len(every.steps)} of the new jobs, ordinary limits, at most {STEPS} graded patches. A recipe counts as in"
        " [loop.md](loop.md).",
        "",
        *ENDS,
        *step_rows(every),
        "",
        f"What a job on aged oak varnish then says of its start: “{every.because}”",
        "",
        "## Another laser",
        "",
        *carry_lines([tuple(pair) for pair in pairs]),
    ]


def _of_one(first: Shops) -> list[str]:
    """The shop with the longest memory, alone."""
    return [
        f"The first of these shops alone, with {first.memories[-1]} jobs (its sites of {FEWER} draws, not"
        f" {HISTORY_DRAWS}); errors between its",
        f"{len(first.scores)} new jobs:",
        "",
        *SCORES,
        *score_rows(first),
        "",
        f"Steps to recipe there, on {len(first.steps)} jobs:",
        "",
        *ENDS,
        *step_rows(first),
        "",
    ]


def main(words: Sequence[str]) -> None:
    """As the head of this file says."""
    if list(words) == ["--carry"]:
        print("\n".join(carry_lines([on_another(seed - CARRY_FROM) for seed in range(20_000, 20_030)])))
    elif words[:1] == ["--write"]:
        tasks = long_tasks()
        each = answers(tasks, kept_in(DOCS.parent / ".cache"), int([*words, "2"][1]))
        write({json.dumps(task): found for task, found in zip(tasks, each, strict=True)})
    elif list(words) == ["--kept"]:
        write(read(kept_in(DOCS.parent / ".cache")))
    else:
        past, new, working = [*map(int, words), *(100, 14, 3)[len(words) :]]
        shop = one_shop((SHOPS[0], past, new, working)) | {"ceiling": ceiling((SHOPS[0], new, working))}
        print("\n".join(page([shop], [on_another(n) for n in range(6)], "")))


if __name__ == "__main__":
    main(sys.argv[1:])
