import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from proofpatch.errors import InputError
from proofpatch.physics import removal
from proofpatch.physics.beam import fluence_at, mean_fluence, threshold_radius

UM = 1e-6
J_CM2 = 1e4
PER_CM = 100.0


# CV-5.1, thermal-optical.md §5.1 [C]: second route, not an outside source.
def test_blow_off_depth(printed):
    assert removal.blow_off_depth(2 * J_CM2, 0.5 * J_CM2, 1 / (1000 * PER_CM)) / UM == printed("13.86")
    assert removal.blow_off_depth(np.array([0.0, 0.4, 0.5]), 0.5, 1.0) == pytest.approx([0, 0, 0])


# CV-5.2 clear-coat-like, CV-5.3 oxide-like, CV-5.4 soot-like, §5.2 [C]: second route, not an outside source.
@pytest.mark.parametrize(
    ("density", "heat", "rise", "latent", "absorption", "reflectance", "threshold"),
    [
        (1200, 1500, 330, 1e6, 200, 0.04, "9.344"),
        (4000, 700, 1500, 5e5, 1300, 0.2, "5.962"),
        (1800, 1000, 3500, 0, 6.9e4, 0.1, "0.1014"),
        (1200, 1500, 330, 1e6, 0.1, 0.04, "1.9e4"),  # the same clear coat at the polymer's 0.1 per cm
    ],
)
def test_volume_absorber_threshold(printed, density, heat, rise, latent, absorption, reflectance, threshold):
    fluence = removal.volume_absorber_threshold(absorption * PER_CM, density, heat, rise, latent, reflectance)
    assert fluence / J_CM2 == printed(threshold)


# CV-5.5, §5.2 [C], mild steel: second route, not an outside source.
def test_surface_absorber_threshold(printed):
    steel = {"conductivity": 60.5, "heat_capacity": 7854 * 434}
    fluence = removal.surface_absorber_threshold(1500, 100e-9, **steel, absorptance=0.35)
    assert fluence / J_CM2 == printed("1.725")
    # §5.2: a surface absorber's threshold grows as the root of the pulse width.
    longer = removal.surface_absorber_threshold(1500, 400e-9, **steel, absorptance=0.35)
    assert longer == pytest.approx(2 * fluence)


def test_threshold_between_the_limits_meets_both():
    solid = {"rise": 500.0, "pulse_width": 100e-9, "conductivity": 0.25, "heat_capacity": 1400 * 1400.0}
    thin = removal.conducting_absorber_threshold(**solid, absorption=1e10, reflectance=0.1)
    assert thin == pytest.approx(removal.surface_absorber_threshold(**solid, absorptance=0.9), rel=2e-3)
    deep = removal.conducting_absorber_threshold(**solid, absorption=1e3, reflectance=0.1)
    assert deep == pytest.approx(removal.volume_absorber_threshold(1e3, 1400, 1400, 500, 0, 0.1), rel=2e-4)
    both = removal.conducting_absorber_threshold(**solid, absorption=1e7, reflectance=0.1)
    assert both > removal.volume_absorber_threshold(1e7, 1400, 1400, 500, 0, 0.1)
    assert both > removal.surface_absorber_threshold(**solid, absorptance=0.9)


# CV-5.6, §5.3 [C]: second route, not an outside source.
@pytest.mark.parametrize(
    ("exponent", "hits", "threshold"),
    [
        (0.85, 10, "1.4159"),
        (0.85, 50, "1.1122"),
        (0.85, 100, "1.0024"),
        (0.85, 1000, "0.7096"),
        (0.8, 10, "1.2619"),
        (0.8, 100, "0.7962"),
    ],
)
def test_incubation(printed, exponent, hits, threshold):
    assert 2 * removal.incubation(hits, exponent) == printed(threshold)


@pytest.mark.parametrize("exponent", [0.6, 0.75, 0.85, 1.0, 1.2])
def test_mean_incubation_is_the_mean_over_the_hits(exponent):
    hits = np.array([1, 2, 3, 5, 10, 100, 1000])
    exact = [np.mean(np.arange(1, n + 1) ** (exponent - 1.0)) for n in hits]
    assert removal.mean_incubation(hits, exponent) == pytest.approx(exact, rel=3e-3)
    assert removal.mean_incubation(1, exponent) == pytest.approx(1)
    many = removal.mean_incubation(1e9, exponent)
    assert many == pytest.approx(1e9 ** (exponent - 1) / exponent, rel=1e-3)


def test_plume_passes_little_light_unchanged_and_much_light_not():
    assert removal.plume_saturation(1.0, 1e6) == pytest.approx(1.0, rel=1e-6)
    assert removal.plume_saturation(1e9, 5e4) == pytest.approx(5e4)
    assert removal.plume_saturation(5e4, 5e4) == pytest.approx(5e4 * (1 - np.exp(-1)))


@given(fluence=st.floats(1e-9, 1e6), more=st.floats(0, 1e6), limit=st.floats(1, 1e6))
@settings(deadline=None)
def test_plume_never_adds_light(fluence, more, limit):
    used = removal.plume_saturation(fluence, limit)
    assert used <= min(fluence, limit) * (1 + 1e-12)
    assert removal.plume_saturation(fluence + more, limit) >= used


def test_lift_margin_balances_push_against_bond_and_toughness():
    film = {"bond_energy": 20.0, "toughness": 1e6, "thickness": 50 * UM}
    # Needs 20 + 50 = 70 J/m²; at 5 % of what exceeds 400 J/m² that is 1800 J/m².
    assert removal.lift_margin(1800.0, 400.0, 0.05, **film) == pytest.approx(0, abs=1e-9)
    assert removal.lift_margin(2000.0, 400.0, 0.05, **film) == pytest.approx(10)
    # Below the onset there is no push, and no pull either.
    assert removal.lift_margin(np.array([0.0, 399.0]), 400.0, 0.05, **film) == pytest.approx([-70, -70])


def quadrature_moments(energy, w, m, threshold, depth):
    """The three integrals by adaptive quadrature in r, split at the edge of the top-hat."""
    edge = float(threshold_radius(threshold, energy, w, m))
    parts = [(0, edge)] if edge <= w else [(0, w), (w, edge)]

    def moment(power):
        def ring(r):
            dent = depth * np.log(max(float(fluence_at(r, energy, w, m)) / threshold, 1.0))
            return dent**power * 2 * np.pi * r

        return sum(integrate.quad(ring, a, b, epsrel=1e-11, epsabs=0, limit=200)[0] for a, b in parts)

    return np.array([moment(0), moment(1), moment(2)])


@pytest.mark.parametrize("m", [0.0, 1e-3, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 1.0])
@pytest.mark.parametrize("ratio", [1.02, 1.3, 2.0, 7.389, 30.0, 1000.0])
def test_disc_moments_against_adaptive_quadrature(m, ratio):
    w, depth = 50 * UM, 2 * UM
    threshold = (2 - m) * float(mean_fluence(1e-3, w)) / ratio
    got = np.array(removal.disc_depth_moments(1e-3, w, m, threshold, depth))
    # Four points: 3e-5 is far inside what δ and F_th are known to, and takes half the time of eight.
    assert got == pytest.approx(quadrature_moments(1e-3, w, m, threshold, depth), rel=3e-5, abs=0)


def test_disc_moments_closed_forms():
    w, depth = 50 * UM, 2 * UM
    disc = np.pi * w * w
    log = np.log(np.array([1.5, 4.0, 100.0]))
    mean = float(mean_fluence(1e-3, w))
    gaussian = removal.disc_depth_moments(1e-3, w, 0.0, 2 * mean / np.exp(log), depth)
    for got, exact in zip(gaussian, (log / 2, depth * log**2 / 4, depth**2 * log**3 / 6), strict=True):
        assert got == pytest.approx(disc * exact, rel=1e-13)
    top_hat = removal.disc_depth_moments(1e-3, w, 1.0, mean / np.exp(log), depth)
    for got, exact in zip(top_hat, (log**0, depth * log, depth**2 * log**2), strict=True):
        assert got == pytest.approx(disc * exact, rel=1e-13)


def test_disc_moments_below_threshold_are_zero():
    for m in (0.0, 0.4, 1.0):
        peak = (2 - m) * float(mean_fluence(1e-3, 50 * UM))
        assert removal.disc_depth_moments(1e-3, 50 * UM, m, 1.0001 * peak, 1 * UM) == pytest.approx((0, 0, 0))


def test_nodes_are_gauss_legendre():
    points, weights = np.polynomial.legendre.leggauss(len(removal.NODES))
    assert pytest.approx((points + 1) / 2, rel=1e-14) == removal.NODES
    assert pytest.approx(weights / 2, rel=1e-14) == removal.WEIGHTS


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: removal.blow_off_depth(1.0, 0.0, 1.0), "threshold_fluence"),
        (lambda: removal.volume_absorber_threshold(1e5, 1e3, 1e3, 300, 0, 1.0), "reflectance"),
        (lambda: removal.surface_absorber_threshold(300, 1e-7, 1, 1e6, 0.0), "absorptance"),
        (lambda: removal.conducting_absorber_threshold(300, 0, 1, 1e6, 1e5, 0.1), "pulse_width"),
        (lambda: removal.incubation(0.5, 0.9), "hits"),
        (lambda: removal.mean_incubation(10, 0.0), "exponent"),
        (lambda: removal.plume_saturation(-1.0, 1.0), "fluence"),
        (lambda: removal.lift_margin(1.0, 1.0, 1.5, 1.0, 1.0, 1.0), "conversion"),
        (lambda: removal.disc_depth_moments(1e-3, 1e-4, -0.1, 1e4, 1e-6), "top_hat_share"),
    ],
)
def test_refuses_what_cannot_be(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field


# The dent of one pulse averaged over its place's hits, against summing δ ln(F(r)/F_th j^(S−1)) over every hit and ring.
@pytest.mark.parametrize("hits", [1, 3, 12, 80, 400])
@pytest.mark.parametrize("exponent", [0.6, 0.85, 1.0])
@pytest.mark.parametrize("over", [1.2, 2.0, 8.0])
@pytest.mark.parametrize("share", [0.0, 0.7])
def test_incubated_dent_is_the_mean_over_hits_and_rings(hits, exponent, over, share):
    w, energy, depth, most = 0.45e-3, 10e-3, 5e-6, 100.0
    threshold = energy / (np.pi * w * w) / over
    low, ramp = removal._softening(float(hits), exponent, most)
    assert low == pytest.approx(min(hits, most) ** (exponent - 1))
    volume, square = removal._incubated_depth_moments(energy, w, share, threshold * low, depth, exponent, ramp)
    u = (np.arange(20_000) + 0.5) / 20_000 * 6.0  # r²/w²
    fluence = energy / (np.pi * w * w) * (2 * (1 - share) * np.exp(-2 * u) + share * (u < 1))
    j = np.minimum(np.arange(1, hits + 1), most)[:, None]
    dents = np.maximum(np.log(fluence[None] / (threshold * j ** (exponent - 1.0))), 0).mean(axis=0) * depth
    ring = np.pi * w * w * 6.0 / 20_000
    # Nearest the threshold a few hits are not yet a ramp.
    off = 0.15 if over < 1.5 else 0.05
    assert volume == pytest.approx(np.sum(dents) * ring, rel=off, abs=1e-4 * depth * w * w)
    assert square == pytest.approx(
        np.sum(dents**2) * ring, rel=2.5 * off if over > 1.5 else 0.3, abs=1e-4 * (depth * w) ** 2
    )
