import numpy as np
import pytest
from scipy import integrate

from proofpatch.errors import InputError
from proofpatch.physics import super_gaussian as sg
from proofpatch.physics.beam import encircled_share
from proofpatch.physics.removal import disc_depth_moments

UM = 1e-6
J_CM2 = 1e4
# thermal-optical.md §5.4: w 50 µm, α 1000 /cm, F_th 0.5 J/cm².
ABLATION = {"threshold_fluence": 0.5 * J_CM2, "effective_depth": 1e-5}


# §3.3 table [C] with CV-3.2 (κ at n = 2), CV-3.3 (encircled at w) and CV-3.4 (κ on the 4σ radius, 4/π): second
# route, not an outside source.
@pytest.mark.parametrize(
    ("order", "kappa", "at_edge", "at_half", "width", "kappa_4sigma"),
    [
        (1, "2.00000", "0.86466", "0.39347", "1.00000", "2.00000"),
        (1.5, "1.75842", "0.92937", "0.39888", "0.91152", "1.46100"),
        (2, "1.59577", "0.95450", "0.38292", "0.89324", "1.27324"),
        (3, "1.41092", "0.97457", "0.35000", "0.89576", "1.13209"),
        (5, "1.25108", "0.98701", "0.31267", "0.91720", "1.05247"),
        (10, "1.12658", "0.99433", "0.28165", "0.94894", "1.01447"),
    ],
)
def test_shape_of_the_super_gaussian(printed, order, kappa, at_edge, at_half, width, kappa_4sigma):
    peak, ratio = sg.super_gaussian_peak_factor(order), sg.super_gaussian_second_moment_ratio(order)
    assert peak == printed(kappa)
    assert sg.super_gaussian_encircled_share(1.0, 1.0, order) == printed(at_edge)
    assert sg.super_gaussian_encircled_share(25 * UM, 50 * UM, order) == printed(at_half)
    assert ratio == printed(width)
    assert peak * ratio**2 == printed(kappa_4sigma)


def test_four_over_pi_exactly():
    kappa = sg.super_gaussian_peak_factor(2) * sg.super_gaussian_second_moment_ratio(2) ** 2
    assert kappa == pytest.approx(4 / np.pi, rel=1e-14)


def test_limits_are_the_gaussian_and_the_top_hat():
    r = np.linspace(0, 2, 21)
    assert sg.super_gaussian_encircled_share(r, 1.0, 1) == pytest.approx(encircled_share(r, 1.0, 0.0), abs=1e-14)
    assert sg.super_gaussian_encircled_share(r, 1.0, 1000) == pytest.approx(encircled_share(r, 1.0, 1.0), abs=2e-3)
    assert sg.super_gaussian_peak_factor(1e6) == pytest.approx(1, abs=1e-5)


@pytest.mark.parametrize("order", [1, 1.7, 4])
def test_closed_forms_are_the_integrals_of_the_shape(order):
    def shape(r):
        return np.exp(-2 * r ** (2 * order))

    energy = integrate.quad(lambda r: shape(r) * 2 * np.pi * r, 0, 8)[0]
    assert sg.super_gaussian_peak_factor(order) == pytest.approx(np.pi / energy, rel=1e-8)
    second = integrate.quad(lambda r: shape(r) * 2 * np.pi * r**3, 0, 8)[0]
    assert sg.super_gaussian_second_moment_ratio(order) == pytest.approx(np.sqrt(2 * second / energy), rel=1e-8)
    log = np.log(5.0)
    edge = (log / 2) ** (1 / (2 * order))
    volume = integrate.quad(lambda r: (log - 2 * r ** (2 * order)) * 2 * np.pi * r, 0, edge)[0]
    assert sg.volume_per_pulse(5.0, 1.0, 1.0, 1.0, order) == pytest.approx(volume, rel=1e-8)


# CV-5.7 to CV-5.10, §5.4 [C]: second route, not an outside source.
@pytest.mark.parametrize(
    ("peak", "volume", "energy", "efficiency"),
    [
        (1.0, "9434", "0.03927", "0.2402"),
        (2.0, "3.773e4", "0.07854", "0.4805"),
        (0.5 * np.exp(2), "7.854e4", "0.1451", "0.5413"),
        (8.0, "1.509e5", "0.3142", "0.4805"),
    ],
)
def test_volume_per_pulse_and_per_energy(printed, peak, volume, energy, efficiency):
    removed = sg.volume_per_pulse(peak * J_CM2, spot_radius=50 * UM, **ABLATION)
    per_energy = sg.volume_efficiency(peak * J_CM2, **ABLATION)
    assert removed / UM**3 == printed(volume)
    assert removed / per_energy * 1e3 == printed(energy)
    assert per_energy * 1e9 == printed(efficiency)


# §5.4 [C]: best F₀/F_th e² = 7.389, 4.482, 3.320, → e = 2.718; best α F_th V/E 0.27067, 0.30836, 0.34022, → 0.36788.
@pytest.mark.parametrize(
    ("order", "best", "efficiency"),
    [(1, "7.389", "0.27067"), (2, "4.482", "0.30836"), (5, "3.320", "0.34022"), (1e7, "2.718", "0.36788")],
)
def test_best_fluence_and_its_yield(printed, order, best, efficiency):
    peak = sg.best_peak_fluence(1.0, order)
    assert peak == printed(best)
    assert sg.volume_efficiency(peak, 1.0, 1.0, order) == printed(efficiency)
    around = sg.volume_efficiency(peak * np.array([0.99, 1.01]), 1.0, 1.0, order)
    assert np.all(around < sg.volume_efficiency(peak, 1.0, 1.0, order))


def test_gaussian_volume_equals_that_of_the_mix_without_top_hat():
    energy = 1e-4
    peak = 2 * energy / (np.pi * (50 * UM) ** 2)
    _, volume, _ = disc_depth_moments(energy, 50 * UM, 0.0, **ABLATION)
    assert volume == pytest.approx(sg.volume_per_pulse(peak, spot_radius=50 * UM, **ABLATION), rel=1e-12)


def test_nothing_leaves_below_threshold():
    assert sg.volume_per_pulse(0.9, 1.0, 1.0, 1.0) == 0
    assert sg.volume_efficiency(0.9, 1.0, 1.0) == 0


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: sg.super_gaussian_peak_factor(0), "order"),
        (lambda: sg.super_gaussian_encircled_share(-1.0, 1.0, 2), "radius"),
        (lambda: sg.super_gaussian_second_moment_ratio(-2), "order"),
        (lambda: sg.volume_per_pulse(1.0, 0.0, 1.0, 1.0), "threshold_fluence"),
        (lambda: sg.volume_efficiency(0.0, 1.0, 1.0), "peak_fluence"),
        (lambda: sg.best_peak_fluence(float("inf")), "threshold_fluence"),
    ],
)
def test_refuses_what_cannot_be(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field
