import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from proofpatch.errors import InputError
from proofpatch.physics import pulses


# CV-3.1, thermal-optical.md §3.1 [C]: second route, not an outside source.
def test_worked_pulse(printed):
    energy = pulses.pulse_energy(average_power=100, repetition_rate=100e3)
    assert energy * 1e3 == printed("1.000")
    assert pulses.rectangular_peak_power(energy, 100e-9) / 1e3 == printed("10.00")
    assert pulses.peak_power(energy, 100e-9) / 1e3 == printed("9.394")


def test_gaussian_pulse_holds_its_energy():
    width, peak = 100e-9, pulses.peak_power(1e-3, 100e-9)
    energy = integrate.quad(lambda t: peak * np.exp(-4 * np.log(2) * (t / width) ** 2), -5 * width, 5 * width)[0]
    assert energy == pytest.approx(1e-3, rel=1e-9)


# CV-3.17, §3.9 [C] with cross-sections from memory: second route, not an outside source.
def test_saturation_energy_of_a_20_micron_core(printed):
    stored = pulses.saturation_energy(1064e-9, np.pi * (10e-6) ** 2, emission=2.7e-25, absorption=5e-27)
    assert stored * 1e3 == printed("0.2133")


# CV-3.18, §3.9 [C], formula from memory: second route, not an outside source.
def test_raman_limit(printed):
    assert pulses.raman_power_limit(300e-12, 1e-13, 3.0) / 1e3 == printed("16.00")


# §3.9 [R], encyclopedia article on decoupling pulse duration and energy: below the corner the energy is capped and
# power falls in proportion to the rate; above it power is rated.
def test_power_falls_in_proportion_below_the_corner():
    corner = pulses.corner_rate(rated_power=100.0, energy_limit=1e-3)
    assert corner == pytest.approx(100e3)
    power = pulses.available_power(corner * np.array([0.25, 0.5, 1, 2, 10]), 100.0, 1e-3)
    assert power == pytest.approx([25, 50, 100, 100, 100])


@given(rate=st.floats(1, 1e7), rated=st.floats(1, 1e3), limit=st.floats(1e-6, 0.1))
@settings(deadline=None)
def test_source_breaks_neither_limit(rate, rated, limit):
    power = float(pulses.available_power(rate, rated, limit))
    assert power <= rated
    assert pulses.pulse_energy(power, rate) <= limit * (1 + 1e-12)
    assert power == pytest.approx(rated) or pulses.pulse_energy(power, rate) == pytest.approx(limit)


def test_short_pulses_meet_the_peak_limit_long_ones_the_store():
    limits = pulses.energy_limit(np.array([10e-9, 100e-9, 1e-6]), stored_energy=2e-3, peak_power_limit=16e3)
    assert limits == pytest.approx([0.16e-3, 1.6e-3, 2e-3])


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: pulses.pulse_energy(100, 0), "repetition_rate"),
        (lambda: pulses.pulse_energy(None, 1e5), "average_power"),
        (lambda: pulses.peak_power(1e-3, -1e-9), "pulse_width"),
        (lambda: pulses.rectangular_peak_power(-1e-3, 1e-9), "pulse_energy"),
        (lambda: pulses.available_power(1e5, 100, 0), "energy_limit"),
        (lambda: pulses.corner_rate(0, 1e-3), "rated_power"),
        (lambda: pulses.energy_limit(1e-7, 0, 1e4), "stored_energy"),
        (lambda: pulses.saturation_energy(1e-6, 1e-10, 0, 0), "emission"),
        (lambda: pulses.raman_power_limit(1e-10, 1e-13, 0), "fibre_length"),
    ],
)
def test_refuses_what_no_source_has(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field
