import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from proofpatch.errors import InputError
from proofpatch.physics import accumulation
from proofpatch.physics.spots import gaussian_disc_pulse_rise

UM = 1e-6
J_CM2 = 1e4
RATE = 100e3
# thermal-optical.md §4.8: conductivity, ρc.
STAINLESS = (14.9, 7900 * 477)
MILD_STEEL = (60.5, 7854 * 434)
WOOD = (0.1697, 692.7 * 1661)


# §4.5 table [C]: second route, not an outside source.
@pytest.mark.parametrize(
    ("pulses", "one", "two", "three"),
    [
        (2, "1.7071", "1.5000", "1.3536"),
        (5, "3.2317", "2.2833", "1.7604"),
        (10, "5.0210", "2.9290", "1.9953"),
        (50, "12.7524", "4.4992", "2.3309"),
        (100, "18.5896", "5.1874", "2.4129"),
        (1000, "61.8010", "7.4855", "2.5491"),
    ],
)
def test_sums(printed, pulses, one, two, three):
    for dimensions, text in [(1, one), (2, two), (3, three)]:
        assert accumulation.accumulation_sum(pulses, dimensions) == printed(text)


# §4.5 [C], the limits of the sums: second route, not an outside source.
def test_long_sums(printed):
    n = 1_000_000
    assert accumulation.accumulation_sum(n, 1) - 2 * np.sqrt(n) == pytest.approx(-1.4604, abs=1e-3)
    assert accumulation.accumulation_sum(n, 2) - np.log(n) == printed("0.5772")
    # What is left of the 3D sum beyond N is 2/√N.
    assert accumulation.accumulation_sum(n, 3) + 2 / np.sqrt(n) == printed("2.6124")


# CV-4.13 stainless steel, CV-4.14 mild steel, CV-4.15 wood, §4.8 [C]: second route, not an outside source.
# CV-4.14 prints four numbers, in the order of CV-4.13: one pulse, ten 1D, ten Gaussian, a hundred Gaussian.
@pytest.mark.parametrize(
    ("solid", "heat", "first", "flat", "ten", "hundred"),
    [
        (STAINLESS, 0.3, "71.43", "358.6", "241.4", "418.6"),
        (MILD_STEEL, 0.3, "37.27", "187.1", "66.56", "91.98"),
        (WOOD, 0.03, "121.1", "608.2", "595.7", "1950"),
    ],
)
def test_pulses_on_one_place(printed, solid, heat, first, flat, ten, hundred):
    k, rho_c = solid
    solid = {"heat_capacity": rho_c, "diffusivity": k / rho_c}
    assert accumulation.accumulated_rise(1, RATE, heat * J_CM2, **solid) == printed(first)
    assert accumulation.accumulated_rise(10, RATE, heat * J_CM2, **solid, dimensions=1) == printed(flat)
    assert accumulation.gaussian_accumulated_rise(10, RATE, heat * J_CM2, 50 * UM, **solid) == printed(ten)
    assert accumulation.gaussian_accumulated_rise(100, RATE, heat * J_CM2, 50 * UM, **solid) == printed(hundred)


# §4.5 [C], N_x at 100 kHz and 50 µm: second route, not an outside source.
@pytest.mark.parametrize(("solid", "crossover"), [(MILD_STEEL, "1.8"), (STAINLESS, "7.9"), (WOOD, "212")])
def test_crossover(printed, solid, crossover):
    k, rho_c = solid
    assert accumulation.crossover_pulses(RATE, 50 * UM, k / rho_c) == printed(crossover)


# CV-4.22, §4.8 [C]: second route, not an outside source.
@pytest.mark.parametrize(("rate", "power"), [(100e3, "2.901"), (300e3, "1.675"), (1e6, "0.9174")])
def test_power_limit(printed, rate, power):
    k, rho_c = STAINLESS
    limit = accumulation.standing_power_limit(1380, 0.38, rate, rho_c, k / rho_c)
    assert limit == printed(power)
    # Many pulses of that power do bring it there; the sum beyond N is 2/√N short.
    heat = 0.38 * float(limit) / rate
    reached = accumulation.accumulated_rise(1_000_000, rate, heat, rho_c, k / rho_c, dimensions=3)
    assert reached == pytest.approx(1380 * (1 - 0.002 / 2.6124), rel=1e-6)


def test_gaussian_sum_adds_the_discs_one_by_one():
    k, rho_c = STAINLESS
    energy = 0.3 * J_CM2 * np.pi * (50 * UM) ** 2 / 2
    discs = gaussian_disc_pulse_rise(0, 0, np.arange(1, 38) / RATE, energy, 50 * UM, rho_c, k / rho_c)
    total = accumulation.gaussian_accumulated_rise(37, RATE, 0.3 * J_CM2, 50 * UM, rho_c, k / rho_c)
    assert total == pytest.approx(discs.sum(), rel=1e-12)


def test_gaussian_sum_is_1d_for_a_wide_spot_and_3d_for_a_tiny_one():
    k, rho_c = STAINLESS
    wide = accumulation.gaussian_accumulated_rise(50, RATE, 3e3, 1.0, rho_c, k / rho_c)
    assert wide == pytest.approx(accumulation.accumulated_rise(50, RATE, 3e3, rho_c, k / rho_c), rel=1e-6)
    w = 0.05 * UM
    tiny = accumulation.gaussian_accumulated_rise(50, RATE, 3e3, w, rho_c, k / rho_c)
    point = accumulation.accumulated_rise(50, RATE, 3e3 * np.pi * w * w / 2, rho_c, k / rho_c, dimensions=3)
    assert tiny == pytest.approx(point, rel=1e-4)


def test_gaussian_sum_takes_arrays():
    radii = np.array([[20.0], [50.0]]) * UM
    rates = np.array([50e3, 100e3, 200e3])
    got = accumulation.gaussian_accumulated_rise(20, rates, 1e3, radii, STAINLESS[1], 4e-6)
    assert got.shape == (2, 3)
    assert got[1, 2] == pytest.approx(
        accumulation.gaussian_accumulated_rise(20, 200e3, 1e3, 50 * UM, STAINLESS[1], 4e-6)
    )


@given(pulses=st.integers(1, 2000), rate=st.floats(1e3, 1e6), radius=st.floats(1e-5, 1e-3))
@settings(deadline=None)
def test_sideways_loss_only_cools(pulses, rate, radius):
    spread = accumulation.gaussian_accumulated_rise(pulses, rate, 1e3, radius, 4e6, 4e-6)
    assert 0 < spread < accumulation.accumulated_rise(pulses, rate, 1e3, 4e6, 4e-6)
    assert spread < accumulation.gaussian_accumulated_rise(pulses + 1, rate, 1e3, radius, 4e6, 4e-6)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: accumulation.accumulation_sum(0, 1), "pulses"),
        (lambda: accumulation.accumulation_sum(2.5, 1), "pulses"),
        (lambda: accumulation.accumulation_sum(1e12, 1), "pulses"),
        (lambda: accumulation.accumulation_sum(np.array([1, 2]), 1), "pulses"),
        (lambda: accumulation.accumulation_sum(10, 4), "dimensions"),
        (lambda: accumulation.accumulated_rise(10, 0, 1, 1, 1), "repetition_rate"),
        (lambda: accumulation.accumulated_rise(10, 1, 1, 1, 1, dimensions=0), "dimensions"),
        (lambda: accumulation.gaussian_accumulated_rise(10, 1, 1, 0, 1, 1), "spot_radius"),
        (lambda: accumulation.crossover_pulses(1, 1, -1), "diffusivity"),
        (lambda: accumulation.standing_power_limit(100, 0, 1e5, 1, 1), "heat_share"),
    ],
)
def test_refuses_what_cannot_be(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field
