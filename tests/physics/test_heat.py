import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_solids import ALUMINIUM, MILD_STEEL, PAINT, PULSE, STAINLESS, UM, WOOD
from scipy import integrate, special

from proofpatch.errors import InputError
from proofpatch.physics import heat

J_CM2 = 1e4
PER_CM = 100.0


# Çengel, Heat and Mass Transfer, example 4-7 (read in a public transcription; house-style.md): wood at 20 °C,
# 1250 W/m² for 20 min, face at 149 °C. The inputs of a worked example check arithmetic; they never enter data.
def test_face_matches_the_textbook():
    rise = heat.flux_heated_rise(depth=0, time=1200, flux=1250, conductivity=1.26, diffusivity=1.1e-5)
    assert 20 + rise == pytest.approx(149, abs=0.5)


# A reference library of transient conduction, case SemiInf10: 141.3 (house-style.md). Its initial slope b = 10 K/m
# adds b x, and k b to the flux.
def test_depth_matches_a_reference_library():
    rise = heat.flux_heated_rise(depth=0.1, time=10, flux=1e5 + 100 * 10, conductivity=100, diffusivity=1e-3)
    assert 100 + 10 * 0.1 + rise == pytest.approx(141.3, abs=0.05)


# CV-4.1 to CV-4.5, thermal-optical.md §4.8 [C]: second route, not an outside source (CV-4.1 also by finite
# differences: 1242.0 and 62.32).
@pytest.mark.parametrize(
    ("solid", "fluence", "depth", "time", "rise"),
    [
        (MILD_STEEL, 0.5, 0, 100e-9, "1242"),  # CV-4.1
        (MILD_STEEL, 0.5, 0, 1e-6, "201.6"),
        (MILD_STEEL, 0.5, 0, 10e-6, "62.28"),
        (MILD_STEEL, 0.5, 0, 100e-6, "19.65"),
        (MILD_STEEL, 0.5, 2 * UM, 100e-9, "230.5"),  # CV-4.2
        (STAINLESS, 0.5, 0, 100e-9, "2381"),  # CV-4.3
        (STAINLESS, 0.5, 0, 10e-6, "119.3"),
        (STAINLESS, 0.5, 2 * UM, 100e-9, "25.34"),
        (ALUMINIUM, 0.5, 0, 100e-9, "741.9"),  # CV-4.4
        (ALUMINIUM, 0.5, 0, 10e-6, "37.19"),
        (WOOD, 0.1, 0, 100e-9, "8075"),  # CV-4.5
        (WOOD, 0.1, 0, 10e-6, "404.8"),
        (WOOD, 0.1, 0, 100e-6, "127.7"),
    ],
)
def test_pulse_absorbed_at_the_face(printed, solid, fluence, depth, time, rise):
    assert heat.pulse_heated_rise(depth, time, PULSE, fluence * J_CM2, **solid.conducting) == printed(rise)


# CV-4.6 paint, CV-4.7 wood, CV-4.8 stainless steel, §4.8 [C]: second route, not an outside source (quadrature,
# finite differences, and a general-purpose Green's function library gave the same).
@pytest.mark.parametrize(
    ("solid", "absorption", "fluence", "depth", "time", "rise"),
    [
        (PAINT, 1000, 1, 0, 100e-9, "505.9"),
        (PAINT, 1000, 1, 10 * UM, 100e-9, "187.7"),
        (PAINT, 1000, 1, 0, 1e-3, "201.4"),
        (WOOD, 50, 1, 0, 100e-9, "43.44"),
        (WOOD, 50, 1, 10 * UM, 100e-9, "41.34"),
        (WOOD, 50, 1, 0, 1e-3, "40.63"),
        (STAINLESS, 4e5, 0.5, 0, 100e-9, "2299"),
        (STAINLESS, 4e5, 0.5, 0, 1e-3, "11.91"),
    ],
)
def test_pulse_absorbed_in_depth(printed, solid, absorption, fluence, depth, time, rise):
    got = heat.volume_pulse_rise(
        depth, time, PULSE, fluence * J_CM2, absorption=absorption * PER_CM, **solid.conducting
    )
    assert got == printed(rise)


# CV-4.6 [C]: adiabatic limit α F/ρc; second route, not an outside source.
def test_flash_in_paint_before_heat_moves(printed):
    got = heat.instant_volume_rise(0, 0, 1 * J_CM2, PAINT.heat_capacity, PAINT.conducting["diffusivity"], 1e5)
    assert got == printed("510.2")


# CV-4.16 and CV-4.17, §4.8 [C]: second route, not an outside source. The reference's 1/(α² D) is used, not its quarter.
def test_diffusion_length_and_relaxation_time(printed):
    for solid, text in [(MILD_STEEL, "2.665"), (STAINLESS, "1.258"), (ALUMINIUM, "6.233"), (WOOD, "0.2429")]:
        assert heat.diffusion_length(PULSE, solid.conducting["diffusivity"]) / UM == printed(text)
    assert heat.relaxation_time(1e5, PAINT.conducting["diffusivity"]) * 1e3 == printed("0.784")
    assert heat.relaxation_time(5e3, WOOD.conducting["diffusivity"]) == printed("0.271")


# CV-4.23, §4.8 [C]: second route, not an outside source.
@pytest.mark.parametrize(
    ("width", "fluence"), [(10e-9, "0.1909"), (30e-9, "0.3306"), (100e-9, "0.6037"), (200e-9, "0.8537")]
)
def test_absorbed_fluence_for_a_rise(printed, width, fluence):
    needed = heat.pulse_threshold_for_rise(1500, width, **MILD_STEEL.conducting)
    assert needed / J_CM2 == printed(fluence)
    assert heat.pulse_heated_rise(0, width, width, needed, **MILD_STEEL.conducting) == pytest.approx(1500)


# §4.1 [C]: a pulse Gaussian in time peaks at 0.7835 of the rectangular one, 0.325 τ after its middle: second route,
# not an outside source. Here as a stack of thin rectangular slices.
def test_gaussian_pulse_peaks_lower_and_later(printed):
    # Midpoint slices: the error of the sum falls as the slice width to the power 1.5.
    edges = np.linspace(-2.5, 3.0, 5501)
    middle = (edges[1:] + edges[:-1]) / 2
    share = special.ndtr(edges[1:] * np.sqrt(8 * np.log(2))) - special.ndtr(edges[:-1] * np.sqrt(8 * np.log(2)))
    step = edges[1] - edges[0]
    times = np.arange(0.28, 0.37, 0.001)
    since = times[:, None] - (middle - step / 2)[None, :]
    lit = np.where(since > 0, heat.pulse_heated_rise(0, np.maximum(since, 0), step, share, 1.0, 1.0), 0).sum(axis=1)
    peak = heat.pulse_heated_rise(0, 1.0, 1.0, 1.0, 1.0, 1.0)
    assert lit.max() / peak == printed("0.7835")
    assert times[lit.argmax()] == pytest.approx(0.325, abs=0.0015)


def test_every_absorbed_joule_is_stored():
    x = np.linspace(0, 5e-3, 20001)
    rise = heat.flux_heated_rise(x, time=1.0, flux=1e5, conductivity=0.2, diffusivity=1e-7)
    assert np.trapezoid(0.2 / 1e-7 * rise, x) == pytest.approx(1e5 * 1.0, rel=1e-6)  # ρc = k/α


@pytest.mark.parametrize("time", [0.3, 1.0, 1.4, 20.0])
def test_a_pulse_in_depth_keeps_its_energy(time):
    z = np.linspace(0, 60, 60001)
    rise = heat.volume_pulse_rise(z, time, 1.0, 5.0, conductivity=2.0, diffusivity=1.0, absorption=0.8)
    assert np.trapezoid(2.0 * rise, z) == pytest.approx(5.0 * min(time, 1.0), rel=1e-6)


def test_a_flash_in_depth_keeps_its_energy_and_starts_as_the_light_fell():
    z = np.linspace(0, 60, 60001)
    for time in (1e-6, 0.1, 10.0):
        rise = heat.instant_volume_rise(z, time, 5.0, 2.0, 1.0, 0.8)
        assert np.trapezoid(2.0 * rise, z) == pytest.approx(5.0, rel=1e-6)
    start = heat.instant_volume_rise(z, 0.0, 5.0, 2.0, 1.0, 0.8)
    assert start[1:] == pytest.approx(0.8 * 5 / 2 * np.exp(-0.8 * z[1:]), rel=1e-12, abs=1e-15)


def test_solutions_obey_the_heat_equation():
    z, t, h = np.linspace(0.2, 3, 15), 0.7, 1e-3
    args = {"flux": 1.0, "conductivity": 1.0, "diffusivity": 1.0}

    def residual(rise, source):
        rate = (rise(z, t + h) - rise(z, t - h)) / (2 * h)
        bend = (rise(z + h, t) - 2 * rise(z, t) + rise(z - h, t)) / h**2
        return rate - bend - source

    flat = residual(lambda z, t: heat.flux_heated_rise(z, t, **args), 0)
    assert flat == pytest.approx(np.zeros(15), abs=1e-5)
    deep = residual(lambda z, t: heat.volume_heated_rise(z, t, absorption=1.3, **args), 1.3 * np.exp(-1.3 * z))
    assert deep == pytest.approx(np.zeros(15), abs=1e-5)
    # The insulated face: no slope.
    near = heat.volume_heated_rise(np.array([0, 1e-4]), t, absorption=1.3, **args)
    assert (near[1] - near[0]) / 1e-4 == pytest.approx(0, abs=1e-3)


def test_flash_is_the_rate_of_the_steady_flux():
    z, t, h = np.linspace(0, 3, 13), 0.7, 1e-4
    rise = [heat.volume_heated_rise(z, t + s, 1.0, 1.0, 1.0, 1.3) for s in (-h, h)]
    assert heat.instant_volume_rise(z, t, 1.0, 1.0, 1.0, 1.3) == pytest.approx((rise[1] - rise[0]) / (2 * h), rel=1e-6)


# The reference's own printed forms of §4.2, where they do not overflow, and a Green's function integral.
def test_depth_form_equals_the_printed_one_and_a_quadrature():
    q, k, d, alpha, t = 3.0, 1.5, 0.7, 2.0, 0.9
    for z in (0.0, 0.3, 1.0, 2.5):
        a, b = alpha * np.sqrt(d * t), z / (2 * np.sqrt(d * t))
        bracket = np.exp(alpha * z) * special.erfc(a + b) + np.exp(-alpha * z) * special.erfc(a - b)
        face = 2 * q / k * np.sqrt(d * t) * (np.exp(-b * b) / np.sqrt(np.pi) - b * special.erfc(b))
        printed_form = face - q / (alpha * k) * np.exp(-alpha * z) + q / (2 * alpha * k) * np.exp(a * a) * bracket
        got = heat.volume_heated_rise(z, t, q, k, d, alpha)
        assert got == pytest.approx(printed_form, rel=1e-12)

        def spread_light(u, z=z):
            # Light absorbed all along spreads by √(2 D u²) each way; ξ counts that spread, u² is the time since.
            def light(xi):
                return np.exp(-xi * xi - alpha * abs(z + 2 * np.sqrt(d) * u * xi)) / np.sqrt(np.pi)

            kink = -z / (2 * np.sqrt(d) * u)
            inner = integrate.quad(light, -7, 7, points=[kink] if kink > -7 else None, epsrel=1e-11)[0]
            return 2 * u * alpha * q * d / k * inner

        total = integrate.quad(spread_light, 0, np.sqrt(t), epsrel=1e-9)[0]
        assert got == pytest.approx(total, rel=1e-8)


@given(time=st.floats(1e-9, 1.0), absorption=st.floats(1.0, 1e7))
@settings(deadline=None)
def test_face_form_equals_the_depth_form_at_the_face(time, absorption):
    face = heat.volume_heated_face_rise(time, 1e6, 0.2, 1.5e-7, absorption)
    depth = heat.volume_heated_rise(0.0, time, 1e6, 0.2, 1.5e-7, absorption)
    # The depth form loses digits as its docstring says; the asymptotic erfcx is good to 1e-7.
    lost = 1e-15 / min(absorption * np.sqrt(1.5e-7 * time), 1) ** 2
    assert depth == pytest.approx(face, rel=1e-7 + 20 * lost)


def test_face_form_keeps_its_digits_in_both_limits():
    # α √(D t) = 1e-6: still, the rise is α q t/ρc, and 4/(3 √π) of 1e-6 less.
    still = heat.volume_heated_face_rise(1e-6, 1.0, 1.0, 1.0, 1e-3)
    assert still == pytest.approx(1e-9 * (1 - 4e-6 / (3 * np.sqrt(np.pi))), rel=1e-11)
    # Either side of the switch from the series to the closed form, against SciPy's own function.
    for x in (0.01, 0.0199, 0.0201, 0.05):
        exact = special.erfcx(x) - 1 + 2 * x / np.sqrt(np.pi)
        assert heat.volume_heated_face_rise(x**2, 1.0, 1.0, 1.0, 1.0) == pytest.approx(exact, rel=1e-11)


# §4.2 → §4.1 as α → ∞; the correction is −q/(α k).
def test_strong_absorption_is_a_surface_source():
    depth = np.array([0.0, 0.5, 2.0])
    surface = heat.flux_heated_rise(depth, 1.0, 1.0, 1.0, 1.0)
    strong = heat.volume_heated_rise(depth, 1.0, 1.0, 1.0, 1.0, absorption=1e8)
    assert strong == pytest.approx(surface, rel=1e-6)
    face = heat.volume_heated_face_rise(1.0, 1.0, 1.0, 1.0, absorption=1e4)
    assert face == pytest.approx(surface[0] - 1e-4, abs=1e-7)


# §4.1: long after the pulse the face follows F/(ρc √(π D t)).
def test_long_after_the_pulse_its_length_is_forgotten():
    rise = heat.pulse_heated_rise(0, 1e-3, 1e-7, 5e3, **STAINLESS.conducting)
    d = STAINLESS.conducting["diffusivity"]
    assert rise == pytest.approx(5e3 / (STAINLESS.heat_capacity * np.sqrt(np.pi * d * 1e-3)), rel=1e-4)


def test_nothing_overflows_and_nothing_has_happened_at_time_zero():
    extreme = heat.volume_heated_rise(
        np.array([0, 1e-9, 1e-3, 1.0]), np.array([[1e-15], [1.0], [1e6]]), 1, 1, 1e-5, 1e8
    )
    assert np.all(np.isfinite(extreme))
    assert np.all(extreme > -1e-20)
    depth = np.array([0.0, 1e-6, 1e-2])
    assert heat.flux_heated_rise(depth, 0.0, 1e9, 1.0, 1e-6) == pytest.approx([0, 0, 0], abs=1e-12)
    assert heat.volume_pulse_rise(depth, 0.0, 1e-7, 1e4, 1.0, 1e-6, 1e5) == pytest.approx([0, 0, 0], abs=1e-9)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: heat.flux_heated_rise(-1e-6, 1, 1, 1, 1), "depth"),
        (lambda: heat.flux_heated_rise(0, -1, 1, 1, 1), "time"),
        (lambda: heat.pulse_heated_rise(0, 1, 0, 1, 1, 1), "pulse_width"),
        (lambda: heat.pulse_threshold_for_rise(-5, 1, 1, 1), "rise"),
        (lambda: heat.volume_heated_face_rise(1, 1, 0, 1, 1), "conductivity"),
        (lambda: heat.volume_heated_rise(0, 1, 1, 1, 1, 0), "absorption"),
        (lambda: heat.volume_pulse_rise(0, 1, 1, -1, 1, 1, 1), "fluence"),
        (lambda: heat.instant_volume_rise(0, 1, 1, 0, 1, 1), "heat_capacity"),
        (lambda: heat.diffusion_length(1, 0), "diffusivity"),
        (lambda: heat.relaxation_time(float("nan"), 1), "absorption"),
    ],
)
def test_refuses_what_cannot_be(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field
