"""Facts of the trade (common practice, no source), asked of the model before any patch.

Bands are those the project started with, from a rough computation with remembered values. A fact the model misses
is reported with its figure; nothing is tuned to meet one. docs/facts.md keeps the answers and, for every parameter
moved to each end of its range, which facts flip.

Run: python benchmarks/facts.py           the facts
     python benchmarks/facts.py --ends    also every parameter at each end (long); writes docs/facts.md
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from stamp import DOCS, stamp

import proofpatch as pp
from proofpatch.learn import belief as belief_module
from proofpatch.learn.forecast import area_rate
from proofpatch.learn.grading import CLEAN_EDGE
from proofpatch.learn.kernels import outcomes
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.learn.unknowns import NORMAL_90
from proofpatch.physics import rows as at
from proofpatch.physics.beam import mean_fluence
from proofpatch.physics.clocks import _flash_margin
from proofpatch.physics.outcome import REFERENCE_WIDTH
from proofpatch.physics.removal import surface_absorber_threshold
from proofpatch.physics.super_gaussian import volume_efficiency

SEED = 0
DRAWS = 1024
DRAWS_AT_ENDS = 512  # half the draws: the study asks every fact seventy times
Layer, Surface = pp.Layer, pp.Surface
VARNISHED_OAK = Surface([Layer("oil-varnish", condition="aged")], "oak", condition="aged")
FRESH_ACRYLIC_OAK = Surface([Layer("waterborne-clear", condition="fresh")], "oak", condition="new")
FRESH_ACRYLIC_PINE = Surface([Layer("waterborne-clear", condition="fresh")], "pine", condition="new")
FRESH_VARNISH = Surface([Layer("oil-varnish", condition="fresh")], "oak", condition="new")
TINTED_ACRYLIC = Surface([Layer("waterborne-clear", condition="tinted")], "oak", condition="new")
DIRTY_ACRYLIC = Surface([Layer("waterborne-clear", condition="dirty")], "oak", condition="new")
RUSTY_TOOL = Surface([Layer("loose-rust")], "tool-steel")
PAINTED_BRICK = Surface([Layer("masonry-paint", colour="white", thickness=250e-6)], "fired-brick")
GREASY_PAN = Surface([Layer("baked-grease")], "aluminium")
PAINTED_CARD = Surface([Layer("latex-paint", colour="black")], "paper")


@dataclass(frozen=True)
class Fact:
    """One fact: its words, what the model says, and the band it should lie in."""

    words: str
    value: float
    low: float
    high: float

    @property
    def holds(self) -> bool:
        """True if the value lies in the band."""
        return self.low <= self.value <= self.high


def believe(surface: pp.Surface, laser: str = "pulsed-500") -> pp.Belief:
    return pp.prior(surface, laser, seed=SEED, draws=DRAWS)


@lru_cache(maxsize=64)
def window(surface: pp.Surface, laser: str = "pulsed-500") -> pp.Window:
    return pp.forecast(believe(surface, laser), draws=DRAWS)


def best_within(w: pp.Window, p_harm: float = 0.1) -> int:
    """Setting with the best P(clean) of those with P(harm) within the limit."""
    return int(np.argmax(np.where(w.p_harm <= p_harm, w.p_clean, -1.0)))


def at_rate(surface: pp.Surface, rate: float) -> float:
    """Best P(clean) at P(harm) ≤ 0.1 at one repetition rate, over widths, powers, speeds and up to 100 passes."""
    w = window(surface)
    laser = w.belief.laser
    like = w.settings[0]
    tried = []
    for width, energy in laser.energy_limits:
        full = min(laser.max_power, rate * energy) * (1 - 1e-9)
        for share in (1.0, 0.7, 0.5, 0.35):
            for speed in (0.01, 0.03, 0.06, 0.08, 0.15):
                for passes in (1, 4, 16, 40, 70, 100):
                    knobs = (full * share, rate, width, like.spot_radius, like.sweep_width, like.sweep_speed, speed)
                    tried.append(pp.Setting(*knobs, passes))
    found = pp.forecast(w.belief, settings=tried, draws=512)
    return float(np.max(np.where(found.p_harm <= 0.1, found.p_clean, 0.0)))


@lru_cache(maxsize=4)
def fine_settings(name: str) -> tuple[pp.Setting, ...]:
    """A finer grid than the window's own, for rates of single draws."""
    laser = pp.laser(name)
    head = laser.handpiece
    found = []
    for width, energy in laser.energy_limits:
        corner = laser.max_power / energy
        for rate in np.append(np.geomspace(max(laser.min_rate, 0.3 * corner), laser.max_rate, 8), corner):
            full = min(laser.max_power, rate * energy) * (1 - 1e-9)
            for share in (1.0, 0.7, 0.5, 0.35, 0.25):
                for speed in np.geomspace(2e-3, 150e-3, 9):
                    for passes in (1, 2, 4, 8, 16, 32):
                        found.append(
                            pp.Setting(full * share, float(rate), width, laser.spot_radius, head.sweep_width_default, head.sweep_speed_default, float(speed), passes)
                        )  # fmt: skip
    return tuple(found)


def median_rate(surface: pp.Surface, laser: str = "pulsed-500") -> float:
    """Median over the draws that can be cleaned at all of their own best area rate [m²/s]."""
    b = believe(surface, laser)
    tried = fine_settings(laser)
    need, spread, margin, *_ = outcomes(
        b.layer[:128], b.substrate[:128], setting_rows(tried, b.laser), hand_row(b.hand), len(surface.coats) - 1
    )
    good = (need <= CLEAN_EDGE * spread) & (margin >= 0)
    rate = np.where(good, np.array([area_rate(s) for s in tried]), 0.0).max(axis=1)
    return float(np.median(rate[rate > 0])) if (rate > 0).any() else 0.0


def fluence_window(surface: pp.Surface, hits: float = 10.0) -> float:
    """Median over draws of the peak fluence at which bare substrate changes over that at which removal starts.

    The ratio of the two thresholds of a test with `hits` pulses a place (S-on-1, as ISO 21254-2 lays one out), at 100 ns.
    """
    b = believe(surface)
    sub, film = b.substrate, b.layer[:, 0]
    changes = b.substrate[:, at.FLASH_FACTOR] * np.exp(
        _flash_margin(1.0, 0.0, REFERENCE_WIDTH, *(sub[:, j] for j in (at.ABSORPTANCE, at.CONDUCTIVITY, at.HEAT_CAPACITY, at.MELT, at.FLASH_LIMIT, at.FLASH_WIDTH, at.FLASH_EXPONENT)))
    )  # fmt: skip
    starts = film[:, at.THRESHOLD] * hits ** (film[:, at.INCUBATION] - 1.0)
    return float(np.median(changes / starts))


def power_room(surface: pp.Surface) -> float:
    """Rise in power from the best careful setting until P(harm) passes one half, as a factor; the laser's limit put aside."""
    w = window(surface)
    setting = w.settings[best_within(w)]
    factors = np.geomspace(1.0, 40.0, 60)
    risen = pp.forecast(w.belief, settings=[setting.with_(average_power=setting.average_power * f) for f in factors])
    over = np.flatnonzero(risen.p_harm > 0.5)
    return float(factors[over[0]]) if len(over) else math.inf


def melt_share(surface: pp.Surface) -> float:
    """Peak fluence of the best careful setting over the median melt onset of the bare metal at its width."""
    w = window(surface)
    setting = w.settings[best_within(w)]
    sub = w.belief.substrate
    onset = surface_absorber_threshold(sub[:, at.MELT], setting.pulse_width, sub[:, at.CONDUCTIVITY], sub[:, at.HEAT_CAPACITY], sub[:, at.ABSORPTANCE])  # fmt: skip
    peak = (2 - w.belief.laser.top_hat_share) * mean_fluence(setting.pulse_energy, setting.spot_radius)
    return float(peak / np.median(onset))


def depth_per_joule_ratio() -> float:
    """Depth per joule on dark paint at 700 kHz over that at 20 kHz, one place hit by pulses of 500 W, single-pulse threshold."""
    b = believe(Surface([Layer("alkyd-paint", colour="black")], "mild-steel"))
    th, delta = np.median(b.layer[:, 0, at.THRESHOLD]), np.median(b.layer[:, 0, at.DEPTH])
    spot = b.laser.spot_radius
    low, high = (2 * mean_fluence(500.0 / f, spot) for f in (20e3, 700e3))
    return float(volume_efficiency(high, th, delta) / volume_efficiency(low, th, delta))


def facts() -> list[Fact]:
    """Every fact, asked now."""
    inf = math.inf
    varnish = window(VARNISHED_OAK)
    recipe = varnish.settings[best_within(varnish)]
    acrylic_there = pp.forecast(believe(FRESH_ACRYLIC_OAK), settings=[recipe])
    rooms = {s: power_room(s) for s in (VARNISHED_OAK, RUSTY_TOOL, GREASY_PAN, PAINTED_BRICK)}
    others = min(rooms[s] for s in (RUSTY_TOOL, GREASY_PAN, PAINTED_BRICK))
    windows = {s: fluence_window(s) for s in (RUSTY_TOOL, PAINTED_BRICK, PAINTED_CARD, GREASY_PAN)}
    card = window(PAINTED_CARD)
    strong, weak = median_rate(VARNISHED_OAK), median_rate(VARNISHED_OAK, "pulsed-300")
    return [
        Fact("aged oil varnish on aged oak: chance", varnish.chance, 0.8, 1.0),
        Fact("clear fresh water-borne coat on new oak: chance", window(FRESH_ACRYLIC_OAK).chance, 0.0, 0.2),
        Fact("clear fresh water-borne coat on new pine: chance", window(FRESH_ACRYLIC_PINE).chance, 0.0, 0.2),
        Fact("the same on oak at the varnish recipe: P(clean)", float(acrylic_there.p_clean[0]), 0.0, 0.1),
        Fact("clear fresh oil varnish on new oak is declined: chance", window(FRESH_VARNISH).chance, 0.0, 0.2),
        Fact("tinted water-borne coat is not declined: chance", window(TINTED_ACRYLIC).chance, 0.2, 1.0),
        Fact("dirty water-borne coat is not declined: chance", window(DIRTY_ACRYLIC).chance, 0.2, 1.0),
        Fact("varnished oak at 700 kHz: best P(clean) with P(harm) ≤ 0.1, up to 100 passes", at_rate(VARNISHED_OAK, 700e3), 0.0, 0.25),
        Fact("varnished oak in 20–100 kHz: best P(clean) with P(harm) ≤ 0.1, up to 100 passes", max(at_rate(VARNISHED_OAK, f) for f in (20e3, 33e3)), 0.7, 1.0),
        Fact("dark paint: depth per joule at 700 kHz over 20 kHz", depth_per_joule_ratio(), 0.0, 0.2),
        Fact("room in power until P(harm) ½: oak over the least of steel, aluminium, brick", rooms[VARNISHED_OAK] / others, 0.0, 1.0),
        Fact("loose rust on tool steel: fluence window", windows[RUSTY_TOOL], 3.0, inf),
        Fact("loose rust on tool steel: recipe's peak fluence over the steel's melt onset", melt_share(RUSTY_TOOL), 0.0, 1.0),
        Fact("white masonry paint, 250 µm, on fired brick: chance", window(PAINTED_BRICK).chance, 0.3, 0.9),
        Fact("the same: times slower than varnish", strong / max(median_rate(PAINTED_BRICK), 1e-12), 3.0, 20.0),
        Fact("baked grease on aluminium: fluence window", windows[GREASY_PAN], 8.0, inf),
        Fact("baked grease: its window over the next widest", windows[GREASY_PAN] / max(v for s, v in windows.items() if s is not GREASY_PAN), 1.0, inf),
        Fact("dark paint on card: chance", card.chance, 0.6, 1.0),
        Fact("dark paint on card: recipe's pulse energy [mJ]", 1e3 * card.settings[best_within(card)].pulse_energy, 0.0, 6.0),
        Fact("300 to 500 W on varnished oak: times faster", strong / max(weak, 1e-12), 1.2, 2.2),
    ]  # fmt: skip


def ends() -> dict[tuple[str, str, str], list[str]]:
    """For every unknown put to each end of its 90 % range, in every surface at once: the facts that flip."""
    global DRAWS
    DRAWS = DRAWS_AT_ENDS
    window.cache_clear()
    plain = {f.words: f.holds for f in facts()}
    honest: Callable[[pp.Surface], Any] = belief_module.latents
    names = sorted(
        {
            name
            for s in (VARNISHED_OAK, FRESH_ACRYLIC_OAK, RUSTY_TOOL, PAINTED_BRICK, GREASY_PAN, PAINTED_CARD)
            for name in honest(s).names
        }
    )
    found: dict[tuple[str, str, str], list[str]] = {}
    try:
        for place, name in names:
            for end, side in (("low", -1.0), ("high", 1.0)):
                belief_module.latents = lambda s, place=place, name=name, side=side: _moved(
                    honest(s), place, name, side
                )  # type: ignore[assignment]  # put back below
                window.cache_clear()
                found[place, name, end] = [f.words for f in facts() if f.holds != plain[f.words]]
                print(place, name, end, found[place, name, end], flush=True)
    finally:
        belief_module.latents = honest  # type: ignore[assignment]  # put back below
        window.cache_clear()
    return found


def _moved(table: Any, place: str, name: str, side: float) -> Any:
    """The table with one unknown put to one end of its range, for certain."""
    if (place, name) not in table.names:
        return table
    j = table.names.index((place, name))
    centre, below, above = table.centre.copy(), table.below.copy(), table.above.copy()
    centre[:, j] += side * NORMAL_90 * (above[:, j] if side > 0 else below[:, j])
    below[:, j] = above[:, j] = 0.0
    return replace(table, centre=centre, below=below, above=above)


def show(found: list[Fact]) -> list[str]:
    """A table in Markdown."""
    lines = ["| fact | model | band | |", "|---|---|---|---|"]
    for f in found:
        band = f"{f.low:g} to {f.high:g}" if f.high < math.inf else f"at least {f.low:g}"
        lines.append(f"| {f.words} | {f.value:.3g} | {band} | {'holds' if f.holds else '**missed**'} |")
    return lines


def main(with_ends: bool) -> None:
    found = facts()
    print("\n".join(show(found)))
    if not with_ends:
        return
    flips = ends()
    lines = [
        "# Facts of the trade, asked of the model", "",
        "Common practice, no source; bands from a rough computation with remembered values. Nothing is tuned to meet them.", "",
        stamp(f"Seed {SEED}"), "",
        *show(found), "", "## Each parameter at each end of its range", "",
        "| where | parameter | end | facts that flip |", "|---|---|---|---|",
        *(f"| {place} | {name} | {end} | {'; '.join(words) or '–'} |" for (place, name, end), words in flips.items()),
    ]  # fmt: skip
    DOCS.joinpath("facts.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main("--ends" in sys.argv[1:])
