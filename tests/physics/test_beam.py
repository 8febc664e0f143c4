import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from proofpatch.errors import InputError
from proofpatch.physics import beam

UM, MM, NM = 1e-6, 1e-3, 1e-9
J_CM2 = 1e4
WAVELENGTH = 1064 * NM

share = st.floats(0, 1)
relative_radius = st.floats(0, 4)


# CV-3.1, thermal-optical.md §3.1 [C]: second route, not an outside source.
def test_mean_and_peak_fluence_of_the_worked_pulse(printed):
    mean = beam.mean_fluence(pulse_energy=1e-3, spot_radius=50 * UM)
    gaussian = beam.peak_fluence(pulse_energy=1e-3, spot_radius=50 * UM, top_hat_share=0)
    assert mean / J_CM2 == printed("12.73")
    assert gaussian / J_CM2 == printed("25.46")
    assert beam.peak_fluence(1e-3, 50 * UM, 1.0) == pytest.approx(mean)
    assert beam.spot_area(50 * UM) * mean == pytest.approx(1e-3)


# CV-3.5, §3.4 [C]: second route, not an outside source. The reference's m is the Gaussian share; ours is 1 − m.
@pytest.mark.parametrize(
    ("gaussian_share", "peak_over_mean", "half", "edge", "beyond"),
    [(0.5, "1.5", "0.32173", "0.93233", "0.97193"), (0.7, "1.7", "0.35043", "0.90527", "0.96071")],
)
def test_mixed_profile(printed, gaussian_share, peak_over_mean, half, edge, beyond):
    m = 1 - gaussian_share
    assert beam.peak_fluence(1.0, 1.0, m) / beam.mean_fluence(1.0, 1.0) == pytest.approx(float(peak_over_mean))
    assert beam.encircled_share(0.5, 1.0, m) == printed(half)
    assert beam.encircled_share(1.0, 1.0, m) == printed(edge)
    assert beam.encircled_share(1.2, 1.0, m) == printed(beyond)


# CV-3.6, §3.5 [C], second route, not an outside source: a general-purpose beam library gives the same.
def test_caustic(printed):
    waist = {"waist_radius": 30 * UM, "beam_quality": 1.6, "wavelength": WAVELENGTH}
    assert beam.rayleigh_range(**waist) / MM == printed("1.6609")
    assert beam.caustic_radius(distance=2 * MM, **waist) / UM == printed("46.96")
    assert beam.divergence_half_angle(**waist) * 1e3 == printed("18.06")
    assert beam.beam_parameter_product(1.6, WAVELENGTH) * 1e6 == printed("0.5419")


# CV-3.7, §3.5 [C]: second route, not an outside source.
def test_caustic_far_from_focus(printed):
    assert beam.rayleigh_range(25 * UM, 1.3, WAVELENGTH) / MM == printed("1.4195")
    assert beam.caustic_radius(5 * MM, 25 * UM, 1.3, WAVELENGTH) / UM == printed("91.54")


# CV-3.8 and CV-3.9, §3.5 [C]: second route, not an outside source.
def test_focus_diameter(printed):
    assert beam.focus_diameter(8 * MM, 254 * MM, 1.6, WAVELENGTH) / UM == printed("68.82")
    assert beam.focus_diameter(7 * MM, 160 * MM, 1.3, WAVELENGTH) / UM == printed("40.25")


def test_spot_area_doubles_at_the_rayleigh_range_and_grows_with_the_divergence():
    z = beam.rayleigh_range(30 * UM, 1.6, WAVELENGTH)
    assert beam.caustic_radius(-z, 30 * UM, 1.6, WAVELENGTH) == pytest.approx(np.sqrt(2) * 30 * UM)
    far = beam.caustic_radius(1e4 * z, 30 * UM, 1.6, WAVELENGTH)
    assert far / (1e4 * z) == pytest.approx(beam.divergence_half_angle(30 * UM, 1.6, WAVELENGTH), rel=1e-8)


# CV-3.10, §3.6 [C], made-up exact data: second route, not an outside source. The D² form itself is printed at
# lenzner.us [R] and derived from Liu, Opt. Lett. 7, 196 (1982).
def test_liu_diameters_gaussian(printed):
    energies = np.array([25, 40, 80, 160, 320]) * 1e-6
    diameters = beam.liu_diameter(energies, 20e-6, 25 * UM) / UM
    for got, text in zip(diameters, ["16.7012", "29.4353", "41.6277", "50.9833", "58.8705"], strict=True):
        assert got == printed(text)
    assert beam.peak_fluence(20e-6, 25 * UM, 0) / J_CM2 == printed("2.0372")


# CV-3.12, §3.6 [C]: second route, not an outside source.
def test_liu_diameters_super_gaussian(printed):
    energies = np.array([25, 40, 80, 160, 320]) * 1e-6
    diameters = beam.liu_diameter(energies, 20e-6, 25 * UM, order=2) / UM
    for got, text in zip(diameters, ["28.8974", "38.3636", "45.6222", "50.4893", "54.2543"], strict=True):
        assert got == printed(text)


def test_liu_diameter_is_the_threshold_disc_of_the_gaussian():
    energies = np.geomspace(10e-6, 1e-3, 30)
    threshold = beam.peak_fluence(20e-6, 25 * UM, 0)
    radius = beam.threshold_radius(threshold, energies, 25 * UM, 0.0)
    assert beam.liu_diameter(energies, 20e-6, 25 * UM) == pytest.approx(2 * radius, abs=1e-15)


@pytest.mark.parametrize("m", [0.0, 0.3, 0.7, 1.0])
def test_every_joule_lands_somewhere(m):
    w = 50 * UM

    def ring(r):
        return beam.fluence_at(r, 1e-3, w, m) * 2 * np.pi * r

    for edge in (0.4 * w, w, 1.7 * w, 6 * w):
        within = integrate.quad(ring, 0, edge, points=[min(w, edge)], epsabs=1e-14)[0]
        assert within == pytest.approx(1e-3 * beam.encircled_share(edge, w, m), rel=1e-9)
    assert beam.encircled_share(6 * w, w, m) == pytest.approx(1.0)


@given(r=relative_radius, step=st.floats(0, 1), m=share)
@settings(deadline=None)
def test_encircled_share_grows_with_the_circle(r, step, m):
    near, far = beam.encircled_share(r, 1.0, m), beam.encircled_share(r + step, 1.0, m)
    assert 0 <= near <= far <= 1


@given(r=st.floats(0.01, 4), m=st.floats(0, 0.999))
@settings(deadline=None)
def test_threshold_radius_inverts_fluence_at(r, m):
    threshold = float(beam.fluence_at(r, 1.0, 1.0, m))
    found = float(beam.threshold_radius(threshold, 1.0, 1.0, m))
    assert beam.fluence_at(found * (1 - 1e-6), 1.0, 1.0, m) >= threshold * (1 - 1e-9)
    assert beam.fluence_at(found * (1 + 1e-6), 1.0, 1.0, m) <= threshold * (1 + 1e-9)
    # The slope is never zero for a mix with some Gaussian in it, so the radius itself comes back.
    assert found == pytest.approx(r, rel=1e-6)


# Each of the four places the edge of the disc can be, with x = F_th/(E/π w²); m = 0.6: middle 1.4, edge inside
# 0.6 + 0.8 e⁻² = 0.70827, outside 0.10827.
@pytest.mark.parametrize(
    ("x", "expected"),
    [
        (1.5, 0.0),
        (1.4, 0.0),
        (1.0, np.sqrt(0.5 * np.log(0.8 / 0.4))),
        (0.6 + 0.8 * np.exp(-2.0), 1.0),
        (0.6, 1.0),
        (0.3, 1.0),
        (0.8 * np.exp(-2.0), 1.0),
        (0.01, np.sqrt(0.5 * np.log(0.8 / 0.01))),
    ],
)
def test_threshold_radius_on_either_side_of_the_edge(x, expected):
    threshold = x * beam.mean_fluence(1e-3, 50 * UM)
    assert beam.threshold_radius(threshold, 1e-3, 50 * UM, 0.6) / (50 * UM) == pytest.approx(expected, abs=1e-7)


def test_top_hat_marks_all_of_its_disc_or_nothing():
    mean = beam.mean_fluence(1e-3, 50 * UM)
    radii = beam.threshold_radius(np.array([1e-6, 0.5, 0.999, 1.001, 5.0]) * mean, 1e-3, 50 * UM, 1.0)
    assert radii == pytest.approx(np.array([1, 1, 1, 0, 0]) * 50 * UM)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: beam.mean_fluence(-1.0, 1.0), "pulse_energy"),
        (lambda: beam.mean_fluence(1.0, 0.0), "spot_radius"),
        (lambda: beam.peak_fluence(1.0, 1.0, 1.1), "top_hat_share"),
        (lambda: beam.fluence_at(-1.0, 1.0, 1.0, 0.5), "radius"),
        (lambda: beam.encircled_share(float("nan"), 1.0, 0.5), "radius"),
        (lambda: beam.threshold_radius(np.array([1.0, 0.0]), 1.0, 1.0, 0.5), "threshold_fluence"),
        (lambda: beam.caustic_radius(1.0, 1.0, 0.0, 1e-6), "beam_quality"),
        (lambda: beam.focus_diameter("wide", 1.0, 1.0, 1e-6), "beam_diameter"),
        (lambda: beam.liu_diameter(1.0, 1.0, 1.0, order=0), "order"),
    ],
)
def test_refuses_what_no_beam_has(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field
