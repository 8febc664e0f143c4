"""Layers on another material: exact solutions by images and by numerical inversion, and the order of the errors."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_solids import ALUMINIUM, MILD_STEEL, PAINT, STAINLESS, UM, WOOD, Solid

from proofpatch.physics import heat
from proofpatch.physics.layered import layered_rise


def image_series(front, back, thickness, flux, depth, time):
    """A layer on a thick solid of another material, constant flux into the face.

    Laplace transform, p for t, q_i = √(p/D_i), Γ = (e₁ − e₂)/(e₁ + e₂) with effusivities e: in the layer
    T = Q/(k₁ q₁ p) [e^(−q₁x) + Γ e^(−q₁(2h − x))]/(1 − Γ e^(−2 q₁ h)); below T(h) e^(−q₂(x − h)). Spread out in powers
    of Γ, each term is the thick solid's own rise U(y, t) = 2Q √(D₁t)/k₁ ierfc(y/(2√(D₁t))):

        T₁ = Σ Γⁿ [U(2nh + x) + Γ U(2(n + 1)h − x)],   T₂ = (1 + Γ) Σ Γⁿ U((2n + 1)h + (x − h)√(D₁/D₂))

    Method: Carslaw & Jaeger, 2nd ed., §12.8 (from memory); derived here and checked by numerical inversion.
    """
    gamma = (front.effusivity - back.effusivity) / (front.effusivity + back.effusivity)

    def alone(y):
        return heat.flux_heated_rise(y, time, flux, **front.conducting)

    total = 0.0
    for n in range(4000):
        if depth <= thickness:
            term = alone(2 * n * thickness + depth) + gamma * alone(2 * (n + 1) * thickness - depth)
        else:
            below = (depth - thickness) * math.sqrt(front.diffusivity / back.diffusivity)
            term = (1 + gamma) * alone((2 * n + 1) * thickness + below)
        total += gamma**n * term
        if n > 3 and abs(gamma**n * term) <= 1e-14 * abs(total):
            break
    return total


def talbot(transform, time, terms=22):
    """Inverse Laplace transform on Talbot's fixed contour (Abate & Valkó, 2004; from memory, checked below)."""
    radius = 2 * terms / (5 * time)
    theta = np.arange(1, terms) * np.pi / terms
    p = radius * theta * (1 / np.tan(theta) + 1j)
    sigma = theta + (theta / np.tan(theta) - 1) / np.tan(theta)
    values = np.array([transform(s) for s in p])
    start = 0.5 * math.exp(radius * time) * transform(radius + 0j).real
    return radius / terms * (start + np.sum((np.exp(time * p) * values * (1 + 1j * sigma)).real))


def two_layer_transform(front, back, thickness, flux, depth):
    """The same problem before it is spread out: the two unknowns solved from the flux at the face and the interface."""

    def transform(p):
        q1, q2 = np.sqrt(p / front.diffusivity), np.sqrt(p / back.diffusivity)
        fade = np.exp(-q1 * thickness)
        # a e^(−q₁x) + b e^(q₁(x − h)) in the layer, c e^(−q₂(x − h)) below.
        system = np.array(
            [
                [front.conductivity * q1, -front.conductivity * q1 * fade, 0],
                [fade, 1, -1],
                [-front.conductivity * q1 * fade, front.conductivity * q1, back.conductivity * q2],
            ]
        )
        a, b, c = np.linalg.solve(system, np.array([flux / p, 0, 0]))
        if depth <= thickness:
            return a * np.exp(-q1 * depth) + b * np.exp(q1 * (depth - thickness))
        return c * np.exp(-q2 * (depth - thickness))

    return transform


def test_numerical_inversion_finds_a_known_original():
    for t in (1e-7, 1.0):
        assert talbot(lambda p: p**-1.5, t) == pytest.approx(2 * math.sqrt(t / math.pi), rel=1e-8)


PAIRS = [(PAINT, MILD_STEEL, 2 * UM), (STAINLESS, WOOD, 5 * UM), (WOOD, PAINT, 1 * UM), (ALUMINIUM, STAINLESS, 3 * UM)]


@pytest.mark.parametrize(("front", "back", "thickness"), PAIRS)
def test_image_series_is_the_laplace_solution(front, back, thickness):
    crossing = thickness**2 / front.diffusivity
    for time in (0.1 * crossing, crossing, 30 * crossing):
        face = image_series(front, back, thickness, 1e9, 0.0, time)
        for depth in (0.0, 0.6 * thickness, thickness, 1.5 * thickness):
            other = talbot(two_layer_transform(front, back, thickness, 1e9, depth), time)
            assert image_series(front, back, thickness, 1e9, depth, time) == pytest.approx(other, abs=1e-6 * face)


# Exact: the series above. The flux is on for 3 crossing times; after it the series minus itself, later.
@pytest.mark.parametrize(("front", "back", "thickness"), PAIRS)
def test_a_layer_on_another_material(front, back, thickness):
    crossing = thickness**2 / front.diffusivity
    width = 3 * crossing
    depths = np.array([0, 0.3, 0.6, 1, 1.2, 2]) * thickness
    times = np.array([0.1, 1, 3, 4, 30, 300]) * crossing
    got = layered_rise([front.layer(thickness), back.layer()], 1e9, width, 1.0, 1, depths, times[:, None])
    exact = np.array(
        [
            [
                image_series(front, back, thickness, 1e9, z, t)
                - (image_series(front, back, thickness, 1e9, z, t - width) if t > width else 0)
                for z in depths
            ]
            for t in times
        ]
    )
    # To 0.1 % of the greatest rise so far, and, also once all has cooled, to 0.2 % of what is there.
    for row, wanted, greatest in zip(got, exact, np.maximum.accumulate(exact.max(axis=1)), strict=True):
        assert row == pytest.approx(wanted, abs=1e-3 * greatest)
        assert row == pytest.approx(wanted, abs=2e-3 * wanted.max())


# Any two materials, thickness and pulse, during it and after: 0.1 % of the face's greatest rise. Laplace inversion.
@given(
    front=st.tuples(st.floats(0.1, 400), st.floats(400, 9000), st.floats(300, 2000)),
    back=st.tuples(st.floats(0.1, 400), st.floats(400, 9000), st.floats(300, 2000)),
    thickness=st.floats(-8, -3),
    width=st.floats(-4, 4),
    during=st.floats(0.1, 1),
    later=st.floats(0.1, 2),
    depth=st.floats(0, 3),
)
@settings(deadline=None, max_examples=25)
def test_any_two_layers(front, back, thickness, width, during, later, depth):
    front, back, h = Solid(*front), Solid(*back), 10**thickness
    pulse = h**2 / front.diffusivity * 10**width
    depths = np.array([0, 1, depth]) * h
    times = np.array([during, 10**later]) * pulse
    got = layered_rise([front.layer(h), back.layer()], 1e9, pulse, 1.0, 1, depths, times[:, None])

    def lit(depth, time):
        return talbot(two_layer_transform(front, back, h, 1e9, depth), time) if time > 0 else 0.0

    exact = np.array([[lit(z, t) - lit(z, t - pulse) for z in depths] for t in times])
    assert got[0] == pytest.approx(exact[0], abs=1e-3 * exact[0, 0])
    assert got[1] == pytest.approx(exact[1], abs=1e-3 * lit(0.0, pulse))


def test_second_order_across_an_interface():
    front, back, thickness = PAINT, MILD_STEEL, 2 * UM
    crossing = thickness**2 / front.diffusivity
    depths = np.array([0, 0.6, 1, 1.5]) * thickness
    exact = np.array([image_series(front, back, thickness, 1e9, z, 2 * crossing) for z in depths])
    errors = []
    for r in (1, 2, 4):
        stack = [front.layer(thickness), back.layer()]
        got = layered_rise(stack, 1e9, 2 * crossing, 1.0, 1, depths, 2 * crossing, resolution=r)
        errors.append(np.max(abs(got - exact)) / exact[0])
    assert errors[0] < 1e-3
    assert np.log2(errors[0] / errors[1]) > 1.7
    assert np.log2(errors[1] / errors[2]) > 1.7


# Light that passes a clear film and is stopped at the metal below. Laplace: k₁ q₁ tanh(q₁h) T + k₂ q₂ T = Q/p at the
# interface, cosh(q₁x)/cosh(q₁h) of it in the film (derived here: insulated face), inverted numerically.
def test_light_stopped_at_a_buried_face():
    film, metal, h = PAINT, MILD_STEEL, 1 * UM
    width = 2 * h**2 / film.diffusivity

    def transform(depth):
        def at(p):
            q1, q2 = np.sqrt(p / film.diffusivity), np.sqrt(p / metal.diffusivity)
            lead = film.conductivity * q1 * np.tanh(q1 * h) + metal.conductivity * q2
            return 1e9 / p / lead * np.cosh(q1 * depth) / np.cosh(q1 * h)

        return at

    stack = [film.layer(h, absorption=1e-6), metal.layer()]
    for time in (0.05 * width, 0.4 * width, width):
        got = layered_rise(stack, 1e9, width, 1.0, 1, [0, 0.5 * h, h], time)
        exact = [talbot(transform(z), time) for z in (0, 0.5 * h, h)]
        assert got == pytest.approx(exact, abs=1e-3 * exact[-1])


# A sheet with both faces insulated: mean q t/(ρc h), and above it q h/k [(3 (1 − x/h)² − 1)/6] once a ≫ h²/D, here to
# the series' e^(−π² D t/h²) (Carslaw & Jaeger §3.8, from memory; the parabola is checked by its mean, 0, and its bend).
def test_a_sheet_warms_as_a_whole():
    h = 0.1e-3
    width = 2 * h**2 / STAINLESS.diffusivity
    x = np.linspace(0, h, 11)
    got = layered_rise([STAINLESS.layer(h)], 1e7, width, 1.0, 1, x, width)
    parabola = 1e7 * h / STAINLESS.conductivity * (3 * (1 - x / h) ** 2 - 1) / 6
    mean = 1e7 * width / (STAINLESS.heat_capacity * h)
    assert got == pytest.approx(mean + parabola, rel=1e-3)
    after = layered_rise([STAINLESS.layer(h)], 1e7, width, 1.0, 1, x, 3 * width)
    assert after == pytest.approx(np.full(11, mean), rel=1e-6)
