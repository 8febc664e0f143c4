"""The closed forms of the hottest place: exact limits, and the layered solver.

The wide sweep over materials and settings is benchmarks/agreement.py (docs/agreement.md); here are the limits that
must hold whatever was fitted.
"""

import math

import numpy as np
import pytest
from scipy import integrate, special

from proofpatch.physics.accumulation import accumulated_rise
from proofpatch.physics.heat import pulse_heated_rise, volume_heated_face_rise
from proofpatch.physics.heat_stack import HeatLayer
from proofpatch.physics.hot_place import (
    _after,
    _early_time,
    _film_rise,
    _flux_rise,
    _hot_place,
    _share_beside_film,
    _side_time,
    _slab_rise,
)
from proofpatch.physics.layered_batch import HeatCase, layered_histories

K, RHO_C = 0.1697, 692.7 * 1661  # thermal-optical.md §4.8, wood
D = K / RHO_C
STEEL_K, STEEL_C = 60.5, 7854 * 434.0


def place(**changes):
    """(band, peak, crossing, pulse, early) of a 500 W setting on wood, changed by name."""
    given = {
        "power": 500.0, "rate": 20e3, "pulse_width": 200e-9, "spot_radius": 0.45e-3, "sweep": 0.1, "sweep_speed": 10.0,
        "travel": 0.05, "top_hat": 0.7, "skin_part": 0.25, "skin_depth": 60e-6, "rest_part": 0.25,
        "rest_depth": 2.5e-3, "thickness": 0.02, "conductivity": K, "heat_capacity": RHO_C,
    } | changes  # fmt: skip
    return _hot_place(**given)


# (1) of `_flux_rise` against the exact erfcx form (thermal-optical.md 4.2), any depth and time.
@pytest.mark.parametrize("ratio", np.geomspace(1e-3, 1e3, 25))
def test_flux_rise_is_the_exact_one_within_a_thousandth(ratio):
    depth = 60e-6
    time = (ratio * depth) ** 2 / D
    assert _flux_rise(time, depth, D, RHO_C) == pytest.approx(
        volume_heated_face_rise(time, 1.0, K, D, 1 / depth), rel=1.2e-3
    )


# A Gaussian line of light on a face that conducts: ∫ ds/√(s(1 + 8 D s/w²)) by SciPy's quadrature.
@pytest.mark.parametrize("ratio", [0.01, 0.3, 1.0, 4.0, 10.0])
def test_side_time_is_the_integral_of_the_spreading_line(ratio):
    w, d = 0.3e-3, 1.5e-5
    time = (ratio * w) ** 2 / (8 * d)
    wanted, _ = integrate.quad(lambda x: 2 / math.sqrt(1 + 8 * d * x * x / w**2), 0, math.sqrt(time))
    assert 2 * math.sqrt(_side_time(time, 1.0, w, d)) == pytest.approx(wanted, rel=0.01)


# A slab with an insulated back under a constant flux: at first a thick solid, in the end t/(ρc L) + L/(3k) (Carslaw &
# Jaeger §3.8, from memory), in between the layered solver.
@pytest.mark.parametrize("fourier", [0.01, 0.1, 0.3, 1.0, 3.0])
def test_slab_rise_between_thick_and_thin(fourier):
    thickness = 2e-3
    d = STEEL_K / STEEL_C
    time = fourier * thickness**2 / d
    early = _early_time(time, thickness, 1.0, d)
    ours = _slab_rise(time, early, 1.0, 1e-12, 0.0, 1.0, thickness, 1.0, d, STEEL_C)
    case = HeatCase([HeatLayer(thickness, STEEL_K, STEEL_C, 1.0)], [0.0], time, 1.0, time * 1.001)
    assert ours == pytest.approx(layered_histories([case]).peak[0, 0], rel=0.06)
    if fourier == 3.0:
        assert ours == pytest.approx(time / (STEEL_C * thickness) + thickness / (3 * STEEL_K), rel=0.05)


def test_one_lone_pulse_is_the_flash():
    # Lines and pulses far apart: what is left is one pulse of the peak fluence on a conducting face (4.1).
    power = 1e-3 * 5e3
    _, peak, own, pulse, _ = place(
        power=power, rate=5e3, sweep_speed=20.0, travel=0.15, sweep=0.15, top_hat=0.0, skin_part=0.4,
        skin_depth=0.0, rest_part=0.0, conductivity=STEEL_K, heat_capacity=STEEL_C,
    )  # fmt: skip
    fluence = 2 * 1e-3 / (math.pi * 0.45e-3**2)
    flash = pulse_heated_rise(0.0, 200e-9, 200e-9, 0.4 * fluence, STEEL_K, STEEL_K / STEEL_C)
    assert pulse == pytest.approx(flash, rel=0.01)
    assert own == pytest.approx(pulse, rel=0.05)
    assert peak == pytest.approx(own, rel=0.01)


def test_a_slow_dense_sweep_is_a_steady_flux():
    # Lines 30 a spot and pulses 100 a spot: the band alone, flux P/(2 w W) for 2w/u (4.2).
    band, peak, _, _, _ = place(rate=1e6, sweep_speed=10.0, travel=0.003, rest_part=0.0, thickness=1.0)
    seconds = 0.9e-3 / 0.003
    wanted = volume_heated_face_rise(seconds, 0.25 * 500 / (0.9e-3 * 0.1), K, D, 1 / 60e-6)
    assert band == pytest.approx(wanted, rel=0.05)
    assert band <= peak < 1.15 * wanted


def test_bursts_are_counted_as_printed():
    # CV-4.13's way of counting (thermal-optical.md 4.5): N pulses of a crossing leave Σ j^(−1/2) of one's own rise.
    # Lines far apart, 180 pulses a spot.
    rate, speed = 1e6, 5.0
    _, peak, own, pulse, _ = place(
        power=200.0, rate=rate, sweep_speed=speed, travel=0.1, sweep=0.1, top_hat=1.0, skin_part=0.4, skin_depth=0.0,
        rest_part=0.0, conductivity=1.0, heat_capacity=STEEL_C,
    )  # fmt: skip
    count = int(2 * 0.45e-3 / (speed / rate))
    heat = 0.4 * 200e-6 / (math.pi * 0.45e-3**2)
    wanted = accumulated_rise(count, rate, heat, STEEL_C, 1.0 / STEEL_C)
    assert own - pulse == pytest.approx(wanted, rel=0.06)
    assert peak == pytest.approx(own, rel=0.1)


@pytest.mark.parametrize("knob", ["power", "skin_part"])
def test_rises_are_linear(knob):
    once, twice = (
        place(),
        place(
            **{knob: {"power": 1000.0, "skin_part": 0.5}[knob]} | ({"rest_part": 0.5} if knob == "skin_part" else {})
        ),
    )
    for a, b in zip(once[:4], twice[:4], strict=True):
        assert b == pytest.approx(2 * a, rel=1e-9)


@pytest.mark.parametrize("travel", np.geomspace(0.002, 0.15, 9))
def test_order_of_the_parts(travel):
    for rate in (5e3, 50e3, 1e6):
        band, peak, own, pulse, early = place(travel=travel, rate=rate)
        assert 0 < band <= peak
        assert 0 <= pulse <= own <= peak
        assert 0 < early <= 0.9e-3 / travel


def test_nothing_jumps_as_a_knob_turns():
    for knob, low, high in (
        ("travel", 0.002, 0.15),
        ("sweep_speed", 1.0, 20.0),
        ("rate", 5e3, 1e6),
        ("sweep", 0.01, 0.15),
    ):
        values = np.geomspace(low, high, 400)
        peaks = np.array([place(**{knob: v})[1] for v in values])
        assert np.abs(np.diff(np.log(peaks))).max() < 0.05


# A film that stays, all light taken in it: the layered solver, during the band and after; wood, stone-like, steel, and
# a film that conducts better than what is below.
@pytest.mark.parametrize("film", [20e-6, 60e-6, 150e-6, 600e-6])
@pytest.mark.parametrize("alpha", [2e3, 2e4, 2e5])
@pytest.mark.parametrize("below", [(K, RHO_C), (1.5, 2e6), (45.0, 3.7e6), (0.02, 2e5)])
def test_heat_of_a_film_that_stays(film, alpha, below):
    seconds, k_film, c_film = 0.02, 0.25, 1.96e6
    k, rho_c = below
    stack = [HeatLayer(film, k_film, c_film, 1.0, alpha), HeatLayer(0.02, k, rho_c, 1.0)]
    case = HeatCase(stack, [0.0], seconds, 1.0, seconds + 2 * film**2 * c_film / k_film)
    solved = layered_histories([case]).peak[0, 1]
    staying, going = (
        _film_rise(seconds, seconds, film, k_film, c_film, alpha * film, left, 0.02, k, rho_c) for left in (1.0, 0.0)
    )
    through = math.exp(-alpha * film)
    per_face = _flux_rise(seconds, 1e-12, k / rho_c, rho_c)
    light = per_face * _share_beside_film(seconds, seconds, film, k_film, c_film, per_face, k, rho_c)
    assert through * light + (1 - through) * staying == pytest.approx(solved, rel=0.25)
    assert going >= staying


# Carslaw & Jaeger (1959): two thick bodies in contact, heat set free steadily between them, share it as √(kρc).
def test_what_a_thick_film_takes():
    k, rho_c, k_film, c_film = 0.2, 1e6, 0.3, 2e6
    per_face = _flux_rise(0.01, 1e-12, k / rho_c, rho_c)
    kept = _share_beside_film(0.01, 0.01, 1.0, k_film, c_film, per_face, k, rho_c)
    assert kept == pytest.approx(math.sqrt(k * rho_c) / (math.sqrt(k * rho_c) + math.sqrt(k_film * c_film)), rel=1e-3)
    assert _share_beside_film(0.01, 0.01, 0.0, k_film, c_film, per_face, k, rho_c) == pytest.approx(1.0)


def test_the_stand_in_for_the_integral_of_erfc():
    x = np.linspace(0, 6, 301)
    exact = np.exp(-x * x) - math.sqrt(math.pi) * x * special.erfc(x)
    assert np.abs(_after(2 * x, 1.0, 1.0) - exact).max() < 0.011
