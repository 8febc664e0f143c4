"""How true our P(clean) and P(harm) are, on pieces of the pulse-by-pulse simulator.

Every truth is another piece, hand, laser and grader (docs/simulator.md). It is asked before any patch, after a strip
of four patches and after a second one, each time at a setting whose forecasts spread over the tables, and at the
recipe where one is named; the simulator's finished surface is the judge. A strip ends at its first harm.

Run: python benchmarks/calibration.py [--truths 0:40] [--kept FOLDER]   prints; carries on where it was stopped
     python benchmarks/calibration.py --write                           the held-out truths, writes docs/calibration.md

Seeds 0 to 3999 are for building and looking; 4000 and up were never looked at for a choice.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import json
import os
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import calibration_score as score
import numpy as np
import stamp
from calibration_truth import CLASSES, LASERS, LONGEST, MOST, PATCH, PIECES, SLOWEST, one

from proofpatch.learn import compiled

HERE = Path(__file__).resolve().parent
HELD_OUT, BUILDING = (4000, 4300), (0, 40)
STAGES = ("no patch", "one strip", "two strips")
# The simulator and the questions; and what of the package the simulator stands on beyond what `stamp` covers.
ASKED_BY = ("simulator*.py", "calibration_truth.py", "calibration_score.py")
SHARED = ("physics/strokes.py", "physics/optics.py", "materials/curves.py", "materials/__init__.py")
SEED = 5  # of the tests' draws
# quantity: (name of its forecast, of that before any patch, of what came; edges; words)
QUANTITIES = {
    "P(clean)": ("p_clean", "first_clean", "clean", score.TENTHS, "came clean"),
    "P(harm)": ("p_harm", "first_harm", "harmed", score.HARM_EDGES, "harmed"),
}
Asked = dict[str, Any]


def covers() -> str:
    """The code and data a study is good for, the simulator's too."""
    seal = hashlib.sha256()
    for path in sorted(path for pattern in ASKED_BY for path in HERE.glob(pattern)):
        seal.update(path.read_bytes())
    for name in SHARED:
        seal.update((compiled.PACKAGE / name).read_bytes())
    return f"{stamp.covers()}, simulator and questions {seal.hexdigest()[:16]}"


def kept_in(folder: Path, code: str) -> Path:
    """The file of answers of this very code."""
    return folder / f"calibration-{hashlib.sha256(code.encode()).hexdigest()[:16]}.jsonl"


def answers(seeds: Iterable[int], kept: Path, ask: Callable[[int], Asked] = one, workers: int = 2) -> list[Asked]:
    """Answers by seed; what the file keeps is not asked again, and each truth is kept as soon as it is done."""
    kept.parent.mkdir(parents=True, exist_ok=True)
    done: dict[int, Asked] = {}
    if kept.exists():
        for line in kept.read_text(encoding="utf-8").splitlines():
            # One may be cut short where the study was stopped.
            with contextlib.suppress(json.JSONDecodeError):
                entry = json.loads(line)
                done[entry["seed"]] = entry
    seeds = list(seeds)
    waiting, started = [s for s in seeds if s not in done], time.perf_counter()
    with kept.open("a", encoding="utf-8") as file:
        file.write("\n")  # ends what was cut short
        for n, entry in enumerate(_asked(waiting, ask, workers), 1):
            done[entry["seed"]] = entry
            file.write(json.dumps(entry) + "\n")
            file.flush()
            if n % 10 == 0 or n == len(waiting):
                left = (time.perf_counter() - started) / n * (len(waiting) - n)
                print(f"{n} of {len(waiting)} truths, {left / 60:.0f} min left", flush=True)
    return [done[s] for s in seeds]


def _asked(seeds: list[int], ask: Callable[[int], Asked], workers: int) -> Iterator[Asked]:
    """Answers as they come; with one worker nothing is started beside this process."""
    if workers == 1 or not seeds:
        yield from map(ask, seeds)
        return
    os.environ |= {"NUMBA_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        yield from (job.result() for job in as_completed([pool.submit(ask, seed) for seed in seeds]))


def questions(found: Sequence[Asked], stage: str) -> list[Asked]:
    """The question of each truth at one stage, where it was asked: never two of the same truth.

    "any": one of its stages by the truth's number, or the last before it where that was not reached. "recipe": the
    last recipe named.
    """
    chosen = []
    for entry in found:
        asked = entry["asked"]
        if stage == "any":
            own = [q for q in asked if q["stage"] in STAGES[: entry["seed"] // len(CLASSES) % len(STAGES) + 1]]
        elif stage == "recipe":
            own = [q for q in asked if q["stage"].startswith("recipe")]
        else:
            own = [q for q in asked if q["stage"] == stage]
        chosen += [q | {k: entry[k] for k in ("seed", "piece", "laser", "class")} for q in own[-1:]]
    return chosen


def arrays(asked: Sequence[Asked], quantity: str) -> tuple[Any, Any, Any]:
    """(forecast, forecast before any patch, whether it came), over questions."""
    now, first, came, _, _ = QUANTITIES[quantity]
    return np.array([q[now] for q in asked]), np.array([q[first] for q in asked]), np.array([q[came] for q in asked])


def row(words: str, asked: Sequence[Asked], quantity: str) -> str:
    """Mean forecast, share that came with its interval, excess, joint test."""
    forecast, _, came = arrays(asked, quantity)
    low, high = score.share_interval(int(came.sum()), len(came))
    chi, p = score.joint_test(forecast, came, QUANTITIES[quantity][3], np.random.default_rng(SEED))
    return (
        f"| {words} | {len(came)} | {forecast.mean():.3f} | {came.mean():.3f} ({low:.3f} to {high:.3f}) | "
        f"{score.excess(forecast, came):+.1f} | {chi:.1f} | {p:.4f} |"
    )


def summary(groups: dict[str, list[Asked]], quantity: str) -> list[str]:
    """A row of `row` for each group that has any question."""
    return [
        f"| {quantity} | truths | mean forecast | {QUANTITIES[quantity][4]} (95 %) | excess | X² | p |",
        "|---|---|---|---|---|---|---|",
        *(row(words, asked, quantity) for words, asked in groups.items() if asked), "",
    ]  # fmt: skip


def scores(groups: dict[str, list[Asked]], quantity: str) -> list[str]:
    """Log and Brier scores beside the base rate's and the prior's."""
    lines = [
        f"| {quantity} | log score | base rate's | difference | before any patch | difference | Brier score | "
        "base rate's | difference |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for words, asked in groups.items():
        if len(asked) < 2:
            continue
        forecast, first, came = arrays(asked, quantity)
        base = score.base_rates(came)
        log, brier = score.log_losses, score.brier_losses
        own = score.compared(log(forecast, came), log(base, came))
        learned = score.compared(log(forecast, came), log(first, came))
        square = score.compared(brier(forecast, came), brier(base, came))
        cells = [f"{own.own:.3f}", f"{own.base:.3f}", f"{own.difference:+.3f} ± {own.error:.3f}"]
        cells += [f"{learned.base:.3f}", f"{learned.difference:+.3f} ± {learned.error:.3f}"]
        cells += [f"{square.own:.3f}", f"{square.base:.3f}", f"{square.difference:+.3f} ± {square.error:.3f}"]
        lines.append(f"| {words} | {' | '.join(cells)} |")
    return [*lines, ""]


def bins(asked: Sequence[Asked], quantity: str) -> list[str]:
    """The reliability table; a forecast outside the interval of what came is marked."""
    forecast, _, came = arrays(asked, quantity)
    lines = [
        f"| {quantity} | truths | mean forecast | {QUANTITIES[quantity][4]} | 95 % | |",
        "|---|---|---|---|---|---|",
    ]
    for b in score.reliability(forecast, came, QUANTITIES[quantity][3]):
        mark = "" if b.holds else "too low" if b.forecast < b.least else "too high"
        lines.append(
            f"| {b.low:g} to {b.high:g} | {b.count} | {b.forecast:.3f} | {b.came / b.count:.3f} | "
            f"{b.least:.3f} to {b.most:.3f} | {mark} |"
        )
    return [*lines, ""]


def tables(found: Sequence[Asked]) -> list[str]:
    """The study in Markdown."""
    by_stage = {stage: questions(found, stage) for stage in STAGES}
    recipes, anywhere = questions(found, "recipe"), questions(found, "any")
    headline = {"all, one a truth": anywhere, **by_stage, "at the recipe": recipes}
    by_class = {
        f"{kind}, {stage}": [q for q in asked if q["class"] == kind]
        for kind in CLASSES
        for stage, asked in [*by_stage.items(), ("at the recipe", recipes)]
    }
    by_laser = {laser: [q for q in anywhere if q["laser"] == laser] for laser in dict.fromkeys(LASERS)}
    by_piece = {
        f"{coating} on {ground}": [q for q in anywhere if q["piece"] == n]
        for n, (coating, _, ground, _) in enumerate(PIECES)
    }
    lines = [f"{len(found)} truths.", "", "## By number of patches seen", ""]
    for quantity in QUANTITIES:
        lines += summary(headline, quantity) + scores(headline, quantity)
    for stage, asked in headline.items():
        lines += [f"## {stage[0].upper()}{stage[1:]}", ""]
        for quantity in QUANTITIES:
            lines += bins(asked, quantity) if asked else ["None was asked.", ""]
    for title, groups in (
        ("By substrate and patches", by_class),
        ("By laser, one question a truth", by_laser),
        ("By piece, one question a truth", by_piece),
    ):
        lines += [f"## {title}", ""]
        for quantity in QUANTITIES:
            lines += summary(groups, quantity)
    return lines


READING = f"""
*Two strips* are up to eight patches, *one strip* up to four; a strip that harms ends there. *Excess* is how many
standard deviations more came true than forecast: for P(clean) above 0 is too careful, for P(harm) above 0 is too
kind. *p* is the one joint test of a row over all its bins (`calibration_score.joint_test`): outcomes drawn
{score.DRAWS} times from the forecasts themselves. Questions on one truth hang together, so no test and no table holds
two of the same truth. A truth's verdict is not shown to the belief, and a setting is chosen by its forecasts alone,
so under true forecasts every p is evenly spread: of twenty, one is below 0.05 by chance. The rows are not independent
of each other.

Settings asked about lie anywhere in the laser's envelope with the hand at {SLOWEST * 1e3:.0f} to 150 mm/s, at most
{max(MOST)} passes and {LONGEST:.0f} s of stroke for a metre, which the simulator lays in seconds. Recipes and patches
are laid as they are named, patches {PATCH * 1e3:.0f} mm long. What it cannot judge: docs/simulator.md.

Scores are means, lower is better; a difference below 0 speaks for the forecast, ± is its standard error over truths.
The *base rate* is the share of the other truths of the row that came true; *before any patch* is what the prior said
of the very same settings. The log score takes no chance as surer than {score.LEAST_CHANCE:g}.
"""


def write(found: Sequence[Asked], words: str) -> None:
    """The study as it is kept."""
    head = (__doc__ or "").split("\n\n")
    text = ["# How true the chances are", "", head[0], head[1], READING, stamp_of(words), "", *tables(found)]
    stamp.DOCS.joinpath("calibration.md").write_text("\n".join(text).rstrip() + "\n", encoding="utf-8")


def stamp_of(words: str) -> str:
    """Where the study comes from."""
    return stamp.stamp(words).replace(stamp.covers(), covers())


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--truths", default=None, help="first:last, the last one not asked")
    parser.add_argument("--kept", type=Path, default=Path(tempfile.gettempdir()) / "proofpatch-calibration")
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    first, last = (int(n) for n in given.truths.split(":")) if given.truths else HELD_OUT if given.write else BUILDING
    code = covers()
    found = answers(range(first, last), kept_in(given.kept, code))
    print("\n".join(tables(found)))
    print(f"{np.mean([entry['seconds'] for entry in found]):.1f} s of processor a truth")
    if covers() != code:
        raise SystemExit("The code has changed meanwhile: nothing is written, and these answers may mix two versions.")
    if given.write:
        write(found, f"Seeds {first} to {last - 1}")


if __name__ == "__main__":
    main()
