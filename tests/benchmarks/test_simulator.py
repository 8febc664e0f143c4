"""The simulated piece: limits that must hold, sums by hand, the numbers of the starting values, other solvers."""

import ast
import functools
import math
from pathlib import Path

import numpy as np
import pytest
import simulator
import simulator_heat as heat
import simulator_pulse as pulse
import simulator_study
import simulator_tile as tiles
import simulator_truth as truths
from simulator_truth import ROOM

import proofpatch as pp
from proofpatch.materials import coating_ids, substrate_ids
from proofpatch.physics.green import Pulses, pulses_rise
from proofpatch.physics.kinetics import arrhenius_conversion
from proofpatch.physics.strokes import STEADY

LASER = pp.laser("pulsed-500")
SETTING = pp.Setting(500.0, 20e3, 200e-9, 0.45e-3, 0.1, 10.0, 0.05)
MEAN = 25e-3 / (math.pi * 0.45e-3**2)  # J/m², of a pulse of SETTING
BENCHMARKS = Path(simulator.__file__).parent


@pytest.fixture(autouse=True)
def small_tiles(monkeypatch):
    monkeypatch.setattr(tiles, "SPOTS", (3.2e-3, 3.2e-3, 16.0))


@functools.cache
def drawn(coating, substrate, seed=0):
    surface = pp.Surface([pp.Layer(coating, condition="aged")], substrate, condition="aged")
    return simulator.draw_truth(surface, LASER, np.random.default_rng(seed))


def piece(coating="oil-varnish", substrate="oak", film=None, ground=None, **rest):
    """A truth without unevenness, under a guided head, with some values set for certain."""
    certain = {"hand": STEADY, "power": 1.0, "top_hat_share": 1.0, "grader": truths.GraderTruth(0.0, 0.0, 0.0, 0.0)}
    return drawn(coating, substrate).with_(
        {"spread": 0.0, "bond_spread": 0.0} | (film or {}), {"streaks": 0.0, "warming": ()} | (ground or {}),
        **(certain | rest),
    )  # fmt: skip


def rng(seed=1):
    return np.random.default_rng(seed)


def laid(truth, setting=SETTING, kind="middle", slowness=(0.0,)):
    tile = tiles.make_tile(truth, setting, kind, 1.0, rng())
    tiles.lay(tile, truth, setting, truth.hand, np.array(slowness), rng(2))
    return tile


# ---- What it may know ----


def imported(path):
    """Names of the modules a file imports, and of what it takes from them."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def test_the_judge_uses_nothing_of_the_judged():
    # Only the study, which sets forecasts beside outcomes, may see the six calls.
    barred = (
        "outcome",
        "clocks",
        "coverage",
        "hot_place",
        "removal",
        "rows",
        "kernels",
        "grading",
        "forecast",
        "belief",
    )
    files = sorted(BENCHMARKS.glob("simulator*.py"))
    assert [path.stem for path in files] == [
        "simulator", "simulator_heat", "simulator_pulse", "simulator_study", "simulator_tile", "simulator_truth",
    ]  # fmt: skip
    for path in files:
        if path.stem == "simulator_study":
            continue
        for name in imported(path):
            assert not set(name.split(".")) & set(barred), (path.name, name)
            assert name != "proofpatch", path.name
    for path in (BENCHMARKS.parent / "src").rglob("*.py"):
        assert not any(name.split(".")[0].startswith("simulator") for name in imported(path)), path


# ---- Truths ----


def test_any_coat_on_any_substrate_can_be_drawn():
    chance = rng()
    for coating in coating_ids():
        for substrate in substrate_ids():
            truth = simulator.draw_truth(pp.Surface([coating], substrate), LASER, chance)
            film, ground = truth.film, truth.ground
            for name in ("reflectance", "incubation", "residual_heat"):
                assert 0 < getattr(film, name) < 1, (coating, name)
            for name in ("absorptance", "skin_share"):
                assert 0 < getattr(ground, name) <= 1, (substrate, name)
            positive = (film.thickness, film.threshold, film.depth, film.bond, ground.thickness, ground.heat_capacity)
            assert all(0 < value < math.inf for value in positive)
    with pytest.raises(ValueError, match="one coat"):
        simulator.draw_truth(pp.Surface(["wax", "oil-varnish"], "oak"), LASER, chance)


def test_values_keep_the_range_of_their_datum_with_heavier_tails():
    # 1500 (700 to 4500) 1/cm, the rust row: nine in ten inside, and more than a normal's 0.1 % beyond twice as far.
    datum = pp.materials.coating_data("loose-rust", "black", "aged")["absorption"]
    z = rng().standard_t(truths.TAILS, size=20_000) / truths.T_95
    values = np.array([truths.drawn("absorption", datum, x) for x in z])
    assert np.mean((values > datum.low) & (values < datum.high)) == pytest.approx(0.9, abs=0.01)
    assert np.median(values) == pytest.approx(datum.value, rel=0.03)
    assert np.mean(values > datum.value * (datum.high / datum.value) ** 2) > 0.003


def test_a_thickness_the_owner_measured_is_kept():
    surface = pp.Surface([pp.Layer("oil-varnish", thickness=50e-6)], "oak", substrate_thickness=0.01)
    found = [simulator.draw_truth(surface, LASER, rng(seed)) for seed in range(20)]
    assert all(35e-6 < truth.film.thickness < 70e-6 for truth in found)
    assert all(0.9e-2 < truth.ground.thickness < 1.1e-2 for truth in found)


def test_a_field_varies_as_it_should():
    fields = np.stack([tiles.random_field((20, 60), 0.2e-3, 2e-3, rng(seed)) for seed in range(400)])
    assert fields.mean() == pytest.approx(0.0, abs=0.05)
    assert fields.std() == pytest.approx(1.0, abs=0.05)
    assert np.mean(fields[:, :, 0] * fields[:, :, 10]) == pytest.approx(math.exp(-0.5), abs=0.1)  # a length away


def test_a_tile_holds_the_whole_spread_in_its_order():
    field = tiles.random_field((40, 50), 0.2e-3, 2e-3, rng())
    whole = tiles.whole_spread(field)
    assert np.array_equal(np.argsort(field, axis=None), np.argsort(whole, axis=None))
    assert (whole.mean(), whole.std()) == pytest.approx((0.0, 1.0), abs=0.01)
    assert whole.max() > 3.3  # of 2000 places


# ---- Limits that must hold ----


def test_same_seed_same_patch():
    truth = drawn("oil-varnish", "oak")
    first, again, other = (simulator.lay_patch(truth, SETTING, rng(seed), size=0.01) for seed in (1, 1, 2))
    same = [(a.left == b.left).all() for a, b in zip(first.tiles, again.tiles, strict=True)]
    assert all(same)
    assert (first.covered, first.hottest) == (again.covered, again.hottest)
    assert first.hottest != other.hottest


def test_no_light_no_effect():
    seen = simulator.lay_patch(drawn("oil-varnish", "oak"), SETTING.with_(average_power=0.02), rng(), size=0.01)
    assert (seen.covered, seen.removed, seen.harm) == (1.0, 0.0, 0)
    assert simulator.grade(seen, piece(), rng()).residue == "no effect"


def test_far_too_much_cleans_and_burns():
    truth = piece(film={"absorption": 1e4, "threshold": 1.5e4})
    seen = simulator.lay_patch(truth, SETTING.with_(travel_speed=0.004, passes=3), rng(), size=0.01)
    graded = simulator.grade(seen, truth, rng())
    assert (graded.residue, graded.harm) == ("clean", "burnt")
    assert seen.mark > 3e-3


def test_going_on_never_puts_film_back():
    truth = drawn("oil-varnish", "oak")
    seen, before = None, None
    for _ in range(3):
        seen = simulator.lay_patch(truth, SETTING.with_(average_power=300.0), rng(3), size=0.01, state=seen)
        if before is not None:
            assert all(np.all(b.left <= a) for a, b in zip(before, seen.tiles, strict=True))
            assert any(np.any(b.left < a) for a, b in zip(before, seen.tiles, strict=True))
        before = [tile.left.copy() for tile in seen.tiles]


def test_the_state_given_is_not_changed():
    truth = drawn("oil-varnish", "oak")
    seen = simulator.lay_patch(truth, SETTING.with_(average_power=300.0), rng(), size=0.01)
    kept = seen.tiles[0].left.copy()
    simulator.lay_patch(truth, SETTING, rng(), state=seen)
    assert np.all(seen.tiles[0].left == kept)


# ---- By hand ----


# Flat spots of mean fluence F fall as pulses per area times π w² hits on a place, each takes δ ln(F/F_th).
@pytest.mark.parametrize("passes", [1, 3])
def test_depth_by_hand(passes):
    film = {
        "thickness": 1e-3, "incubation": 1.0, "threshold": MEAN / 2, "depth": 2e-6, "width_exponent": 0.0,
        "plume": 1e12, "decomposition": 1e9, "absorption": 1e6, "bond": 1e9,
    }  # fmt: skip
    tile = laid(piece(film=film), slowness=[0.0] * passes)
    hits = passes * 20e3 / (0.05 * 0.1) * math.pi * 0.45e-3**2
    assert (tile.start - tile.left)[tile.seen].mean() == pytest.approx(hits * 2e-6 * math.log(2.0), rel=0.04)


# (2) of `simulator_pulse`: the second hit has F_th 2^(S − 1).
def test_incubation_and_plume_by_hand():
    film = {
        "thickness": 1e-3, "incubation": 0.8, "threshold": 1e4, "depth": 2e-6, "width_exponent": 0.5, "plume": 3e4,
        "decomposition": 1e12, "absorption": 1e6, "bond": 1e9,
    }  # fmt: skip
    tile = laid(piece(film=film))
    used = 3e4 * -math.expm1(-MEAN / 3e4)
    once = 2e-6 * math.log(used / (1e4 * math.sqrt(2.0)))
    gone, hits = (tile.start - tile.left)[tile.seen], tile.hits[tile.seen]
    for count in (2, 3):
        more = sum(-2e-6 * -0.2 * math.log(n) for n in range(1, count + 1))
        assert (hits == count).any()
        assert gone[hits == count] == pytest.approx(count * once + more, rel=1e-5)


def test_a_film_is_thrown_off_whole_where_it_holds_badly():
    # The interface takes 0.95 · 0.6/(1 − 0.6 · 0.4) · 3.9 = 2.9 J/cm², gas begins at 1.15e6 · 60 µm · 180 K = 1.2:
    # 0.7 % of the rest, 117 J/m², against 20 or 300 J/m² and 9 J/m² of tearing.
    film = {
        "absorption": 1e2, "threshold": 1e9, "reflectance": 0.05, "thickness": 90e-6, "plume": 1e12, "toughness": 1e5,
        "decomposition": 1e9,
    }  # fmt: skip
    ground = {
        "absorptance": 0.6, "skin_share": 1.0, "skin_depth": 60e-6, "heat_capacity": 1.15e6, "gas_onset": 180.0,
        "gas_conversion": 0.007,
    }  # fmt: skip
    loose = laid(piece(film=film | {"bond": 20.0}, ground=ground), SETTING.with_(travel_speed=0.02))
    tight = laid(piece(film=film | {"bond": 300.0}, ground=ground), SETTING.with_(travel_speed=0.02))
    assert not loose.covered[loose.seen].any()
    assert np.all(tight.left[tight.seen] == tight.start[tight.seen])


def test_a_slow_stroke_gives_more():
    film = {
        "incubation": 1.0, "threshold": MEAN / 2, "depth": 1e-7, "thickness": 1e-4, "bond": 1e9, "decomposition": 1e9,
    }  # fmt: skip
    truth = piece(film=film, hand=tiles.replace(STEADY, speed_spread=0.1))
    depth = [np.mean(t.start - t.left) for t in (laid(truth, slowness=[z]) for z in (-2.0, 2.0))]
    assert depth[1] / depth[0] == pytest.approx(math.exp(0.4), rel=0.08)


# ---- The numbers of the starting values ----

BARE = {"thickness": 1e-12}
OAK = {
    "absorptance": 0.5, "skin_share": 0.5, "skin_depth": 60e-6, "diffuse_depth": 2.5e-3, "thickness": 0.018,
    "heat_capacity": 705.0 * 1630.0, "conductivity": 0.18, "ln_frequency": 22.2, "activation": 141.2e3,
}  # fmt: skip


# starting-values.md, last table (pulse-resolved conduction computed for that file): aged oak at 20, 50 and 100 mm/s.
@pytest.mark.parametrize(("travel", "celsius"), [(0.02, 592), (0.05, 310), (0.10, 203)])
def test_oak_gets_as_hot_as_the_table_says(travel, celsius):
    tile = laid(piece(film=BARE, ground=OAK), SETTING.with_(travel_speed=travel))
    assert tile.hottest[tile.seen].mean() == pytest.approx(celsius - 20, rel=0.1)


# Same table: 592 °C is "2 % converted: tint".
def test_oak_at_592_degrees_is_tinted():
    tile = laid(piece(film=BARE, ground=OAK), SETTING.with_(travel_speed=0.02))
    assert 0.004 < np.median(tile.converted[tile.seen]) < 0.08


# starting-values.md: one 0.1 s stop at 500 W adds 56 J/cm²; aged oak reaches 990 to 1200 °C and chars.
def test_a_stop_chars_oak():
    stop = tiles.replace(STEADY, stop_seconds=0.1)
    tile = laid(piece(film=BARE, ground=OAK | {"changed": 0.5}, hand=stop), SETTING.with_(travel_speed=0.1), "start")
    assert 990 - 20 <= tile.hottest[tile.seen].max() <= 1.25 * (1200 - 20)
    assert (-np.expm1(-tile.converted) >= simulator.BURNT).any()


# starting-values.md: steel (A 0.4) melts from 1.3 (1.0 to 1.8) J/cm² of a 100 ns pulse.
@pytest.mark.parametrize(("peak", "marks"), [(1.0e4, False), (1.8e4, True)])
def test_steel_is_marked_from_its_melt_onset(peak, marks):
    steel = {"absorptance": 0.4, "melting": 1475.0, "heat_limit": 1e5}
    truth = piece("loose-rust", "mild-steel", film=BARE, ground=steel)
    power = peak * math.pi * 0.45e-3**2 * 20e3
    tile = laid(truth, SETTING.with_(average_power=power, pulse_width=100e-9, travel_speed=0.15))
    assert bool((simulator.harms(truth, tile)[tile.seen] > 0).any()) is marks
    assert tile.flash[tile.seen].max() == pytest.approx(peak / 1.3e4, rel=0.15)


# What falls on bare metal and is taken stays: A · energy over area and ρc h, once the heat is even.
def test_every_joule_taken_by_a_sheet_stays_in_it():
    truth = piece("loose-rust", "mild-steel", film=BARE, ground={"thickness": 1e-3})
    setting = SETTING.with_(average_power=200.0, repetition_rate=400e3)
    tile = tiles.make_tile(truth, setting, "middle", 1.0, rng())
    work = tiles._Work(tile, truth, setting)
    work.stroke(STEADY, 0.0, 0.0, rng())
    dose = 200.0 / (setting.travel_speed * setting.sweep_width) * truth.ground.absorptance
    work.rest(1.0)
    rise = dose / (truth.ground.heat_capacity * truth.ground.thickness)
    assert work.mean_face() == pytest.approx(rise, rel=0.05)
    assert work.spread.look(5.0) == pytest.approx(np.full(tile.left.shape, work.mean_face()), rel=0.02)


# ---- Other solvers ----


# `physics.layered`, finite volumes marched in time, is held against exact solutions in its own tests.
@pytest.mark.parametrize("coat", ["oil-varnish", "loose-rust"])
def test_a_stack_cools_as_the_layered_solver_says(coat):
    truth = piece(coat, "oak", film={"absorption": 2e4, "thickness": 50e-6}, ground=OAK)
    film, ground = truth.film, truth.ground
    layers = [
        {"thickness": 50e-6, "conductivity": film.conductivity, "density": film.density,
         "specific_heat": film.specific_heat, "absorption": 2e4},
        {"thickness": 0.018, "conductivity": 0.18, "density": 705.0, "specific_heat": 1630.0,
         "absorption": ((0.25, 1 / 60e-6), (0.25, 1 / 2.5e-3))},
    ]  # fmt: skip
    times = np.geomspace(1e-4, 10.0, 6)
    solved = np.asarray(pp.layered_rise(layers, 1e4 / 200e-9, 200e-9, 1.0, 1, 50e-6, times))
    stack = heat.Stack.of(film, ground, 50e-6, 200e-9)
    into = {heat.COAT: 1 - math.exp(-1.0), heat.SKIN: 0.25 * math.exp(-1.0), heat.DEEP: 0.25 * math.exp(-1.0)}
    rise = sum(
        1e4 * share * np.exp(-np.outer(times, stack.rates)) @ stack.weights(source, heat.FACE, 200e-9)
        for source, share in into.items()
    )
    assert rise == pytest.approx(solved, rel=0.02)


# A fit of many modes by few, on a metal and on wood, from a group of pulses up to half a minute.
@pytest.mark.parametrize(("coat", "ground"), [("oil-varnish", "oak"), ("baked-grease", "aluminium")])
def test_few_rates_stand_for_all_modes(coat, ground):
    truth = drawn(coat, ground)
    found = heat.responses(truth.film, truth.ground, 200e-9, 5e-5, 1, 30.0)
    stack = heat.Stack.of(truth.film, truth.ground, 0.0, 200e-9)
    ages = np.geomspace(5e-5, 30.0, 50)
    exact = np.exp(-np.outer(ages, stack.rates)) @ stack.weights(heat.SKIN, heat.FACE, 200e-9)
    few = np.exp(-np.outer(ages, found.rates)) @ found.weights[0, heat.SKIN, heat.FACE]
    assert few == pytest.approx(exact, rel=0.03)
    assert found.worst < 0.15
    assert found.rates.size < 26


# `physics.green`: the exact sum over pulses in a thick solid. Spots of 1/e² radius w, heat in the face of steel.
def test_heat_spreads_sideways_as_greens_function_says():
    ground = piece("loose-rust", "mild-steel", ground={"thickness": 0.05}).ground
    sideways, pixel, w, gap = ground.conductivity / ground.heat_capacity, 0.15e-3, 0.45e-3, 1e-3
    found = heat.responses(drawn("loose-rust", "mild-steel").film, ground, 200e-9, gap, 1, 10.0)
    spread = heat.Spread((80, 80), pixel, sideways, found.rates, 0.0, coarse=False)
    y, x = np.mgrid[:80, :80] * pixel + pixel / 2
    places = np.array([[4.0e-3, 6e-3], [6e-3, 5.5e-3], [6.5e-3, 7e-3], [8e-3, 6e-3]])
    weights = pulse.part_weights(found.weights)
    for along, across in places:
        square = (x - along) ** 2 + (y - across) ** 2
        left = np.zeros((80, 80, pulse.PARTS), np.float32)
        left[:, :, 0] = 2 * 1e-2 / (math.pi * w * w) * np.exp(-2 * square / (w * w))
        spread.add(left, weights)
        spread.advance(gap)
    pulses = Pulses(np.arange(4) * gap, places[:, 0], places[:, 1], 1e-2, w, 200e-9)
    for later in (2e-3, 20e-3):
        rise = spread.look(later)
        rows, columns = np.array([40, 37, 44]), np.array([40, 36, 50])
        exact = pulses_rise(
            pulses, (columns + 0.5) * pixel, (rows + 0.5) * pixel, 0.0, 4 * gap + later, ground.heat_capacity, sideways,
            compiled=False,
        )  # fmt: skip
        assert rise[rows, columns] == pytest.approx(exact, rel=0.05)


def test_coarse_and_fine_pixels_of_heat_agree_on_metal(monkeypatch):
    truth = piece("loose-rust", "mild-steel", film=BARE)
    coarse = laid(truth).lasting
    monkeypatch.setattr(tiles, "COARSE", 1e9)
    fine = laid(truth).lasting
    assert coarse.max() == pytest.approx(fine.max(), rel=0.1)
    assert coarse.mean() == pytest.approx(fine.mean(), rel=0.03)


# (1) of `kinetics.arrhenius_conversion` at one temperature.
def test_heat_that_stays_reacts_by_the_law():
    truth = piece(ground=OAK)
    work = tiles._Work(tiles.make_tile(truth, SETTING, "middle", 1.0, rng()), truth, SETTING)
    work.spread.state[0, 0, 0, 0] = 400.0 * math.sqrt(np.prod(work.tile.left.shape))
    work.cool(2.0)
    exact = float(arrhenius_conversion(ROOM + 400.0, 2.0, 22.2, 141.2e3))
    assert -np.expm1(-work.tile.converted) == pytest.approx(np.full(work.tile.left.shape, exact), rel=0.01)


# The same law over a fall, against quadrature: from 500 K above room down by half in 10 ms.
def test_heat_that_falls_reacts_by_the_law():
    truth = piece(ground=OAK)
    work = tiles._Work(tiles.make_tile(truth, SETTING, "middle", 1.0, rng()), truth, SETTING)
    mode = int(np.argmin(np.abs(work.spread.rates - math.log(2.0) / 0.01)))
    rate = work.spread.rates[mode]
    work.spread.state[0, 0, 0, mode] = 500.0 * math.sqrt(np.prod(work.tile.left.shape))
    work.cool(0.01)
    seconds = np.linspace(0.0, 0.01, 20001)
    speed = np.exp(22.2 - 141.2e3 / (8.314462618 * (ROOM + 500.0 * np.exp(-rate * seconds))))
    assert work.tile.converted.mean() == pytest.approx(np.trapezoid(speed, seconds), rel=0.03)


# `physics.reacting` follows the curve itself: at five pulses of the oak table, 410 K of a constant heat become 299 K
# (computed there); the same heat by volume alone gives 293 K.
def test_wood_that_takes_more_heat_when_warm_gets_less_hot():
    whole = piece(ground={"warming": truths.warming_of("oak", "aged")}).ground
    assert float(tiles.true_rise(whole, 410.1)) == pytest.approx(298.9, rel=0.03)
    assert float(tiles.true_rise(whole, 0.0)) == 0.0
    found = [float(tiles.true_rise(drawn("oil-varnish", "oak", seed).ground, 410.1)) for seed in range(20)]
    assert 290.0 < min(found) < 330.0
    assert 375.0 < max(found) < 410.1
    assert tiles.true_rise(drawn("loose-rust", "mild-steel").ground, 410.0) == 410.0


def test_the_compiled_kernel_is_the_plain_one(monkeypatch):
    truth = drawn("oil-varnish", "oak")
    short = SETTING.with_(sweep_width=8e-3, travel_speed=0.3)
    fast = laid(truth, short)
    monkeypatch.setattr(tiles, "follower", lambda: pulse.follow)
    plain = laid(truth, short)
    assert np.allclose(fast.left, plain.left, rtol=1e-5, atol=1e-12)
    assert np.allclose(fast.hottest, plain.hottest, rtol=1e-4)
    assert fast.hits.sum() == plain.hits.sum() > 0


# ---- Grades and verdicts ----


@pytest.mark.parametrize(
    ("covered", "thinned", "word"),
    [
        (0.0, 1.0, "clean"), (0.01, 1.0, "clean"), (0.05, 0.9, "nearly"), (0.5, 0.6, "partial"), (0.95, 0.3, "trace"),
        (1.0, 0.06, "trace"), (1.0, 0.04, "no effect"),
    ],
)  # fmt: skip
def test_residue_follows_the_share_left(covered, thinned, word):
    assert pp.RESIDUES[simulator.residue_of(covered, thinned)] == word


# The design's words: harm is a tint or worse on more than 0.1 %, or any mark over 3 mm.
@pytest.mark.parametrize(
    ("shares", "mark", "word"),
    [
        ((0.0009, 0.0, 0.0), 0.0, "none"), ((0.002, 0.0005, 0.0), 0.0, "tint"), ((0.0005, 0.0, 0.0), 4e-3, "tint"),
        ((0.3, 0.01, 0.0005), 5e-3, "marked"), ((0.5, 0.2, 0.1), 5e-3, "burnt"),
    ],
)  # fmt: skip
def test_harm_follows_the_shares(shares, mark, word):
    assert pp.HARMS[simulator.harm_of(shares, mark)] == word


def seen_with(covered):
    start = 50e-6
    return simulator.Seen(covered, (1 - covered) * start, start, 0.0, 0.0, 0.0, 0.0, 0.0, 100.0, SETTING, ())


def test_wrong_grades_are_as_many_as_asked_and_mostly_neighbours():
    truth = piece(grader=truths.GraderTruth(0.0, 0.0, 0.0, 0.2))
    chance, right = rng(), pp.RESIDUES.index("partial")
    said = np.array([pp.RESIDUES.index(simulator.grade(seen_with(0.4), truth, chance).residue) for _ in range(3000)])
    assert np.mean(said != right) == pytest.approx(0.2, abs=0.025)
    off = np.abs(said - right)[said != right]
    assert np.mean(off == 1) == pytest.approx(0.8 + 0.2 * 0.5, abs=0.05)  # two of the four others are neighbours


def test_an_eye_slips_near_an_edge_only():
    truth = piece(grader=truths.GraderTruth(0.3, 0.0, 0.0, 0.0))
    chance = rng()
    near = [simulator.grade(seen_with(0.095), truth, chance).residue for _ in range(300)]
    far = [simulator.grade(seen_with(0.4), truth, chance).residue for _ in range(300)]
    assert 0.3 < np.mean([word == "nearly" for word in near]) < 0.8
    assert set(far) == {"partial"}


def test_a_patch_is_graded_with_the_speed_really_moved():
    truth = drawn("oil-varnish", "oak")
    found = [simulator.grade(simulator.lay_patch(truth, SETTING, rng(s), size=0.01), truth, rng(s)) for s in range(12)]
    speeds = np.array([graded.moved().travel_speed for graded in found])
    assert np.log(speeds / 0.05).std() == pytest.approx(math.hypot(0.5 * truth.hand.speed_spread, 0.03), rel=0.5)
    assert simulator.grade(seen_with(0.4), truth, rng()).seconds is None


def test_a_smaller_spot_needs_its_own_tile():
    truth = drawn("oil-varnish", "oak")
    seen = simulator.lay_patch(truth, SETTING, rng(), size=0.01)
    with pytest.raises(ValueError, match="too small"):
        simulator.lay_patch(truth, SETTING.with_(spot_radius=0.1e-3), rng(), state=seen)


def test_a_spot_is_as_wide_as_its_longest_side():
    there = np.zeros((20, 30), bool)
    there[3, 4:12] = there[4, 12] = there[18, 28] = True
    assert simulator.widest(there, 1e-3) == pytest.approx(9e-3)
    assert simulator.widest(np.zeros((3, 3), bool), 1e-3) == 0.0


def test_a_finished_surface_is_judged_by_the_contract():
    gentle = piece(film={"thickness": 20e-6, "threshold": 2e3, "depth": 10e-6, "absorption": 1e5})
    kind = gentle.with_(ground={"absorptance": 1e-3})
    found = simulator.finished(kind, SETTING.with_(passes=2), rng(), thorough=False)
    assert (found.clean, found.harmless) == (True, True)
    # The same piece laid with free starts: the line stands still on black wood.
    black = gentle.with_(ground=OAK | {"absorptance": 0.9}, hand=tiles.replace(STEADY, stop_seconds=0.1))
    assert not simulator.finished(black, SETTING.with_(passes=2), rng(), thorough=False).harmless
    weak = simulator.finished(gentle, SETTING.with_(average_power=5.0), rng(), thorough=False)
    assert (weak.clean, weak.seen.covered) == (False, 1.0)


def test_lanes_that_overlap_get_more_there():
    film = {
        "incubation": 1.0, "threshold": MEAN / 2, "depth": 1e-7, "thickness": 1e-4, "bond": 1e9, "decomposition": 1e9,
    }  # fmt: skip
    truth = piece(film=film, hand=tiles.replace(STEADY, lane_overlap=0.1))
    depth = [np.mean((t.start - t.left)[t.seen]) for t in (laid(truth, kind=k) for k in ("middle", "overlap"))]
    assert depth[1] / depth[0] == pytest.approx(2.0, rel=0.1)


def test_lanes_edge_to_edge_share_what_lies_between_them():
    film = {"incubation": 1.0, "threshold": MEAN / 2, "depth": 1e-7, "thickness": 1e-4, "bond": 1e9}
    wide = piece(film=film, hand=tiles.replace(STEADY, lane_overlap=0.1))
    tile = tiles.make_tile(wide, SETTING, "overlap", 1.0, rng())
    tiles.lay(tile, wide, SETTING, STEADY, np.zeros(1), rng(2))
    middle = laid(wide)
    depth = [np.mean((t.start - t.left)[t.seen]) for t in (middle, tile)]
    assert depth[1] / depth[0] == pytest.approx(1.0, rel=0.15)


def test_what_melts_soaks_into_pores():
    film = {"softening": 40.0, "soak_share": 0.3, "threshold": 1e3, "depth": 2e-5, "thickness": 5e-6, "bond": 1e9}
    truth = piece("wax", "oak", film=film | {"absorption": 1e4})
    seen = simulator.lay_patch(truth, SETTING.with_(passes=2), rng(), size=0.01)
    assert 0.15 < seen.covered < 0.35
    dry = simulator.lay_patch(truth.with_(ground={"porous": False}), SETTING.with_(passes=2), rng(), size=0.01)
    assert dry.covered < 0.02


def test_the_study_sets_forecast_beside_outcome(monkeypatch):
    monkeypatch.setattr(simulator_study, "PIECES", simulator_study.PIECES[:1])
    monkeypatch.setattr(simulator_study, "WANTED", (0.6,))
    lines = simulator_study.study(truths=1, workers=1)
    cells = [float(cell) for cell in lines[2].strip("| ").split(" | ")[1:]]
    assert cells[0] == 1
    assert all(0.0 <= cell <= 1.0 for cell in cells[1:])
