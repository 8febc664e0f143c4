"""Hot loops over draws and settings, compiled where Numba is there, plain NumPy where it is not.

`surface_outcome` is the one definition; these loops only call it. `PLAIN` forms are the readable reference,
the fallback, and what the tests compare against.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.learn.compiled import cache_folder
from proofpatch.learn.grading import CLEAN_EDGE, fraction_chance, harm_seen, residue_seen
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
    # Before the first decorator: kernels of this very source only (see learn.compiled).
    numba.config.CACHE_DIR = str(cache_folder())  # type: ignore[attr-defined]  # set when Numba starts
    # Contracting and reciprocals move the last digits only; the other liberties of fast arithmetic are not taken.
    liberties = {"contract", "arcp"}
    compiled = numba.njit(cache=True, nogil=True, error_model="numpy", fastmath=liberties)
    compiled_parallel = numba.njit(cache=True, nogil=True, parallel=True, error_model="numpy", fastmath=liberties)

    @compiled
    def _one(layer: Any, sub: Any, setting: Any, beam: Any, hand: Any, target: int) -> Any:
        return surface_outcome(layer, sub, setting, beam, hand, target)

    @compiled_parallel
    def _window(layer: Any, sub: Any, weight: Any, settings: Any, hand: Any, noise: float) -> Any:
        draws, count = len(layer), len(settings)
        target = layer.shape[1] - 1
        p_clean, p_harm, light = np.zeros(count), np.zeros(count), np.zeros(count)
        clocks = np.zeros((count, 5))
        suits = np.zeros((count, draws), dtype=np.bool_)
        for j in numba.prange(count):
            clean, hurt, taken = 0.0, 0.0, 0.0
            beam = beam_of(settings[j], hand)
            for d in range(draws):
                need, spread, margin, clock, seen, _ = _one(layer[d], sub[d], settings[j], beam, hand, target)
                slack = CLEAN_EDGE * spread - need
                clean += weight[d] * normal_cdf(slack / noise)
                hurt += weight[d] * normal_cdf(-margin / noise)
                taken += weight[d] * seen
                clocks[j, int(clock)] += weight[d]
                suits[j, d] = slack >= 0 and margin >= 0
            p_clean[j], p_harm[j], light[j] = clean, hurt, taken
        return p_clean, p_harm, light, clocks, suits

    @compiled_parallel
    def _outcomes(layer: Any, sub: Any, settings: Any, hand: Any, target: int) -> Any:
        draws, count = len(layer), len(settings)
        out = np.zeros((6, draws, count))
        for j in numba.prange(count):
            beam = beam_of(settings[j], hand)
            for d in range(draws):
                a, b, c, e, f, g = _one(layer[d], sub[d], settings[j], beam, hand, target)
                out[0, d, j], out[1, d, j], out[2, d, j], out[3, d, j], out[4, d, j], out[5, d, j] = a, b, c, e, f, g
        return out

    @compiled_parallel
    def _patch_logs(
        layer: Any,
        sub: Any,
        settings: Any,
        hands: Any,
        targets: Any,
        residue: Any,
        harm: Any,
        fraction: Any,
        wrong: Any,
        rusted: Any,
        early: Any,
        noise: float,
    ) -> Any:
        draws, count = len(layer), len(settings)
        out = np.zeros((draws, count))
        for d in numba.prange(draws):
            total = np.sqrt(noise * noise + sub[d, GRADER] * sub[d, GRADER])
            for j in range(count):
                need, spread, margin, _, _, _ = _one(
                    layer[d], sub[d], settings[j], beam_of(settings[j], hands[j]), hands[j], targets[j]
                )
                if fraction[j] >= 0:
                    seen = fraction_chance(fraction[j], need, spread, noise, wrong[j])
                else:
                    seen = residue_seen(residue[j], need, spread, total, wrong[j], rusted[j])
                hurt = harm_seen(harm[j], margin, total, wrong[j], early[j])
                out[d, j] = np.log(max(seen, 1e-12)) + np.log(max(hurt, 1e-12))
        return out


def _call(kernel: Any, *values: Any) -> Any:
    """The kernel on contiguous, writable copies: it is compiled anew for every other kind of array."""
    return kernel(*(np.array(value, order="C") if isinstance(value, np.ndarray) else value for value in values))


def window(layer: Floats, sub: Floats, weight: Floats, settings: Floats, hand: Floats, noise: float) -> tuple[Any, ...]:
    """As `plain_window`, compiled."""
    if numba is None:
        return plain_window(layer, sub, weight, settings, hand, noise)
    p_clean, p_harm, light, clocks, suits = _call(_window, layer, sub, weight, settings, hand, noise)
    return p_clean, p_harm, light, clocks, np.any(suits, axis=0)


def outcomes(layer: Floats, sub: Floats, settings: Floats, hand: Floats, target: int) -> tuple[Floats, ...]:
    """As `plain_outcomes`, compiled."""
    if numba is None:
        return plain_outcomes(layer, sub, settings, hand, target)
    return tuple(_call(_outcomes, layer, sub, settings, hand, target))


def patch_logs(*args: Any) -> Floats:
    """As `plain_patch_logs`, compiled."""
    return plain_patch_logs(*args) if numba is None else np.asarray(_call(_patch_logs, *args))


def warm_calls() -> list[tuple[str, Callable[[], Any]]]:
    """(words, call) that compile each kernel on one tiny surface."""
    layer, sub = np.ones((1, 1, len(LAYER))), np.ones((1, len(SUBSTRATE)))
    settings, hand, weight = np.ones((1, len(SETTING))), np.ones(len(HAND)), np.ones(1)
    grades = np.zeros(1, dtype=np.int64)
    none = weight * 0.0
    patch = (layer, sub, settings, hand[None, :], grades, grades, grades, -weight, weight * 0.03, none, none, 0.15)
    return [
        ("the window", lambda: window(layer, sub, weight, settings, hand, 0.15)),
        ("the outcomes", lambda: outcomes(layer, sub, settings, hand, 0)),
        ("the grades", lambda: patch_logs(*patch)),
    ]
