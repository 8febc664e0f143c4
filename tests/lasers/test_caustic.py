"""Spot radii at several stand-offs → the focus, M² and the Rayleigh range."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from proofpatch.errors import InputError
from proofpatch.lasers.caustic import FARTHEST, RADIUS_BOUNDS, fit_caustic
from proofpatch.physics.beam import beam_parameter_product, caustic_radius, fluence_at, focus_diameter
from proofpatch.physics.super_gaussian import super_gaussian_second_moment_ratio

UM, MM, NM = 1e-6, 1e-3, 1e-9
WAVELENGTH = 1064 * NM


def radii(z, waist, quality, focus=0.0):
    return waist * np.sqrt(1 + ((z - focus) * quality * WAVELENGTH / (math.pi * waist**2)) ** 2)


# thermal-optical.md CV-3.6 [C, same from laserbeamsize 2.5.0]: w0 = 30 µm, M² = 1.6: z_R 1.6609 mm, w(2 mm) 46.96 µm,
# half angle 18.06 mrad, BPP 0.5419 mm mrad.
def test_the_fit_gives_the_printed_beam_back():
    z = np.linspace(-4, 4, 9) * MM
    fit = fit_caustic(z, radii(z, 30 * UM, 1.6), WAVELENGTH)
    assert fit.rayleigh_range.value / MM == pytest.approx(1.6609, abs=5e-5)
    assert fit.divergence.value / 1e-3 == pytest.approx(18.06, abs=5e-3)
    assert fit.m2.value == pytest.approx(1.6, rel=1e-9)
    there = caustic_radius(2 * MM, fit.waist_radius.value, fit.m2.value, WAVELENGTH)
    assert there / UM == pytest.approx(46.96, abs=5e-3)
    assert beam_parameter_product(fit.m2.value, WAVELENGTH) / 1e-6 == pytest.approx(0.5419, abs=5e-5)


# CV-3.7 [C]: w0 = 25 µm, M² = 1.3: z_R 1.4195 mm, w(5 mm) 91.54 µm; the zero of the stand-off is wherever it is.
@pytest.mark.parametrize("zero", [0.0, 0.25])
def test_the_focus_is_found_wherever_the_scale_begins(zero):
    z = zero + np.array([-3, -1.5, 0, 1, 2.5, 4]) * MM
    fit = fit_caustic(z, radii(z, 25 * UM, 1.3, zero + 0.4 * MM), WAVELENGTH)
    assert (fit.focus.value - zero) / MM == pytest.approx(0.4, abs=1e-6)
    assert fit.rayleigh_range.value / MM == pytest.approx(1.4195, abs=5e-5)
    there = caustic_radius(5 * MM, fit.waist_radius.value, fit.m2.value, WAVELENGTH)
    assert there / UM == pytest.approx(91.54, abs=5e-3)


# CV-3.8 and 3.9 [C]: the focus of a lens, d = 68.82 µm (M² 1.6, f 254 mm, D 8 mm) and 40.25 µm (1.3, 160 mm, 7 mm):
# the M² and the waist measured there are those of the beam before the lens.
@pytest.mark.parametrize(("quality", "focal", "beam", "printed"), [(1.6, 254, 8, 68.82), (1.3, 160, 7, 40.25)])
def test_behind_a_lens_the_measured_beam_is_the_one_that_went_in(quality, focal, beam, printed):
    z = np.linspace(-12, 12, 11) * MM
    fit = fit_caustic(z, radii(z, printed / 2 * UM, quality), WAVELENGTH)
    assert fit.m2.value == pytest.approx(quality, rel=1e-6)
    diameter = focus_diameter(beam * MM, focal * MM, fit.m2.value, WAVELENGTH)
    assert diameter / UM == pytest.approx(printed, abs=5e-3)
    assert 2 * fit.waist_radius.value / UM == pytest.approx(diameter / UM, abs=5e-3)


# The module's claim: the second-moment radius √(2⟨r²⟩) of a Gaussian of 1/e² radius w, of a top-hat of radius w and of
# any mix is w, by quadrature; of a super-Gaussian of order 2 it is not (0.89324 w, thermal-optical.md §3.3 [C]).
@pytest.mark.parametrize("share", [0.0, 0.3, 0.7, 1.0])
def test_our_radius_is_the_second_moment_radius(share):
    def moment(power):
        def ring(r):
            return float(fluence_at(r, 1.0, 1.0, share)) * 2 * math.pi * r ** (1 + power)

        return integrate.quad(ring, 0, 8, points=[1.0], epsabs=1e-12)[0]

    assert math.sqrt(2 * moment(2) / moment(0)) == pytest.approx(1.0, rel=1e-8)
    assert super_gaussian_second_moment_ratio(2) == pytest.approx(0.89324, abs=5e-6)


# numpy.polyfit, an independent weighted least squares: the same parabola, and Student's t of its covariance is the
# interval of its coefficients; C = θ².
def test_coefficients_and_interval_are_those_of_a_reference_library():
    rng = np.random.default_rng(3)
    z = np.linspace(-25, 25, 9) * MM
    w = radii(z, 450 * UM, 50) + 8 * UM * rng.standard_normal(9)
    coefficients, covariance = np.polyfit(z, w**2, 2, w=1 / w, cov=True)
    fit = fit_caustic(z, w, WAVELENGTH)
    half = 1.9431802805153022 * math.sqrt(covariance[0, 0])  # t(0.95, 6)
    theta = fit.divergence
    assert [end**2 for end in (theta.value, theta.low, theta.high)] == pytest.approx(
        [coefficients[0], coefficients[0] - half, coefficients[0] + half], rel=2e-4
    )
    assert fit.focus.value == pytest.approx(-coefficients[1] / (2 * coefficients[0]), abs=1e-9)


# 1500 seeded trials of the largest laser's beam, radii read to 8 µm: each truth inside its interval in 90 ± 4 %.
@pytest.mark.parametrize("z", [np.linspace(-25, 25, 7), np.linspace(-25, 25, 11), np.array([-10, 0, 10, 20, 30.0])])
def test_the_intervals_hold_nine_times_in_ten(z):
    rng = np.random.default_rng(0)
    waist, quality, focus = 450 * UM, 50.0, 1.5 * MM
    exact = radii(z * MM, waist, quality, focus)
    rayleigh = math.pi * waist**2 / (quality * WAVELENGTH)
    held = np.zeros(4)
    for _ in range(1500):
        fit = fit_caustic(z * MM, exact + 8 * UM * rng.standard_normal(len(z)), WAVELENGTH)
        held += [
            fit.waist_radius.holds(waist), fit.focus.holds(focus), fit.rayleigh_range.holds(rayleigh),
            fit.m2.holds(quality),
        ]  # fmt: skip
    assert np.all(np.abs(held / 1500 - 0.9) <= 0.04), held / 1500


def test_a_scatter_below_the_reading_error_is_not_believed():
    z = np.linspace(-25, 25, 7) * MM
    exact = radii(z, 450 * UM, 50)
    narrow, wide = (fit_caustic(z, exact, WAVELENGTH, error).m2 for error in (10 * UM, 20 * UM))
    assert (wide.high - wide.low) / (narrow.high - narrow.low) == pytest.approx(2, rel=0.02)
    assert narrow.value == pytest.approx(50)


def test_radii_off_any_beam_are_refused_where_the_reading_error_is_known():
    z = np.linspace(-25, 25, 7) * MM
    w = radii(z, 450 * UM, 50) * np.array([1, 1, 1.3, 1, 1, 1, 1])
    fit_caustic(z, w, WAVELENGTH)
    with pytest.raises(InputError, match="off any beam"):
        fit_caustic(z, w, WAVELENGTH, 15 * UM)


def test_scatter_is_that_of_the_radii():
    rng = np.random.default_rng(5)
    z = np.linspace(-25, 25, 60) * MM
    fit = fit_caustic(z, radii(z, 450 * UM, 50) + 9 * UM * rng.standard_normal(60), WAVELENGTH)
    assert fit.scatter == pytest.approx(9 * UM, rel=0.25)


FOCUS = np.linspace(-25, 25, 7) * MM
APART = FOCUS[[0, 1, 2, 4, 5, 6]]


@pytest.mark.parametrize(
    ("z", "w", "why"),
    [
        (FOCUS[:4], radii(FOCUS[:4], 450 * UM, 50), "4 different"),
        (np.repeat(FOCUS[:4], 2), radii(np.repeat(FOCUS[:4], 2), 450 * UM, 50), "4 different"),
        (FOCUS / 6, radii(FOCUS / 6, 450 * UM, 50), "beyond a Rayleigh range"),
        (FOCUS + 70 * MM, radii(FOCUS + 70 * MM, 450 * UM, 50), "within a Rayleigh range"),
        (FOCUS, np.full(7, 450 * UM), "does not surely grow"),
        (FOCUS, radii(FOCUS, 450 * UM, 50)[[3, 2, 1, 0, 1, 2, 3]], "does not surely grow"),
        (FOCUS, 20 * UM * np.sqrt(1 + (FOCUS / (10 * MM)) ** 2), "no beam is better"),
        (APART, np.sqrt(APART**2 / 1000 - 3e-9), "no size"),
    ],
)
def test_stand_offs_that_say_nothing_are_refused_with_what_to_do(z, w, why):
    with pytest.raises(InputError, match=why) as caught:
        fit_caustic(z, w, WAVELENGTH)
    assert caught.value.field == "lifts"
    assert caught.value.remedy.endswith(".")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e308, None, "1 mm", True, []])
def test_a_number_that_is_none_is_refused_at_its_field(value):
    good = {"stand_off": list(FOCUS), "spot_radius": list(radii(FOCUS, 450 * UM, 50)), "wavelength": WAVELENGTH}
    for field in ("stand_off", "spot_radius"):
        with pytest.raises(InputError) as caught:
            fit_caustic(**good | {field: [*good[field][:6], value]})
        assert caught.value.field == field
        with pytest.raises(InputError):
            fit_caustic(**good | {field: value})
        with pytest.raises(InputError):
            fit_caustic(**good | {field: good[field][:6]})
    for field in ("wavelength", "reading_error"):
        with pytest.raises(InputError) as caught:
            fit_caustic(**good | {field: value})
        assert caught.value.field == field
    for tiny in (0.0, 5e-324, -1.0):
        with pytest.raises(InputError):
            fit_caustic(**good | {"spot_radius": [*good["spot_radius"][:6], tiny]})


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-FARTHEST, FARTHEST), st.floats(*RADIUS_BOUNDS)), min_size=5, max_size=9),
)
def test_any_radii_give_an_answer_or_a_sentence(pairs):
    z, w = zip(*pairs, strict=True)
    try:
        fit = fit_caustic(z, w, WAVELENGTH)
    except InputError:
        return
    for estimate in (fit.waist_radius, fit.rayleigh_range, fit.m2, fit.divergence):
        assert math.isfinite(estimate.value)
        assert 0 <= estimate.low <= estimate.value <= estimate.high
