"""The simulated piece from outside: what it may know, the numbers of the starting values, other solvers."""

import ast
import math
from pathlib import Path

import numpy as np
import pytest
import simulator
import simulator_heat as heat
import simulator_pulse as pulse
import simulator_tile as tiles
import simulator_truth as truths
from made_piece import BARE, OAK, SETTING, drawn, laid, piece, rng
from simulator_truth import ROOM

import proofpatch as pp
from proofpatch.physics.green import Pulses, pulses_rise
from proofpatch.physics.kinetics import arrhenius_conversion
from proofpatch.physics.strokes import STEADY

pytestmark = pytest.mark.usefixtures("small_tiles")
BENCHMARKS = Path(simulator.__file__).parent


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


# ---- The numbers of the starting values ----


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
