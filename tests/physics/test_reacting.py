"""Heat in layers that change: exact solutions, kept heat, a finite-element library, and limits that must hold."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from proofpatch.errors import InputError
from proofpatch.physics import heat
from proofpatch.physics.clocks import ROOM
from proofpatch.physics.heat import instant_volume_rise
from proofpatch.physics.reacting import Course, Curve, Slab, heat_course

UM, J_CM2, PER_CM, PULSE = 1e-6, 1e4, 100.0, 100e-9
# The inputs of thermal-optical.md §4.8.
STEEL, STAINLESS = Curve.steady(60.5, 7854 * 434), Curve.steady(14.9, 7900 * 477)
ALUMINIUM, WOOD, PAINT = (
    Curve.steady(237, 2702 * 903),
    Curve.steady(0.1697, 692.7 * 1661),
    Curve.steady(0.25, 1400 * 1400),
)


def one_pulse(slabs, fluence, until, **options) -> Course:
    return heat_course(slabs, [0.0], PULSE, fluence / PULSE, until, **options)


def face(course, *times):
    return np.interp(times, course.time, course.front[:, 0]) - ROOM


# CV-4.1, 4.3, 4.4, 4.6 to 4.8, thermal-optical.md [C]: from the closed forms there, CV-4.1 and 4.6 also by finite
# differences.
@pytest.mark.parametrize(
    ("curve", "absorption", "fluence", "time", "rise"),
    [
        (STEEL, None, 0.5, PULSE, 1242),
        (STEEL, None, 0.5, 10e-6, 62.28),
        (STAINLESS, None, 0.5, PULSE, 2381),
        (ALUMINIUM, None, 0.5, PULSE, 741.9),
        (PAINT, 1000, 1, PULSE, 505.9),
        (PAINT, 1000, 1, 1e-3, 201.4),
        (WOOD, 50, 1, PULSE, 43.44),
        (WOOD, 50, 1, 1e-3, 40.63),
        (STAINLESS, 4e5, 0.5, PULSE, 2299),
        (STAINLESS, 4e5, 0.5, 1e-3, 11.91),
    ],
)
def test_steady_properties_give_the_printed_values(curve, absorption, fluence, time, rise):
    course = one_pulse([Slab(None, curve, absorption and absorption * PER_CM)], fluence * J_CM2, time, resolution=1.0)
    assert face(course, time)[0] == pytest.approx(rise, rel=3e-3)


# Three places of light add up: each is the closed form of `heat` with its share (linear).
def test_three_places_are_the_sum_of_their_closed_forms():
    shares = ((0.2, None), (0.3, 1 / 60e-6), (0.4, 1 / 2.5e-3))
    k, rho_c = 0.1697, 692.7 * 1661
    course = one_pulse([Slab(None, WOOD, shares)], 1e4, 1e-3)
    late = 1e-3 - PULSE / 2  # the pulse seen as a flash in its middle
    rise = 0.2 * heat.pulse_heated_rise(0.0, 1e-3, PULSE, 1e4, k, k / rho_c)
    rise += sum(s * instant_volume_rise(0.0, late, 1e4, rho_c, k / rho_c, alpha) for s, alpha in shares[1:])
    assert face(course, 1e-3)[0] == pytest.approx(rise, rel=3e-3)
    assert course.absorbed == pytest.approx(0.9 * 1e4, rel=1e-9)


# Kirchhoff's transform is exact where conductivity and heat capacity move together, by 1 + b(T − T₀): the transformed
# rise θ = (T − T₀) + b(T − T₀)²/2 obeys the linear equation, so T comes from the closed form of the flux-heated solid.
@pytest.mark.parametrize("bend", [0.002, -0.0005])
def test_properties_that_move_follow_kirchhoff(bend):
    k, rho_c, flux = 0.2, 1.5e6, 1e9 if bend > 0 else 3e8
    grid = np.linspace(0.0, 1800.0 if bend > 0 else 1500.0, 301)
    curve = Curve(
        tuple(ROOM + grid),
        tuple(rho_c * (grid + bend * grid**2 / 2)),
        tuple(k * (1 + bend * grid)),
    )
    course = heat_course([Slab(None, curve)], [0.0], 1e-6, flux, 1e-6, resolution=1.0)
    theta = heat.flux_heated_rise(0.0, 1e-6, flux, k, k / rho_c)
    rise = (np.sqrt(1 + 2 * bend * theta) - 1) / bend
    assert abs(rise / theta - 1) > 0.05
    assert course.front[-1, 0] - ROOM == pytest.approx(rise, rel=1e-3)


# Stefan's problem with a melt front at steady speed v (one phase; the solid at its melting point), exact:
#     T − T_m = (L/c)(e^{v(vt − x)/D} − 1),  flux ρ L v e^{v² t/D}.  H. S. Carslaw & J. C. Jaeger, §11.2 (from memory;
# it satisfies the equation and both conditions at the front by substitution).
def test_melt_front_moves_as_stefan_says():
    k, rho_c, latent = 30.0, 4.0e6, 2.0e9
    diffusivity, speed = k / rho_c, 2.0
    end = 6e-6
    edges = np.linspace(0.0, end, 241)
    middle = (edges[1:] + edges[:-1]) / 2
    curve = Curve.steady(k, rho_c).with_change(ROOM + 0.05, latent, over=0.1)
    course = heat_course(
        [Slab(None, curve)],
        edges[:-1],
        np.diff(edges),
        latent * speed * np.exp(speed**2 * middle / diffusivity),
        float(end - edges[-2]),
        start_temperature=ROOM + 0.05,
        resolution=0.5,
    )
    wanted = latent / rho_c * (math.exp(speed**2 * end / diffusivity) - 1)
    assert wanted > 1000
    assert course.front[-1, 0] - ROOM == pytest.approx(wanted, rel=0.02)
    assert course.depth_where(course.hottest, ROOM + 0.2) == pytest.approx(speed * end, rel=0.03)
    assert course.stored == pytest.approx(course.absorbed, rel=1e-6)


# A face that recedes steadily under a flux q: v = q/(c ΔT + L) by volume, whatever the conductivity; ahead of it the
# rise falls as e^{−v z/D} (energy balance of the steady state; the same balance as CV-5.2's, with the flux given).
def test_recession_reaches_its_steady_speed():
    k, rho_c, latent, leaves, flux = 0.25, 1.96e6, 1.4e9, 300.0, 2e8
    curve = Curve.steady(k, rho_c).with_change(ROOM + leaves, latent, leaves=True)
    until = 300e-6
    course = heat_course([Slab(150e-6, curve)], [0.0], until, flux, until, resolution=4.0)
    late = course.time > until / 2
    speed = np.polyfit(course.time[late], course.removed[late], 1)[0]
    assert speed == pytest.approx(flux / (rho_c * leaves + latent), rel=0.01)
    assert course.carried + course.stored == pytest.approx(course.absorbed, rel=1e-6)


# Beer–Lambert light in a film that leaves: a cell goes when it has taken ρ(c ΔT + L). Fast against conduction that is
# CV-5.2's evaporation threshold: below it nothing leaves, at twice it the depth is ln 2/α (the blow-off law).
@pytest.mark.parametrize(("over", "depth"), [(0.9, 0.0), (2.0, math.log(2.0))])
def test_evaporation_starts_at_its_threshold(over, depth):
    alpha, rho_c, latent = 200 * PER_CM, 1200 * 1500.0, 1200 * 1e6
    threshold = (rho_c * 330 + latent) / alpha
    # thermal-optical.md CV-5.2: 9.344 J/cm², there with the reflected 4 % on top.
    assert threshold / 0.96 == pytest.approx(9.344 * J_CM2, rel=1e-3)
    curve = Curve.steady(0.2, rho_c).with_change(ROOM + 330, latent, leaves=True)
    course = one_pulse([Slab(400e-6, curve, alpha)], over * threshold, PULSE, resolution=1.0)
    # Light goes on past the face that has left while the pulse lasts, so a little more than the law of one flash goes.
    assert depth / alpha - 1e-9 <= course.removed[-1] <= 1.6 * depth / alpha
    assert (course.removed[-1] == 0.0) == (depth == 0.0)


@settings(deadline=None, max_examples=25)
@given(
    film=st.floats(5e-6, 2e-4),
    alpha=st.floats(1e3, 3e5),
    fluence=st.floats(1e2, 1e5),
    pulses=st.integers(1, 4),
    melt=st.floats(400, 2000),
    latent=st.floats(1e7, 3e9),
    leaves=st.booleans(),
    cut=st.floats(0, 2e-5),
)
def test_every_joule_is_accounted_for(film, alpha, fluence, pulses, melt, latent, leaves, cut):
    curve = Curve.steady(0.25, 1.96e6).with_change(melt, latent, over=2.0, leaves=leaves)
    wood = Slab(None, WOOD, ((0.3, 1 / 60e-6), (0.3, 400.0)), 22.2, 141.2e3)
    starts = np.arange(pulses) * 5e-5
    course = heat_course([Slab(film, curve, alpha), wood], starts, 2e-7, fluence / 2e-7, 1e-4, cuts=cut)
    assert course.stored + course.carried == pytest.approx(course.absorbed, rel=1e-6)
    assert course.absorbed <= pulses * fluence * (1 + 1e-9)
    assert np.all(np.diff(course.removed) >= 0)
    assert course.removed[-1] <= film + 1e-12
    assert np.all((course.converted >= 0) & (course.converted <= 1))
    assert course.unsettled == 0


def test_error_falls_with_the_square_of_the_resolution():
    exact = heat.volume_heated_face_rise(1e-3, 1e7, 0.25, 0.25 / 1.96e6, 1e5)
    errors = []
    for resolution in (0.25, 0.5, 1.0, 2.0):
        slab = Slab(None, PAINT, 1e5)
        course = heat_course([slab], [0.0], 1e-3, 1e7, 1e-3, resolution=resolution)
        errors.append(abs(course.front[-1, 0] - ROOM - exact))
    order = np.log2(np.array(errors[:-1]) / errors[1:])
    assert np.all((order > 1.7) & (order < 2.5)), order


# Di Blasi & Branca 2001 (abstract): beech, CV-1.8, 1.265 1/s at 773.15 K; CV-1.7, 5 % in 86.5 s at 573.15 K.
@pytest.mark.parametrize(("kelvin", "seconds", "share"), [(773.15, 0.5, 1 - math.exp(-0.6325)), (573.15, 86.5, 0.05)])
def test_reaction_at_one_temperature(kelvin, seconds, share):
    slab = Slab(1e-3, WOOD, None, 22.2, 141.2e3)
    course = heat_course([slab], [0.0], seconds, 0.0, seconds, start_temperature=kelvin)
    assert course.converted == pytest.approx(np.full(course.converted.size, share), rel=2e-3)
    assert course.char_depth(share=share * 1.01) == 0.0
    assert course.char_depth(share=share * 0.99) == pytest.approx(1e-3, rel=0.1)


def test_char_is_deepest_where_heat_stays_longest():
    wood = Slab(None, WOOD, ((0.5, 1 / 60e-6),), 22.2, 141.2e3)
    depth = [heat_course([wood], [0.0], 0.05, flux, 0.1).char_depth(share=0.1) for flux in (5e5, 4e6, 5e6)]
    assert depth[0] == 0.0
    assert 0 < depth[1] < depth[2] < 1e-3


def test_light_moves_down_with_the_face():
    # Two thirds of the film cut off: the next pulse meets the film's lower third alone.
    film, alpha = 60e-6, 5e4
    wood = Slab(None, WOOD, ((0.5, 1 / 60e-6),))
    course = heat_course([Slab(film, PAINT, alpha), wood], [0.0, 1e-3], 1e-7, 1e11, 1e-7, cuts=[40e-6, 0.0])
    taken = [1e4 * (1 - math.exp(-alpha * h) + 0.5 * math.exp(-alpha * h)) for h in (film, 20e-6)]
    assert course.absorbed == pytest.approx(sum(taken), rel=1e-6)
    assert course.removed[-1] == pytest.approx(40e-6, rel=1e-9)


def test_the_last_layer_is_never_cut():
    slabs = [Slab(10e-6, PAINT, 1e5), Slab(None, WOOD, ((0.5, 1 / 60e-6),))]
    course = heat_course(slabs, [0.0], 1e-7, 1e10, 1e-6, cuts=50e-6)
    assert course.removed[-1] == pytest.approx(10e-6)
    assert np.isnan(course.front[-1, 0])
    assert np.isfinite(course.front[-1, 1])


# scikit-fem, a general-purpose finite-element library: the same two layers with three places of light, quadratic
# elements on its own mesh, Crank–Nicolson after four backward-Euler steps.
def test_agrees_with_a_finite_element_library():
    import skfem
    from scipy.sparse.linalg import splu
    from skfem.helpers import dot, grad

    film, alpha, places = 30e-6, 6e4, ((0.4, 1 / 60e-6), (0.3, 400.0))
    k = lambda z: np.where(z < film, 0.25, 0.1697)  # noqa: E731  # a property of the place, one line
    rho_c = lambda z: np.where(z < film, 1.96e6, 692.7 * 1661)  # noqa: E731  # as k above
    flux, width, until = 1e9, 1e-5, 1e-3

    def light(z):
        through = math.exp(-alpha * film)
        skin = sum(s * through * a * np.exp(-a * (z - film)) for s, a in places)
        return np.where(z < film, alpha * np.exp(-alpha * z), skin)

    nodes = np.concatenate([np.linspace(0, film, 61), film + np.geomspace(1e-7, 8e-3, 160)])
    basis = skfem.Basis(skfem.MeshLine(nodes), skfem.ElementLineP2(), intorder=6)
    stiff = skfem.BilinearForm(lambda u, v, w: k(w.x[0]) * dot(grad(u), grad(v))).assemble(basis)
    mass = skfem.BilinearForm(lambda u, v, w: rho_c(w.x[0]) * u * v).assemble(basis)
    load = skfem.LinearForm(lambda v, w: flux * light(w.x[0]) * v).assemble(basis)
    state = np.zeros(basis.N)
    where = [int(np.argmin(abs(basis.doflocs[0] - z))) for z in (0.0, film)]
    found = []
    for span, on in ((width, 1.0), (until - width, 0.0)):
        grid = np.concatenate([[0.0], np.geomspace(span / 3000, span, 120)])
        for n, dt in enumerate(np.diff(grid)):
            theta = 1.0 if n < 4 else 0.5
            right = (mass - (1 - theta) * dt * stiff) @ state + dt * on * load
            state = splu((mass + theta * dt * stiff).tocsc()).solve(right)
        found.append(state[where])
    slabs = [Slab(film, PAINT, alpha), Slab(None, WOOD, places)]
    course = heat_course(slabs, [0.0], width, flux, until, resolution=1.0)
    for time, rises in zip((width, until), found, strict=True):
        for j in (0, 1):
            got = np.interp(time, course.time, course.front[:, j]) - ROOM
            assert got == pytest.approx(rises[j], rel=5e-3)


def test_depth_where_reads_between_cells():
    course = one_pulse([Slab(None, STEEL)], 0.5 * J_CM2, PULSE, resolution=1.0)
    depth = course.depth_where(course.hottest - ROOM, 230.5)
    assert depth == pytest.approx(2e-6, rel=0.02)  # CV-4.2: 230.5 K at 2 µm
    assert course.depth_where(course.hottest, 1e6) == 0.0


def test_curve_keeps_its_heat_through_a_change():
    curve = STEEL.with_change(1768.0, 7854 * 247.3e3, over=40.0)
    assert curve.heat_at(1500.0) == pytest.approx(7854 * 434 * (1500 - ROOM))
    assert curve.heat_at(2500.0) == pytest.approx(7854 * (434 * (2500 - ROOM) + 247.3e3))
    again = curve.with_change(2000.0, 1e9, leaves=True)
    assert again.leaves_at == pytest.approx(curve.heat_at(2001.0) + 1e9)
    assert again.with_change(1000.0, 5e8).leaves_at == pytest.approx(again.leaves_at + 5e8)


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Curve((300.0,), (0.0,), (1.0,)), "temperatures"),
        (lambda: Curve((300.0, 400.0), (0.0, 1e6), (1.0, 1.0)), "temperatures"),
        (lambda: Curve((290.0, 280.0), (0.0, 1e6), (1.0, 1.0)), "temperatures"),
        (lambda: Curve((290.0, 400.0), (0.0, 0.0), (1.0, 1.0)), "heats"),
        (lambda: Curve((290.0, 400.0), (0.0, 1e6), (1.0, 0.0)), "conductivities"),
        (lambda: Curve.steady(math.nan, 1e6), "conductivity"),
        (lambda: Curve.steady(1.0, 5e-324 * 0), "heat_capacity"),
        (lambda: STEEL.with_change(100.0, 1e9), "temperature"),
        (lambda: STEEL.with_change(1000.0, -1.0), "latent"),
        (lambda: Slab(None, 3.0), "curve"),
        (lambda: Slab(None, STEEL.with_change(3000.0, 5e10, leaves=True)), "thickness"),
        (lambda: Slab(None, STEEL, None, math.nan), "activation_energy"),
        (lambda: Slab(None, STEEL, ((0.6, None), (0.6, 1e5))), "absorption"),
        (lambda: Slab(None, STEEL, ((0.6,),)), "absorption"),
        (lambda: heat_course([], [0.0], 1e-7, 1.0, 1e-6), "slabs"),
        (lambda: heat_course(Slab(None, STEEL), [0.0], 1e-7, 1.0, 1e-6), "slabs"),
        (lambda: heat_course([Slab(None, STEEL)], [], 1e-7, 1.0, 1e-6), "starts"),
        (lambda: heat_course([Slab(None, STEEL)], [0.0, 0.0], 1e-7, 1.0, 1e-6), "starts"),
        (lambda: heat_course([Slab(None, STEEL)], [0.0], 0.0, 1.0, 1e-6), "widths"),
        (lambda: heat_course([Slab(None, STEEL)], [0.0], 1e-7, math.inf, 1e-6), "fluxes"),
        (lambda: heat_course([Slab(None, STEEL)], [0.0], 1e-7, 1.0, math.nan), "until"),
        (lambda: heat_course([Slab(None, STEEL)], [0.0], 1e-7, 1.0, 1e-6, cuts=-1.0), "cuts"),
        (lambda: heat_course([Slab(None, STEEL)], [0.0], 1e-7, 1.0, 1e-6, resolution=0), "resolution"),
    ],
)
def test_refuses_what_cannot_be(make, field):
    with pytest.raises(InputError) as refused:
        make()
    assert refused.value.field == field
    assert str(refused.value).endswith(".")


def test_error_function_and_closed_form_are_scipys():
    # Carslaw & Jaeger's flux-heated face in SciPy's own functions, so that the reference above is not ours alone.
    t, k, rho_c, alpha = 1e-3, 0.25, 1.96e6, 1e5
    d = k / rho_c
    reach = alpha * math.sqrt(d * t)
    wanted = 2 / k * math.sqrt(d * t / math.pi) - (1 - special.erfcx(reach)) / (alpha * k)
    assert heat.volume_heated_face_rise(t, 1.0, k, d, alpha) == pytest.approx(wanted, rel=1e-6)
