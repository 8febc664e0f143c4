"""How fast the heat of many pulses is added up, against the exact sums in the same run, and how large the errors are.

Run: python benchmarks/accumulation.py     (a quiet machine; the host is shared, so ratios under 2 mean little)

The exact sums are this package's own: compiled, term by term, and plain NumPy in blocks that fit the cache. Where
they would take long they are timed on fewer probes and scaled, as their time is proportional to those; the lines
say so with ≈. Errors are against the exact sum, over the highest rise among the probes.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from proofpatch.physics.green import Pulses, pulses_rise
from proofpatch.physics.green_tree import fast_pulses_rise

# ρc, diffusivity, absorption (None: face); mild steel and wood of the reference §4.8, wood's skin as CV-4.7.
STEEL = (7854 * 434, 60.5 / (7854 * 434), None)
WOOD = (692.7 * 1661, 0.1697 / (692.7 * 1661), 5e3)
GOAL = 5e-3  # s, for 100000 pulses and 1000 probes at 1e-3 on 2 cores: engine.md, speed goals
RADIUS, WIDTH, ENERGY = 0.45e-3, 100e-9, 12e-3
# Rate [Hz], sweep width [m], sweep speed [m/s], hand speed [m/s].
JOBS = {
    "one place, 100 kHz": (100e3, 0.0, 0.0, 0.0),
    "one line, 100 kHz, 1 m/s": (100e3, 1e9, 1.0, 0.0),
    "band, 20 kHz, 100 mm at 10 m/s, hand 50 mm/s": (20e3, 0.1, 10.0, 0.05),
    "dense band, 100 kHz, 20 mm at 5 m/s, hand 5 mm/s": (100e3, 0.02, 5.0, 0.005),
}


def job(name: str, count: int) -> Pulses:
    """Pulses of one job, each 5 % off in energy."""
    rate, width, speed, hand = JOBS[name]
    t = np.arange(count) / rate
    turn = t * speed / width if width else 0.0 * t
    x = width * np.abs((turn + 1) % 2 - 1) if width < 1e8 else speed * t
    heat = ENERGY * np.random.default_rng(1).normal(1.0, 0.05, count).clip(0.5, 1.5)
    return Pulses(t, x, hand * t, heat, RADIUS, WIDTH)


def probes(pulses: Pulses, count: int) -> tuple[Any, Any, float, Any]:
    """Half of them at some moment of the job, half from 0.1 µs to 1 s after a pulse near by; all on the face."""
    rng = np.random.default_rng(2)
    starts = np.asarray(pulses.starts)
    k = rng.integers(0, starts.size, count)
    x, y = (np.asarray(c)[k] + 0.5 * RADIUS * rng.normal(size=count) for c in (pulses.along, pulses.across))
    after = np.minimum(starts[k] + 10 ** rng.uniform(-7, 0, count), 1.01 * starts[-1])
    return x, y, 0.0, np.where(rng.random(count) < 0.5, starts[-1] * rng.random(count), after)


def both(call: Callable[[], object], times: int = 5) -> tuple[float, float]:
    """Least seconds of a warm call, what the code takes without what others on the host take; and of all its cores."""
    call()
    seen, worked = [], []
    for _ in range(times):
        started, begun = time.perf_counter(), time.process_time()
        call()
        seen.append(time.perf_counter() - started)
        worked.append(time.process_time() - begun)
    return min(seen), min(worked)


def best(call: Callable[[], object], times: int = 5) -> float:
    """Least seconds of a warm call."""
    return both(call, times)[0]


def first(places: tuple[Any, Any, float, Any], count: int) -> tuple[Any, Any, float, Any]:
    return places[0][:count], places[1][:count], places[2], places[3][:count]


def compare(name: str, solid: Any, words: str, count: int = 100_000, many: int = 1000) -> None:
    """Exact and fast sums of one job."""
    pulses = job(name, count)
    places = probes(pulses, many)
    started = time.perf_counter()
    exact = np.asarray(pulses_rise(pulses, *places, *solid))
    compiled = time.perf_counter() - started
    plain = best(lambda: pulses_rise(pulses, *first(places, 10), *solid, compiled=False), 1) * many / 10
    print(f"{words}: {name}")
    print(f"  exact compiled {compiled * 1e3:6.0f} ms, exact NumPy ≈ {plain * 1e3:6.0f} ms")
    for tolerance in (1e-2, 1e-3, 1e-4):
        fast = fast_pulses_rise(pulses, *places, *solid, tolerance=tolerance)
        whole, worked = both(lambda t=tolerance: fast_pulses_rise(pulses, *places, *solid, tolerance=t), 15)
        tree = best(lambda t=tolerance: fast_pulses_rise(pulses, *first(places, 1), *solid, tolerance=t))
        off = np.abs(fast.rise - exact) / exact.max()
        ratios = f"{compiled / whole:5.0f} × compiled, {plain / whole:6.0f} × NumPy"
        errors = f"error {off.max():.1e} (median {np.median(off):.0e}), bound {fast.error.max() / exact.max():.1e}"
        goal = f", {whole / GOAL:.1f} × goal" if tolerance == 1e-3 else ""
        times = f"{whole * 1e3:6.1f} ms{goal} (tree {tree * 1e3:4.1f}, processor {worked * 1e3:.1f})"
        print(f"  fast, {tolerance:.0e}: {times}, {ratios}; {errors}")


def growth() -> None:
    """Time of the whole fast call over pulses and over probes."""
    name = "band, 20 kHz, 100 mm at 10 m/s, hand 50 mm/s"
    print(f"growth, steel, tolerance 1e-3: {name}")
    for count in (1_000, 10_000, 100_000, 1_000_000):
        pulses = job(name, count)
        places = probes(pulses, 1000)
        few = min(1000, 10_000_000 // count)
        some = first(places, few)
        exact = best(lambda p=pulses, q=some: pulses_rise(p, *q, *STEEL), 1) * 1000 / few
        fast = best(lambda p=pulses, q=places: fast_pulses_rise(p, *q, *STEEL, tolerance=1e-3), 3)
        told = "" if few == 1000 else "≈ "
        ratio = f"exact {told}{exact * 1e3:.0f} ms, {exact / fast:.0f} ×"
        print(f"  {count:8d} pulses, 1000 probes {fast * 1e3:7.1f} ms   {ratio}")
    pulses = job(name, 100_000)
    for many in (1, 100, 1_000, 10_000, 100_000):
        places = probes(pulses, many)
        fast = best(lambda q=places: fast_pulses_rise(pulses, *q, *STEEL, tolerance=1e-3), 3)
        print(f"  100000 pulses, {many:6d} probes {fast * 1e3:7.1f} ms   {many / fast:.2e} probes/s")


def main() -> None:
    started = time.perf_counter()
    one = Pulses([0.0], 0, 0, 1, 1e-3, 1e-7)
    fast_pulses_rise(one, 0, 0, 0, 1, *STEEL)
    pulses_rise(one, 0, 0, 0, 1, *STEEL)
    print(
        f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; compiling {time.perf_counter() - started:.1f} s, once"
    )
    print("100000 pulses, 1000 probes")
    for name in JOBS:
        compare(name, STEEL, "steel, face")
    for name in list(JOBS)[2:]:
        compare(name, WOOD, "wood, skin")
    growth()


if __name__ == "__main__":
    main()
