"""Hot loops over draws and settings, compiled where Numba is there, plain NumPy where it is not.

`surface_outcome` is the one definition; these loops only call it, several draws at once (`learn.lanes`). The `plain_`
forms are the readable reference, the fallback, and what the tests compare against.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.learn import lanes
from proofpatch.learn.compiled import cache_folder
from proofpatch.learn.grading import CLEAN_EDGE, fraction_chance, harm_seen, residue_seen
from proofpatch.learn.lanes import WIDE
from proofpatch.physics.elementwise import normal_cdf, numba
from proofpatch.physics.outcome import beam_of, surface_outcome
from proofpatch.physics.rows import GRADER, HAND, LAYER, SETTING, SUBSTRATE

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
    harm: NDArray[np.int64], fraction: Floats, wrong: Floats, rusted: Floats, early: Floats, noise: float,
) -> Floats:  # fmt: skip
    """ln likelihood (draws, patches) of graded patches; `fraction` < 0 means graded by eye.

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
            seen = fraction_chance(fraction[j], need, wide, noise, wrong[j])
        else:
            seen = residue_seen(residue[j], need, wide, total, wrong[j], rusted[j])
        hurt = harm_seen(harm[j], room, total, wrong[j], early[j])
        out[:, j] = np.log(np.maximum(seen, 1e-12)) + np.log(np.maximum(hurt, 1e-12))
    return out


if numba is not None:
    from numba.extending import overload

    # Before the first decorator: kernels of this very source only (see learn.compiled).
    numba.config.CACHE_DIR = str(cache_folder())  # type: ignore[attr-defined]  # set when Numba starts
    compiled = numba.njit(cache=True, nogil=True, error_model="numpy", fastmath=lanes.LIBERTIES)
    compiled_parallel = numba.njit(cache=True, nogil=True, parallel=True, error_model="numpy", fastmath=lanes.LIBERTIES)
    _beam_of, _setting_of = lanes.lanes(beam_of), lanes.setting_of
    _cdf, _log, _sqrt = lanes.lanes(normal_cdf), lanes.log, lanes.sqrt
    _residue_seen, _harm_seen = lanes.lanes(residue_seen), lanes.lanes(harm_seen)
    _fraction_chance = lanes.lanes(fraction_chance)
    _stack, _under = lanes.stack, lanes.under

    def _outcome(layer: Any, sub: Any, setting: Any, beam: Any, hand: Any, target: int) -> Any:
        raise NotImplementedError

    @overload(
        _outcome, strict=False, jit_options={"forceinline": True, "error_model": "numpy", "fastmath": lanes.LIBERTIES}
    )
    def _outcome_of(layer: Any, sub: Any, setting: Any, beam: Any, hand: Any, target: Any) -> Any:
        return lanes.plain_twin(surface_outcome, len(layer))

    @compiled
    def _block(flat: Any, start: Any, setting: Any, hand: Any, target: int, which: Any, out: Any) -> None:
        """Six numbers of WIDE draws into out, (6, WIDE) flat."""
        beam = _beam_of(setting, hand)
        for k in range(WIDE):
            lane = np.uint64(k)
            layer, sub = _stack(flat, start, lane, which), _under(flat, start, lane, which)
            need, spread, margin, clock, light, depth = _outcome(layer, sub, setting, beam, hand, target)
            out[lane], out[WIDE + lane], out[2 * WIDE + lane] = need, spread, margin
            out[3 * WIDE + lane], out[4 * WIDE + lane], out[5 * WIDE + lane] = clock, light, depth

    @compiled_parallel
    def _window(
        flat: Any, blocks: int, size: int, weight: Any, settings: Any, hand: Any, noise: float, which: Any
    ) -> Any:
        count, target = len(settings), len(which) - 1
        sums = np.zeros((count, 3))
        clocks = np.zeros((count, 5))
        suits = np.zeros((count, blocks * WIDE), dtype=np.bool_)
        for j in numba.prange(count):
            setting = _setting_of(settings, j)
            out, lane_sums = np.empty(6 * WIDE), np.zeros(3 * WIDE)
            for block in range(blocks):
                first = block * WIDE
                _block(flat, np.uint64(block * size), setting, hand, target, which, out)
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
    def _outcomes(flat: Any, blocks: int, size: int, settings: Any, hand: Any, target: int, which: Any) -> Any:
        count = len(settings)
        found = np.zeros((6, blocks * WIDE, count))
        for j in numba.prange(count):
            setting, out = _setting_of(settings, j), np.empty(6 * WIDE)
            for block in range(blocks):
                _block(flat, np.uint64(block * size), setting, hand, target, which, out)
                for n in range(6):
                    for k in range(WIDE):
                        found[n, block * WIDE + k, j] = out[n * WIDE + k]
        return found

    @compiled_parallel
    def _patch_logs(
        flat: Any, blocks: int, size: int, grader: Any, settings: Any, hands: Any, targets: Any, residue: Any,
        harm: Any, fraction: Any, wrong: Any, rusted: Any, early: Any, noise: float, which: Any,
    ) -> Any:  # fmt: skip
        count = len(settings)
        found = np.zeros((blocks * WIDE, count))
        for block in numba.prange(blocks):
            out, seen = np.empty(6 * WIDE), np.empty(WIDE)
            for j in range(count):
                setting = _setting_of(settings, j)
                hand = (hands[j, 0], hands[j, 1], hands[j, 2], hands[j, 3])
                _block(flat, np.uint64(block * size), setting, hand, targets[j], which, out)
                for k in range(WIDE):
                    own = grader[block * WIDE + k]
                    total = _sqrt(noise * noise + own * own)
                    if fraction[j] >= 0:
                        p = _fraction_chance(fraction[j], out[k], out[WIDE + k], noise, wrong[j])
                    else:
                        p = _residue_seen(residue[j], out[k], out[WIDE + k], total, wrong[j], rusted[j])
                    q = _harm_seen(harm[j], out[2 * WIDE + k], total, wrong[j], early[j])
                    seen[k] = _log(max(p, 1e-12)) + _log(max(q, 1e-12))
                for k in range(WIDE):
                    found[block * WIDE + k, j] = seen[k]
        return found


AT_ONCE = 4096  # settings of a window in one call: which draws each suits is kept for so many only


def window(layer: Floats, sub: Floats, weight: Floats, settings: Floats, hand: Floats, noise: float) -> tuple[Any, ...]:
    """As `plain_window`, compiled."""
    if numba is None:
        return plain_window(layer, sub, weight, settings, hand, noise)
    flat, weights, blocks = lanes.blocks_of(layer, sub, weight)
    which, size = lanes.which(layer.shape[1]), lanes.columns(layer.shape[1]) * WIDE
    parts, suits = [], np.zeros(len(layer), dtype=bool)
    for first in range(0, len(settings), AT_ONCE):
        some = np.array(settings[first : first + AT_ONCE], order="C")
        sums, clocks, fits = _window(flat, blocks, size, weights, some, _tuple(hand), noise, which)
        parts.append((sums, clocks))
        suits |= fits.any(axis=0)[: len(layer)]
    sums, clocks = (np.concatenate([part[n] for part in parts]) for n in range(2))
    return sums[:, 0], sums[:, 1], sums[:, 2], clocks, suits


def outcomes(layer: Floats, sub: Floats, settings: Floats, hand: Floats, target: int) -> tuple[Floats, ...]:
    """As `plain_outcomes`, compiled."""
    if numba is None:
        return plain_outcomes(layer, sub, settings, hand, target)
    flat, _, blocks = lanes.blocks_of(layer, sub, np.ones(len(layer)))
    which, size = lanes.which(layer.shape[1]), lanes.columns(layer.shape[1]) * WIDE
    rows = np.array(settings, order="C")
    return tuple(_outcomes(flat, blocks, size, rows, _tuple(hand), target, which)[:, : len(layer)])


def patch_logs(layer: Floats, sub: Floats, settings: Floats, hands: Floats, *grades: Any) -> Floats:
    """As `plain_patch_logs`, compiled."""
    if numba is None:
        return plain_patch_logs(layer, sub, settings, hands, *grades)
    flat, grader, blocks = lanes.blocks_of(layer, sub, sub[:, GRADER])
    which, size = lanes.which(layer.shape[1]), lanes.columns(layer.shape[1]) * WIDE
    *arrays, noise = grades
    rest = (np.array(a, order="C") for a in (settings, hands, *arrays))
    found: Any = _patch_logs(*(flat, blocks, size, grader), *rest, noise, which)  # type: ignore[arg-type, call-arg]
    return np.asarray(found[: len(layer)])


def _tuple(hand: Floats) -> tuple[float, ...]:
    return tuple(float(x) for x in hand)


def warm_calls(layers: int = 1) -> list[tuple[str, Callable[[], Any]]]:
    """(words, call) that compile each kernel on one tiny surface of so many layers."""
    layer, sub = np.ones((1, layers, len(LAYER))), np.ones((1, len(SUBSTRATE)))
    settings, hand, weight = np.ones((1, len(SETTING))), np.ones(len(HAND)), np.ones(1)
    grades, none = np.zeros(1, dtype=np.int64), weight * 0.0
    patch = (layer, sub, settings, hand[None, :], grades, grades, grades, -weight, weight * 0.03, none, none, 0.15)
    return [
        ("the window", lambda: window(layer, sub, weight, settings, hand, 0.15)),
        ("the outcomes", lambda: outcomes(layer, sub, settings, hand, 0)),
        ("the grades", lambda: patch_logs(*patch)),
    ]
