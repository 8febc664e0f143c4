import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, special

from proofpatch.errors import InputError
from proofpatch.physics import accumulation, green, heat, spots
from proofpatch.physics.green import Pulses, pulses_rise, scanned_line
from proofpatch.physics.moving import moving_gaussian_rise, moving_point_rise

UM = 1e-6
J_CM2 = 1e4
RATE = 100e3
W = 50 * UM
# thermal-optical.md §4.8: conductivity, ρc.
STAINLESS = (14.9, 7900 * 477)
MILD_STEEL = (60.5, 7854 * 434)
WOOD = (0.1697, 692.7 * 1661)


def solid(material):
    k, rho_c = material
    return {"heat_capacity": rho_c, "diffusivity": k / rho_c}


def flash(energy, radius=W, count=1):
    """Pulses on one place, so short that they are none; the moment of the next one."""
    return Pulses(np.arange(count) / RATE, 0, 0, energy, radius, 1e-13), count / RATE


# CV-4.9, §4.8 [C], a beam that stands still, as pieces of 1 µs without a gap: the quadrature route of the reference.
@pytest.mark.parametrize(("time", "rise"), [(1e-6, "381.9"), (1e-5, "1165"), (1e-4, "2878"), (1e-3, "4421")])
def test_steady_beam_in_pieces(printed, time, rise):
    beam = Pulses(np.arange(1000) * 1e-6, 0, 0, 10 * 1e-6, W, 1e-6)
    assert pulses_rise(beam, 0, 0, 0, time, **solid(STAINLESS)) == printed(rise)


# CV-4.10 and 4.11, §4.8 [C]: second route, not an outside source.
def test_one_flash(printed):
    point, _ = flash(1e-6, radius=1e-9)
    got = pulses_rise(point, [0, 5 * UM], 0, 0, 1e-6, **solid(STAINLESS))
    assert got[0] == printed("1515")
    assert got[1] == printed("311.9")
    disc, _ = flash(50e-6)
    for time, rise in [(1e-6, "946.7"), (1e-5, "269.1"), (1e-4, "42.32")]:
        assert pulses_rise(disc, 0, 0, 0, time, **solid(STAINLESS)) == printed(rise)


# CV-4.13 stainless steel, CV-4.14 mild steel, CV-4.15 wood, §4.8 [C]: second route, not an outside source.
@pytest.mark.parametrize(
    ("material", "peak", "one", "flat", "ten", "hundred"),
    [
        (STAINLESS, 0.3, "71.43", "358.6", "241.4", "418.6"),
        (MILD_STEEL, 0.3, "37.27", "187.1", "66.56", "91.98"),
        (WOOD, 0.03, "121.1", "608.2", "595.7", "1950"),
    ],
)
def test_pulses_on_one_place(printed, material, peak, one, flat, ten, hundred):
    wide = 1.0  # so wide that heat only goes down
    for count, radius, text in [(1, wide, one), (10, wide, flat), (10, W, ten), (100, W, hundred)]:
        train, moment = flash(peak * J_CM2 * math.pi * radius**2 / 2, radius, count)
        got = pulses_rise(train, 0, 0, 0, moment, **solid(material))
        assert got == printed(text)
        summed = accumulation.gaussian_accumulated_rise(count, RATE, peak * J_CM2, radius, **solid(material))
        assert got == pytest.approx(summed, rel=1e-7)


# CV-4.22, §4.8 [C]: 2.901 W in points at 100 kHz reach 1380 K; the sum beyond N is 2/√N of 2.6124 short.
def test_power_limit_of_a_point(printed):
    limit = accumulation.standing_power_limit(1380, 0.38, RATE, **solid(STAINLESS))
    assert limit == printed("2.901")
    train, moment = flash(0.38 * float(limit) / RATE, 1e-9, 20_000)
    short = 2 / math.sqrt(20_000) / 2.6124
    assert pulses_rise(train, 0, 0, 0, moment, **solid(STAINLESS)) == pytest.approx(1380 * (1 - short), rel=1e-5)


# CV-4.18 to 4.20, §4.8 [C], as pieces of half a micrometre: a hundredth of the spot. `moving.py` is a second route.
@pytest.mark.parametrize(
    ("material", "power", "speed", "peak", "behind"),
    [
        (STAINLESS, 20, 1.0, 4425, 21.28),
        (MILD_STEEL, 20, 1.0, 1819.1, 5.257),
        (WOOD, 1, 1.0, 4142.5, 85.19),
        (WOOD, 1, 5.0, 1859.2, 17.04),
    ],
)
def test_moving_beam_in_pieces(material, power, speed, peak, behind):
    length = 10e-3 * speed + 4e-3  # far enough that the beginning is not felt
    line = scanned_line(0, (-length, 0), (0, 0), speed, power, W, round(length / (0.01 * W)))
    rises = rise_on_the_track(line, length / speed, material)
    found = optimize.minimize_scalar(lambda x: -rises(x * UM), bounds=(-60, 10), options={"xatol": 0.01})
    assert -found.fun == pytest.approx(peak, rel=4e-4)
    assert rises(-10e-3 * speed) == pytest.approx(behind, rel=4e-4)
    k, rho_c = material
    around = np.array([[-0.4e-3, 0, 0], [-80 * UM, 30 * UM, 0], [20 * UM, 40 * UM, 10 * UM], [-50 * UM, 0, 20 * UM]]).T
    beam = moving_gaussian_rise(*around, power, speed, W, k, k / rho_c)
    assert pulses_rise(line, *around, length / speed, **solid(material)) == pytest.approx(beam, rel=2e-3)


def rise_on_the_track(pulses, moment, material):
    """Rise on the track at a moment, as a function of the place."""
    return lambda x: float(pulses_rise(pulses, x, 0, 0, moment, **solid(material)))


# CV-4.21, §4.8 [C]: Rosenthal, 1068 K; a spot of half a micrometre stands for the point.
def test_moving_point_in_pieces(printed):
    line = scanned_line(0, (-5e-3, 0), (0, 0), 1.0, 20, 0.5 * UM, 10_000)
    k, rho_c = STAINLESS
    assert moving_point_rise(-200 * UM, 0, 20, 1, k, k / rho_c) == printed("1068")
    assert pulses_rise(line, -200 * UM, 0, 0, 5e-3, **solid(STAINLESS)) == pytest.approx(1068, rel=2e-3)


def test_the_moving_beam_is_the_limit_of_finer_pieces():
    k, rho_c = STAINLESS
    exact = float(moving_gaussian_rise(-14.84 * UM, 0, 0, 20, 1.0, W, k, k / rho_c))
    lines = [scanned_line(0, (-2e-3, 0), (0, 0), 1.0, 20, W, n) for n in (400, 4000)]
    coarse, fine = (rise_on_the_track(line, 2e-3, STAINLESS)(-14.84 * UM) / exact - 1 for line in lines)
    assert coarse == pytest.approx(0.0068, abs=0.0005)  # as the docstring of `scanned_line` says
    assert abs(fine) < 4e-4


# A wide spot only heats downward, and its width in time is that of `heat`, while it is on and after.
@pytest.mark.parametrize("absorption", [None, 1e5, 4e7])
@pytest.mark.parametrize("material", [STAINLESS, WOOD])
def test_a_pulse_has_its_width(material, absorption):
    k, rho_c = material
    width, wide, fluence = 100e-9, 1.0, 1000.0
    pulse = Pulses([2.0], 0, 0, fluence * math.pi * wide**2 / 2, wide, width)
    age = np.array([0.02, 0.5, 0.999, 1.0, 1.001, 1.5, 9.9, 10.1, 300.0, 2000.0, 1e6]) * width
    for depth in (0.0, 0.3e-6):
        got = pulses_rise(pulse, 0, 0, depth, 2.0 + age, **solid(material), absorption=absorption)
        since = (2.0 + age) - 2.0
        if absorption is None:
            known = heat.pulse_heated_rise(depth, since, width, fluence, k, k / rho_c)
        else:
            known = heat.volume_pulse_rise(depth, since, width, fluence, k, k / rho_c, absorption)
        # The closed forms lose digits long after the pulse, those of a thin skin in a good conductor most.
        assert got == pytest.approx(known, rel=2e-5, abs=1e-7 * np.max(known))


@pytest.mark.parametrize("absorption", [1e3, 1e5])
def test_a_flash_in_a_skin(absorption):
    k, rho_c = WOOD
    wide = 10.0
    skin = Pulses([0.0], 0, 0, 500.0 * math.pi * wide**2 / 2, wide, 1e-12)
    depth, time = np.array([[0.0], [1e-5], [1e-4]]), np.array([1e-6, 1e-3, 1.0])
    known = heat.instant_volume_rise(depth, time, 500.0, rho_c, k / rho_c, absorption)
    assert pulses_rise(skin, 0, 0, depth, time, **solid(WOOD), absorption=absorption) == pytest.approx(known, rel=1e-6)
    thin = pulses_rise(skin, 0, 0, depth, time, **solid(WOOD), absorption=1e11)
    face = pulses_rise(skin, 0, 0, depth, time, **solid(WOOD))
    assert thin == pytest.approx(face, rel=1e-5, abs=1e-12)


@given(
    diffusivity=st.floats(1e-7, 1e-4), width=st.floats(1e-8, 1e-5), radius=st.floats(1e-5, 1e-3),
    age=st.floats(-3, 4), aside=st.floats(0, 2.5), depth=st.floats(0, 2.5), skin=st.floats(3, 9),
)  # fmt: skip
@settings(deadline=None, max_examples=60)
def test_quadrature_over_the_width(diffusivity, width, radius, age, aside, depth, skin):
    absorption = math.inf if skin > 7.5 else 10**skin
    age = width * 10**age
    v, spread = radius**2 / 4 + 2 * diffusivity * age, math.sqrt(2 * diffusivity * age)

    def g(u, r2=aside**2 * v, z=depth * spread):
        s = max(u * u, 1e-300)
        wide, reach = radius**2 / 4 + 2 * diffusivity * s, math.sqrt(diffusivity * s)
        plane = math.exp(-r2 / 2 / wide) / (2 * math.pi * wide)
        b = z / 2 / reach
        if absorption == math.inf:
            return u * plane * math.exp(-b * b) / reach / math.sqrt(math.pi)
        a = absorption * reach
        far = 2 * math.exp(a * a - 2 * a * b) - special.erfcx(b - a) * math.exp(-b * b) if b > a else 0.0
        near = special.erfcx(a - b) * math.exp(-b * b) if a >= b else 0.0
        return u * plane * absorption / 2 * (special.erfcx(a + b) * math.exp(-b * b) + near + far)

    low, high = math.sqrt(max(age - width, 0)), math.sqrt(age)
    points = sorted(
        p for p in np.outer([0.1, 0.3, 1], [radius / math.sqrt(8 * diffusivity), spread]).ravel() if low < p < high
    )
    total = integrate.quad(g, low, high, points=points or None, limit=500, epsrel=1e-10, epsabs=0)[0]
    middle = integrate.quad(lambda u: g(u, 0.0, 0.0), low, high, points=points or None, limit=500, epsrel=1e-10)[0]
    pulse = Pulses([0.0], 0, 0, 1.0, radius, width)
    solid = {"heat_capacity": 1.0, "diffusivity": diffusivity, "absorption": None if skin > 7.5 else absorption}
    got = pulses_rise(pulse, aside * math.sqrt(v), 0, depth * spread, age, **solid, compiled=False)
    assert abs(got - 2 / width * total) < 1e-5 * 2 / width * middle


@pytest.mark.parametrize("absorption", [None, 2e4])
def test_every_joule_is_in_the_solid(absorption):
    # The trapezoid rule is exact for what falls off as a Gaussian and is even in depth.
    k, rho_c = STAINLESS
    pulses = Pulses([0, 1e-4, 2e-4], [0, 0.1e-3, 0.1e-3], [0, 0, 0.2e-3], [1e-3, 2e-3, 3e-3], [W, 2 * W, 3 * W], 5e-6)
    x = np.linspace(-0.7e-3, 0.9e-3, 41)
    z = np.linspace(0, 0.9e-3, 181)
    got = pulses_rise(pulses, x[:, None, None], x[:, None] + 1e-5, z, 4e-4, rho_c, k / rho_c, absorption=absorption)
    total = np.trapezoid(np.trapezoid(np.trapezoid(got, z), x), x)
    assert rho_c * total == pytest.approx(6e-3, rel=1e-4)


# The docstring of Pulses: a Gaussian for a mix of Gaussian and top-hat; closed forms of `spots`.
@pytest.mark.parametrize("share", [0.3, 0.7, 1.0])
def test_a_gaussian_for_a_mixed_spot(share):
    k, rho_c = STAINLESS
    energy = 50e-6

    def excess(spread):
        time = spread * W**2 / (8 * k / rho_c)
        gaussian = float(pulses_rise(flash(energy)[0], 0, 0, 0, time, **solid(STAINLESS)))
        hat = spots.top_hat_disc_pulse_rise(time, energy, W, rho_c, k / rho_c)
        return gaussian / (share * hat + (1 - share) * gaussian) - 1

    assert excess(1e-3) == pytest.approx(share / (2 - share), rel=2e-3)
    for spread, most in [(1, 0.16), (2, 0.06), (4, 0.02), (10, 0.0035)]:
        assert 0.75 * share * most < excess(spread) < share * most


def scattered(count, rng, radius=W):
    """Pulses of many sizes, in no order."""
    return Pulses(
        rng.uniform(0, 5e-3, count), rng.uniform(0, 1e-3, count), rng.uniform(0, 1e-3, count),
        rng.uniform(0, 1e-3, count), radius * rng.uniform(0.5, 2, count), 10 ** rng.uniform(-8, -5, count),
    )  # fmt: skip


@pytest.mark.parametrize("absorption", [None, 1e4])
def test_compiled_equals_plain_and_the_order_is_nothing(absorption):
    rng = np.random.default_rng(4)
    pulses = scattered(80, rng)
    x, y, z = rng.uniform(0, 1e-3, (3, 5, 40)) * np.array([1, 1, 0.1])[:, None, None]
    t = rng.uniform(-1e-3, 8e-3, 40)
    properties = {**solid(STAINLESS), "absorption": absorption}
    once = pulses_rise(pulses, x, y, z, t, **properties)
    assert once.shape == (5, 40)
    assert once == pytest.approx(pulses_rise(pulses, x, y, z, t, **properties, compiled=False), rel=1e-12)
    turned = rng.permutation(80)
    names = ("starts", "along", "across", "heats", "spot_radii", "widths")
    other = Pulses(*(np.asarray(getattr(pulses, name))[turned] for name in names))
    assert once == pytest.approx(pulses_rise(other, x, y, z, t, **properties), rel=1e-12)
    alone = [pulses_rise(Pulses(*(np.asarray(getattr(pulses, n))[[k]] for n in names)), x, y, z, t, **properties)
             for k in range(80)]  # fmt: skip
    assert once == pytest.approx(np.sum(alone, axis=0), rel=1e-10)


def test_nothing_before_and_all_that_has_begun():
    pulses = Pulses([1.0, 2.0], 0, 0, 1e-3, W, 1e-7)
    first = Pulses([1.0], 0, 0, 1e-3, W, 1e-7)
    assert pulses_rise(pulses, 0, 0, 0, [0.5, 1.0], **solid(STAINLESS)) == pytest.approx([0, 0], abs=0)
    just = np.nextafter(2.0, 3.0)
    got, without = (pulses_rise(p, 0, 0, 0, [2.0, just], **solid(STAINLESS)) for p in (pulses, first))
    assert got[0] == pytest.approx(without[0], rel=1e-12)
    assert got[1] > without[1]
    # Nothing is infinite while it is on: at most what the whole pulse gives at its end.
    assert got[1] < pulses_rise(pulses, 0, 0, 0, 2.0 + 1e-7, **solid(STAINLESS))


def call(**changed):
    good = {"along": 0, "across": 0, "depth": 0, "time": 1, "heat_capacity": 1e6, "diffusivity": 1e-6}
    return pulses_rise(Pulses([0.0], 0, 0, 1, 1e-3, 1e-6), **{**good, **changed})


def made(**changed):
    good = {"starts": [0.0, 1.0], "along": 0, "across": 0, "heats": 1, "spot_radii": 1e-3, "widths": 1e-6}
    return Pulses(**{**good, **changed})


BAD = [math.nan, math.inf, 1e308, -1e308, "many", None, [0.0, [1.0]]]


@pytest.mark.parametrize("value", BAD)
def test_refuses_bad_numbers_one_by_one(value):
    for name in ("along", "across", "depth", "time", "heat_capacity", "diffusivity"):
        with pytest.raises(InputError) as refused:
            call(**{name: value})
        assert refused.value.field == name
    for name in ("starts", "along", "across", "heats", "spot_radii", "widths"):
        with pytest.raises(InputError) as refused:
            made(**{name: value})
        assert refused.value.field == name


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: made(starts=[]), "starts"),
        (lambda: made(starts=3.0), "starts"),
        (lambda: made(starts=[[1.0]]), "starts"),
        (lambda: made(starts=[1e8, 2e8], widths=1e-7), "starts"),
        (lambda: made(heats=[1, 2, 3]), "heats"),
        (lambda: made(heats=-1), "heats"),
        (lambda: made(spot_radii=0), "spot_radii"),
        (lambda: made(spot_radii=5e-324), "spot_radii"),
        (lambda: made(widths=0), "widths"),
        (lambda: made(widths=[1e-6, 5e-324]), "widths"),
        (lambda: call(depth=-1e-6), "depth"),
        (lambda: call(diffusivity=5e-324), "diffusivity"),
        (lambda: call(diffusivity=[1e-6]), "diffusivity"),
        (lambda: call(heat_capacity=0), "heat_capacity"),
        (lambda: call(absorption=0), "absorption"),
        (lambda: call(absorption=math.inf), "absorption"),
        (lambda: call(along=[1, 2], across=[1, 2, 3]), "along"),
        (lambda: pulses_rise([0.0], 0, 0, 0, 1, 1e6, 1e-6), "pulses"),
        (lambda: scanned_line(0, (0, 0), (0, 0), 1, 1, W, 10), "end"),
        (lambda: scanned_line(0, (0, 0), (1, 0, 0), 1, 1, W, 10), "end"),
        (lambda: scanned_line(0, 0, (1, 0), 1, 1, W, 10), "begin"),
        (lambda: scanned_line(0, (0, 0), (1, 0), 0, 1, W, 10), "speed"),
        (lambda: scanned_line(0, (0, 0), (1, 0), 1, -1, W, 10), "power"),
        (lambda: scanned_line(0, (0, 0), (1, 0), 1, 1, W, 1.5), "pieces"),
        (lambda: scanned_line(0, (0, 0), (1, 0), 1, 1, W, 0), "pieces"),
        (lambda: scanned_line(math.nan, (0, 0), (1, 0), 1, 1, W, 10), "start"),
        (lambda: scanned_line(0, (0, 0), (1, 0), 1, 1, math.nan, 10), "spot_radii"),
    ],
)
def test_refuses_what_cannot_be(make, field):
    with pytest.raises(InputError) as refused:
        make()
    assert refused.value.field == field


def test_works_without_a_compiler(monkeypatch):
    pulses = scattered(50, np.random.default_rng(1))
    compiled = pulses_rise(pulses, 0, 0, 0, [1e-3, 6e-3], **solid(WOOD))
    monkeypatch.setattr(green, "numba", None)
    assert pulses_rise(pulses, 0, 0, 0, [1e-3, 6e-3], **solid(WOOD)) == pytest.approx(compiled, rel=1e-12)
