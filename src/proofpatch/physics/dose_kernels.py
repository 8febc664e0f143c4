"""What every pulse adds to every pixel it reaches: the hot loops of `dose_map`, each beside its plain NumPy form.

Places are in pixels: pixel (i, j) has its centre at column j, row i. The plain forms are the definition, the
reference of the tests and the fallback. The compiled ones take a band of rows each, so that threads never write to
one place and every pixel sees its pulses in the order fired; the result does not depend on the number of bands.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from proofpatch.physics.elementwise import elementwise, numba

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Counts = NDArray[np.int32]

SUPPORT = 2.0  # spot radii to each side of a pulse; the square holds all but 1.3e-4 of the Gaussian energy
FARTHEST = 4.0  # spot radii beyond which no pulse ablates: 1e-14 of its peak
LANES = 16  # single-precision numbers a processor adds at once
LEVEL_POWERS = 8  # of the polynomial for the logarithm of the profile
CHUNK = 65_536  # pulses added up in single precision before they go to double
HEAT_CELLS = 4_000_000  # single-precision states of one band, 16 MB
THREADS = min(os.cpu_count() or 1, 8)


class Places(NamedTuple):
    """Where the pulses are on the map, and what each brings; (pulses,) each."""

    column: Floats
    row: Floats
    radius: Floats  # w [pixel]
    gaussian: Floats  # peak fluence of the Gaussian part [J/m²]
    top_hat: Floats  # fluence of the top-hat part [J/m²]


@elementwise
def _box(centre: Any, reach: Any, low: Any, high: Any) -> Any:
    """First pixel and the one after the last within `reach` of `centre`, of those from `low` up to `high`."""
    return max(math.ceil(centre - reach), low), min(math.floor(centre + reach) + 1, high)


class Patch(NamedTuple):
    """The pixels one pulse reaches."""

    rows: slice
    columns: slice
    square: Floats  # u = r²/w²
    inside: NDArray[np.bool_]  # u < 1
    fluence: Floats  # [J/m²]


def patch_of(places: Places, k: int, shape: tuple[int, int], reach: float = SUPPORT) -> Patch | None:
    """The pixels pulse k reaches and what it sends there; None where it misses the map.

    F = G exp(−2 u) + T [u < 1]                                              (1)
    """
    w = places.radius[k]
    top, bottom = _box(places.row[k], reach * w, 0, shape[0])
    left, right = _box(places.column[k], reach * w, 0, shape[1])
    if bottom <= top or right <= left:
        return None
    across = (np.arange(left, right) - places.column[k]) / w
    along = (np.arange(top, bottom) - places.row[k]) / w
    u = along[:, None] ** 2 + across**2
    inside = u < 1.0
    fluence = places.gaussian[k] * np.exp(-2.0 * u) + places.top_hat[k] * inside  # (1)
    return Patch(slice(top, bottom), slice(left, right), u, inside, fluence)


def plain_dose(places: Places, shape: tuple[int, int]) -> tuple[Floats, Counts]:
    """Dose [J/m²] and hits of every pixel: (1) of `patch_of` added up, and the pulses with u < 1."""
    dose, hits = np.zeros(shape), np.zeros(shape, np.int32)
    for k in range(len(places.column)):
        if patch := patch_of(places, k, shape):
            dose[patch.rows, patch.columns] += patch.fluence
            hits[patch.rows, patch.columns] += patch.inside
    return dose, hits


class Blow(NamedTuple):
    """Blow-off by every pulse."""

    log_threshold: Floats  # ln F_th(N), N = 0, 1, … as far as hits count
    used: Floats  # (pulses,) share of the fluence that passes the pulse's own plume
    depth: float  # δ [m]
    reach: Floats  # (pulses,) beyond which none ablates [spot radii]


def plain_removal(places: Places, blow: Blow, thickness: Floats) -> tuple[Floats, Counts]:
    """Film left [m] and hits that took some off, pulse after pulse.

    N += [u < 1];   d = δ ln(F_used/F_th(N)),  at most what is left          (1)
    """
    left, hits, ablating = thickness.copy(), np.zeros(thickness.shape, int), np.zeros(thickness.shape, np.int32)
    last = len(blow.log_threshold) - 1
    for k in range(len(places.column)):
        if patch := patch_of(places, k, thickness.shape, float(blow.reach[k])):
            here = (patch.rows, patch.columns)
            hits[here] += patch.inside
            used = np.log(np.maximum(blow.used[k] * patch.fluence, 1e-300))
            over = used - blow.log_threshold[np.minimum(hits[here], last)]
            takes = (over > 0.0) & (left[here] > 0.0)
            left[here] = np.where(takes, np.maximum(left[here] - blow.depth * over, 0.0), left[here])  # (1)
            ablating[here] += takes
    return left, ablating


class Cooling(NamedTuple):
    """How the face cools after a pulse, as a sum of exponentials: ΔT(t) = F Σ rise_k exp(−rate_k t)."""

    rate: Floats  # [1/s]
    rise: Floats  # [K m²/J]


def plain_heat(places: Places, time: Floats, cooling: Cooling, shape: tuple[int, int]) -> tuple[Floats, Counts]:
    """Highest rise of every pixel [K], and the number of the pulse that made it (−1: none).

    s_k ← s_k exp(−rate_k Δt) + rise_k F;   ΔT = Σ s_k just after each pulse (1)
    """
    state, last = np.zeros((*shape, len(cooling.rate))), np.zeros(shape)
    peak, index = np.zeros(shape), np.full(shape, -1, np.int32)
    for k in range(len(places.column)):
        if patch := patch_of(places, k, shape):
            here = (patch.rows, patch.columns)
            fade = np.exp(-cooling.rate * (time[k] - last[here])[..., None])
            state[here] = state[here] * fade + patch.fluence[..., None] * cooling.rise  # (1)
            last[here] = time[k]
            total = state[here].sum(axis=-1)
            index[here] = np.where(total > peak[here], k, index[here])
            peak[here] = np.maximum(peak[here], total)
    return peak, index


def bands(rows: Floats, count: int, number: int) -> list[tuple[int, int]]:
    """`number` bands of a map of `count` rows with about as many pulses each; empty ones left out."""
    some = rows[:: max(1, len(rows) // 4096)]
    inside = some[(some > 0) & (some < count)]
    cuts = np.quantile(inside, np.linspace(0, 1, number + 1)[1:-1]) if inside.size else np.zeros(0)
    edges = np.unique(np.concatenate([[0], np.rint(cuts), [count]]).astype(int))
    return list(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True))


def _in_bands(work: Callable[[int, int], None], parts: list[tuple[int, int]]) -> None:
    if len(parts) == 1:
        work(*parts[0])
        return
    with ThreadPoolExecutor(THREADS) as pool:
        for done in [pool.submit(work, *part) for part in parts]:
            done.result()


if numba is not None:
    compiled = numba.njit(nogil=True, error_model="numpy", fastmath={"contract"})
    inlined = numba.njit(inline="always", error_model="numpy", fastmath={"contract"})
    E = [np.float32(1.0 / math.factorial(n)) for n in range(8)]
    E0, E1, E2, E3, E4, E5, E6, E7 = E
    SIXTEENTH, FLOOR, NONE, ONE = np.float32(1 / 16), np.float32(-12.0), np.float32(0.0), np.float32(1.0)

    @inlined
    def _exp(x: Any) -> Any:
        """exp(x) for −12 ≤ x ≤ 0 in single precision, (Σ (x/16)^n/n!)^16: within 1e-6 of 1, without a call."""
        y = x * SIXTEENTH
        p = E0 + y * (E1 + y * (E2 + y * (E3 + y * (E4 + y * (E5 + y * (E6 + y * E7))))))
        p = p * p
        p = p * p
        p = p * p
        return p * p

    @inlined
    def _fill(out: Any, first: Any, count: Any, centre: Any, w: Any, height: Any) -> Any:
        """height · exp(−2 d²/w²) at `count` pixels from `first`, then zeros to the full lane; how many lanes."""
        steep, start, tall = np.float32(-2.0 / (w * w)), np.float32(first - centre), np.float32(height)
        lanes = (count + LANES - 1) // LANES
        for b in range(lanes):
            for k in range(LANES):
                d = start + np.float32(b * LANES + k)
                value = tall * _exp(max(steep * d * d, FLOOR))
                out[b * LANES + k] = value if b * LANES + k < count else NONE
        return lanes

    @compiled
    def _dose_band(
        column: Any, row: Any, radius: Any, gaussian: Any, top_hat: Any, smooth: Any, disc: Any, edge: Any, pad: Any,
        row0: Any, row1: Any,
    ) -> None:  # fmt: skip
        """The Gaussian part as an outer product of two columns of numbers, the disc by the ends of its rows."""
        columns = disc.shape[1] - 1
        most = 2 * int(SUPPORT * radius.max()) + 2 + 2 * LANES
        across, along = np.zeros(most, np.float32), np.zeros(most, np.float32)
        for p in range(column.size):
            w, cx, cy = radius[p], column[p], row[p]
            reach = SUPPORT * w
            top, bottom = _box(cy, reach, row0, row1)
            left, right = math.ceil(cx - reach), math.floor(cx + reach) + 1
            if bottom <= top or right <= 0 or left >= columns:
                continue
            if gaussian[p] > 0.0:
                lanes = _fill(across, left, right - left, cx, w, 1.0)
                _fill(along, top, bottom - top, cy, w, gaussian[p])
                n = lanes * LANES
                for i in range(top, bottom):
                    g = along[i - top]
                    # A slice, so that the compiler sees no index that might count from the end.
                    line = smooth[i, left + pad : left + pad + n]
                    for k in range(n):
                        line[k] += g * across[k]
            top, bottom = _box(cy, w, row0, row1)
            for i in range(top, bottom):
                half = math.sqrt(max(w * w - (i - cy) * (i - cy), 0.0))
                left = min(max(math.ceil(cx - half), 0), columns)
                right = min(max(math.floor(cx + half) + 1, 0), columns)
                disc[i, left] += 1
                disc[i, right] -= 1
                edge[i, left] += top_hat[p]
                edge[i, right] -= top_hat[p]

    @compiled
    def _removal_band(
        column: Any, row: Any, radius: Any, gaussian: Any, top_hat: Any, used: Any, reach: Any, log_threshold: Any,
        depth: Any, level: Any, left_over: Any, hits: Any, ablating: Any, row0: Any, row1: Any,
    ) -> None:  # fmt: skip
        """(1) of `plain_removal`; the logarithm of the profile inside the spot is the polynomial `level` in u."""
        columns, last = hits.shape[1], log_threshold.size - 1
        for p in range(column.size):
            w, cx, cy = radius[p], column[p], row[p]
            far = reach[p] * w
            top, bottom = _box(cy, far, row0, row1)
            left, right = _box(cx, far, 0, columns)
            if bottom <= top or right <= left:
                continue
            squares = 1.0 / (w * w)
            peak = gaussian[p] + top_hat[p]
            top_log = math.log(max(used[p] * peak, 1e-300))
            tail_log = math.log(max(used[p] * gaussian[p], 1e-300))
            for i in range(top, bottom):
                dy = (i - cy) * (i - cy)
                h, a, rest = hits[i, left:right], ablating[i, left:right], left_over[i, left:right]
                for k in range(right - left):
                    dx = left + k - cx
                    u = (dx * dx + dy) * squares
                    inside = 1 if u < 1.0 else 0
                    h[k] += inside
                    x = min(u, 1.0)
                    shape = level[LEVEL_POWERS]
                    for n in range(LEVEL_POWERS - 1, -1, -1):
                        shape = shape * x + level[n]
                    over = (top_log + shape if u < 1.0 else tail_log - 2.0 * u) - log_threshold[min(h[k], last)]
                    if over > 0.0 and rest[k] > 0.0:
                        rest[k] = max(rest[k] - depth * over, 0.0)
                        a[k] += 1

    @compiled
    def _heat_band(
        column: Any, row: Any, radius: Any, gaussian: Any, top_hat: Any, time: Any, rate: Any, rise: Any, peak: Any,
        index: Any, state: Any, last: Any, row0: Any, row1: Any,
    ) -> None:  # fmt: skip
        """(1) of `plain_heat`; a lane of pixels cools together, by factors kept while the age asked for is the same."""
        terms = rate.size
        most = 2 * int(SUPPORT * radius.max()) + 2 + 2 * LANES
        across, along, flash = np.zeros(most, np.float32), np.zeros(most, np.float32), np.zeros(most, np.float32)
        fade, warming, sums, ages = (
            np.zeros((terms, most), np.float32),
            rise.astype(np.float32),
            np.zeros(most, np.float32),
            np.zeros(most),
        )
        for p in range(column.size):
            w, cx, cy = radius[p], column[p], row[p]
            reach = SUPPORT * w
            top, bottom = _box(cy, reach, row0, row1)
            left, right = _box(cx, reach, 0, peak.shape[1])
            if bottom <= top or right <= left:
                continue
            first = left // LANES
            lanes = _fill(across, first * LANES, right - first * LANES, cx, w, 1.0)
            across[: left - first * LANES] = NONE
            _fill(along, top, bottom - top, cy, w, gaussian[p])
            for i in range(top, bottom):
                n = lanes * LANES
                for k in range(n):
                    flash[k] = along[i - top] * across[k]
                square = w * w - (i - cy) * (i - cy)
                if square > 0.0:
                    begin, end = _box(cx, math.sqrt(square), left, right)
                    for k in range(begin - first * LANES, end - first * LANES):
                        flash[k] += np.float32(top_hat[p])
                for b in range(lanes):
                    lane = first + b
                    age = time[p] - last[i - row0, lane]
                    last[i - row0, lane] = time[p]
                    if age != ages[b]:
                        ages[b] = age
                        for m in range(terms):
                            fade[m, b * LANES : (b + 1) * LANES] = np.float32(math.exp(-rate[m] * age))
                at = first * LANES
                high, who, total = peak[i, at : at + n], index[i, at : at + n], sums[:n]
                for k in range(n):
                    total[k] = NONE
                for m in range(terms):
                    heat, cool, warm = state[i - row0, m, at : at + n], fade[m, :n], warming[m]
                    for k in range(n):
                        now = heat[k] * cool[k] + warm * flash[k]
                        heat[k] = now
                        total[k] += now
                for k in range(n):
                    who[k] = p if total[k] > high[k] else who[k]
                    high[k] = max(total[k], high[k])


def compiled_dose(places: Places, shape: tuple[int, int]) -> tuple[Floats, Counts]:
    """As `plain_dose`: hits the same; dose within 1e-5 of its highest value, and within 0.3 % of itself where all
    pulses of a chunk land on one place."""
    rows, columns = shape
    dose, hits, edge = np.zeros(shape), np.zeros((rows, columns + 1), np.int32), np.zeros((rows, columns + 1))
    pad = 2 * int(SUPPORT * places.radius.max(initial=1.0)) + 2 + LANES
    smooth = np.zeros((rows, columns + 2 * pad + LANES), np.float32)
    for first in range(0, len(places.column), CHUNK):
        chunk = Places(*(a[first : first + CHUNK] for a in places))

        def work(row0: int, row1: int, chunk: Places = chunk) -> None:
            _dose_band(*chunk, smooth, hits, edge, pad, row0, row1)

        _in_bands(work, bands(chunk.row, rows, THREADS))
        reach = SUPPORT * chunk.radius.max()
        touched = slice(*_box(0.5 * (chunk.row.min() + chunk.row.max()), 0.5 * np.ptp(chunk.row) + reach, 0, rows))
        dose[touched] += smooth[touched, pad : pad + columns]
        smooth[touched] = 0.0
    np.cumsum(hits, axis=1, out=hits)
    np.cumsum(edge, axis=1, out=edge)
    # Where every disc has ended, rounding leaves a trace of either sign.
    return dose + np.maximum(edge[:, :-1], 0.0), hits[:, :-1].copy()


def compiled_removal(places: Places, blow: Blow, thickness: Floats) -> tuple[Floats, Counts]:
    """As `plain_removal`, to rounding."""
    left, hits = thickness.copy(), np.zeros(thickness.shape, np.int32)
    ablating = np.zeros(thickness.shape, np.int32)

    def work(row0: int, row1: int) -> None:
        _removal_band(
            *places, blow.used, blow.reach, blow.log_threshold, blow.depth, level, left, hits, ablating, row0, row1
        )

    if len(places.column):
        level = profile_level(places)
        _in_bands(work, bands(places.row, len(left), THREADS))
    return left, ablating


def profile_level(places: Places) -> Floats:
    """Polynomial in u of ln(F(u)/F(0)) inside the spot, lowest power first; the same for every pulse of a beam.

    Fitted at Chebyshev points; its error is below 1e-6 for any share of top-hat (tested).
    """
    share = places.top_hat[0] / (places.gaussian[0] + places.top_hat[0])
    u = 0.5 - 0.5 * np.cos(np.pi * (np.arange(64) + 0.5) / 64)
    fit = np.polynomial.Polynomial.fit(u, np.log(share + (1.0 - share) * np.exp(-2.0 * u)), LEVEL_POWERS)
    level = np.zeros(LEVEL_POWERS + 1)
    powers = fit.convert().coef  # shorter where the last ones are nothing
    level[: len(powers)] = powers
    return level


def compiled_heat(places: Places, time: Floats, cooling: Cooling, shape: tuple[int, int]) -> tuple[Floats, Counts]:
    """As `plain_heat`, in single precision: within 1e-4 of its highest value."""
    rows, columns = shape
    lanes, terms = -(-columns // LANES), len(cooling.rate)
    peak = np.zeros((rows, lanes * LANES), np.float32)
    index = np.full((rows, lanes * LANES), -1, np.int32)

    def work(row0: int, row1: int) -> None:
        state = np.zeros((row1 - row0, terms, lanes * LANES), np.float32)
        _heat_band(
            *places, time, cooling.rate, cooling.rise, peak, index, state, np.zeros((row1 - row0, lanes)), row0, row1
        )

    tallest = max(1, HEAT_CELLS // (terms * lanes * LANES))
    parts = [
        (a, min(a + tallest, row1))
        for row0, row1 in bands(places.row, rows, THREADS)
        for a in range(row0, row1, tallest)
    ]  # fmt: skip
    if len(places.column):
        _in_bands(work, parts)
    return peak[:, :columns].astype(float), index[:, :columns].copy()


def _plain_heat_by_bands(places: Places, time: Floats, cooling: Cooling, shape: tuple[int, int]) -> tuple[Any, Any]:
    """`plain_heat` in bands of rows that fit into memory."""
    tallest = max(1, HEAT_CELLS // (len(cooling.rate) * shape[1]))
    parts = [
        plain_heat(places._replace(row=places.row - row0), time, cooling, (min(tallest, shape[0] - row0), shape[1]))
        for row0 in range(0, shape[0], tallest)
    ]
    return np.vstack([peak for peak, _ in parts]), np.vstack([index for _, index in parts])


add_dose = plain_dose if numba is None else compiled_dose
take_off = plain_removal if numba is None else compiled_removal
warm_up = _plain_heat_by_bands if numba is None else compiled_heat
