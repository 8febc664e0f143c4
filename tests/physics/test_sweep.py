import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from proofpatch.errors import InputError
from proofpatch.physics import sweep
from proofpatch.physics.beam import fluence_at, peak_fluence

UM = 1e-6
J_CM2 = 1e4
# thermal-optical.md §3.8: E = 1 mJ, f = 100 kHz, v = 5 m/s, d = 100 µm, h = 50 µm.
# A 20 mm line and a hand at 12.5 mm/s have this h.
SWEEP = {"sweep_width": 20e-3, "travel_speed": 12.5e-3}


# CV-3.13, §3.8 [C]: second route, not an outside source.
def test_overlap_and_dose_of_the_worked_sweep(printed):
    pitch = sweep.pulse_pitch(sweep_speed=5.0, repetition_rate=100e3)
    lines = sweep.line_pitch(travel_speed=12.5e-3, sweep_width=20e-3, sweep_speed=5.0)
    assert pitch / UM == printed("50")
    assert lines / UM == printed("50")
    assert sweep.linear_overlap(pitch, 100 * UM) == printed("0.5")
    assert sweep.linear_overlap(lines, 100 * UM) == printed("0.5")
    assert sweep.hits_per_spot(pitch, 100 * UM) == printed("2")
    assert sweep.mean_dose(100.0, **SWEEP) / J_CM2 == printed("40.00")
    assert sweep.area_rate(**SWEEP) * 1e4 == printed("2.5")


def test_dose_is_energy_times_pulses_and_passes_count():
    per_area = sweep.pulses_per_area(100e3, **SWEEP, passes=3)
    assert per_area == pytest.approx(3 / (50 * UM) ** 2)
    assert sweep.mean_dose(100.0, **SWEEP, passes=3) == pytest.approx(1e-3 * per_area)
    assert sweep.area_rate(**SWEEP, passes=3) * sweep.mean_dose(100.0, **SWEEP, passes=3) == pytest.approx(100.0)


# CV-3.14, §3.8 [C]: second route, not an outside source.
def test_circle_overlap(printed):
    for q, text in [(0.25, "0.6850"), (0.5, "0.3910"), (0.75, "0.1443")]:
        assert sweep.circle_overlap(q * 100 * UM, 100 * UM) == printed(text)
    assert sweep.circle_overlap(0.0, 1.0) == pytest.approx(1)
    assert sweep.circle_overlap(np.array([1.0, 2.0]), 1.0) == pytest.approx([0, 0], abs=1e-12)


# CV-3.15, §3.8 [C]: second route, not an outside source.
def test_gaussian_line_sum(printed):
    total = sweep.gaussian_line_sum(50 * UM, 50 * UM)
    assert total == printed("1.2713")
    assert sweep.gaussian_line_limit(50 * UM, 50 * UM) == printed("1.2533")
    assert peak_fluence(1e-3, 50 * UM, 0) * total / J_CM2 == printed("32.37")


# CV-3.16, §3.8 [C]: second route, not an outside source.
def test_gaussian_area_dose(printed):
    dose = sweep.gaussian_area_dose(1e-3, 50 * UM, 50 * UM, 50 * UM)
    assert dose / J_CM2 == printed("41.16")


@pytest.mark.parametrize("q", [0.05, 0.3, 1.0, 1.24, 1.26, 2.0, 5.0])
def test_line_sum_adds_the_pulses_one_by_one(q):
    k = np.arange(-400, 401)
    assert sweep.gaussian_line_sum(q, 1.0) == pytest.approx(np.sum(np.exp(-2 * (k * q) ** 2)), rel=1e-14)


def test_area_dose_adds_the_pulses_one_by_one():
    x, y = np.meshgrid(np.arange(-60, 61) * 20 * UM, np.arange(-60, 61) * 35 * UM)
    one_by_one = np.sum(fluence_at(np.hypot(x, y), 1e-3, 50 * UM, 0.0))
    assert sweep.gaussian_area_dose(1e-3, 50 * UM, 20 * UM, 35 * UM) == pytest.approx(one_by_one, rel=1e-12)
    assert one_by_one == pytest.approx(1e-3 / (20 * UM * 35 * UM), rel=1e-3)


@given(width=st.floats(1e-3, 0.5), relative=st.floats(0.01, 0.99))
@settings(deadline=None)
def test_sine_sweep_spends_this_share_of_its_time_at_the_edge(width, relative):
    d = relative * width
    # Distance from the edge is y²; the time spent there per length is that of x = (W/2) cos ωt.
    spent = integrate.quad(lambda y: 2 / (np.pi * np.sqrt(width - y * y)), 0, np.sqrt(d))[0]
    assert sweep.edge_dose_factor(width, d, "sine") == pytest.approx(spent * width / d, rel=1e-7)


def test_edge_dose_factor_limits():
    # A small spot: arccos(1 − 2q) → 2 √q, so the factor grows as (2/π) √(W/d).
    assert sweep.edge_dose_factor(1.0, 1e-6, "sine") == pytest.approx(2 / np.pi * 1e3, rel=1e-5)
    assert sweep.edge_dose_factor(1.0, np.array([1.0, 3.0]), "sine") == pytest.approx([1, 1])
    assert sweep.edge_dose_factor(1.0, 1e-3, "line") == 1
    assert sweep.sine_edge_dose_factor(0.1, 9e-4) == pytest.approx(sweep.edge_dose_factor(0.1, 9e-4, "sine"))


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: sweep.pulse_pitch(0, 1e5), "sweep_speed"),
        (lambda: sweep.line_pitch(1e-2, 0, 5), "sweep_width"),
        (lambda: sweep.linear_overlap(1e-5, 0), "spot_diameter"),
        (lambda: sweep.hits_per_spot(0, 1e-4), "pitch"),
        (lambda: sweep.circle_overlap(-1, 1), "pitch"),
        (lambda: sweep.mean_dose(-1, 0.1, 0.01), "average_power"),
        (lambda: sweep.pulses_per_area(1e5, 0.1, 0.01, passes=0), "passes"),
        (lambda: sweep.area_rate(0.1, float("nan")), "travel_speed"),
        (lambda: sweep.gaussian_line_sum(0, 1), "pitch"),
        (lambda: sweep.gaussian_area_dose(1e-3, 5e-5, 5e-5, 0), "line_pitch"),
        (lambda: sweep.edge_dose_factor(0.1, 1e-3, "star"), "pattern"),
        (lambda: sweep.edge_dose_factor(0.0, 1e-3, "line"), "sweep_width"),
    ],
)
def test_refuses_what_no_sweep_has(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field
