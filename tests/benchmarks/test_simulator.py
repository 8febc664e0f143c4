"""The simulated piece: limits that must hold, a hand calculation, the oak and steel of the starting values."""

import ast
import inspect
import math
from dataclasses import replace

import numpy as np
import pytest
import simulator

import proofpatch as pp
from proofpatch.physics.strokes import STEADY

LASER = pp.laser("pulsed-500")
SETTING = pp.Setting(500.0, 20e3, 200e-9, 0.45e-3, 0.1, 10.0, 0.05)


@pytest.fixture(autouse=True)
def small_tiles(monkeypatch):
    monkeypatch.setattr(simulator, "TILE", 3e-3)


def piece(coating="oil-varnish", substrate="oak", seed=0, motion=STEADY, even=True, film=None, under=None, **words):
    """A truth with some values set for certain, even and under a guided head unless said."""
    truth = simulator.draw_truth(coating, substrate, LASER, np.random.default_rng(seed), **words)
    level = {"thickness_spread": 0.0} if even else {}
    flat = {"absorptance_spread": 0.0} if even else {}
    return replace(
        truth, motion=motion, film=truth.film | level | (film or {}), under=truth.under | flat | (under or {})
    )


def rng(seed=1):
    return np.random.default_rng(seed)


def test_nothing_that_decides_is_used():
    # The judge must not share the judged: no closed form of outcome, clocks, coverage, hot place, kernels or grading.
    barred = {"outcome", "clocks", "coverage", "hot_place", "removal", "kernels", "grading", "forecast"}
    tree = ast.parse(inspect.getsource(simulator))
    names = {
        part
        for node in ast.walk(tree)
        if isinstance(node, (ast.ImportFrom, ast.Import))
        for name in ([node.module or ""] if isinstance(node, ast.ImportFrom) else []) + [a.name for a in node.names]
        for part in name.split(".")
    }
    assert not names & barred


def test_same_seed_same_patch():
    truth = piece(even=False)
    first, again, other = (simulator.lay_patch(truth, SETTING, rng(seed)) for seed in (1, 1, 2))
    assert first == again
    assert first != other


def test_no_light_no_effect_and_no_harm():
    seen = simulator.lay_patch(piece(), SETTING.with_(average_power=0.05), rng())
    assert seen.left == 1.0
    assert seen.gone == 0.0
    assert seen.harm == "none"
    assert simulator.grade(replace(piece(), wrong=0.0), SETTING, seen, rng()).residue == "no effect"


def test_more_passes_leave_less():
    left = [simulator.lay_patch(piece(), SETTING.with_(passes=n), rng()).gone for n in (1, 2, 4, 8)]
    assert np.all(np.diff(left) > 0) or left[-1] == pytest.approx(piece().film["thickness"], rel=1e-6)


# By hand: flat spots of mean fluence F, n hits each δ ln(F/F_th); without incubation, warming, plume or lift a pass
# takes density · π w² hits off every place.
def test_depth_of_a_pass_by_hand():
    laser = replace(LASER, top_hat_share=1.0)
    mean = 25e-3 / (math.pi * 0.45e-3**2)
    film = {
        "thickness": 1e-3, "incubation": 1.0, "threshold_fluence": mean / 2, "removal_depth": 2e-6,
        "threshold_width_exponent": 0.0, "plume_saturation": 1e9, "decomposition_temperature": 1e6,
        "absorption": 1e6, "bond_energy": 1e9,
    }  # fmt: skip
    truth = replace(piece(film=film), laser=laser)
    tile = simulator.lay_tile(truth, SETTING, rng())
    hits = 20e3 / (0.05 * 0.1) * math.pi * 0.45e-3**2
    assert tile["gone"].mean() == pytest.approx(hits * 2e-6 * math.log(2.0), rel=0.03)


# starting-values.md, last table (computed there; a second route): aged oak, A 0.5, s 0.5, 60 µm, peaks of 592, 310 and
# 203 °C at 20, 50 and 100 mm/s, averaged over places; diffuse 2 mm. Here a bare face, flat spots, the same averages.
@pytest.mark.parametrize(("travel", "celsius"), [(0.02, 592), (0.05, 310), (0.10, 203)])
def test_oak_gets_as_hot_as_the_table_says(travel, celsius):
    under = {
        "absorptance": 0.5, "skin_share": 0.5, "skin_depth": 60e-6, "diffuse_depth": 2e-3, "conductivity": 0.17,
        "density": 705.0, "specific_heat": 1650.0,
    }  # fmt: skip
    truth = replace(piece(film={"thickness": 1e-9}, under=under), laser=replace(LASER, top_hat_share=1.0))
    tile = simulator.lay_tile(truth, SETTING.with_(travel_speed=travel), rng())
    assert tile["hottest"].mean() == pytest.approx(celsius - 20, rel=0.2)


# starting-values.md: a 0.1 s stop at 500 W adds 56 J/cm²; aged oak reaches 990 to 1200 °C and chars.
def test_a_stop_chars_oak():
    truth = piece(starts="free", film={"thickness": 1e-9})
    truth = replace(truth, motion=replace(STEADY, stop_seconds=0.1))
    calm = simulator.lay_tile(replace(truth, motion=STEADY), SETTING.with_(travel_speed=0.1), rng(), "start")
    still = simulator.lay_tile(truth, SETTING.with_(travel_speed=0.1), rng(), "start")
    assert still["burnt"].any()
    assert still["hottest"].max() > 1.5 * calm["hottest"].max()


# starting-values.md: steel melts from 1.3 J/cm² at 100 ns (A 0.4), so not at half of it and surely at twice.
@pytest.mark.parametrize(("peak", "melts"), [(0.6e4, False), (2.6e4, True)])
def test_bare_steel_flashes_where_the_melt_formula_says(peak, melts):
    steel = {
        "absorptance": 0.4, "conductivity": 60.5, "density": 7854.0, "specific_heat": 434.0,
        "melting_temperature": 1768.0, "heat_limit": 1e5,
    }  # fmt: skip
    truth = piece("loose-rust", "mild-steel", film={"thickness": 1e-9}, under=steel)
    energy = peak * math.pi * 0.45e-3**2 / 1.3
    setting = SETTING.with_(average_power=energy * 20e3, pulse_width=100e-9, travel_speed=0.1)
    assert bool(simulator.lay_tile(truth, setting, rng())["tint"].any()) is melts


def test_grades_follow_the_shares_and_slip_as_often_as_asked():
    seen = simulator.Seen(0.4, 40e-6, 0.0, 0.0, 0.0, 0.0, 100.0)
    assert (seen.residue, seen.harm) == ("partial", "none")
    assert simulator.Seen(0.005, 1e-4, 0.01, 0.0, 0.0, 0.0, 0.0).harm == "tint"
    assert simulator.Seen(0.005, 1e-4, 0.0, 0.0, 0.0, 4e-3, 0.0).harm == "tint"
    assert simulator.Seen(0.05, 1e-4, 0.5, 0.2, 0.1, 0.0, 0.0).harm == "burnt"
    truth = replace(piece(), wrong=0.2, slip=0.05)
    chance = rng()
    grades = [simulator.grade(truth, SETTING, seen, chance) for _ in range(600)]
    wrong = np.mean([g.residue != "partial" for g in grades])
    assert wrong == pytest.approx(0.2 * (0.8 + 0.2 * 0.8), abs=0.06)


def test_a_finished_surface_is_judged_by_the_contract():
    film = {"thickness": 30e-6, "threshold_fluence": 2e3, "removal_depth": 15e-6, "absorption": 1e5}
    clean, harmless, seen = simulator.finished(
        piece(film=film, under={"absorptance": 1e-3}), SETTING.with_(passes=6), rng(), 1
    )
    assert clean
    assert harmless
    assert seen.left <= 0.01
