"""How true the chances are: forecasts beside what came of pulse-by-pulse simulated pieces.

Run: python benchmarks/calibration.py [--truths 0:40] [--write] [--kept FILE]

On each truth of `benchmarks/simulator.py` one setting is asked about before any patch and one after a strip of four
(laid, graded, stopped at its first harm): which one, the forecast alone decides, so that chances from sure to hopeless
are met. A recipe that is named is judged too. Each table holds one question of each truth, so its rows are independent;
it is tested as a whole: the sum over its bins of (came − forecast)²/variance, against what the forecasts themselves
would give (drawn, not χ²). Seeds 0 to 999 are for building; 1000 and up were used for no choice.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from patches_truth import PIECES
from simulator import draw_truth, finished, grade, lay_patch
from stamp import DOCS, covers, stamp

import proofpatch as pp

Floats = NDArray[np.float64]
HELD_OUT = (1000, 1300)
LIMITS = pp.Limits()
CLEAN_BINS = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
HARM_BINS = (0.0, 0.003, 0.01, 0.03, 0.1, 1.0)
SLOWEST, MOST = 8e-3, 12  # m/s, passes: beyond them a tile takes many seconds
REDRAWN = 4000


def usual(setting: pp.Setting) -> bool:
    """True for a setting the simulator follows in a few seconds."""
    return setting.travel_speed >= SLOWEST and setting.passes <= MOST and setting.passes / setting.travel_speed <= 300


def asked(window: pp.Window, rng: np.random.Generator) -> int:
    """A setting to ask about: a bin of P(clean) or of P(harm) at random, then a setting in it at random."""
    able = np.array([usual(s) for s in window.settings])
    clean = rng.random() < 0.5
    values = window.p_clean if clean else window.p_harm
    bins = CLEAN_BINS if clean else (*HARM_BINS[:-1], 0.3, 0.6, 1.0)
    # Where nothing else is at stake a setting says little: the other chance should not be hopeless.
    able &= (window.p_clean > 0.02) | (window.p_harm > 0.002)
    place = np.searchsorted(bins, values, side="right") - 1
    for choice in rng.permutation(len(bins) - 1):
        own = np.flatnonzero(able & (place == choice))
        if len(own):
            return int(rng.choice(own))
    return int(rng.integers(len(window.settings)))


def one(seed: int) -> dict[str, Any]:
    """What was forecast and what came on one truth."""
    started = time.perf_counter()
    coating, condition, substrate, state, laser = PIECES[seed % len(PIECES)]
    surface = pp.Surface([pp.Layer(coating, condition=condition)], substrate, condition=state)
    rng = np.random.default_rng([seed, 5])
    truth = draw_truth(surface, pp.laser(laser), rng)
    belief = pp.prior(surface, laser)
    found: dict[str, Any] = {"seed": seed, "piece": seed % len(PIECES)}

    def judge(setting: pp.Setting, p_clean: float, p_harm: float) -> dict[str, Any]:
        verdict = finished(truth, setting, rng, thorough=False)
        return {
            "p_clean": float(p_clean), "p_harm": float(p_harm), "clean": bool(verdict.clean),
            "harmed": not verdict.harmless,
        }  # fmt: skip

    for stage in ("before", "after"):
        window = pp.forecast(belief, LIMITS)
        i = asked(window, rng)
        found[stage] = judge(window.settings[i], window.p_clean[i], window.p_harm[i])
        if stage == "before":
            seen = []
            for patch in pp.next_patch(belief, LIMITS, count=4):
                if not usual(patch.setting) and patch.setting.passes / patch.setting.travel_speed > 600:
                    break  # would take minutes to follow
                seen.append(grade(lay_patch(truth, patch.setting, rng), truth, rng))
                if seen[-1].harm != "none":
                    break
            belief = pp.update(belief, seen)
            found["patches"] = len(seen)
    recipe = pp.recipe(belief, LIMITS)
    if recipe.setting is not None and usual(recipe.setting):
        found["recipe"] = judge(recipe.setting, recipe.p_clean, recipe.p_harm)
    found["seconds"] = time.perf_counter() - started
    return found


def simulator_digest() -> str:
    """Of the sources of the simulated pieces and of this study."""
    seal = hashlib.sha256()
    here = Path(__file__).parent
    for path in sorted([*here.glob("simulator*.py"), here / "calibration.py"]):
        seal.update(path.read_bytes())
    return seal.hexdigest()[:16]


def all_covered() -> str:
    """The code this study is good for."""
    return f"{covers()}, simulator {simulator_digest()}"


def study(seeds: Iterable[int], kept: Path | None = None, workers: int = 2) -> list[dict[str, Any]]:
    """Results by seed; what a file already keeps of this very code is not done again."""
    done: dict[int, dict[str, Any]] = {}
    if kept and kept.exists():
        for line in kept.read_text(encoding="utf-8").splitlines():
            entry = json.loads(line)
            if entry["covers"] == all_covered():
                done[entry["seed"]] = entry
    seeds = list(seeds)
    waiting = [s for s in seeds if s not in done]
    os.environ |= {"NUMBA_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        for n, entry in enumerate(pool.map(one, waiting), 1):
            done[entry["seed"]] = entry
            if kept:
                with kept.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(entry | {"covers": all_covered()}) + "\n")
            if n % 20 == 0:
                print(f"{n} of {len(waiting)}", flush=True)
    return [done[s] for s in seeds]


# ---- Scores ----


def misfit(forecast: Floats, came: NDArray[np.bool_], bins: Sequence[float]) -> float:
    """Σ over bins of (Σ came − Σ forecast)²/Σ forecast (1 − forecast); bins without variance count their misses."""
    place = np.clip(np.searchsorted(bins, forecast, side="right") - 1, 0, len(bins) - 2)
    off = np.bincount(place, weights=came - forecast, minlength=len(bins) - 1)
    variance = np.bincount(place, weights=forecast * (1 - forecast), minlength=len(bins) - 1)
    return float(np.sum(off**2 / (variance + 1e-3)))


def joint_p(forecast: Floats, came: NDArray[np.bool_], bins: Sequence[float], seed: int = 0) -> float:
    """Chance of a misfit at least as large if every forecast were right.

    Outcomes are redrawn from the forecasts themselves; questions of different truths are independent.
    """
    rng = np.random.default_rng(seed)
    own = misfit(forecast, came, bins)
    redrawn = [misfit(forecast, rng.random(len(forecast)) < forecast, bins) for _ in range(REDRAWN)]
    return float((1 + sum(m >= own for m in redrawn)) / (1 + REDRAWN))


def scores(forecast: Floats, came: NDArray[np.bool_]) -> dict[str, float]:
    """Mean log score and Brier, of the forecast and of the base rate of the others, with the paired standard error.

    Log score ln p of what came (Good 1952), Brier (p − o)² (Brier 1950). A base rate is (k + 1)/(n + 2) of the others.
    """
    o, n = came.astype(float), len(came)
    base = (o.sum() - o + 1.0) / (n - 1 + 2.0)
    p = np.clip(forecast, 1e-6, 1 - 1e-6)

    def log(q: Floats) -> Floats:
        return np.asarray(o * np.log(q) + (1 - o) * np.log(1 - q))

    gain_log, gain_brier = log(p) - log(base), (base - o) ** 2 - (p - o) ** 2
    return {
        "log": float(log(p).mean()), "base log": float(log(base).mean()),
        "gain log": float(gain_log.mean()), "gain log se": float(gain_log.std(ddof=1) / np.sqrt(n)),
        "brier": float(((p - o) ** 2).mean()), "base brier": float(((base - o) ** 2).mean()),
        "gain brier": float(gain_brier.mean()), "gain brier se": float(gain_brier.std(ddof=1) / np.sqrt(n)),
    }  # fmt: skip


def table(words: str, told: list[dict[str, Any]], what: str, bins: Sequence[float]) -> list[str]:
    """One reliability table with its joint test and scores."""
    p = np.array([t[f"p_{what}"] for t in told])
    came = np.array([t["clean" if what == "clean" else "harmed"] for t in told])
    lines = [f"**P({what}), {words}**", "", "| forecast | truths | mean forecast | came true |", "|---|---|---|---|"]
    place = np.clip(np.searchsorted(bins, p, side="right") - 1, 0, len(bins) - 2)
    for b in range(len(bins) - 1):
        own = place == b
        if own.any():
            rate = came[own].mean()
            error = np.sqrt(max(p[own].mean() * (1 - p[own].mean()), 1e-9) / own.sum())
            lines.append(
                f"| {bins[b]:g} to {bins[b + 1]:g} | {own.sum()} | {p[own].mean():.3f} | {rate:.3f} ± {error:.3f} |"
            )
    s = scores(p, came)
    lines += [
        "",
        f"One test of the table: p = {joint_p(p, came, bins):.4f}. Log score {s['log']:.3f} against {s['base log']:.3f} by "
        f"base rates (gain {s['gain log']:+.3f} ± {s['gain log se']:.3f}); Brier {s['brier']:.3f} against "
        f"{s['base brier']:.3f} (gain {s['gain brier']:+.3f} ± {s['gain brier se']:.3f}).",
        "",
    ]
    return lines


def tables(found: list[dict[str, Any]]) -> list[str]:
    """Markdown."""
    lines: list[str] = []
    for stage, words in (("before", "before any patch"), ("after", "after one strip")):
        told = [f[stage] for f in found]
        lines += table(words, told, "clean", CLEAN_BINS) + table(words, told, "harm", HARM_BINS)
    recipes = [f["recipe"] for f in found if "recipe" in f]
    lines.append(
        f"Recipes named after the one strip: {len(recipes)}; of them clean {sum(r['clean'] for r in recipes)}, harming "
        f"{sum(r['harmed'] for r in recipes)}."
    )
    lines += ["", "| piece | truths | P(clean) | clean | P(harm) | harmed |", "|---|---|---|---|---|---|"]
    for number, piece in enumerate(PIECES):
        own = [f[stage] for f in found if f["piece"] == number for stage in ("before", "after")]
        if own:
            means = [np.mean([t[key] for t in own]) for key in ("p_clean", "clean", "p_harm", "harmed")]
            lines.append(
                f"| {piece[0]} on {piece[2]} | {len(own) // 2} | " + " | ".join(f"{m:.2f}" for m in means) + " |"
            )
    return lines


def write(found: list[dict[str, Any]], words: str) -> None:
    """The study as it is kept."""
    about = (__doc__ or "").split("\n\n")[2]
    text = ["# How true the chances are", "", about, "", "docs/simulator.md says what truth and model share.", "",
            f"{stamp(words)[:-1]}, simulator {simulator_digest()}.", "", *tables(found), ""]  # fmt: skip
    DOCS.joinpath("calibration.md").write_text("\n".join(text), encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--truths", default=None)
    parser.add_argument("--kept", type=Path)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    first, last = (int(n) for n in given.truths.split(":")) if given.truths else HELD_OUT if given.write else (0, 40)
    started = time.perf_counter()
    found = study(range(first, last), given.kept)
    print("\n".join(tables(found)))
    print(f"{time.perf_counter() - started:.0f} s; {np.mean([f['seconds'] for f in found]):.1f} s a truth")
    if given.write:
        write(found, f"Seeds {first} to {last - 1}")


if __name__ == "__main__":
    main()
