import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from proofpatch.errors import InputError
from proofpatch.physics import kinetics

# Beech: Di Blasi & Branca, Ind. Eng. Chem. Res. 40, 5547 (2001), abstract: E 141.2 kJ/mol, ln A 22.2.
BEECH = {"ln_frequency_factor": 22.2, "activation_energy": 141.2e3}
# Oak, three parallel steps: Thurner & Mann 1981 (from memory).
OAK = [(1.44e4, 88.6e3), (4.13e6, 112.7e3), (7.38e5, 106.5e3)]


# CV-1.7, thermal-optical.md §1.8 [C]: second route, not an outside source. 4.379e9 is exp(22.2) as printed there.
def test_beech_at_300_celsius(printed):
    assert np.exp(22.2) == printed("4.379e9")
    assert kinetics.arrhenius_rate(573.15, **BEECH) == printed("5.932e-4")
    rate = kinetics.arrhenius_rate(573.15, **BEECH)
    assert -np.log(0.95) / rate == printed("86.5")
    # 86.5 s is itself rounded to 0.06 %: so is the conversion.
    assert kinetics.arrhenius_conversion(573.15, 86.5, **BEECH) == pytest.approx(0.05, rel=6e-4)
    assert kinetics.temperature_for_conversion(0.05, 86.5, **BEECH) == pytest.approx(573.15, abs=0.02)


# CV-1.8, §1.8 [C]: second route, not an outside source.
@pytest.mark.parametrize(("temperature", "rate"), [(523.15, "3.494e-5"), (623.15, "6.393e-3"), (773.15, "1.265")])
def test_beech_at_other_temperatures(printed, temperature, rate):
    assert kinetics.arrhenius_rate(temperature, **BEECH) == printed(rate)


# CV-1.9, §1.8 [C]: second route, not an outside source. k τ = 1 is a conversion of 1 − 1/e.
@pytest.mark.parametrize(
    ("seconds", "temperature"), [(1.0, "765.0"), (1e-3, "1110.5"), (1e-6, "2025.5"), (100e-9, "2792.3")]
)
def test_beech_temperature_for_unit_progress(printed, seconds, temperature):
    assert kinetics.temperature_for_conversion(-np.expm1(-1.0), seconds, **BEECH) == printed(temperature)


# CV-1.10, §1.8 [C], second route, not an outside source: 4.880e-4, within 20 % of beech.
def test_oak_in_three_steps(printed):
    total = sum(kinetics.arrhenius_rate(573.15, np.log(a), e) for a, e in OAK)
    assert total == printed("4.880e-4")
    assert total == pytest.approx(kinetics.arrhenius_rate(573.15, **BEECH), rel=0.2)


@given(
    conversion=st.floats(1e-9, 0.999),
    seconds=st.floats(1e-8, 1e4),
    ln_a=st.floats(20, 45),
    energy=st.floats(5e4, 3e5),
)
@settings(deadline=None)
def test_temperature_inverts_conversion(conversion, seconds, ln_a, energy):
    temperature = float(kinetics.temperature_for_conversion(conversion, seconds, ln_a, energy))
    if np.log(seconds) + ln_a <= np.log(-np.log1p(-conversion)):
        assert temperature == np.inf
    else:
        again = kinetics.arrhenius_conversion(temperature, seconds, ln_a, energy)
        assert again == pytest.approx(conversion, rel=1e-9)


def test_conversion_solves_its_own_equation():
    t = np.linspace(0, 200, 20001)
    x = kinetics.arrhenius_conversion(600.0, t, **BEECH)
    slope = np.gradient(x, t)[1:-1]
    assert slope == pytest.approx(kinetics.arrhenius_rate(600.0, **BEECH) * (1 - x[1:-1]), rel=1e-5)
    assert x[0] == 0


def test_too_slow_at_any_temperature_is_infinite():
    assert kinetics.temperature_for_conversion(0.5, 1e-12, 20.0, 1e5) == np.inf


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: kinetics.arrhenius_rate(0, 22, 1e5), "temperature"),
        (lambda: kinetics.arrhenius_conversion(600, -1, 22, 1e5), "seconds"),
        (lambda: kinetics.arrhenius_conversion(600, 1, 22, 0), "activation_energy"),
        (lambda: kinetics.temperature_for_conversion(0, 1, 22, 1e5), "conversion"),
        (lambda: kinetics.temperature_for_conversion(1, 1, 22, 1e5), "conversion"),
        (lambda: kinetics.temperature_for_conversion(0.5, 0, 22, 1e5), "seconds"),
        (lambda: kinetics.temperature_for_conversion(0.5, 1, float("inf"), 1e5), "ln_frequency_factor"),
    ],
)
def test_refuses_what_cannot_be(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field
