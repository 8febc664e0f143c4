import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from proofpatch.errors import InputError
from proofpatch.physics import green_blocks as gb
from proofpatch.physics import green_tree, green_walk
from proofpatch.physics.elementwise import numba
from proofpatch.physics.green import FACE, FAR, Pulses, _flash_density, each_pulse, pulses_rise, scanned_line
from proofpatch.physics.green_tree import fast_pulses_rise

UM = 1e-6
W = 50 * UM
# thermal-optical.md §4.8: ρc and diffusivity.
STAINLESS = (7900 * 477, 14.9 / (7900 * 477))
MILD_STEEL = (7854 * 434, 60.5 / (7854 * 434))
WOOD = (692.7 * 1661, 0.1697 / (692.7 * 1661))
QUADRATURE = 1e-6  # of the highest rise: what the exact sum itself is good for


def pattern(name, count, rng, rate=50e3, speed=2.0):
    """When and where pulses fall, seconds and metres."""
    t = np.arange(count) / rate
    if name == "still":
        return t, 0 * t, 0 * t
    if name == "line":
        return t, speed * t, 0.3 * speed * t
    if name == "zigzag":
        turn = t * speed / 3e-3
        return t, 3e-3 * np.abs((turn + 1) % 2 - 1), 0.02 * speed * t
    if name == "bursts":
        return t + 0.1 * np.floor(t / 5e-3), speed * (t % 5e-3), 1e-4 * np.floor(t / 5e-3)
    if name == "alternating":
        return t, 1e-3 * (np.arange(count) % 2), 0 * t
    return rng.permutation(t), rng.uniform(0, 5e-3, count), rng.uniform(0, 5e-3, count)


PATTERNS = ("still", "line", "zigzag", "bursts", "alternating", "scatter")


def job(name, count, rng, uneven=False, width=100e-9):
    t, x, y = pattern(name, count, rng)
    heat = 1e-3 * (rng.uniform(0, 1, count) ** 3 if uneven else 1.0)
    radius = W * (10 ** rng.uniform(0, 0.5, count) if uneven else 1.0)
    return Pulses(t, x, y, heat, radius, width * (10 ** rng.uniform(0, 1, count) if uneven else 1.0))


def probes(pulses, count, rng):
    """Places near the pulses and moments before, at, during and after them."""
    k = rng.integers(0, len(pulses.starts), count)
    near = W * rng.normal(size=(2, count)) * rng.choice([0, 1, 10], count)
    z = rng.choice([0.0, 0.0, 5 * UM, 100 * UM], count)
    last = float(np.max(pulses.starts))
    later = rng.choice([0.0, 1.0, 1.0], count) * 10 ** rng.uniform(-8, 0, count)
    t = np.where(rng.random(count) < 0.3, rng.uniform(-0.01, last, count), pulses.starts[k] + later)
    return pulses.along[k] + near[0], pulses.across[k] + near[1], z, t


def agrees(pulses, places, material, tolerance, absorption=None, compiled=True):
    """The fast rise against the exact one: within its own bound, and that within the tolerance."""
    exact = pulses_rise(pulses, *places, *material, absorption)
    fast = fast_pulses_rise(pulses, *places, *material, absorption, tolerance=tolerance, compiled=compiled)
    peak = np.max(exact)
    assert np.all(np.abs(fast.rise - exact) <= fast.error + QUADRATURE * peak)
    assert np.all(fast.error <= tolerance * peak * (1 + QUADRATURE))
    assert np.all(fast.rise >= 0)
    return fast, exact


@pytest.mark.parametrize("material", [MILD_STEEL, WOOD])
@pytest.mark.parametrize("absorption", [None, 5e3])
@pytest.mark.parametrize("name", PATTERNS)
def test_error_is_within_its_bound_and_the_tolerance(name, absorption, material):
    rng = np.random.default_rng(7)
    for uneven in (False, True):
        pulses = job(name, 3000, rng, uneven)
        for tolerance in (1e-2, 1e-3, 1e-4):
            agrees(pulses, probes(pulses, 100, rng), material, tolerance, absorption)


@given(
    name=st.sampled_from(PATTERNS), count=st.integers(1, 700), seed=st.integers(0, 10**6), uneven=st.booleans(),
    diffusivity=st.floats(-7, -4), tolerance=st.sampled_from([1e-2, 1e-3, 1e-4]), skin=st.floats(2, 9),
    width=st.floats(-9, -4.7), many=st.integers(1, 40),
)  # fmt: skip
@settings(deadline=None, max_examples=100)
def test_error_on_any_job(name, count, seed, uneven, diffusivity, tolerance, skin, width, many):
    rng = np.random.default_rng(seed)
    pulses = job(name, count, rng, uneven, 10**width)
    absorption = None if skin > 7 else 10**skin
    agrees(pulses, probes(pulses, many, rng), (4e6, 10**diffusivity), tolerance, absorption)


@pytest.mark.parametrize("absorption", [None, 5e3])
@pytest.mark.parametrize("name", ["zigzag", "scatter"])
def test_compiled_equals_plain(name, absorption):
    rng = np.random.default_rng(3)
    pulses = job(name, 400, rng, uneven=True)
    places = probes(pulses, 60, rng)
    plain, _ = agrees(pulses, places, STAINLESS, 1e-3, absorption, compiled=False)
    kernel, _ = agrees(pulses, places, STAINLESS, 1e-3, absorption)
    # The same blocks, but for those whose loss is just at the limit; the rest is the fast exponential.
    peak = np.max(plain.rise)
    assert kernel.rise == pytest.approx(plain.rise, abs=2e-5 * peak)
    assert np.median(np.abs(kernel.rise - plain.rise)) < 1e-8 * peak
    assert np.median(np.abs(kernel.error - plain.error)) < 1e-8 * peak


def test_works_without_a_compiler(monkeypatch):
    rng = np.random.default_rng(3)
    pulses = job("line", 200, rng)
    places = probes(pulses, 20, rng)
    monkeypatch.setattr(green_tree, "numba", None)
    agrees(pulses, places, STAINLESS, 1e-3)


# The bound of one block against its pulses one by one, on every kind of block: even, skew, of one line, of one place.
@pytest.mark.parametrize("absorption", [FACE, 1e3, 1e6])
def test_a_block_loses_no_more_than_its_bound(absorption):
    rng = np.random.default_rng(11)
    ratios, losses = [], []
    for trial in range(400):
        diffusivity, count = 10 ** rng.uniform(-7, -4), int(rng.integers(2, 30))
        skew = (1, 4)[trial % 2]
        t = 10 ** rng.uniform(-6, 0) * rng.random(count) ** skew
        x, y = 10 ** rng.uniform(-6, -3, (2, 1)) * rng.random((2, count)) ** skew
        if trial % 3 == 0:
            x, y = 0.1 * t, 0 * t
        spot = (10 ** rng.uniform(-5, -3) * (1 + rng.choice([0, 0.3]) * rng.random(count))) ** 2 / 4
        heat = 10 ** rng.uniform(-1, 0, count)
        rows = np.stack([t, x, y, spot, heat, np.full(count, 1e-15)], axis=1)[np.argsort(t)]
        block = gb.measure(rows.T, np.array([[0, count, 0, 0]]), diffusivity)[0]
        for _ in range(5):
            age = block[gb.REACH_T] * (1 + 10 ** rng.uniform(-2, 3))
            loss = gb.remainder(block, age, diffusivity)
            if not 1e-8 < loss < 10:  # smaller ones are lost in rounding, larger ones never used
                continue
            v = block[gb.C] + 2 * diffusivity * age
            dx, dy = math.sqrt(v) * rng.normal(size=2) * rng.choice([0, 1, 2])
            z = rng.choice([0, 0.7, 2]) * math.sqrt(2 * diffusivity * age)
            place = (block, dx, dy, z, age)
            fade = gb.fade_root(*place, diffusivity, absorption)
            told = gb.block_density(*place, fade, diffusivity, absorption)
            bound = loss * gb.envelope(block, age, fade, diffusivity, absorption)
            aside = (block[gb.X] + dx - rows[:, gb.X]) ** 2 + (block[gb.Y] + dy - rows[:, gb.Y]) ** 2
            ages = block[gb.T] + age - rows[:, gb.T]
            each = _flash_density(aside, z, ages, rows[:, gb.C], diffusivity, absorption)
            share = heat[np.argsort(t)] / heat.sum()
            ratios.append(abs(told - share @ each) / (bound + 1e-9 * np.max(each)))
            losses.append(loss)
            highest = math.sqrt(gb.highest_squared(*place, diffusivity, absorption, 1e-15, FAR))
            assert np.max(each) <= highest * (1 + 1e-9)
    assert len(ratios) > 500
    assert np.ptp(np.log10(losses)) > 6
    # Never above 1, and the bound is not empty: some blocks come near it.
    assert 0.1 < max(ratios) <= 1


@pytest.mark.parametrize("absorption", [FACE, 1e3, 1e6])
def test_no_pulse_gives_more_than_the_highest(absorption):
    # Also while pulses are on, begin or have just ended, which a bound by the age of the block alone would miss.
    rng = np.random.default_rng(12)
    nearest = 0.0
    for _ in range(400):
        diffusivity, count, width = 10 ** rng.uniform(-7, -4), int(rng.integers(1, 6)), 10 ** rng.uniform(-8, -5)
        t = width * rng.choice([0, 1, 30]) * rng.random(count)
        x, y = 1e-4 * rng.choice([0, 1]) * rng.random((2, count))
        spot = np.full(count, 10 ** rng.uniform(-5, -3)) ** 2 / 4
        rows = np.stack([t, x, y, spot, np.ones(count), np.full(count, width), t - width / 2], axis=1)
        block = gb.measure(rows.T, np.array([[0, count, 0, 0]]), diffusivity)[0]
        moment = rng.choice(rows[:, gb.BEGIN]) + width * rng.choice([1e-4, 0.01, 0.5, 1.0, 1.001, 2.0])
        depth = rng.choice([0, 1]) * math.sqrt(diffusivity * width)
        aside = (x - x[0]) ** 2 + (y - y[0]) ** 2
        wide = np.full(count, width)
        each = each_pulse(aside, np.full(count, depth), moment - rows[:, gb.BEGIN], wide, spot, diffusivity, absorption)
        place = (block, x[0] - block[gb.X], y[0] - block[gb.Y], depth, moment - block[gb.T])
        highest = math.sqrt(gb.highest_squared(*place, diffusivity, absorption, width, FAR))
        assert np.max(each) <= highest * (1 + 1e-9)
        nearest = max(nearest, np.max(each) / highest)
    assert nearest > 0.9


# What stands in for exponential and scaled erfc where compiled, against SciPy; the bounds are those of the docstrings.
def test_functions_laid_in_lanes():
    @numba.njit(error_model="numpy")
    def by_lane(first, reach, absorption):
        return gb.bracket(first, reach, absorption) if reach > 0.0 else gb.decay(first)

    fall = np.concatenate([[0.0], 10 ** np.linspace(-12, math.log10(FAR), 2000)])
    x = np.concatenate([[0.0], 10 ** np.linspace(-8, 8, 2000)])
    assert gb.scaled_erfc(x) == pytest.approx(special.erfcx(x), rel=3e-9)
    assert np.array([by_lane(f, 0.0, 0.0) for f in fall]) == pytest.approx(np.exp(-fall), rel=3e-9)
    assert by_lane(1e300, 0.0, 0.0) == pytest.approx(math.exp(-FAR), rel=3e-9)
    # The profile of a skin itself: α²Ds from nothing to all, above, in and below the skin.
    for a in (1e-6, 0.01, 0.5, 1.0, 3.0, 20.0, 1e3):
        for b in (0.0, 0.1, 1.0, 3.0, 8.0):
            exact = math.exp(-b * b) * (special.erfcx(a + b) + special.erfcx(a - b)) if a - b > -5 else None
            wide = gb.bracket(2 * b * 1e-5, 1e-5, a / 1e-5)
            narrow = by_lane(2 * b * 1e-5, 1e-5, a / 1e-5)
            assert narrow == pytest.approx(wide, rel=3e-7)  # what the plain form itself is good for
            if exact is not None:
                assert narrow == pytest.approx(exact, rel=2e-8)


# The hard ones at once: on the line, under a pulse that is on or has just ended, on a spot that stands still.
@given(
    name=st.sampled_from(["still", "line", "zigzag"]), count=st.integers(500, 4000), seed=st.integers(0, 10**6),
    age=st.floats(-9, -5), tolerance=st.sampled_from([1e-2, 1e-3, 1e-4]), skin=st.booleans(),
)  # fmt: skip
@settings(deadline=None, max_examples=60)
def test_error_at_very_short_ages_on_the_line(name, count, seed, age, tolerance, skin):
    rng = np.random.default_rng(seed)
    pulses = job(name, count, rng)
    k = rng.integers(0, count, 40)
    on = np.minimum(10**age * rng.choice([1.0, 1.0, 1e-3, 100.0], 40), 0.1)
    places = (pulses.along[k], pulses.across[k], rng.choice([0.0, 1e-7], 40), pulses.starts[k] + on)
    agrees(pulses, places, WOOD if seed % 2 else MILD_STEEL, tolerance, 5e3 if skin else None)


# Cramér's inequality, the one outside fact the bound rests on (Abramowitz & Stegun 22.14.17, from memory).
def test_cramer():
    u = np.linspace(-25, 25, 20001)
    for n in range(40):
        coefficients = np.zeros(n + 1)
        coefficients[n] = 1
        hermite = np.polynomial.hermite_e.hermeval(u, coefficients)
        assert np.max(np.abs(hermite) * np.exp(-u * u / 4)) <= 1.0865 * math.sqrt(math.factorial(n))


# The constants of `remainder`: coefficients of H_n, from Cramér's bound on each derivative, against what stands there.
def test_constants_of_the_remainder():
    def root(n):
        return math.exp(0.5 * math.lgamma(n + 1))

    def depth(i):  # of a^i
        return root(2 * i) / math.factorial(i) / 2**i

    def plane(j, m):  # of p^j b^m
        parts = (root(m + 2 * a) * root(2 * (j - a)) / math.factorial(a) / math.factorial(j - a) for a in range(j + 1))
        return sum(parts) / math.factorial(m) / 2**j

    def whole(k, m):  # of a^k b^m where p ≤ a
        return sum(depth(i) * plane(k - i, m) for i in range(k + 1))

    fact = math.factorial
    for i in range(4):
        for j in range(4 - i):
            m = 3 - i - j
            most = fact(3) / fact(i) / fact(j) / fact(m) * 0.824**i * 1.257**j * 0.742**m
            assert depth(i) * plane(j, m) <= most
        assert whole(i, 3 - i) <= fact(3) / fact(i) / fact(3 - i) * 1.667**i * 0.742 ** (3 - i)
    for n in range(4, 40):
        for i in range(n + 1):
            before = 1.3 * (whole(i - 1, n - i) if i else 0) + 0.5 * (whole(i, n - i - 1) if i < n else 0)
            assert whole(i, n - i) <= before * (1 + 1e-12)
            assert i == 0 or depth(i) <= depth(i - 1)
            before = 1.2 * (plane(i - 1, n - i) if i else 0) + 0.5 * (plane(i, n - i - 1) if i < n else 0)
            assert plane(i, n - i) <= before * (1 + 1e-12)
    assert 1.0865**3 <= 1.2826


def test_moments_of_blocks_are_those_of_their_pulses():
    rng = np.random.default_rng(2)
    pulses = job("zigzag", 500, rng, uneven=True)
    diffusivity = 1e-5
    rows, _ = green_tree._rows(pulses)
    order, spans = green_tree._grow(rows, diffusivity, 5.0, 2.0)
    planted = green_tree._ordered(rows, order)
    blocks = gb.measure(planted, spans, diffusivity)
    assert np.sort(planted[:, :500], axis=1) == pytest.approx(np.sort(rows[:, :500], axis=1), abs=0)
    assert len(spans) > 30
    for block, (first, last, child, _) in zip(blocks, spans, strict=True):
        part = planted[:, first:last].T
        if not child:
            assert np.all(np.diff(part[:, gb.T]) >= 0)
        else:
            assert spans[child, 0] == first
            assert spans[child, 1] == spans[child + 1, 0]
            assert spans[child + 1, 1] == last
        share = part[:, gb.Q] / part[:, gb.Q].sum()
        off = part[:, :4] - share @ part[:, :4]
        assert block[:4] == pytest.approx(share @ part[:, :4], rel=1e-12)
        assert block[gb.Q] == pytest.approx(part[:, gb.Q].sum(), rel=1e-12)
        own = share @ part[:, gb.WIDE] ** 2 / 12
        v = off[:, gb.C] - 2 * diffusivity * off[:, gb.T]
        t, x, y = off[:, :3].T
        known = {
            gb.TT: share @ t**2 + own, gb.TV: share @ (t * v) - 2 * diffusivity * own,
            gb.VV: share @ v**2 + 4 * diffusivity**2 * own, gb.TX: share @ (t * x), gb.TY: share @ (t * y),
            gb.VX: share @ (v * x), gb.VY: share @ (v * y), gb.XX: share @ x**2, gb.XY: share @ (x * y),
            gb.YY: share @ y**2, gb.CC: share @ off[:, gb.C] ** 2,
        }  # fmt: skip
        for column, value in known.items():
            assert block[column] == pytest.approx(value, rel=1e-8, abs=1e-30)
        reach = np.max(np.abs(off), axis=0)
        reach[gb.T] = np.max(np.abs(off[:, gb.T]) + part[:, gb.WIDE] / 2)
        assert np.all(block[gb.REACH_T : gb.REACH_C + 1] >= reach * (1 - 1e-9))


# CV-4.13, §4.8 [C]: 304, 0.3 J/cm² at 100 kHz, 100 pulses on one place: second route, not an outside source.
def test_pulses_on_one_place():
    train = Pulses(np.arange(100) / 100e3, 0, 0, 0.3e4 * math.pi * W**2 / 2, W, 1e-9)
    fast = fast_pulses_rise(train, 0, 0, 0, 100 / 100e3, *STAINLESS, tolerance=1e-4)
    assert fast.rise == pytest.approx(418.6, rel=1e-4 + 0.05 / 418.6)


# CV-4.18, §4.8 [C]: a moving beam as 28 000 pieces.
def test_moving_beam_in_pieces():
    line = scanned_line(0, (-14e-3, 0), (0, 0), 1.0, 20, W, 28_000)
    fast = fast_pulses_rise(line, [-14.84 * UM, -1e-3, -10e-3], 0, 0, 14e-3, *STAINLESS, tolerance=1e-4)
    assert fast.rise == pytest.approx([4425, 205.7, 21.28], rel=3e-4, abs=1e-4 * 4425)
    assert np.all(fast.error < 0.45)


def test_far_fewer_terms_than_pulses():
    # Counted in the plain form: pairs of probe and pulse that are told one by one.
    rng = np.random.default_rng(5)
    pulses = job("zigzag", 4000, rng)
    places = probes(pulses, 30, rng)
    told = []
    counted = green_walk.each_pulse

    def each_pulse(aside, *others):
        told.append(np.size(aside))
        return counted(aside, *others)

    green_walk.each_pulse = each_pulse
    try:
        fast_pulses_rise(pulses, *places, *STAINLESS, compiled=False)
    finally:
        green_walk.each_pulse = counted
    assert 0 < sum(told) < 0.15 * 30 * 4000


def test_order_of_pulses_is_nothing():
    rng = np.random.default_rng(8)
    pulses = job("zigzag", 1500, rng, uneven=True)
    places = probes(pulses, 50, rng)
    turned = rng.permutation(1500)
    names = ("starts", "along", "across", "heats", "spot_radii", "widths")
    other = Pulses(*(np.asarray(getattr(pulses, name))[turned] for name in names))
    once, again = (fast_pulses_rise(p, *places, *WOOD, tolerance=1e-3).rise for p in (pulses, other))
    assert again == pytest.approx(once, rel=1e-10, abs=1e-10 * np.max(once))


def test_clocks_that_do_not_start_at_nothing():
    rng = np.random.default_rng(9)
    pulses = job("line", 1000, rng)
    x, y, z, t = probes(pulses, 50, rng)
    later = Pulses(np.asarray(pulses.starts) + 64.0, pulses.along, pulses.across, pulses.heats, W, pulses.widths)
    _, exact = agrees(later, (x, y, z, t + 64.0), WOOD, 1e-3)
    # A moment is known to 1e-14 s there, and a face is hotter by the root of the time just after a pulse has begun.
    assert exact == pytest.approx(pulses_rise(pulses, x, y, z, t, *WOOD), rel=1e-4, abs=1e-5 * np.max(exact))


def test_nothing_before_the_first_pulse_and_nothing_of_no_heat():
    rng = np.random.default_rng(1)
    pulses = job("scatter", 500, rng)
    first = float(np.min(pulses.starts))
    before = fast_pulses_rise(pulses, 2e-3, 2e-3, 0, [first - 1.0, first], *STAINLESS)
    assert np.all(before.rise == 0)
    assert np.all(before.error == 0)
    cold = Pulses(pulses.starts, 0, 0, 0.0, W, 1e-7)
    assert fast_pulses_rise(cold, 0, 0, 0, 1.0, *STAINLESS).rise == 0
    some = np.where(np.arange(500) % 3, 0.0, 1e-3)
    mixed = Pulses(pulses.starts, pulses.along, pulses.across, some, W, 1e-7)
    agrees(mixed, probes(mixed, 30, rng), STAINLESS, 1e-3)


def test_a_cool_place_alone_is_judged_by_itself():
    # Peak among the probes, not of the solid: asked alone, a far place gets its own tolerance.
    rng = np.random.default_rng(6)
    pulses = job("still", 2000, rng)
    fast, exact = agrees(pulses, (np.array([2e-3, 3e-3]), 0.0, 0.0, 0.05), STAINLESS, 1e-3)
    assert np.max(exact) < 1e-2 * float(pulses_rise(pulses, 0, 0, 0, 0.05, *STAINLESS))
    assert fast.rise[0] == pytest.approx(exact[0], rel=1e-3)
    none, _ = agrees(pulses, (np.array([0.5]), 0.0, 0.0, 0.05), STAINLESS, 1e-3)
    assert none.rise[0] < 1e-100


def test_shapes():
    pulses = job("still", 40, np.random.default_rng(0))
    grid = fast_pulses_rise(pulses, np.zeros((3, 1)), np.zeros(4), 0, 1e-3, *STAINLESS)
    assert grid.rise.shape == grid.error.shape == (3, 4)
    assert np.ndim(fast_pulses_rise(pulses, 0, 0, 0, 1e-3, *STAINLESS).rise) == 0
    assert fast_pulses_rise(pulses, [], 0, 0, 1e-3, *STAINLESS).rise.shape == (0,)


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"tolerance": 0.0}, "tolerance"),
        ({"tolerance": 0.02}, "tolerance"),
        ({"tolerance": 5e-324}, "tolerance"),
        ({"tolerance": math.nan}, "tolerance"),
        ({"tolerance": "little"}, "tolerance"),
        ({"tolerance": [0.01]}, "tolerance"),
        ({"depth": -1.0}, "depth"),
        ({"time": math.inf}, "time"),
        ({"along": 1e308}, "along"),
        ({"diffusivity": 5e-324}, "diffusivity"),
        ({"absorption": -1.0}, "absorption"),
        ({"along": [1, 2], "time": [1, 2, 3]}, "along"),
        ({"pulses": None}, "pulses"),
    ],
)
def test_refuses_what_cannot_be(changed, field):
    good = {
        "pulses": Pulses([0.0], 0, 0, 1, 1e-3, 1e-6), "along": 0, "across": 0, "depth": 0, "time": 1,
        "heat_capacity": 1e6, "diffusivity": 1e-6,
    }  # fmt: skip
    with pytest.raises(InputError) as refused:
        fast_pulses_rise(**{**good, **changed})
    assert refused.value.field == field
