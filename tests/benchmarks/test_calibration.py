"""The arithmetic of the calibration study on forecasts whose truth is known, by hand, and on one simulated piece."""

import json
import math

import calibration
import calibration_score as score
import calibration_truth as asking
import calibration_why as why
import numpy as np
import pytest
import simulator_tile
from scipy import stats

import proofpatch as pp
from proofpatch.learn.forecast import fits
from proofpatch.physics.rows import LAYER, SUBSTRATE

EDGES = {"P(clean)": score.TENTHS, "P(harm)": score.HARM_EDGES}


def made_up(rng, count=200, kind="P(clean)"):
    """Forecasts as a study has them: any chance of clean; of harm mostly small."""
    return rng.random(count) if kind == "P(clean)" else np.exp(rng.uniform(math.log(3e-4), 0.0, count))


# ---- The joint test ----


@pytest.mark.parametrize("kind", ["P(clean)", "P(harm)"])
def test_true_forecasts_give_even_p_values(kind):
    rng = np.random.default_rng(1)
    found = []
    for _ in range(300):
        forecast = made_up(rng, kind=kind)
        found.append(score.joint_test(forecast, rng.random(200) < forecast, EDGES[kind], rng, draws=399)[1])
    # 300 even numbers fail this once in a thousand; Kolmogorov and Smirnov's test, as scipy has it.
    assert stats.kstest(found, "uniform").pvalue > 1e-3
    assert np.mean(np.array(found) < 0.05) == pytest.approx(0.05, abs=0.04)


# Too sure both ways leaves the mean right, so only the bins can see it; too kind about harm is the error that hurts.
@pytest.mark.parametrize(
    ("kind", "truth"),
    [
        ("P(clean)", lambda p: 0.5 + 0.4 * (p - 0.5)),
        ("P(clean)", lambda p: p**2),
        ("P(harm)", lambda p: np.minimum(3.0 * p, 1.0)),
    ],
)
def test_untrue_forecasts_are_found_out(kind, truth):
    rng = np.random.default_rng(2)
    found = []
    for _ in range(40):
        forecast = made_up(rng, kind=kind)
        found.append(score.joint_test(forecast, rng.random(200) < truth(forecast), EDGES[kind], rng, draws=399)[1])
    assert np.mean(np.array(found) < 0.05) > 0.9


def test_one_question_has_the_p_value_of_its_own_chance():
    # One question of chance 0.1 that came true: X² = 0.9²/(0.1 · 0.9) = 9, and nothing else is as large.
    chi, p = score.joint_test(np.array([0.1]), np.array([True]), score.TENTHS, np.random.default_rng(3))
    assert chi == pytest.approx(9.0)
    assert p == pytest.approx(0.1, abs=0.01)


def test_what_was_called_impossible_is_not_forgiven():
    came = np.arange(50) == 7
    _, p = score.joint_test(np.zeros(50), came, score.HARM_EDGES, np.random.default_rng(4), draws=999)
    assert p == pytest.approx(1e-3)


# Two questions of one truth that always agree, counted as two: why a table holds one question a truth.
def test_twins_would_break_the_test():
    rng = np.random.default_rng(5)
    found = []
    for _ in range(200):
        forecast = made_up(rng, 100)
        came = rng.random(100) < forecast
        twice = (np.tile(x, 2) for x in (forecast, came))
        found.append(score.joint_test(*twice, score.TENTHS, rng, draws=199)[1])
    assert np.mean(np.array(found) < 0.05) > 0.2


# ---- Bins, intervals, scores by hand ----


# Clopper and Pearson's interval of none of n in closed form: 1 − (α/2)^(1/n). Of 10 of 20 in printed tables: 27.2 to
# 72.8 % (from memory).
def test_the_interval_of_a_share_is_the_printed_one():
    assert score.share_interval(0, 30) == pytest.approx((0.0, 1.0 - 0.025 ** (1 / 30)))
    assert score.share_interval(30, 30) == pytest.approx((0.025 ** (1 / 30), 1.0))
    assert score.share_interval(10, 20) == pytest.approx((0.272, 0.728), abs=5e-4)


def test_the_interval_covers_what_it_says():
    for chance in (0.02, 0.3, 0.9):
        intervals = [score.share_interval(k, 40) for k in range(41)]
        inside = np.array([low <= chance <= high for low, high in intervals])
        assert stats.binom.pmf(np.arange(41), 40, chance)[inside].sum() >= 0.95


def test_bins_hold_their_lower_edge_and_the_last_both():
    forecast = np.array([0.0, 0.0029, 0.003, 0.05, 0.3, 1.0])
    assert score.place_of(forecast, score.HARM_EDGES).tolist() == [0, 0, 1, 3, 5, 5]
    found = score.reliability(forecast, np.array([0, 0, 1, 0, 0, 1], bool), score.HARM_EDGES)
    assert [(b.low, b.count, b.came) for b in found] == [(0.0, 2, 0), (0.003, 1, 1), (0.03, 1, 0), (0.3, 2, 1)]
    assert found[-1].forecast == pytest.approx(0.65)
    assert found[-1].holds
    assert not found[1].holds  # 1 of 1 speaks against 0.003


# By hand: chances 0.8, 0.5, 0.1 and 0.4 of what came, came, came not, came.
FORECAST, CAME = np.array([0.8, 0.5, 0.1, 0.4]), np.array([True, True, False, True])


def test_scores_are_those_worked_by_hand():
    assert score.log_losses(FORECAST, CAME) == pytest.approx([0.22314, 0.69315, 0.10536, 0.91629], abs=1e-5)
    assert score.brier_losses(FORECAST, CAME) == pytest.approx([0.04, 0.25, 0.01, 0.36])
    # Three of four came: the others of one that came hold two, of the one that did not three.
    base = score.base_rates(CAME)
    assert base == pytest.approx([2.5 / 4, 2.5 / 4, 3.5 / 4, 2.5 / 4])
    found = score.compared(score.brier_losses(FORECAST, CAME), score.brier_losses(base, CAME))
    assert (found.own, found.base) == pytest.approx((0.165, (3 * 0.140625 + 0.765625) / 4))
    # Differences −0.100625, 0.109375, −0.755625, 0.219375: mean −0.131875, Σ of squared departures 0.571625.
    assert found.difference == pytest.approx(-0.131875)
    assert found.error == pytest.approx(math.sqrt(0.571625 / 3 / 4), rel=1e-5)


def test_a_sure_mistake_costs_no_more_than_the_floor_says():
    assert score.log_losses(np.array([0.0, 1.0]), np.array([True, False])) == pytest.approx([6.9078, 6.9078], abs=1e-4)


def test_excess_counts_standard_deviations():
    # 64 questions of chance 1/2, 40 came: (40 − 32)/√16.
    assert score.excess(np.full(64, 0.5), np.arange(64) < 40) == pytest.approx(2.0)


# ---- The questions ----


def test_seeds_spread_over_pieces_lasers_and_classes():
    held_out = [asking.piece_of(seed) for seed in range(*calibration.HELD_OUT)]
    pairs = {(surface.layers[0].title, surface.substrate) for surface, _ in held_out}
    assert len(pairs) == len(asking.PIECES) >= 12
    assert {laser for _, laser in held_out} == set(asking.LASERS)
    for kind in asking.CLASSES:
        own = [laser for surface, laser in held_out if asking.class_of(surface) == kind]
        assert len(own) == len(held_out) / len(asking.CLASSES)
        assert set(own) == set(asking.LASERS)


@pytest.mark.parametrize("laser", sorted(set(asking.LASERS)))
def test_settings_asked_about_can_be_dialled_in(laser):
    belief = pp.prior(pp.Surface([pp.Layer("loose-rust")], "mild-steel"), laser, draws=16)
    found = asking.tried_settings(belief.laser, np.random.default_rng(1))
    assert len(found) == asking.TRIED
    assert all(fits(belief, setting) for setting in found)


def test_a_setting_is_chosen_by_its_chances_and_they_spread():
    rng = np.random.default_rng(1)
    p_clean, p_harm = rng.random(2000), np.exp(rng.uniform(math.log(1e-4), 0.0, 2000))
    picked = [asking.chosen(p_clean, p_harm, rng) for _ in range(600)]
    tenths = np.bincount(score.place_of(p_clean[picked], score.TENTHS), minlength=10)
    harms = np.bincount(score.place_of(p_harm[picked], score.HARM_EDGES), minlength=6)
    assert tenths.min() > 35  # 60 expected, standard deviation 7.3
    assert harms.min() > 65  # 100 expected, 9.1


# ---- One truth, and the study around it ----


@pytest.fixture(scope="module")
def told():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(simulator_tile, "SPOTS", (3.2e-3, 3.2e-3, 16.0))
        patch.setattr(asking, "STRIP", 2)
        return [asking.one(3)]


def test_one_truth_is_asked_end_to_end(told):
    asked, laid = told[0]["asked"], told[0]["laid"]
    assert [q["stage"] for q in asked][:2] == ["no patch", "one strip"]
    assert asked[0]["patches"] == 0
    assert 1 <= asked[1]["patches"] <= 2
    assert len(laid) == asked[-1]["patches"] > asked[1]["patches"]
    for q in asked:
        assert 0.0 <= q["p_clean"] <= 1.0
        assert 0.0 <= q["p_harm"] <= 1.0
        # The verdict is the design's: at most 1 % under film, at most 0.1 % tinted and no mark over 3 mm.
        seen = q["seen"]
        assert q["clean"] == (seen["covered"] <= 0.01)
        assert q["harmed"] == (seen["tinted"] > 0.001 or seen["mark"] > 3e-3)
    assert asked[0]["p_clean"] == asked[0]["first_clean"]
    # A strip ends at its first harm: only the last of one may have been said to harm.
    strips = [laid[: asked[1]["patches"]], laid[asked[1]["patches"] :]]
    assert all(p["said"][1] == "none" for strip in strips for p in strip[:-1])


def test_a_truth_is_the_same_truth_again():
    first, again = (asking.Asking(7).truth for _ in range(2))
    assert (first.film, first.ground, first.hand, first.grader) == (again.film, again.ground, again.hand, again.grader)
    assert first.film != asking.Asking(27).truth.film


def test_tables_hold_one_question_of_a_truth(told):
    twins = [told[0] | {"seed": seed} for seed in range(30)]
    for stage in (*calibration.STAGES, "recipe", "any"):
        seeds = [q["seed"] for q in calibration.questions(twins, stage)]
        assert len(seeds) == len(set(seeds))
    stages = [q["stage"] for q in calibration.questions(twins, "any")]
    assert set(stages) == set(calibration.STAGES)


def test_the_tables_say_what_was_told(told):
    twins = [told[0] | {"seed": seed, "class": kind} for seed, kind in enumerate(asking.CLASSES)]
    lines = calibration.tables(twins)
    q = calibration.questions(twins, "no patch")[0]
    row = next(line for line in lines if line.startswith("| no patch |")).split("|")
    assert float(row[2]) == 4
    assert float(row[3]) == pytest.approx(q["p_clean"], abs=5e-4)
    assert float(row[4].split()[0]) == q["clean"]
    assert any(line.startswith("| wood, one strip | 1 |") for line in lines)


def quick(seed):
    """Stands for a truth."""
    return {"seed": seed, "twice": 2 * seed}


def test_a_study_that_was_stopped_carries_on(tmp_path):
    kept = tmp_path / "answers.jsonl"
    kept.write_text(json.dumps({"seed": 1, "twice": "kept"}) + '\n{"seed": 2, "own": {"twice": 3}', encoding="utf-8")
    found = calibration.answers([1, 2, 3], kept, ask=quick, workers=1)
    assert [entry["twice"] for entry in found] == ["kept", 4, 6]
    again = calibration.answers([3, 2, 1], kept, ask=None)
    assert [entry["twice"] for entry in again] == [6, 4, "kept"]


def test_other_code_keeps_other_answers(tmp_path, monkeypatch):
    code = calibration.covers()
    monkeypatch.setattr(calibration, "SHARED", calibration.SHARED[:1])
    assert calibration.covers() != code
    assert calibration.kept_in(tmp_path, code) != calibration.kept_in(tmp_path, calibration.covers())


# ---- Why it was off ----


def test_the_model_is_asked_of_the_truths_own_numbers():
    truth = asking.Asking(4).truth
    layer, sub, hand = why.model_rows(truth)
    film, ground = (dict(zip(names, row, strict=True)) for names, row in ((LAYER, layer[0, 0]), (SUBSTRATE, sub[0])))
    same = {"decomposition_rise": "decomposition", "bond_energy": "bond", "plume_fluence": "plume",
            "thickness_spread": "spread", "threshold": "threshold", "conductivity": "conductivity"}  # fmt: skip
    assert {name: film[name] for name in same} == {name: getattr(truth.film, own) for name, own in same.items()}
    same = {"ln_frequency_factor": "ln_frequency", "activation_energy": "activation", "spread": "streaks",
            "limit_rise": "heat_limit", "gas_rise": "gas_onset", "thickness": "thickness"}  # fmt: skip
    expected = {name: min(getattr(truth.ground, own), why.NEVER) for name, own in same.items()}
    assert {name: ground[name] for name in same} == expected
    assert all(
        ground[name] == 1.0 for name in ("depth_factor", "heat_factor", "flash_factor", "lift_factor", "film_factor")
    )
    assert hand[0] == truth.hand.speed_spread


# Without incubation and well above the threshold the depth goes as the dose: need ∝ 1/dose ∝ speed.
def test_where_only_dose_counts_the_need_goes_as_the_speed():
    truth = asking.Asking(5).truth.with_({"residual_heat": 0.02, "spread": 0.3, "incubation": 1.0})
    strong = pp.Setting(200.0, 20e3, 200e-9, truth.laser.spot_radius, 0.1, 10.0, 0.05, 6)
    assert why.ratio(truth, strong) > 3
    assert why.steepness(truth, strong) == pytest.approx(1.0, abs=0.02)


def test_a_surprise_is_told_with_its_cause():
    places = [["middle", weight, covered, 0.0, 0.2, 9.0] for weight, covered in ((0.002, 0.0), (0.5, 0.0), (0.5, 0.06))]
    seen = {"covered": 0.03, "removed": 0.97, "tinted": 0.0, "mark": 0.0, "places": places}
    assert why.why_left(seen) == "islands, faster half"
    assert why.why_left(seen | {"covered": 0.9, "removed": 0.01}) == "nothing leaves"
    truth = asking.Asking(1).truth
    burnt = [[*place[:4], 1.5 if n == 0 else 0.5, 9.0] for n, place in enumerate(places)]
    found = why.why_harmed(truth, seen | {"tinted": 0.004, "places": burnt})
    assert found == "pulse 1.5 of its limit, slow stroke"


# ---- What is kept: `make long` ----


def kept():
    path = calibration.stamp.DOCS / "calibration.md"
    return path.read_text(encoding="utf-8") if path.exists() else ""


def test_the_study_is_of_this_code():
    assert calibration.covers() in kept(), "run: python benchmarks/calibration.py --write"


def test_the_study_was_held_out():
    first, last = calibration.HELD_OUT
    assert first >= 4000  # seeds below were looked at
    assert last - first >= 300
    assert f"Seeds {first} to {last - 1};" in kept(), "run: python benchmarks/calibration.py --write"
    assert f"{last - first} truths." in kept()
