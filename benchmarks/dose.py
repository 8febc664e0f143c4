"""How fast the pulses of a stroke become maps, each as a ratio to NumPy doing the same in the same run.

The peer for dose and hits is one direct sum in NumPy: every pulse on every pixel of its square by np.bincount, in
double precision; over wider squares it is also the truth the error counts from. The peers for film and heat are the
plain forms.

Run: python benchmarks/dose.py     (a quiet machine; the host is shared, so ratios under 2 mean little)
"""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable

import numpy as np
from timing import warm

from proofpatch.physics import dose_kernels as kernels
from proofpatch.physics.beam import mean_fluence
from proofpatch.physics.dose_map import Skin, cooling_of
from proofpatch.physics.setting import PATTERNS, Setting
from proofpatch.physics.strokes import HandMotion, Pulses, place_pulses

# 500 W, 0.9 mm; the map of engine.md §2: 1000 × 1000 pixels, squares of two radii or 8 pixels to each side.
SETTING = Setting(500.0, 500e3, 100e-9, 0.45e-3, 0.1, 10.0, 0.05)
TOP_HAT = 0.7
SIDE = 1000
RADIUS = 4.0
OAK = Skin(0.5, 0.5, 60e-6, 705 * 1630.0, 0.17, 2.5e-3)
THRESHOLD, DEPTH, INCUBATION = 500.0, 4e-6, 0.9
FEW = 30_000  # pulses the slow peers are given; their time is taken as proportional


def best(call: Callable[[], object], times: int = 5) -> float:
    """Shortest seconds of a warm call: what the machine can do when nobody else uses it."""
    return min(warm(call, times))


def stroke(pattern: str) -> Pulses:
    """A million pulses of a hand's stroke."""
    return place_pulses(SETTING.with_(pattern=pattern), HandMotion(), 0.1, rayleigh_range=12e-3)


def on_map(pulses: Pulses, side: int = SIDE) -> kernels.Places:
    """The stroke on a square map 110 mm wide, its spots drawn at RADIUS pixels whatever the map, for equal work."""
    pixel = 0.11 / side
    fluence = mean_fluence(SETTING.pulse_energy, pulses.radius)
    radius = pulses.radius / 0.45e-3 * RADIUS
    return kernels.Places(
        (pulses.x + 0.055) / pixel, (pulses.y + 0.005) / pixel, radius, 2 * (1 - TOP_HAT) * fluence, TOP_HAT * fluence
    )


def part(places: kernels.Places, count: int) -> kernels.Places:
    """The first pulses."""
    return kernels.Places(*(a[:count] for a in places))


def direct_sum(places: kernels.Places, support: float, side: int = SIDE) -> tuple[np.ndarray, np.ndarray]:
    """Dose and hits by np.bincount over squares of `support` radii to each side."""
    reach = math.ceil(support * places.radius.max())
    step = np.arange(-reach, reach + 1)
    dose, hits = np.zeros(side * side), np.zeros(side * side)
    for first in range(0, len(places.column), 2000):
        some = kernels.Places(*(a[first : first + 2000, None, None] for a in places))
        j, i = np.rint(some.column) + step, np.rint(some.row) + step[:, None]
        across, along = np.abs(j - some.column), np.abs(i - some.row)
        far = np.maximum(across, along) <= support * some.radius
        u = (across**2 + along**2) / some.radius**2
        weight = some.gaussian * np.exp(-2 * u) + some.top_hat * (u < 1)
        on = far & (i >= 0) & (i < side) & (j >= 0) & (j < side)
        place = np.where(on, i * side + j, 0).astype(np.int64).ravel()
        dose += np.bincount(place, np.where(on, weight, 0.0).ravel(), side * side)
        hits += np.bincount(place, (on & (u < 1)).ravel(), side * side)
    return dose.reshape(side, side), hits.reshape(side, side)


def row(words: str, count: int, ours: float, peer: float, peer_words: str) -> None:
    print(f"{words:34s} {count / ours / 1e6:6.2f} Mpulse/s   {peer / ours:7.1f} × {peer_words}")


def patterns() -> None:
    """Dose and hits of a million pulses, and their error on the first few."""
    for pattern in PATTERNS:
        places = on_map(stroke(pattern))
        count = len(places.column)
        ours = best(lambda p=places: kernels.add_dose(p, (SIDE, SIDE)))
        few = part(places, FEW)
        started = time.perf_counter()
        direct_sum(few, kernels.SUPPORT)
        peer = (time.perf_counter() - started) * count / FEW
        dose, hits = direct_sum(few, 3.5)
        got, counted = kernels.add_dose(few, (SIDE, SIDE))
        seen = dose > 0
        error = np.sqrt(np.mean((got - dose)[seen] ** 2)) / dose[seen].mean()
        row(f"dose and hits, {pattern}", count, ours, peer, "np.bincount, same work")
        print(f"{'':34s} dose error {error:.1e} rms, hits differ at {np.mean(counted != hits):.1e} of the pixels")


def removal_and_heat() -> None:
    """Film and heat of the same stroke, against their plain forms."""
    pulses = stroke("line")
    places = on_map(pulses)
    count = len(places.column)
    log_threshold = math.log(THRESHOLD) + (INCUBATION - 1) * np.log(np.maximum(np.arange(101), 1))
    reach = np.sqrt(np.clip(0.5 * (np.log(places.gaussian) - log_threshold.min()), 1, None))
    blow = kernels.Blow(log_threshold, np.ones(count), DEPTH, reach)
    few = 3000
    less = kernels.Blow(log_threshold, blow.used[:few], DEPTH, reach[:few])
    film = np.full((SIDE, SIDE), 1e-3)
    ours = best(lambda: kernels.take_off(places, blow, film), 3)
    peer = best(lambda: kernels.plain_removal(part(places, few), less, film), 1) * count / few
    row("film, hit by hit", count, ours, peer, "plain NumPy, pulse by pulse")
    cooling = cooling_of(OAK, pulses.time, 100e-9)
    ours = best(lambda: kernels.warm_up(places, pulses.time, cooling, (SIDE, SIDE)), 1)
    small = (SIDE // 4, SIDE)
    peer = best(lambda: kernels.plain_heat(part(places, few), pulses.time, cooling, small), 1) * count / few
    row(f"peak temperature, {len(cooling.rate)} terms", count, ours, peer, "plain NumPy, pulse by pulse")


def growth() -> None:
    """Time against the number of pulses, and against the size of the map with as many pulses and pixels a pulse."""
    places = on_map(stroke("line"))
    print("growth with pulses:  ", end="")
    for count in (62_500, 125_000, 250_000, 500_000, 1_000_000):
        seconds = best(lambda n=count: kernels.add_dose(part(places, n), (SIDE, SIDE)), 3)
        print(f"{count:,}: {seconds * 1e3:.0f} ms   ", end="")
    print("\ngrowth with the map: ", end="")
    for side in (500, 1000, 2000, 3000):
        on_it = on_map(stroke("line"), side)
        seconds = best(lambda p=on_it, n=side: kernels.add_dose(p, (n, n)), 3)
        print(f"{side}²: {seconds * 1e3:.0f} ms   ", end="")
    print()


def main() -> None:
    print(f"{SIDE} × {SIDE} pixels, spot radius {RADIUS:g} pixels, {os.cpu_count()} cores")
    started = time.perf_counter()
    count = len(stroke("line"))
    print(f"{'placing the pulses':34s} {count / (time.perf_counter() - started) / 1e6:6.2f} Mpulse/s")
    patterns()
    removal_and_heat()
    growth()


if __name__ == "__main__":
    main()
