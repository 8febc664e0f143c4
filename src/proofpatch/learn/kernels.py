"""Hot loops over draws and settings, compiled where Numba is there, plain NumPy where it is not.

`surface_outcome` is the one definition. What of it depends on a setting alone or on a draw alone is worked out once,
with NumPy; the rest is one straight line (`physics.straight`) that these loops go along for several draws at once. The
`plain_` forms are the readable reference, the fallback, and what the tests compare against.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.learn import lanes
from proofpatch.learn.compiled import cache_folder
from proofpatch.learn.grading import (
    CLEAN_EDGE,
    as_typical,
    fraction_chance,
    grade_table,
    harm_chances,
    harm_seen,
    residue_chances,
    residue_seen,
)
from proofpatch.physics import fast_math
from proofpatch.physics.elementwise import normal_cdf, numba
from proofpatch.physics.outcome import beam_of, surface_outcome
from proofpatch.physics.rows import GRADER, HAND, LAYER, SETTING, SUBSTRATE
from proofpatch.physics.straight import OF_DRAW, OF_SETTING, Record, Straight, without_if

Floats = NDArray[np.float64]


def plain_outcomes(layer: Floats, sub: Floats, settings: Floats, hand: Floats, target: int) -> tuple[Floats, ...]:
    """Every draw against every setting, in NumPy: six arrays (draws, settings) as `surface_outcome` returns them."""
    rows = np.moveaxis(layer, 0, -1)[..., None]
    under = sub.T[..., None]
    columns = settings.T[:, None, :]
    shape = (len(layer), len(settings))
    return tuple(
        np.broadcast_to(out, shape)
        for out in surface_outcome(rows, under, columns, beam_of(columns, hand), hand, target)
    )


def plain_window(
    layer: Floats, sub: Floats, weight: Floats, settings: Floats, hand: Floats, noise: float
) -> tuple[Any, ...]:
    """P(clean), P(harm), share of draws whose harm each clock governs, light, and which draws some setting suits.

    Returns:
        p_clean, p_harm, light: (settings,). clocks: (settings, 5). suits: (draws,) bool.
    """
    log_need, spread, margin, clock, light, _ = plain_outcomes(layer, sub, settings, hand, layer.shape[1] - 1)
    slack = CLEAN_EDGE * spread - log_need
    p_clean = weight @ normal_cdf(slack / noise)
    p_harm = weight @ normal_cdf(-margin / noise)
    clocks = np.stack([weight @ (clock == c) for c in range(5)], axis=1)
    suits = np.any((slack >= 0) & (margin >= 0), axis=1)
    return p_clean, p_harm, weight @ light, clocks, suits


def plain_patch_logs(
    layer: Floats, sub: Floats, settings: Floats, hands: Floats, targets: NDArray[np.int64], residue: NDArray[np.int64],
    harm: NDArray[np.int64], fraction: Floats, error: Floats, wrong: Floats, rusted: Floats, early: Floats,
    typical: Floats, noise: float,
) -> Floats:  # fmt: skip
    """ln likelihood (draws, patches) of graded patches; `fraction` < 0 means graded by eye.

    error: (patches,) standard error of each fraction. typical: (patches,) the spread on whose edges a grade is read.
    rusted, early: (patches,) chances that fresh rust passes for one grade of residue more, and that harm was judged
    one grade too kind because it had not come out yet.
    """
    out = np.zeros((len(layer), len(settings)))
    grader = sub[:, GRADER]
    total = np.sqrt(noise**2 + grader**2)
    for j in range(len(settings)):
        log_need, spread, margin, _, _, _ = plain_outcomes(layer, sub, settings[j : j + 1], hands[j], int(targets[j]))
        need, wide, room = log_need[:, 0], spread[:, 0], margin[:, 0]
        if fraction[j] >= 0:
            seen = fraction_chance(fraction[j], error[j], need, wide, noise, wrong[j])
        else:
            short = as_typical(need, wide, typical[j])
            seen = residue_seen(residue[j], short, typical[j], total, wrong[j], rusted[j])
        hurt = harm_seen(harm[j], room, total, wrong[j], early[j])
        out[:, j] = np.log(np.maximum(seen, 1e-12)) + np.log(np.maximum(hurt, 1e-12))
    return out


def plain_grades(
    layer: Floats, sub: Floats, settings: Floats, hand: Floats, typical: Floats, noise: float, wrong: float
) -> tuple[Floats, Floats, Floats]:
    """What a grader would say of each setting, and what is so; typical: (settings,) as in `plain_patch_logs`.

    Returns:
        joint: (settings, 20, draws) chance of each pair of grades, four of harm (none first) for each of residue (clean
        first). clean, harm: (settings, draws) chance of either.
    """
    need, spread, margin, _, _, _ = plain_outcomes(layer, sub, settings, hand, layer.shape[1] - 1)
    total = np.sqrt(noise**2 + sub[:, GRADER] ** 2)[:, None]
    residue, harm = grade_table(as_typical(need, spread, typical), typical, margin, total, wrong)
    joint = (residue[..., :, None] * harm[..., None, :]).reshape(*need.shape, 20)
    clean, hurt = normal_cdf((CLEAN_EDGE * spread - need) / noise), normal_cdf(-margin / noise)
    return np.ascontiguousarray(np.moveaxis(joint, 0, -1)), clean.T.copy(), hurt.T.copy()


WIDE = 64  # draws in a block; those of a column lie side by side


@lru_cache
def straight(layers: int) -> Straight:
    """What `surface_outcome` comes to for so many layers; hand and target count with the setting."""
    record = Record()
    draw = [record.input(OF_DRAW, n) for n in range(layers * len(LAYER) + len(SUBSTRATE))]
    row = [record.input(OF_SETTING, n) for n in range(len(SETTING) + len(HAND) + 1)]
    stack = [draw[i * len(LAYER) : (i + 1) * len(LAYER)] for i in range(layers)]
    setting, hand = row[: len(SETTING)], row[len(SETTING) : -1]
    body = without_if(surface_outcome)
    return Straight(record, body(stack, draw[layers * len(LAYER) :], setting, beam_of(setting, hand), hand, row[-1]))


def _draws(layer: Floats, sub: Floats) -> tuple[Floats, int]:
    """(what the pairs need of the draws, in blocks (blocks, columns, WIDE), flat; number of blocks)."""
    count = -(-len(layer) // WIDE)
    table = straight(layer.shape[1]).table(OF_DRAW, np.concatenate([layer.reshape(len(layer), -1), sub], axis=1))
    table = np.pad(table, ((0, 0), (0, count * WIDE - len(layer))), mode="edge")
    return np.ascontiguousarray(np.moveaxis(table.reshape(len(table), count, WIDE), 1, 0)).ravel(), count


def _settings(layers: int, settings: Floats, hands: Floats, targets: Any) -> Floats:
    """What the pairs need of the settings, (settings, columns)."""
    count = len(settings)
    rows = [settings, np.broadcast_to(hands, (count, len(HAND))), np.broadcast_to(targets, count)[:, None]]
    return np.ascontiguousarray(straight(layers).table(OF_SETTING, np.concatenate(rows, axis=1)).T)


def _filled(values: Floats, blocks: int) -> Floats:
    """One number a draw, with 0 where the last block is filled up."""
    return np.concatenate([values, np.zeros(blocks * WIDE - len(values))])


if numba is not None:
    from numba.extending import overload

    # Before the first decorator: kernels of this very source only (see learn.compiled).
    numba.config.CACHE_DIR = str(cache_folder())  # type: ignore[attr-defined]  # set when Numba starts
    compiled = numba.njit(cache=True, nogil=True, error_model="numpy", fastmath=lanes.LIBERTIES)
    compiled_parallel = numba.njit(cache=True, nogil=True, parallel=True, error_model="numpy", fastmath=lanes.LIBERTIES)
    _cdf, _log, _sqrt, _larger = lanes.lanes(normal_cdf), lanes.log, lanes.sqrt, fast_math.larger
    _residue_seen, _harm_seen = lanes.lanes(residue_seen), lanes.lanes(harm_seen)
    _as_typical = lanes.lanes(as_typical)
    _fraction_chance = lanes.lanes(fraction_chance)
    _residue_chances, _harm_chances = lanes.lanes(residue_chances), lanes.lanes(harm_chances)

    def _pair(flat: Any, first: Any, row: Any, which: Any) -> Any:
        """Outcome of the draw whose first column is at `first` and the setting of a row; as many layers as `which`."""
        raise NotImplementedError

    _inner: Any = {"forceinline": True, "error_model": "numpy", "fastmath": lanes.LIBERTIES}

    @overload(_pair, strict=False, jit_options=_inner)
    def _pair_of(flat: Any, first: Any, row: Any, which: Any) -> Any:
        lines, found = straight(len(which)).text("row[{}]", f"flat[first + uint64({WIDE} * {{}})]")
        scope = {**vars(fast_math), **vars(lanes.vector), "uint64": np.uint64, "inf": np.inf, "__name__": __name__}
        body = "\n    ".join([*lines, f"return ({', '.join(found)})"])
        exec(f"def pair(flat, first, row, which):\n    {body}\n", scope)
        return scope["pair"]

    @compiled
    def _block(flat: Any, start: Any, row: Any, which: Any, out: Any) -> None:
        """Six numbers of WIDE draws into out, (6, WIDE) flat."""
        for k in range(WIDE):
            lane = np.uint64(k)
            need, spread, margin, clock, light, depth = _pair(flat, start + lane, row, which)
            out[lane], out[np.uint64(WIDE) + lane], out[np.uint64(2 * WIDE) + lane] = need, spread, margin
            out[np.uint64(3 * WIDE) + lane], out[np.uint64(4 * WIDE) + lane] = clock, light
            out[np.uint64(5 * WIDE) + lane] = depth

    @compiled_parallel
    def _window(flat: Any, blocks: int, weight: Any, rows: Any, noise: float, which: Any) -> Any:
        count, size = len(rows), len(flat) // blocks
        sums = np.zeros((count, 3))
        clocks = np.zeros((count, 5))
        suits = np.zeros((count, blocks * WIDE), dtype=np.bool_)
        for j in numba.prange(count):
            out, lane_sums = np.empty(6 * WIDE), np.zeros(3 * WIDE)
            for block in range(blocks):
                first = block * WIDE
                _block(flat, np.uint64(block * size), rows[j], which, out)
                for k in range(WIDE):
                    w, margin = weight[first + k], out[2 * WIDE + k]
                    slack = CLEAN_EDGE * out[WIDE + k] - out[k]
                    lane_sums[k] += w * _cdf(slack / noise)
                    lane_sums[WIDE + k] += w * _cdf(-margin / noise)
                    lane_sums[2 * WIDE + k] += w * out[4 * WIDE + k]
                for k in range(WIDE):
                    clocks[j, int(out[3 * WIDE + k])] += weight[first + k]
                    suits[j, first + k] = CLEAN_EDGE * out[WIDE + k] - out[k] >= 0 and out[2 * WIDE + k] >= 0
            for n in range(3):
                sums[j, n] = lane_sums[n * WIDE : (n + 1) * WIDE].sum()
        return sums, clocks, suits

    @compiled_parallel
    def _outcomes(flat: Any, blocks: int, rows: Any, which: Any) -> Any:
        count, size = len(rows), len(flat) // blocks
        found = np.zeros((6, blocks * WIDE, count))
        for j in numba.prange(count):
            out = np.empty(6 * WIDE)
            for block in range(blocks):
                _block(flat, np.uint64(block * size), rows[j], which, out)
                for n in range(6):
                    for k in range(WIDE):
                        found[n, block * WIDE + k, j] = out[n * WIDE + k]
        return found

    @compiled_parallel
    def _grades(
        flat: Any, blocks: int, grader: Any, rows: Any, typical: Any, noise: float, wrong: float, which: Any
    ) -> Any:
        count, size = len(rows), len(flat) // blocks
        joint = np.empty((count, 20, blocks * WIDE))
        clean, hurt = np.empty((count, blocks * WIDE)), np.empty((count, blocks * WIDE))
        for j in numba.prange(count):
            out, said, usual = np.empty(6 * WIDE), np.empty(9 * WIDE), typical[j]
            for block in range(blocks):
                first = block * WIDE
                _block(flat, np.uint64(block * size), rows[j], which, out)
                own = grader[first : first + WIDE]
                for k in range(WIDE):
                    total = _sqrt(noise * noise + own[k] * own[k])
                    a, b, c, d, e = _residue_chances(_as_typical(out[k], out[WIDE + k], usual), usual, total, wrong)
                    said[k], said[WIDE + k], said[2 * WIDE + k] = a, b, c
                    said[3 * WIDE + k], said[4 * WIDE + k] = d, e
                for k in range(WIDE):
                    total = _sqrt(noise * noise + own[k] * own[k])
                    a, b, c, d = _harm_chances(out[2 * WIDE + k], total, wrong)
                    said[5 * WIDE + k], said[6 * WIDE + k] = a, b
                    said[7 * WIDE + k], said[8 * WIDE + k] = c, d
                for k in range(WIDE):
                    clean[j, first + k] = _cdf((CLEAN_EDGE * out[WIDE + k] - out[k]) / noise)
                    hurt[j, first + k] = _cdf(-out[2 * WIDE + k] / noise)
                for n in range(20):
                    left, harmed = (n // 4) * WIDE, (5 + n % 4) * WIDE
                    for k in range(WIDE):
                        joint[j, n, first + k] = said[left + k] * said[harmed + k]
        return joint, clean, hurt

    @compiled_parallel
    def _patch_logs(
        flat: Any, blocks: int, grader: Any, rows: Any, residue: Any, harm: Any, fraction: Any, error: Any,
        wrong: Any, rusted: Any, early: Any, typical: Any, noise: float, which: Any,
    ) -> Any:  # fmt: skip
        count, size = len(rows), len(flat) // blocks
        found = np.zeros((blocks * WIDE, count))
        for block in numba.prange(blocks):
            out, seen = np.empty(6 * WIDE), np.empty(WIDE)
            for j in range(count):
                _block(flat, np.uint64(block * size), rows[j], which, out)
                # One short loop for each question: a long one with a branch is not laid in vector registers.
                own = grader[block * WIDE : (block + 1) * WIDE]
                said, hurt, slip = residue[j], harm[j], wrong[j]
                if fraction[j] >= 0:
                    for k in range(WIDE):
                        chance = _fraction_chance(fraction[j], error[j], out[k], out[WIDE + k], noise, slip)
                        seen[k] = _log(_larger(chance, 1e-12))
                else:
                    rust, usual = rusted[j], typical[j]
                    for k in range(WIDE):
                        total = _sqrt(noise * noise + own[k] * own[k])
                        chance = _residue_seen(
                            said, _as_typical(out[k], out[WIDE + k], usual), usual, total, slip, rust
                        )
                        seen[k] = _log(_larger(chance, 1e-12))
                kind = early[j]
                for k in range(WIDE):
                    total = _sqrt(noise * noise + own[k] * own[k])
                    seen[k] += _log(_larger(_harm_seen(hurt, out[2 * WIDE + k], total, slip, kind), 1e-12))
                for k in range(WIDE):
                    found[block * WIDE + k, j] = seen[k]
        return found


AT_ONCE = 4096  # settings of a window in one call: which draws each suits is kept for so many only


def window(layer: Floats, sub: Floats, weight: Floats, settings: Floats, hand: Floats, noise: float) -> tuple[Any, ...]:
    """As `plain_window`, compiled."""
    if numba is None:
        return plain_window(layer, sub, weight, settings, hand, noise)
    flat, blocks = _draws(layer, sub)
    weights, layers = _filled(weight, blocks), layer.shape[1]
    parts, suits = [], np.zeros(len(layer), dtype=bool)
    for first in range(0, len(settings), AT_ONCE):
        rows = _settings(layers, settings[first : first + AT_ONCE], hand, layers - 1)
        sums, clocks, fits = _window(flat, blocks, weights, rows, noise, lanes.which(layers))
        parts.append((sums, clocks))
        suits |= fits.any(axis=0)[: len(layer)]
    sums, clocks = (np.concatenate([part[n] for part in parts]) for n in range(2))
    return sums[:, 0], sums[:, 1], sums[:, 2], clocks, suits


def outcomes(layer: Floats, sub: Floats, settings: Floats, hand: Floats, target: int) -> tuple[Floats, ...]:
    """As `plain_outcomes`, compiled."""
    if numba is None:
        return plain_outcomes(layer, sub, settings, hand, target)
    (flat, blocks), layers = _draws(layer, sub), layer.shape[1]
    found = _outcomes(flat, blocks, _settings(layers, settings, hand, target), lanes.which(layers))
    return tuple(found[:, : len(layer)])


def grades(
    layer: Floats, sub: Floats, settings: Floats, hand: Floats, typical: Floats, noise: float, wrong: float
) -> tuple[Floats, Floats, Floats]:
    """As `plain_grades`, compiled."""
    if numba is None:
        return plain_grades(layer, sub, settings, hand, typical, noise, wrong)
    (flat, blocks), layers = _draws(layer, sub), layer.shape[1]
    rows, grader = _settings(layers, settings, hand, layers - 1), _filled(sub[:, GRADER], blocks)
    joint, clean, hurt = _grades(flat, blocks, grader, rows, typical, noise, wrong, lanes.which(layers))
    count = len(layer)
    return joint[..., :count], clean[:, :count], hurt[:, :count]


def patch_logs(layer: Floats, sub: Floats, settings: Floats, hands: Floats, targets: Any, *grades: Any) -> Floats:
    """As `plain_patch_logs`, compiled."""
    if numba is None:
        return plain_patch_logs(layer, sub, settings, hands, targets, *grades)
    (flat, blocks), layers = _draws(layer, sub), layer.shape[1]
    *arrays, noise = grades
    rest: Any = (np.array(a, order="C") for a in arrays)
    rows = _settings(layers, settings, hands, targets)
    grader = _filled(sub[:, GRADER], blocks)
    which = lanes.which(layers)
    found: Any = _patch_logs(flat, blocks, grader, rows, *rest, noise, which)  # type: ignore[call-arg]  # of the kernel
    return np.asarray(found[: len(layer)])


def warm_calls(layers: int = 1) -> list[tuple[str, Callable[[], Any]]]:
    """(words, call) that compile each kernel on one tiny surface of so many layers."""
    layer, sub = np.ones((1, layers, len(LAYER))), np.ones((1, len(SUBSTRATE)))
    settings, hand, weight = np.ones((1, len(SETTING))), np.ones(len(HAND)), np.ones(1)
    said, none = np.zeros(1, dtype=np.int64), weight * 0.0
    patch = (layer, sub, settings, hand[None, :], said, said, said, -weight, weight, weight * 0.03, none, none,
             weight, 0.15)  # fmt: skip
    return [
        ("the window", lambda: window(layer, sub, weight, settings, hand, 0.15)),
        ("the outcomes", lambda: outcomes(layer, sub, settings, hand, 0)),
        ("the grades", lambda: patch_logs(*patch)),
        ("what may be said", lambda: grades(layer, sub, settings, hand, weight, 0.15, 0.03)),
    ]
