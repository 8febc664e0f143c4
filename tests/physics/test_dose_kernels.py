"""The kernels of the dose map: compiled against plain NumPy, bands, chunks."""

import math
from itertools import pairwise

import numpy as np
import pytest
from made_pulses import ENERGY, MM, OAK, SQUARE, UM, pulses_at, scattered

from proofpatch.physics import dose_kernels as kernels
from proofpatch.physics.beam import fluence_at, mean_fluence
from proofpatch.physics.dose_map import Grid, cooling_of, dose_map
from proofpatch.physics.elementwise import numba


def forms(count=300, share=0.7, seed=5):
    """The arguments of the kernels for scattered pulses."""
    pulses = scattered(count, seed=seed)
    fluence = mean_fluence(ENERGY, pulses.radius)
    places = kernels.Places(
        (pulses.x - SQUARE.x0) / SQUARE.pixel - 0.5, (pulses.y - SQUARE.y0) / SQUARE.pixel - 0.5,
        pulses.radius / SQUARE.pixel, 2 * (1 - share) * fluence, share * fluence,
    )  # fmt: skip
    log_threshold = math.log(8e3) - 0.15 * np.log(np.maximum(np.arange(101), 1))
    reach = np.sqrt(np.clip(0.5 * (np.log(np.maximum(places.gaussian, 1e-300)) - log_threshold.min()), 1, 16))
    blow = kernels.Blow(log_threshold, np.full(count, 0.8), 4 * UM, reach)
    return pulses, places, blow, cooling_of(OAK, pulses.time, 200e-9)


compiled_only = pytest.mark.skipif(numba is None, reason="Numba is not here")


@compiled_only
@pytest.mark.parametrize("share", [0.0, 0.7, 1.0])
@pytest.mark.parametrize("threads", [1, 3])
def test_compiled_forms_are_the_plain_ones(share, threads, monkeypatch):
    monkeypatch.setattr(kernels, "THREADS", threads)
    monkeypatch.setattr(kernels, "CHUNK", 128)
    monkeypatch.setattr(kernels, "HEAT_CELLS", 60_000)
    pulses, places, blow, cooling = forms(share=share)
    shape = SQUARE.shape
    dose, hits = kernels.plain_dose(places, shape)
    fast_dose, fast_hits = kernels.compiled_dose(places, shape)
    assert np.abs(fast_dose - dose).max() < 1e-5 * dose.max()
    assert np.array_equal(fast_hits, hits)
    cover = np.random.default_rng(0).uniform(0, 30 * UM, shape)
    left, ablating = kernels.plain_removal(places, blow, cover)
    fast_left, fast_ablating = kernels.compiled_removal(places, blow, cover)
    assert ablating.max() > 3
    assert np.abs(fast_left - left).max() < 1e-5 * blow.depth
    assert np.mean(fast_ablating != ablating) < 1e-4  # a place within 1e-6 of the threshold may go either way
    peak, index = kernels.plain_heat(places, pulses.time, cooling, shape)
    fast_peak, fast_index = kernels.compiled_heat(places, pulses.time, cooling, shape)
    assert np.abs(fast_peak - peak).max() < 1e-4 * peak.max()
    assert np.mean(fast_index != index) < 1e-3
    banded, banded_index = kernels._plain_heat_by_bands(places, pulses.time, cooling, shape)
    assert np.allclose(banded, peak)
    assert np.array_equal(banded_index, index)


@pytest.mark.parametrize("share", [0.0, 1e-6, 0.03, 0.5, 0.97, 1 - 1e-9, 1.0])
def test_the_profile_as_a_polynomial(share):
    one = np.ones(1)
    level = kernels.profile_level(kernels.Places(one, one, one, 2 * (1 - share) * one, share * one))
    u = np.linspace(0, 1, 1001)
    exact = np.log((2 * (1 - share) * np.exp(-2 * u) + share) / (2 - share))
    assert len(level) == kernels.LEVEL_POWERS + 1
    assert np.abs(np.polynomial.polynomial.polyval(u, level) - exact).max() < 1e-6


def test_bands_cover_the_map_once_and_share_the_pulses():
    rows = np.random.default_rng(0).uniform(30, 50, 10_000)
    parts = kernels.bands(rows, 100, 4)
    assert parts[0][0] == 0
    assert parts[-1][1] == 100
    assert all(a[1] == b[0] for a, b in pairwise(parts))
    shares = [np.mean((rows >= a) & (rows < b)) for a, b in parts]
    assert shares == pytest.approx([0.25] * 4, abs=0.06)
    assert kernels.bands(np.zeros(0), 7, 3) == [(0, 7)]
    assert kernels.bands(np.full(9, 3.0), 1, 3) == [(0, 1)]


def test_a_hundred_thousand_pulses_on_one_place_lose_nothing():
    count = 2 * kernels.CHUNK + 5 if numba is not None else 500
    grid = Grid(-0.35 * MM, -0.35 * MM, 0.1 * MM, 7, 7)
    maps = dose_map(pulses_at(np.full(count, 0.013 * MM), 0.0), ENERGY, 0.0, grid)
    away = np.hypot(grid.x - 0.013 * MM, grid.y[:, None])
    assert np.allclose(maps.dose, count * fluence_at(away, ENERGY, 0.45 * MM, 0.0), rtol=0.003)
