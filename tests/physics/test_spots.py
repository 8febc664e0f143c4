import numpy as np
import pytest
from scipy import integrate

from proofpatch.errors import InputError
from proofpatch.physics import spots
from proofpatch.physics.heat import flux_heated_rise

UM = 1e-6
# Stainless steel of thermal-optical.md §4.8.
K, RHO_C = 14.9, 7900 * 477
D = K / RHO_C


# CV-4.9, §4.8 [C]: second route, not an outside source (quadrature agrees to 5 digits).
def test_gaussian_spot_on_stainless_steel(printed):
    for time, text in [(1e-6, "381.9"), (10e-6, "1165"), (100e-6, "2878"), (1e-3, "4421")]:
        assert spots.gaussian_spot_rise(time, 10.0, 50 * UM, K, D) == printed(text)
    assert spots.gaussian_spot_steady_rise(10.0, 50 * UM, K) == printed("5355")
    assert spots.top_hat_spot_steady_rise(10.0, 50 * UM, K) == printed("4273")


# CV-4.10, §4.8 [C]: second route, not an outside source.
def test_point_pulse(printed):
    assert spots.point_pulse_rise(0.0, 1e-6, 1e-6, RHO_C, D) == printed("1515")
    assert spots.point_pulse_rise(5 * UM, 1e-6, 1e-6, RHO_C, D) == printed("311.9")


# CV-4.11, §4.8 [C]: second route, not an outside source. In brackets there: the same without sideways spread.
def test_gaussian_disc_pulse(printed):
    for time, text, flat in [(1e-6, "946.7", "958.7"), (10e-6, "269.1", "303.2"), (100e-6, "42.32", "95.87")]:
        assert spots.gaussian_disc_pulse_rise(0.0, 0.0, time, 50e-6, 50 * UM, RHO_C, D) == printed(text)
        wide = 1e4  # the same fluence on a spot so wide that nothing leaves sideways
        assert spots.gaussian_disc_pulse_rise(0.0, 0.0, time, 50e-6 * wide**2, 50 * UM * wide, RHO_C, D) == printed(
            flat
        )


# CV-4.12, §4.8 [C]: second route, not an outside source.
def test_top_hat_disc_pulse(printed):
    for time, text in [(1e-6, "479.3"), (10e-6, "151.6"), (100e-6, "38.07")]:
        assert spots.top_hat_disc_pulse_rise(time, 50e-6, 50 * UM, RHO_C, D) == printed(text)


def test_gaussian_spot_is_the_sum_of_its_pulses():
    def flash(u):  # s = u² takes the end point away
        return 2 * u * float(spots.gaussian_disc_pulse_rise(0.0, 0.0, u * u, 10.0, 50 * UM, RHO_C, D))

    total = integrate.quad(flash, 1e-9, np.sqrt(1e-4), epsrel=1e-10)[0]
    assert spots.gaussian_spot_rise(1e-4, 10.0, 50 * UM, K, D) == pytest.approx(total, rel=1e-6)


def test_gaussian_spot_limits():
    early = spots.gaussian_spot_rise(1e-9, 10.0, 50 * UM, K, D)
    peak_flux = 2 * 10.0 / (np.pi * (50 * UM) ** 2)
    assert early == pytest.approx(flux_heated_rise(0.0, 1e-9, peak_flux, K, D), rel=1e-4)
    late = spots.gaussian_spot_rise(1e6, 10.0, 50 * UM, K, D)
    assert late == pytest.approx(spots.gaussian_spot_steady_rise(10.0, 50 * UM, K), rel=1e-4)
    assert spots.gaussian_spot_rise(0.0, 10.0, 50 * UM, K, D) == 0


def test_every_joule_of_the_disc_is_stored():
    w, t = 50 * UM, 1e-4
    far = 8 * np.sqrt(w * w + 8 * D * t)

    def ring(z, r):
        return RHO_C * float(spots.gaussian_disc_pulse_rise(r, z, t, 50e-6, w, RHO_C, D)) * 2 * np.pi * r

    stored = integrate.dblquad(ring, 0, far, 0, 12 * np.sqrt(4 * D * t), epsabs=1e-12, epsrel=1e-8)[0]
    assert stored == pytest.approx(50e-6, rel=1e-6)


def test_discs_become_points_when_the_heat_has_spread_far():
    t = 1.0
    point = spots.point_pulse_rise(0.0, t, 50e-6, RHO_C, D)
    assert spots.gaussian_disc_pulse_rise(0.0, 0.0, t, 50e-6, 50 * UM, RHO_C, D) == pytest.approx(point, rel=1e-4)
    assert spots.top_hat_disc_pulse_rise(t, 50e-6, 50 * UM, RHO_C, D) == pytest.approx(point, rel=1e-3)
    aside = np.array([0.5e-3, 2e-3])
    off = spots.gaussian_disc_pulse_rise(aside, 0.0, t, 50e-6, 1 * UM, RHO_C, D)
    assert off == pytest.approx(spots.point_pulse_rise(aside, t, 50e-6, RHO_C, D), rel=1e-5)
    below = spots.gaussian_disc_pulse_rise(0.0, aside, t, 50e-6, 1 * UM, RHO_C, D)
    assert below == pytest.approx(spots.point_pulse_rise(aside, t, 50e-6, RHO_C, D), rel=1e-5)


# §4.3: the same power on a disc of the same radius heats the middle √(π/2)⁻¹ as much: it is spread more evenly.
def test_top_hat_over_gaussian_steady():
    ratio = spots.top_hat_spot_steady_rise(1.0, 1.0, 1.0) / spots.gaussian_spot_steady_rise(1.0, 1.0, 1.0)
    assert ratio == pytest.approx(np.sqrt(2 / np.pi), rel=1e-14)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: spots.gaussian_spot_rise(-1, 1, 1, 1, 1), "time"),
        (lambda: spots.gaussian_spot_steady_rise(1, 0, 1), "spot_radius"),
        (lambda: spots.top_hat_spot_steady_rise(-1, 1, 1), "power"),
        (lambda: spots.point_pulse_rise(0, 0, 1, 1, 1), "time"),
        (lambda: spots.gaussian_disc_pulse_rise(0, -1, 1, 1, 1, 1, 1), "depth"),
        (lambda: spots.top_hat_disc_pulse_rise(1, 1, 1, 1, 0), "diffusivity"),
    ],
)
def test_refuses_what_cannot_be(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field
