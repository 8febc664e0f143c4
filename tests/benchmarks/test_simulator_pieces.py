"""What is drawn of a piece and what a pulse does to it: ranges kept, limits that must hold, sums by hand."""

import math

import numpy as np
import pytest
import simulator
import simulator_tile as tiles
import simulator_truth as truths
from made_piece import LASER, MEAN, SETTING, drawn, laid, piece, rng

import proofpatch as pp
from proofpatch.materials import coating_ids, substrate_ids
from proofpatch.physics.strokes import STEADY

pytestmark = pytest.mark.usefixtures("small_tiles")


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
