"""Forecasts before any patch beside what came true on simulated pieces; printed by `python benchmarks/simulator.py`."""

from __future__ import annotations

import functools
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
from simulator import Truth, draw_truth, finished, grade, lay_patch

import proofpatch as pp

LASER = "pulsed-500"
# coating, its condition, substrate, its condition
PIECES = (
    ("oil-varnish", "aged", "oak", "aged"), ("loose-rust", "unknown", "mild-steel", "unknown"),
    ("masonry-paint", "unknown", "fired-brick", "unknown"), ("baked-grease", "unknown", "aluminium", "unknown"),
)  # fmt: skip
WANTED = (0.3, 0.6, 0.9)  # P(clean) of the settings tried, as forecast
SLOWEST, MOST = 2e-2, 12  # m/s, passes: beyond them a tile takes many seconds
DEAR = 0.1  # of P(clean) off, that ten times the crossings to follow are worth


@dataclass(frozen=True)
class Told:
    """One setting on one piece: what was forecast and what came."""

    p_clean: float
    p_harm: float
    clean: bool
    harmed: bool
    p_residue: float  # given to the grade that was said of a patch
    p_hurt: float


def settings_for(window: pp.Window) -> list[int]:
    """Settings a hand would try: the likeliest harmless ones at about each of WANTED."""
    usual = [s.travel_speed >= SLOWEST and s.passes <= MOST for s in window.settings]
    dear = DEAR * np.log10([s.passes / s.travel_speed for s in window.settings])
    found: list[int] = []
    for wanted in WANTED:
        off = np.where(usual, np.abs(window.p_clean - wanted) + 0.3 * window.p_harm + dear, np.inf)
        off[found] = np.inf
        found.append(int(np.argmin(off)))
    return found


def one(truth: Truth, window: pp.Window, index: int, rng: np.random.Generator) -> Told:
    """Lay, grade and judge one setting."""
    setting = window.settings[index]
    said = grade(lay_patch(truth, setting, rng), truth, rng)
    verdict = finished(truth, setting, rng, thorough=False)
    p_clean, p_harm, grades = window.at(setting)
    return Told(
        p_clean, p_harm, verdict.clean, not verdict.harmless, grades["residue"][said.residue], grades["harm"][said.harm]
    )


def row(words: str, told: list[Told]) -> str:
    """One line of Markdown; the last two columns are e to the mean log chance given to what was said."""
    p_clean, p_harm = (np.mean([getattr(t, name) for t in told]) for name in ("p_clean", "p_harm"))
    clean, harmed = (np.mean([getattr(t, name) for t in told]) for name in ("clean", "harmed"))
    given = [np.exp(np.mean(np.log([getattr(t, name) for t in told]))) for name in ("p_residue", "p_hurt")]
    return (
        f"| {words} | {len(told)} | {p_clean:.2f} | {clean:.2f} | {p_harm:.2f} | {harmed:.2f} | "
        f"{given[0]:.2f} | {given[1]:.2f} |"
    )


@functools.cache
def window_of(number: int) -> pp.Window:
    """What is forecast of a piece before any patch."""
    coating, condition, substrate, state = PIECES[number]
    surface = pp.Surface([pp.Layer(coating, condition=condition)], substrate, condition=state)
    return pp.forecast(pp.prior(surface, LASER))


def piece(seed: int, number: int, k: int) -> list[Told]:
    """The k-th truth of a piece under every setting tried."""
    window, rng = window_of(number), np.random.default_rng([seed, number, k])
    truth = draw_truth(window.belief.surface, pp.laser(LASER), rng)
    return [one(truth, window, index, rng) for index in settings_for(window)]


def study(truths: int = 3, seed: int = 1, workers: int = 2) -> list[str]:
    """The table: by piece, then by what was forecast. With one worker nothing is started beside this process."""
    started = time.perf_counter()
    jobs = [(seed, number, k) for number in range(len(PIECES)) for k in range(truths)]
    if workers == 1:
        found = [piece(*job) for job in jobs]
    else:
        with ProcessPoolExecutor(workers) as pool:
            found = list(pool.map(piece, *zip(*jobs, strict=True)))
    told = [t for own in found for t in own]
    lines = [
        "| piece | settings | P(clean) | came clean | P(harm) | harmed | chance given to residue said | to harm said |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for number, (coating, _, substrate, _) in enumerate(PIECES):
        own = [t for job, some in zip(jobs, found, strict=True) if job[1] == number for t in some]
        lines.append(row(f"{coating} on {substrate}", own))
    lines.append(row("all", told))
    for name, words in (("p_clean", "P(clean)"), ("p_harm", "P(harm)")):
        for low, high in ((0.0, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 1.01)):
            own = [t for t in told if low <= getattr(t, name) < high]
            if own:
                lines.append(row(f"{words} {low:g} to {min(high, 1.0):g}", own))
    return [
        *lines, "",
        f"{len(jobs)} pieces, {len(told)} settings on them, seed {seed}; {time.perf_counter() - started:.0f} s. "
        "A share of n has an error of about 0.5/√n, more as settings share pieces.",
    ]  # fmt: skip
