import numpy as np
import pytest
from scipy import integrate, optimize

from proofpatch.errors import InputError
from proofpatch.physics import moving
from proofpatch.physics.spots import gaussian_spot_steady_rise

UM = 1e-6
W = 50 * UM


def solid(conductivity, density, specific_heat):
    return {"conductivity": conductivity, "diffusivity": conductivity / (density * specific_heat)}


# thermal-optical.md §4.8.
STAINLESS = solid(14.9, 7900, 477)
MILD_STEEL = solid(60.5, 7854, 434)
WOOD = solid(0.1697, 692.7, 1661)


def on_track(along, power, speed, material):
    return moving.moving_gaussian_rise(along, 0, 0, power, speed, W, **material)


def hottest(power, speed, material):
    """Place and size of the highest rise on the track."""
    found = optimize.minimize_scalar(
        lambda x: -float(on_track(x * UM, power, speed, material)), bounds=(-60, 10), options={"xatol": 1e-4}
    )
    return found.x, -found.fun


# CV-4.18, §4.8 [C]: second route, not an outside source (its v = 0 integral 10709.86 equals the exact one).
def test_moving_spot_on_stainless_steel(printed):
    assert moving.peclet_number(1.0, W, STAINLESS["diffusivity"]) == printed("6.323")
    assert on_track(0, 20, 1, STAINLESS) == printed("3962")
    place, rise = hottest(20, 1, STAINLESS)
    assert rise == printed("4425")
    assert place == printed("-14.84")
    assert on_track(-1e-3, 20, 1, STAINLESS) == printed("205.7")
    assert on_track(-10e-3, 20, 1, STAINLESS) == printed("21.28")
    assert moving.passed_line_rise(1e-3, 20, 1, STAINLESS["conductivity"]) == printed("213.6")
    assert moving.passed_line_rise(10e-3, 20, 1, STAINLESS["conductivity"]) == printed("21.36")
    assert on_track(0, 20, 0, STAINLESS) == printed("10709.86")


# CV-4.19, §4.8 [C]: second route, not an outside source.
def test_moving_spot_on_mild_steel(printed):
    assert moving.peclet_number(1.0, W, MILD_STEEL["diffusivity"]) == printed("1.409")
    assert on_track(0, 20, 1, MILD_STEEL) == printed("1752.7")
    place, rise = hottest(20, 1, MILD_STEEL)
    assert rise == printed("1819.1")
    assert place == printed("-8.70")
    assert on_track(-10e-3, 20, 1, MILD_STEEL) == printed("5.257")


# CV-4.20, §4.8 [C]: second route, not an outside source. Behind: 10 ms after the spot, so 10 mm and 50 mm.
@pytest.mark.parametrize(("speed", "peak", "behind"), [(1.0, "4142.5", "85.19"), (5.0, "1859.2", "17.04")])
def test_moving_spot_on_wood(printed, speed, peak, behind):
    place, rise = hottest(1, speed, WOOD)
    assert rise == printed(peak)
    assert place == pytest.approx(-19, abs=0.5)
    assert on_track(-10e-3 * speed, 1, speed, WOOD) == printed(behind)


# CV-4.21, §4.8 [C]: second route, not an outside source.
def test_rosenthal(printed):
    assert moving.moving_point_rise(-200 * UM, 0, 20, 1, **STAINLESS) == printed("1068")


# The integral as the reference prints it, in s, cut at a time long enough.
@pytest.mark.parametrize(("x", "y", "z"), [(0, 0, 0), (-80, 0, 0), (30, 40, 0), (-100, 20, 15), (5, 0, 30)])
def test_dimensionless_form_equals_the_printed_one(x, y, z):
    k, d = STAINLESS["conductivity"], STAINLESS["diffusivity"]
    x, y, z, power, speed = x * UM, y * UM, z * UM, 20.0, 1.0

    def integrand(u):  # s = u²
        s = u * u
        wide = W * W + 8 * d * s
        shape = np.exp(-2 * ((x + speed * s) ** 2 + y * y) / wide - z * z / (4 * d * s))
        return 2 * power / (np.pi**1.5 * (k / d) * np.sqrt(d) * wide) * shape * 2

    total = integrate.quad(integrand, 1e-9, 0.1, points=[1e-3, 5e-3, 1e-2, 2e-2, 4e-2], limit=500, epsrel=1e-10)[0]
    got = moving.moving_gaussian_rise(x, y, z, power, speed, W, **STAINLESS)
    assert got == pytest.approx(total, rel=1e-6)


def test_standing_still_is_the_steady_spot():
    steady = gaussian_spot_steady_rise(20.0, W, STAINLESS["conductivity"])
    assert on_track(0, 20, 0, STAINLESS) == pytest.approx(steady, rel=1e-10)
    assert on_track(0, 20, 1e-9, STAINLESS) == pytest.approx(steady, rel=1e-6)


def test_a_tiny_spot_is_a_point_and_its_far_track_a_line():
    place = np.array([-2e-3, -0.5e-3, 0.05e-3])
    tiny = moving.moving_gaussian_rise(place, 0.1e-3, 0.05e-3, 20, 0.1, 0.5 * UM, **STAINLESS)
    point = moving.moving_point_rise(place, np.hypot(0.1e-3, 0.05e-3), 20, 0.1, **STAINLESS)
    assert tiny == pytest.approx(point, rel=1e-4)
    far = moving.moving_point_rise(-1.0, 0.0, 20, 1.0, **STAINLESS)
    assert far == pytest.approx(moving.passed_line_rise(1.0, 20, 1.0, STAINLESS["conductivity"]), rel=1e-12)


def test_the_heat_carried_past_a_plane_is_the_power():
    # Far behind, conduction along the track is nothing against what moves: ∫∫ ρc v ΔT dy dz = P.
    y = np.linspace(-0.4e-3, 0.4e-3, 41)
    z = np.linspace(0, 0.4e-3, 41)
    yy, zz = np.meshgrid(y, z)
    rise = moving.moving_gaussian_rise(-2e-3, yy, zz, 20, 1.0, W, **STAINLESS)
    flow = np.trapezoid(np.trapezoid(rise, y, axis=1), z)
    assert flow * STAINLESS["conductivity"] / STAINLESS["diffusivity"] == pytest.approx(20, rel=5e-3)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: moving.moving_gaussian_rise(0, 0, -1, 1, 1, W, **STAINLESS), "depth"),
        (lambda: moving.moving_gaussian_rise(0, 0, 0, 1, -1, W, **STAINLESS), "speed"),
        (lambda: moving.peclet_number(1, 0, 1), "spot_radius"),
        (lambda: moving.passed_line_rise(0, 1, 1, 1), "seconds"),
        (lambda: moving.moving_point_rise(0, 0, -1, 1, **STAINLESS), "power"),
        (lambda: moving.moving_point_rise(float("nan"), 0, 1, 1, **STAINLESS), "along"),
    ],
)
def test_refuses_what_cannot_be(call, field):
    with pytest.raises(InputError) as refused:
        call()
    assert refused.value.field == field
