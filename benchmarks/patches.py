"""Patches to a recipe: our strips against three rivals on the same truths, in one run.

Run: python benchmarks/patches.py [--truths 0:30] [--write] [--kept FILE]

A score is the true area rate of the recipe named over the best true rate that is clean and harmless; 0 if it harms,
leaves coating or is not named. Seeds 0 to 3999 are for building and looking; 4000 and up were never used for a choice.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from patches_rivals import RIVALS, run
from patches_truth import PIECES, Truth, best_rates, draw_truth, knowing_patches
from stamp import DOCS, covers, stamp

import proofpatch as pp
from proofpatch.learn.forecast import area_rate
from proofpatch.learn.stopping import SCRAP_HARM, limits_at

MARKS = (4, 8, 12, 20)  # graded steps after which a recipe is asked for
STRIP = 4
HELD_OUT = (4000, 4500)  # a truth takes some 7 s of two cores with its rivals
LIMITS = pp.Limits()
SCRAP = "ours, patches on scrap"  # of the same make, where a patch may mark: the recipe keeps the same limits


def ours(
    truth: Truth, marks: tuple[int, ...] = MARKS, strip: int = STRIP, limits: pp.Limits = LIMITS
) -> list[tuple[pp.Setting | None, int]]:
    """For each number of steps: (recipe named then or None, harmed steps so far). A strip ends at its first harm."""
    belief = pp.prior(truth.surface, truth.laser)
    found: list[tuple[pp.Setting | None, int]] = []
    used = harmed = 0
    named = None
    while len(found) < len(marks):
        patches = pp.next_patch(belief, limits, count=min(strip, marks[len(found)] - used))
        seen = []
        for patch in patches:
            seen.append(truth.grade(patch.setting, used))
            used += 1
            harmed += seen[-1].harm != "none"
            if seen[-1].harm != "none":
                break
        if seen:
            belief = pp.update(belief, seen)
        named = pp.recipe(belief, limits).setting
        if not seen:
            return found + [(named, int(harmed))] * (len(marks) - len(found))
        if used == marks[len(found)]:
            found.append((named, int(harmed)))
    return found


def score(truth: Truth, setting: pp.Setting | None, best: float) -> tuple[float, str]:
    """(score, good | left | harms | none)."""
    if setting is None:
        return 0.0, "none"
    clean, harmless = (bool(v[0]) for v in truth.judge([setting]))
    if not harmless:
        return 0.0, "harms"
    if not clean:
        return 0.0, "left"
    return area_rate(setting) / max(best, area_rate(setting)), "good"


def one(seed: int) -> dict[str, Any]:
    """Every method on one truth."""
    truth = draw_truth(seed)
    (best, sure), laser = best_rates(truth), pp.laser(truth.laser)
    start = pp.next_patch(pp.prior(truth.surface, truth.laser), LIMITS, count=STRIP)[0].setting
    started = time.perf_counter()
    results = {"ours": ours(truth)}
    seconds = time.perf_counter() - started
    results[SCRAP] = ours(truth, limits=limits_at(LIMITS, "scrap"))
    count = iter(range(10**6))
    for name, kind in RIVALS.items():
        for n, tuning in enumerate(kind.tunings):
            results[f"{name} {n + 1}"] = run(
                kind, tuning, lambda s: truth.grade(s, next(count) + 1000), laser, start, MARKS
            )
    placed = [truth.grade(s, n) for n, s in enumerate(knowing_patches(truth, best))] if best > 0 else []
    knowing = pp.recipe(pp.update(pp.prior(truth.surface, truth.laser), placed), LIMITS).setting if placed else None
    told = {
        name: [(*score(truth, setting, best), harmed) for setting, harmed in found] for name, found in results.items()
    }
    return {
        "seed": seed, "piece": seed % len(PIECES), "best": best, "sure": sure, "seconds": seconds, "told": told,
        "knowing": score(truth, knowing, best),
    }  # fmt: skip


def study(seeds: Iterable[int], kept: Path | None = None, workers: int = 2) -> list[dict[str, Any]]:
    """Results by seed; what a file already keeps of this very code is not done again."""
    done: dict[int, dict[str, Any]] = {}
    if kept and kept.exists():
        for line in kept.read_text(encoding="utf-8").splitlines():
            entry = json.loads(line)
            if entry["covers"] == covers():
                done[entry["seed"]] = entry
    seeds = list(seeds)
    waiting = [s for s in seeds if s not in done]
    os.environ |= {"NUMBA_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        for n, entry in enumerate(pool.map(one, waiting), 1):
            done[entry["seed"]] = entry
            if kept:
                with kept.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(entry | {"covers": covers()}) + "\n")
            if n % 10 == 0:
                print(f"{n} of {len(waiting)}", flush=True)
    return [done[s] for s in seeds]


def best_tunings(found: list[dict[str, Any]]) -> dict[str, str]:
    """{method: the tuning with the highest mean score after 12 steps, on these very truths}; in the rivals' favour."""
    chosen = {"ours": "ours", SCRAP: SCRAP}
    for name, kind in RIVALS.items():
        names = [f"{name} {n + 1}" for n in range(len(kind.tunings))]
        chosen[name] = max(names, key=lambda t: np.mean([e["told"][t][MARKS.index(12)][0] for e in found]))
    return chosen


def tables(found: list[dict[str, Any]]) -> list[str]:
    """Markdown."""
    able = [e for e in found if e["best"] > 0]
    lines = [
        f"{len(able)} of {len(found)} truths have a setting that cleans without harm; scores are of those.",
        "",
        "| method | steps | median | share ≥ 0.5 | share ≥ 0.75 | mean | harm | leave | none | harmed steps a job |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for tuning in best_tunings(able).values():
        for m, steps in enumerate(MARKS):
            told = [e["told"][tuning][m] for e in able]
            x = np.array([t[0] for t in told])
            ends = [sum(t[1] == word for t in told) for word in ("harms", "left", "none")]
            lines.append(
                f"| {tuning} | {steps} | {np.median(x):.2f} | {np.mean(x >= 0.5):.2f} | {np.mean(x >= 0.75):.2f} | "
                f"{x.mean():.2f} ± {x.std(ddof=1) / np.sqrt(len(x)):.2f} | {ends[0]} | {ends[1]} | {ends[2]} | "
                f"{np.mean([t[2] for t in told]):.2f} |"
            )
    hopeless = [e for e in found if e["best"] == 0]
    lines += ["", "Truths where nothing cleans without harm; a recipe named there harms or leaves coating:", "",
              "| method | truths | named a recipe after 20 steps | of them harming | harmed steps a job |",
              "|---|---|---|---|---|"]  # fmt: skip
    for tuning in best_tunings(able).values():
        told = [e["told"][tuning][-1] for e in hopeless]
        lines.append(
            f"| {tuning} | {len(told)} | {sum(t[1] != 'none' for t in told)} | {sum(t[1] == 'harms' for t in told)} | "
            f"{np.mean([t[2] for t in told]) if told else 0:.2f} |"
        )
    ceiling = np.array([e["sure"] / e["best"] for e in able])
    knowing = np.array([e["knowing"][0] for e in able])
    lines += ["", "A tester who knew each truth to within how far two equal settings differ, and kept the "
              "limits, would score "
              f"{np.median(ceiling):.2f} in the middle, 0.5 or more on {np.mean(ceiling >= 0.5):.2f}, nothing on "
              f"{np.mean(ceiling == 0):.2f} of them.",
              "", "Eight patches laid by one who knew the truth (`knowing_patches`), and graded as ours are, lead our "
              f"belief to {np.median(knowing):.2f} in the middle, to 0.5 or more on {np.mean(knowing >= 0.5):.2f}: "
              "about so much the choice of eight patches could come to.",
              "", "Ours by piece, after 8 and 20 steps:", "",
              "| piece | truths | median 8 | median 20 | harm | leave | none |",
              "|---|---|---|---|---|---|---|"]  # fmt: skip
    for number, piece in enumerate(PIECES):
        own = [e["told"]["ours"] for e in able if e["piece"] == number]
        if own:
            last = [t[-1][1] for t in own]
            lines.append(
                f"| {piece[0]} on {piece[2]}, {piece[4]} | {len(own)} | {np.median([t[1][0] for t in own]):.2f} | "
                f"{np.median([t[-1][0] for t in own]):.2f} | {last.count('harms')} | {last.count('left')} | "
                f"{last.count('none')} |"
            )
    return lines


def write(found: list[dict[str, Any]], words: str) -> None:
    """The study as it is kept."""
    head = (__doc__ or "").split("\n\n")[2]
    text = ["# Patches to a recipe", "", head, "",
            "Truths: `benchmarks/patches_truth.py`; they share the form of the physics with the belief. Each rival is",
            "shown with the best of its three tunings on these very truths, which favours it. *Patches on scrap* may",
            f"harm with a chance of {SCRAP_HARM:g} instead of {LIMITS.p_harm_patch:g}; the recipe keeps its limits.",
            "", stamp(words), "",
            *tables(found), ""]  # fmt: skip
    DOCS.joinpath("patches.md").write_text("\n".join(text), encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--truths", default=None)
    parser.add_argument("--kept", type=Path)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    first, last = (int(n) for n in given.truths.split(":")) if given.truths else HELD_OUT if given.write else (0, 30)
    started = time.perf_counter()
    found = study(range(first, last), given.kept)
    print("\n".join(tables(found)))
    print(f"{time.perf_counter() - started:.0f} s; ours {np.mean([e['seconds'] for e in found]):.1f} s a truth")
    if given.write:
        write(found, f"Seeds {first} to {last - 1}")


if __name__ == "__main__":
    main()
