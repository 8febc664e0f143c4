"""The way down the tree of `green_tree.py`: which blocks are told by their moments, which are left out or divided.

Twice: `walk_lanes` for the compiler, a few blocks of one probe at a time side by side in its lanes, and `walk_plain`,
the readable form, many probes in step.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.physics.elementwise import choose, elementwise, numba
from proofpatch.physics.green import FACE, FAR, MANY, MIDDLE, PAIR, TWO, each_pulse
from proofpatch.physics.green_blocks import (
    BEGIN,
    REACH_T,
    WIDE,
    C,
    Q,
    T,
    X,
    Y,
    block_density,
    bracket,
    decay,
    envelope,
    fade_root,
    highest_squared,
    lanes,
    prange,
    remainder,
)

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
ROUGH = 30.0  # loss from which a block is not even a trifle [1]
FINE = 2.0  # loss allowed a block, in tolerances: most blocks lose less, and few lie where the envelope is high
TRIFLE = 1.4  # what may be left out of all the heat, in tolerances: nearly all of it gives less
TRIES = 10  # each with finer blocks, the last pulse by pulse
HELD = 256  # probes walked at once by the plain form
SURE = 32  # probes looked at for a rise to measure errors by
GLANCE = (0.3, 0.0, 8.0)  # limits of that look: coarse blocks, and only what lies near
LANES = 8  # blocks or pulses side by side
TOLD = 64  # blocks collected before they are told

# ---- In lanes ----


@lanes
def _columns(blocks: Floats, i: int) -> Any:
    """The columns of a block one by one: a compiler lays no view of a row in lanes."""
    return (
        blocks[i, 0], blocks[i, 1], blocks[i, 2], blocks[i, 3], blocks[i, 4], blocks[i, 5], blocks[i, 6], blocks[i, 7],
        blocks[i, 8], blocks[i, 9], blocks[i, 10], blocks[i, 11], blocks[i, 12], blocks[i, 13], blocks[i, 14],
        blocks[i, 15], blocks[i, 16], blocks[i, 17], blocks[i, 18], blocks[i, 19], blocks[i, 20], blocks[i, 21],
        blocks[i, 22], blocks[i, 23],
    )  # fmt: skip


def _look(probe: Any, blocks: Floats, held: Any, count: int, solid: Any, limits: Any) -> tuple[int, int, float]:
    """Which of the blocks held are told by their moments, which are left out (a bit each), and what both lose."""
    x, y, z, t = probe[0], probe[1], probe[2], probe[3]
    diffusivity, absorption, shortest, _ = solid
    fine, trifle, far = limits
    told, out, error = 0, 0, 0.0
    for lane in range(LANES):
        block = _columns(blocks, held[lane])
        age, dx, dy = t - block[T], x - block[X], y - block[Y]
        over = age > block[REACH_T]
        past = choose(over, age, 1.0)
        loss = remainder(block, past, diffusivity)
        fade = fade_root(block, dx, dy, z, past, diffusivity, absorption)
        lost = loss * envelope(block, past, fade, diffusivity, absorption)
        tell = over & (loss < ROUGH) & ((loss <= fine) | (lost <= trifle))
        highest = highest_squared(block, dx, dy, z, age, diffusivity, absorption, shortest, far)
        begun = age + block[REACH_T] > 0.0
        leave = (not begun) | (highest <= trifle * trifle)
        cost = choose(tell, lost, choose(leave & begun, np.sqrt(highest), 0.0))
        error += choose(lane < count, block[Q] * cost, 0.0)
        told |= choose(tell, 1 << lane, 0)
        out |= choose(leave, 1 << lane, 0)
    return told, out, error


def _tell_face(probe: Any, blocks: Floats, told: Any, count: int, solid: Any) -> float:
    """Σ Q g over blocks told by their moments, their heat from the face."""
    x, y, z, t = probe[0], probe[1], probe[2], probe[3]
    diffusivity = solid[0]
    total = 0.0
    for base in range(0, count, LANES):
        for lane in range(LANES):
            block = _columns(blocks, told[base + lane])
            age, dx, dy = t - block[T], x - block[X], y - block[Y]
            fade = fade_root(block, dx, dy, z, age, diffusivity, FACE)
            share = block_density(block, dx, dy, z, age, fade, diffusivity, FACE)
            total += choose(base + lane < count, block[Q] * share, 0.0)
    return total


@elementwise
def _tell_skin(probe: Any, blocks: Floats, told: Any, count: int, solid: Any) -> float:
    """Σ Q g over blocks told by their moments, their heat from a skin: one by one, as a fit is not fine enough."""
    x, y, z, t = probe[0], probe[1], probe[2], probe[3]
    diffusivity, absorption = solid[0], solid[1]
    total = 0.0
    for k in range(count):
        block = blocks[told[k]]
        age, dx, dy = t - block[T], x - block[X], y - block[Y]
        fade = fade_root(block, dx, dy, z, age, diffusivity, absorption)
        total += block[Q] * block_density(block, dx, dy, z, age, fade, diffusivity, absorption)
    return total


def _old_face(probe: Any, pulses: Floats, first: int, last: int, solid: Any) -> float:
    """Σ Q g over pulses long past, their heat from the face."""
    x, y, z, t = probe[0], probe[1], probe[2], probe[3]
    diffusivity = solid[0]
    total = 0.0
    for base in range(first, last, LANES):
        for lane in range(LANES):
            k = np.uint64(base + lane)  # an index that may count from the end is not laid in lanes
            age = t - pulses[T, k]
            v = pulses[C, k] + 2.0 * diffusivity * age
            dx, dy = x - pulses[X, k], y - pulses[Y, k]
            both = 1.0 / (v * age)  # one division for all, as a processor has few lanes for it
            fall = (0.5 * (dx * dx + dy * dy) * age + z * z / (4.0 * diffusivity) * v) * both
            share = choose(fall < FAR, decay(fall), 0.0) * both * np.sqrt(age)
            total += choose(base + lane < last, pulses[Q, k] * share, 0.0)
    scale: float = 2.0 * math.pi * math.sqrt(math.pi * diffusivity)
    return total / scale


def _old_skin(probe: Any, pulses: Floats, first: int, last: int, solid: Any) -> float:
    """Σ Q g over pulses long past, their heat from a skin."""
    x, y, z, t = probe[0], probe[1], probe[2], probe[3]
    diffusivity, absorption = solid[0], solid[1]
    total = 0.0
    for base in range(first, last, LANES):
        for lane in range(LANES):
            k = np.uint64(base + lane)  # an index that may count from the end is not laid in lanes
            age = t - pulses[T, k]
            v = pulses[C, k] + 2.0 * diffusivity * age
            dx, dy = x - pulses[X, k], y - pulses[Y, k]
            fall = 0.5 * (dx * dx + dy * dy) / v
            share = choose(fall < FAR, decay(fall), 0.0) / v * bracket(z, np.sqrt(diffusivity * age), absorption)
            total += choose(base + lane < last, pulses[Q, k] * share, 0.0)
    scale: float = absorption / (4.0 * math.pi)
    return total * scale


def _young(probe: Any, pulses: Floats, k: int, rule: Floats, solid: Any) -> float:
    """Q h of one pulse, `green._pulse_density`, the places of the rule side by side."""
    x, y, z, t = probe[0], probe[1], probe[2], probe[3]
    diffusivity, absorption = solid[0], solid[1]
    aside = 0.5 * ((x - pulses[X, k]) ** 2 + (y - pulses[Y, k]) ** 2)
    age, width, spot = t - pulses[BEGIN, k], pulses[WIDE, k], pulses[C, k]
    first = math.sqrt(max(age - width, 0.0))
    span = min(age, width) / (first + math.sqrt(age))
    root = math.sqrt(diffusivity)
    total = 0.0
    for j in range(rule.shape[1]):
        u = first + span * rule[0, j]
        v = spot + 2.0 * diffusivity * u * u
        fall = aside / v
        plane = choose(fall < FAR, decay(fall), 0.0) / v
        if absorption == FACE:
            down = z * z / (4.0 * diffusivity * u * u)
            depth = choose(down < FAR, decay(down), 0.0) / (u * root * math.sqrt(math.pi))
        else:
            depth = 0.5 * absorption * bracket(z, root * u, absorption)
        total += rule[1, j] * u * plane * depth
    scale: float = pulses[Q, k] * span / (width * math.pi)
    return total * scale


if numba is not None:
    from numba.extending import register_jitable

    # The order of a sum may change, so that eight terms are added at a time; nothing else may.
    _in_lanes = register_jitable(fastmath={"contract", "reassoc", "arcp", "nsz"})
    _look, _tell_face = _in_lanes(_look), _in_lanes(_tell_face)
    _old_face, _old_skin, _young = _in_lanes(_old_face), _in_lanes(_old_skin), _in_lanes(_young)


@elementwise
def _leaf(probe: Any, pulses: Floats, first: int, last: int, solid: Any) -> float:
    """Σ Q g over pulses, pulse by pulse: those long past in lanes, the rest as `green` has them."""
    t, absorption, longest = probe[3], solid[1], solid[3]
    recent = last
    while recent > first and t - pulses[T, recent - 1] <= MIDDLE * longest:
        recent -= 1
    total = 0.0
    if recent > first:
        if absorption == FACE:
            total = _old_face(probe, pulses, first, recent, solid)
        else:
            total = _old_skin(probe, pulses, first, recent, solid)
    for k in range(recent, last):
        age = t - pulses[BEGIN, k]
        if age > TWO * pulses[WIDE, k]:
            total += _young(probe, pulses, k, PAIR, solid)
        elif age > 0.0:
            total += _young(probe, pulses, k, MANY, solid)
    return total


@elementwise
def _walk(
    probe: Any, blocks: Floats, spans: Integers, pulses: Floats, solid: Any, limits: Any, room: Any
) -> tuple[float, float]:
    """(ρc ΔT, bound on its error) at one probe [J/m³].

    A block is told by its moments where that costs at most `fine` of its envelope, or `trifle` by its heat; left out
    where all of it gives at most `trifle` by its heat, or falls off by e^(−far); else divided.
    """
    waiting, held, told = room
    rise, error = 0.0, 0.0
    waiting[0] = 0
    left, kept = 1, 0
    while left > 0:
        count = min(left, LANES)
        left -= count
        for lane in range(LANES):
            held[lane] = waiting[left + min(lane, count - 1)]
        tell, leave, lost = _look(probe, blocks, held, count, solid, limits)
        error += lost
        for lane in range(count):
            i = held[lane]
            if tell >> lane & 1:
                told[kept] = i
                kept += 1
            elif not leave >> lane & 1:
                child = spans[i, 2]
                if child:
                    waiting[left] = child
                    waiting[left + 1] = child + 1
                    left += 2
                else:
                    rise += _leaf(probe, pulses, spans[i, 0], spans[i, 1], solid)
        if kept > TOLD - LANES or left == 0:
            if solid[1] == FACE:
                rise += _tell_face(probe, blocks, told, kept, solid)
            else:
                rise += _tell_skin(probe, blocks, told, kept, solid)
            kept = 0
    return rise, error


@elementwise
def _room(depth: int) -> Any:
    """For blocks that wait, that are held, that are told; no level of the tree has more than two lanes waiting."""
    return (
        np.zeros(2 * LANES * depth, dtype=np.int64),
        np.zeros(LANES, dtype=np.int64),
        np.zeros(TOLD, dtype=np.int64),
    )


def walk_lanes(
    probes: Floats, blocks: Floats, spans: Integers, pulses: Floats, solid: Any, limits: Any, allowance: Any
) -> tuple[Floats, Floats]:
    """(ρc ΔT, bound on its error) at every probe, each walk finer than the last until its error is small enough.

    Small enough is the tolerance times the rise that the probe itself, or another one, is sure to have.
    """
    fine, trifle, far = limits
    tolerance, floor, tries = allowance
    rise, error = np.empty(len(probes)), np.empty(len(probes))
    depth: Any = np.max(spans[:, 3]) + 2
    for j in prange(len(probes)):
        room = _room(depth)
        finer = 1.0
        for attempt in range(tries):
            found, lost = _walk(probes[j], blocks, spans, pulses, solid, (finer * fine, finer * trifle, far), room)
            allowed = tolerance * max(floor, found - lost)
            if lost <= allowed:
                break
            # What is lost falls about as fast as what is allowed a block.
            finer *= max(0.7 * allowed / lost, 0.1) if attempt < tries - 2 else 0.0
        rise[j], error[j] = found, lost
    return rise, error


# ---- The readable form ----


def walk_plain(
    probes: Floats, blocks: Floats, spans: Integers, pulses: Floats, solid: Any, limits: Any, allowance: Any
) -> tuple[Floats, Floats]:
    """`walk_lanes` with many probes in step, block by block down the tree: the readable form."""
    fine, trifle, far = limits
    tolerance, floor, tries = allowance
    rise, error, finer = np.zeros(len(probes)), np.zeros(len(probes)), np.ones(len(probes))
    again = np.arange(len(probes))
    for attempt in range(tries):
        for part in np.array_split(again, len(again) // HELD + 1):
            now = (finer[part] * fine, finer[part] * trifle, far)
            rise[part], error[part] = _step(probes[part], blocks, spans, pulses, solid, now)
        allowed = tolerance * np.maximum(floor, rise - error)
        again = np.nonzero(error > allowed)[0]
        if not again.size:
            break
        finer[again] *= np.maximum(0.7 * allowed[again] / error[again], 0.1) if attempt < tries - 2 else 0.0
    return rise, error


def _step(
    probes: Floats, blocks: Floats, spans: Integers, pulses: Floats, solid: Any, limits: Any
) -> tuple[Floats, Floats]:
    """`_walk` for some probes at once, each with limits of its own."""
    diffusivity, absorption, shortest, _ = solid
    fine, trifle, far = limits
    rise, error = np.zeros(len(probes)), np.zeros(len(probes))

    def add(total: Floats, rows: Integers, values: Floats) -> None:
        total += np.bincount(rows, values, minlength=len(total))

    rows, at = np.arange(len(probes)), np.zeros(len(probes), dtype=np.int64)
    while rows.size:
        begun = probes[rows, 3] - blocks[at, T] + blocks[at, REACH_T] > 0.0
        rows, at = rows[begun], at[begun]
        (x, y, z, t), block = probes[rows].T, blocks[at].T
        age, dx, dy = t - block[T], x - block[X], y - block[Y]
        # All of its pulses are over, and few enough heat is lost by telling them together.
        over = age > block[REACH_T]
        past = np.where(over, age, 1.0)
        loss = remainder(block, past, diffusivity)
        fade = fade_root(block, dx, dy, z, past, diffusivity, absorption)
        lost = loss * envelope(block, past, fade, diffusivity, absorption)
        told = over & (loss < ROUGH) & ((loss <= fine[rows]) | (lost <= trifle[rows]))
        level = block_density(block, dx, dy, z, past, fade, diffusivity, absorption)
        add(rise, rows[told], (block[Q] * level)[told])
        add(error, rows[told], (block[Q] * lost)[told])
        # Too far away or too little to matter.
        highest = highest_squared(block, dx, dy, z, age, diffusivity, absorption, shortest, far)
        left_out = ~told & (highest <= trifle[rows] ** 2)
        add(error, rows[left_out], (block[Q] * np.sqrt(highest))[left_out])
        # The rest is divided, or told pulse by pulse.
        child = spans[at, 2]
        leaf, parent = (np.nonzero(~told & ~left_out & which)[0] for which in (child == 0, child > 0))
        counts = spans[at[leaf], 1] - spans[at[leaf], 0]
        owner = np.repeat(leaf, counts)
        pulse = pulses[:, spans[at[owner], 0] + np.arange(owner.size) - np.repeat(np.cumsum(counts) - counts, counts)]
        aside = (x[owner] - pulse[X]) ** 2 + (y[owner] - pulse[Y]) ** 2
        age = t[owner] - pulse[BEGIN]
        share = each_pulse(aside, z[owner], age, pulse[WIDE], pulse[C], diffusivity, absorption)
        add(rise, rows[owner], pulse[Q] * share)
        rows = np.concatenate([rows[parent], rows[parent]])
        at = np.concatenate([child[parent], child[parent] + 1])
    return rise, error


# ---- Both ----


def walk(walk_down: Any, probes: Floats, tree: tuple[Floats, Integers, Floats], solid: Any, tolerance: float) -> Any:
    """(ρc ΔT, bound on its error) at every probe, within the tolerance of the highest; by one of the two forms.

    The rise to measure errors by, one that some probe is sure to have, is found beforehand at a few.
    """
    few = probes[np.arange(SURE) * len(probes) // SURE]
    found, lost = walk_down(few, *tree, solid, GLANCE, (1.0, 0.0, 1))
    floor = max(0.0, float(np.max(found - lost)))
    limits = (FINE * tolerance, TRIFLE * tolerance * floor / tree[0][0, Q], FAR)
    return walk_down(probes, *tree, solid, limits, (tolerance, floor, TRIES))
