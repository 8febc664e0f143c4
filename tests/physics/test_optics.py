import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from proofpatch.errors import InputError
from proofpatch.physics import optics

PER_CM = 100.0
WAVELENGTH = 1064e-9


# thermal-optical.md §2.1: n and k read in a public-domain (CC0) database of refractive indices [R]; R and α worked out
# from them [C]: second route, not an outside source. Absorption None where the table gives none.
# CV-2.1 is iron (R), CV-2.2 hematite (α, 7.70 µm deep), CV-2.3 magnetite (α, 0.229 µm deep).
@pytest.mark.parametrize(
    ("material", "index", "extinction", "reflectance", "absorption"),
    [
        ("aluminium", 1.3763, 10.2449, "0.9502", "1.210e6"),
        ("copper", 0.3508, 7.0333, "0.9726", "8.307e5"),
        ("iron, 1974 data", 2.9585, 3.9977, "0.6261", "4.721e5"),
        ("iron, 1985 data", 2.9216, 4.3608, "0.6602", "5.150e5"),
        ("stainless steel", 3.8298, 5.3354, "0.7042", "6.301e5"),
        ("zinc, 1987 data", 4.5994, 3.8730, "0.6031", "4.6e5"),
        ("zinc, 2009 data", 2.8013, 9.0820, "0.8844", "1.1e6"),
        ("brass", 0.6452, 6.8200, "0.9476", "8.055e5"),
        ("hematite, ordinary", 2.7542, 0.0110, "0.218", "1299"),
        ("hematite, extraordinary", 2.5032, 0.0380, "0.184", "4488"),
        ("magnetite", 2.1112, 0.3698, "0.1397", "4.368e4"),
        ("soot", 1.6415, 0.5904, "0.1037", "6.972e4"),
        ("pyrolytic carbon", 1.8330, 1.2256, "0.2305", "1.447e5"),
        ("zinc oxide, pressed", 1.667, 0.0194, "0.063", "2291"),
        ("zinc oxide, film", 1.590, 4e-5, "0.052", "5"),
        ("rutile", 2.4789, 0.0, "0.1807", None),
    ],
)
def test_reflectance_and_absorption_from_the_index(printed, material, index, extinction, reflectance, absorption):
    # n and k are printed to 4 decimals; soot lies so near a rounding edge that this matters.
    corners = optics.fresnel_reflectance(index + np.array([-5e-5, 5e-5]), extinction + np.array([[0], [5e-5]]))
    assert optics.fresnel_reflectance(index, extinction) == printed(reflectance, slack=np.ptp(corners)), material
    if absorption is not None:
        got = optics.absorption_coefficient(np.array([extinction, 5e-5]), WAVELENGTH) / PER_CM
        assert got[0] == printed(absorption, slack=got[1]), material


# CV-2.2 and CV-2.3, penetration depths [C]: second route, not an outside source.
def test_penetration_depth(printed):
    assert 1e6 / optics.absorption_coefficient(0.0110, WAVELENGTH) == printed("7.70")
    assert 1e6 / optics.absorption_coefficient(0.3698, WAVELENGTH) == printed("0.229")


def test_no_face_reflects_what_does_not_differ():
    assert optics.fresnel_reflectance(1.0, 0.0) == 0
    assert optics.fresnel_reflectance(1.5, 0.0) == pytest.approx(0.04)


# §0.9 [R, C]: a 50 µm clear coat of 0.1 per cm absorbs about 0.05 %.
def test_clear_coat_takes_almost_nothing(printed):
    assert 100 * (1 - optics.transmitted_share(0.1 * PER_CM * 50e-6)) == printed("0.05")


@given(depth=st.floats(0, 50))
@settings(deadline=None)
def test_mean_transmission_is_the_mean_over_the_film(depth):
    mean = integrate.quad(lambda x: float(optics.transmitted_share(depth * x)), 0, 1, epsrel=1e-12)[0]
    assert optics.mean_transmitted_share(depth) == pytest.approx(mean, rel=1e-9)


def test_mean_transmission_of_no_film_is_one():
    assert optics.mean_transmitted_share(0.0) == pytest.approx(1, abs=1e-12)
    assert optics.mean_transmitted_share(np.array([1e-14, 1e-9, 1e-5])) == pytest.approx(
        [1, 1 - 0.5e-9, 1 - 0.5e-5], abs=1e-10
    )


def unpolarised_reflectance(cosine, index):
    """Fresnel reflectance inside a film of this index at an angle; 1 beyond the critical angle."""
    out = 1 - index**2 * (1 - cosine**2)
    if out <= 0:
        return 1.0
    c = np.sqrt(out)
    s = ((index * cosine - c) / (index * cosine + c)) ** 2
    p = ((cosine - index * c) / (cosine + index * c)) ** 2
    return (s + p) / 2


# §5.5: 0.5963 at n = 1.5 [C]: second route, not an outside source; and the Fresnel equations themselves.
@pytest.mark.parametrize("index", [1.0005, 1.001, 1.05, 1.33, 1.5, 1.7, 2.5])
def test_internal_reflectance_is_the_integral_of_fresnel(index):
    critical = np.sqrt(1 - 1 / index**2)
    parts = [(0, critical), (critical, 1)]
    total = sum(
        integrate.quad(lambda c: 2 * c * unpolarised_reflectance(c, index), a, b, limit=200)[0] for a, b in parts
    )
    # Below 1.001 a straight line stands in for the closed form.
    assert optics.internal_diffuse_reflectance(index) == pytest.approx(total, abs=1e-7 if index > 1.0009 else 1e-5)


def test_internal_reflectance_of_shellac_and_of_nothing(printed):
    assert optics.internal_diffuse_reflectance(1.5) == printed("0.5963")
    assert optics.internal_diffuse_reflectance(1.0) == 0


# CV-5.11 to CV-5.14, §5.5 [C]: second route, not an outside source.
@pytest.mark.parametrize(
    ("depth", "ground", "arriving", "wood", "coat", "reflected"),
    [
        (0.0, 0.6, "1.4949", "0.5980", "0.0000", "0.4020"),
        (0.1, 0.6, "1.1552", "0.4621", "0.2650", "0.2729"),
        (0.5, 0.6, "0.6263", "0.2505", "0.6423", "0.1072"),
        (0.1, 0.3, "0.9916", "0.6941", "0.1659", "0.1400"),
    ],
)
def test_clear_coat_over_wood(printed, depth, ground, arriving, wood, coat, reflected):
    shares = optics.two_layer_shares(1.5, depth, ground)
    assert shares.arriving == printed(arriving)
    assert shares.ground == printed(wood)
    assert shares.coat == printed(coat)
    assert shares.reflected == printed(reflected)


@given(index=st.floats(1, 2.5), depth=st.floats(0, 20), ground=st.floats(0, 1))
@settings(deadline=None)
def test_light_is_shared_out_whole(index, depth, ground):
    shares = optics.two_layer_shares(index, depth, ground)
    parts = np.array([shares.ground, shares.coat, shares.reflected])
    assert parts.sum() == pytest.approx(1)
    assert np.all(parts >= -1e-12)


def test_no_coat_leaves_the_ground_as_it_is():
    bare = optics.two_layer_shares(1.0, 0.0, np.array([0.2, 0.6]))
    assert bare.reflected == pytest.approx([0.2, 0.6])
    assert bare.coat == pytest.approx([0, 0], abs=1e-12)


# What the coat takes, counted bounce by bounce with diffuse rays instead of the geometric series and E₃.
def test_two_layers_bounce_by_bounce():
    n, a, r_g = 1.5, 0.3, 0.5
    r_i = float(optics.internal_diffuse_reflectance(n))
    through = integrate.quad(lambda c: 2 * c * np.exp(-a / c), 0, 1)[0]
    down, arriving, reflected, coat = 0.96 * np.exp(-a), 0.0, 0.04, 0.96 * (1 - np.exp(-a))
    for _ in range(60):
        arriving += down
        up = down * r_g
        coat += up * (1 - through)
        reflected += up * through * (1 - r_i)
        back = up * through * r_i
        coat += back * (1 - through)
        down = back * through
    shares = optics.two_layer_shares(n, a, r_g)
    assert shares.arriving == pytest.approx(arriving, rel=1e-8)
    assert shares.coat == pytest.approx(coat, rel=1e-8)
    assert shares.reflected == pytest.approx(reflected, rel=1e-8)


# CV-5.15, §5.5 [C], formula from memory: second route, not an outside source.
def test_thick_layer(printed):
    for ratio, text in [(0.01, "0.86823"), (0.1, "0.64174"), (1.0, "0.26795")]:
        reflectance = optics.thick_layer_reflectance(ratio)
        assert reflectance == printed(text)
        assert optics.absorption_ratio(reflectance) == pytest.approx(ratio)


# CV-5.16, §5.5 [C], formula from memory: second route, not an outside source.
def test_layer_on_a_ground(printed):
    assert optics.layer_reflectance(1.0, 10.0, 0.1, 0.0) == printed("0.46103")
    assert optics.layer_transmittance(1.0, 10.0, 0.1) == printed("0.44528")
    assert optics.layer_reflectance(1.0, 10.0, 0.1, 0.5) == printed("0.58987")


# CV-5.17, §5.5 [C], formula from memory: second route, not an outside source.
def test_seen_through_the_face(printed):
    for reflectance, text in [(0.2, "0.12727"), (0.5, "0.31429"), (0.8, "0.63077")]:
        assert optics.measured_reflectance(reflectance, outer_loss=0.04, inner_loss=0.6) == printed(text)
    assert optics.measured_reflectance(1.0, 0.04, 1.0) == pytest.approx(0.04)
    assert optics.measured_reflectance(0.37, 0.0, 0.0) == pytest.approx(0.37)


# The two-flux equations themselves: dI/dx = −(K+S) I + S J, dJ/dx = (K+S) J − S I, integrated through the layer.
def test_layer_solves_the_two_flux_equations():
    k, s, thickness, ground = 3.0, 7.0, 0.4, 0.3
    up_to = integrate.solve_ivp(
        lambda _, f: [(k + s) * f[0] - s * f[1], s * f[0] - (k + s) * f[1]],
        (0, thickness), [1.0, ground], rtol=1e-10, atol=1e-12,
    ).y[:, -1]  # fmt: skip
    assert optics.layer_reflectance(k, s, thickness, ground) == pytest.approx(up_to[1] / up_to[0], rel=1e-7)
    black = integrate.solve_ivp(
        lambda _, f: [(k + s) * f[0] - s * f[1], s * f[0] - (k + s) * f[1]],
        (0, thickness), [1.0, 0.0], rtol=1e-10, atol=1e-12,
    ).y[:, -1]  # fmt: skip
    assert optics.layer_transmittance(k, s, thickness) == pytest.approx(1 / black[0], rel=1e-7)


def test_layer_limits():
    # Scattering only: R + T = 1, and R = S X/(1 + S X).
    assert optics.layer_reflectance(0.0, 10.0, 0.1, 0.0) == pytest.approx(0.5)
    assert optics.layer_transmittance(0.0, 10.0, 0.1) == pytest.approx(0.5)
    # So thick that the ground is not seen, and no overflow on the way.
    thick = optics.layer_reflectance(1.0, 10.0, 1e4, np.array([0.0, 1.0]))
    assert thick == pytest.approx(np.full(2, optics.thick_layer_reflectance(0.1)))
    assert optics.layer_transmittance(1.0, 10.0, 1e4) == 0


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: optics.transmitted_share(-1.0), "optical_depth"),
        (lambda: optics.mean_transmitted_share(np.array([0.1, np.nan])), "optical_depth"),
        (lambda: optics.fresnel_reflectance(0.0, 1.0), "index"),
        (lambda: optics.absorption_coefficient(-1.0, 1e-6), "extinction"),
        (lambda: optics.internal_diffuse_reflectance(0.9), "index"),
        (lambda: optics.two_layer_shares(1.5, 0.1, 1.2), "ground_reflectance"),
        (lambda: optics.thick_layer_reflectance(-0.1), "absorption_ratio"),
        (lambda: optics.absorption_ratio(0.0), "thick_layer_reflectance"),
        (lambda: optics.layer_reflectance(1.0, 0.0, 1.0, 0.5), "scattering"),
        (lambda: optics.layer_transmittance(1.0, 1.0, 0.0), "thickness"),
        (lambda: optics.measured_reflectance(0.5, 0.04, -0.1), "inner_loss"),
    ],
)
def test_refuses_what_cannot_be(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field
