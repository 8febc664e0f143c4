"""The questions of `calibration` on one simulated piece: before any patch, after one strip, after two, at the recipe.

A setting asked about is chosen by the forecasts alone, never by the truth; a verdict is never shown to the belief.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import numpy as np
from calibration_score import HARM_EDGES, place_of
from simulator import Truth, Verdict, draw_truth, finished, grade, lay_patch
from simulator_tile import Tile

import proofpatch as pp
from proofpatch import HARMS, RESIDUES
from proofpatch.learn.forecast import FASTEST_HAND
from proofpatch.materials import substrate

STRIP, STRIPS = 4, 2
TRIED = 96  # settings of which one is asked about
SLOWEST, MOST = 2e-2, (1, 1, 2, 3, 4, 6, 8, 12)  # m/s, passes: beyond them a verdict takes long
LONGEST = 300.0  # s of stroke for a metre, of all passes
PATCH = 0.02  # m; a longer one is followed at more places, for more time
# The smallest spot takes the simulator longest, so it comes once in five.
LASERS = ("pulsed-500", "pulsed-300", "pulsed-500", "pulsed-300", "pulsed-100")
CLASSES = ("wood", "metal", "stone", "paper")
# coating, its condition, substrate, its condition; a class each in turn, so that any run of seeds holds all four.
PIECES = (
    ("oil-varnish", "aged", "oak", "aged"), ("loose-rust", "unknown", "mild-steel", "unknown"),
    ("masonry-paint", "unknown", "fired-brick", "unknown"), ("soot-crust", "unknown", "paper", "unknown"),
    ("latex-paint", "unknown", "pine", "unknown"), ("baked-grease", "unknown", "aluminium", "unknown"),
    ("soot-crust", "unknown", "limestone", "unknown"), ("latex-paint", "unknown", "paper", "unknown"),
    ("shellac", "aged", "mahogany", "aged"), ("alkyd-paint", "aged", "mild-steel", "unknown"),
    ("spray-graffiti", "unknown", "granite", "unknown"), ("mould-residue", "unknown", "paper", "unknown"),
    ("polyurethane-2k", "tinted", "maple", "new"), ("tight-rust", "unknown", "cast-iron", "unknown"),
    ("soot-crust", "unknown", "marble", "unknown"), ("spray-graffiti", "unknown", "paper", "unknown"),
    ("lead-white-paint", "aged", "oak", "aged"), ("mill-scale", "unknown", "mild-steel", "unknown"),
    ("spray-graffiti", "unknown", "concrete", "unknown"), ("casein-paint", "unknown", "paper", "unknown"),
)  # fmt: skip
ALIKE = {"mineral": "stone"}  # word of the substrate rows -> ours


def piece_of(seed: int) -> tuple[pp.Surface, str]:
    """(surface, laser id) of a seed: the pieces in turn, and after each round the next laser."""
    coating, condition, ground, state = PIECES[seed % len(PIECES)]
    surface = pp.Surface([pp.Layer(coating, condition=condition)], ground, condition=state)
    return surface, LASERS[(seed // len(PIECES) + seed) % len(LASERS)]


def class_of(surface: pp.Surface) -> str:
    """wood, metal, stone or paper."""
    family = "paper" if surface.substrate == "paper" else substrate(surface.substrate).family
    return ALIKE.get(family, family)


def rng_of(seed: int, *part: int) -> np.random.Generator:
    """Chance of one part of one truth, so that a change in one does not move the others."""
    return np.random.default_rng([seed, *part])


def tried_settings(laser: Any, rng: np.random.Generator, count: int = TRIED) -> list[pp.Setting]:
    """Settings anywhere in the laser's envelope that a hand can follow and the simulator lays in seconds."""
    head = laser.handpiece
    found: list[pp.Setting] = []
    widths = [width for width, _ in laser.energy_limits]
    while len(found) < count:
        width = math.exp(rng.uniform(math.log(min(widths)), math.log(max(widths))))
        corner = laser.max_power / laser.max_energy(width)
        rate = math.exp(rng.uniform(math.log(max(laser.min_rate, 0.3 * corner)), math.log(laser.max_rate)))
        full = min(laser.max_power, rate * laser.max_energy(width)) * (1 - 1e-9)
        sweep = head.sweep_width_default * rng.uniform(0.6, 1.2)
        setting = pp.Setting(
            full * rng.uniform(0.3, 1.0), rate, width, laser.spot_radius,
            min(max(sweep, head.sweep_width_min), head.sweep_width_max), head.sweep_speed_default,
            math.exp(rng.uniform(math.log(SLOWEST), math.log(FASTEST_HAND))), int(rng.choice(MOST)),
        )  # fmt: skip
        if setting.passes / setting.travel_speed <= LONGEST:
            found.append(setting)
    return found


def chosen(p_clean: Any, p_harm: Any, rng: np.random.Generator) -> int:
    """Index of the setting nearest to a tenth of P(clean) and a bin of P(harm) drawn at random, each as likely.

    A tenth off counts as a bin off. So the chances asked about spread over both tables.
    """
    wanted_clean, wanted_harm = rng.uniform(0.0, 1.0), rng.integers(len(HARM_EDGES) - 1)
    off = 10.0 * np.abs(p_clean - wanted_clean) + np.abs(place_of(p_harm, HARM_EDGES) - wanted_harm)
    return int(np.argmin(off + 1e-6 * rng.random(len(off))))


class Asking:
    """One truth, and what is asked of it in turn."""

    def __init__(self, seed: int) -> None:
        self.seed, self.started = seed, time.process_time()
        surface, laser = piece_of(seed)
        self.truth: Truth = draw_truth(surface, pp.laser(laser), rng_of(seed, 0))
        # As in a shop, each job stands on draws of its own.
        self.belief = self.prior = pp.prior(surface, laser, seed=seed)
        self.asked: list[dict[str, Any]] = []
        self.laid: list[dict[str, Any]] = []

    def ask(self, stage: str, setting: pp.Setting, p_clean: float, p_harm: float, governs: str) -> None:
        """Judge a setting on the truth and keep it beside the forecast, and beside that of the prior."""
        verdict = finished(self.truth, setting, rng_of(self.seed, 3, len(self.asked)), thorough=False)
        first = pp.forecast(self.prior, settings=[setting])
        self.asked.append(
            {
                "stage": stage, "patches": len(self.belief.evidence), "p_clean": p_clean, "p_harm": p_harm,
                "first_clean": float(first.p_clean[0]), "first_harm": float(first.p_harm[0]),
                "clean": verdict.clean, "harmed": not verdict.harmless, "governs": governs,
                "setting": asdict(setting), "seen": seen_of(verdict),
            }
        )  # fmt: skip

    def ask_anywhere(self, stage: str, number: int) -> None:
        """Ask at a setting chosen by its forecast."""
        rng = rng_of(self.seed, 1, number)
        window = pp.forecast(self.belief, settings=tried_settings(self.belief.laser, rng))
        at = chosen(window.p_clean, window.p_harm, rng)
        self.ask(stage, window.settings[at], float(window.p_clean[at]), float(window.p_harm[at]), window.governs(at))

    def ask_recipe(self, stage: str) -> None:
        """Ask at the recipe, if one is named."""
        found = pp.recipe(self.belief)
        if found.setting is not None:
            self.ask(f"recipe {stage}", found.setting, found.p_clean, found.p_harm, found.governs)
            self.asked[-1]["confirmed"] = found.confirmed

    def strip(self, number: int) -> bool:
        """Lay a strip up to its first harm and learn from it; False where no patch is named."""
        rng, seen = rng_of(self.seed, 2, number), []
        for patch in pp.next_patch(self.belief, count=STRIP):
            looks = lay_patch(self.truth, patch.setting, rng, PATCH)
            said = grade(looks, self.truth, rng)
            seen.append(said)
            self.laid.append(
                {
                    "setting": asdict(patch.setting), "p_clean": patch.p_clean, "p_harm": patch.p_harm,
                    "said": [said.residue, said.harm], "true": [RESIDUES[looks.residue], HARMS[looks.harm]],
                    "covered": looks.covered, "hottest": looks.hottest,
                }
            )  # fmt: skip
            if said.harm != "none":
                break
        if seen:
            self.belief = pp.update(self.belief, seen)
        return bool(seen)


def seen_of(verdict: Verdict) -> dict[str, Any]:
    """What the surface showed, and each of its places."""
    seen = verdict.seen
    words = ("covered", "tinted", "marked", "burnt", "mark", "islands", "hottest")
    return {word: getattr(seen, word) for word in words} | {
        "removed": seen.removed / seen.start, "places": [place_seen(tile) for tile in seen.tiles],
    }  # fmt: skip


def place_seen(tile: Tile) -> list[Any]:
    """[kind, weight, share with film, highest ∫ A e^(−E/RT) dt, pulse over its limit, lasting rise [K]] of a place."""
    here = tile.seen
    highest = (float(np.quantile(values[here], 0.999)) for values in (tile.converted, tile.flash, tile.lasting))
    return [tile.kind, tile.weight, float((tile.left[here] > 1e-6).mean()), *highest]


def stages() -> Iterator[tuple[int, str]]:
    """(number, words) of each strip."""
    yield from enumerate(("one strip", "two strips"), 1)


def one(seed: int) -> dict[str, Any]:
    """All questions on one truth, as plain data."""
    asking = Asking(seed)
    asking.ask_anywhere("no patch", 0)
    for number, stage in stages():
        if not asking.strip(number):
            break
        asking.ask_anywhere(stage, number)
        asking.ask_recipe(stage)
    surface, laser = piece_of(seed)
    return {
        "seed": seed, "piece": seed % len(PIECES), "laser": laser, "class": class_of(surface), "asked": asking.asked,
        "laid": asking.laid, "seconds": time.process_time() - asking.started,
    }  # fmt: skip
