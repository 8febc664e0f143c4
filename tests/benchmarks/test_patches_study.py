"""The study of patches to a recipe: its truths, its rivals, its arithmetic, and how new it is."""

import dataclasses

import numpy as np
import patches
import patches_rivals
import patches_truth
import pytest
import stamp

import proofpatch as pp
from proofpatch.learn.forecast import area_rate

TRUTH = patches_truth.draw_truth(3)  # baked grease on aluminium: it has recipes


def test_a_truth_is_one_of_its_seed_and_not_of_another():
    again, other = patches_truth.draw_truth(3), patches_truth.draw_truth(18)
    assert np.array_equal(TRUTH.layer, again.layer)
    assert again.surface == other.surface
    assert not np.array_equal(TRUTH.layer, other.layer)


def test_truths_differ_from_the_models_own_draws(at_work):
    # The field moves the answer, smoothly, by about its standard deviation.
    settings = patches_truth.candidates(TRUTH.laser, 400)
    flat = dataclasses.replace(
        TRUTH.need_field, waves=TRUTH.need_field.waves * 0, phases=TRUTH.need_field.phases * 0 + np.pi / 2
    )
    bent = (
        TRUTH.outcome(settings, patch=False)[0]
        - dataclasses.replace(TRUTH, need_field=flat).outcome(settings, patch=False)[0]
    )
    assert 0.1 < bent.std() < 0.5
    one = at_work(average_power=200.0, repetition_rate=40e3)
    near = one.with_(average_power=202.0)
    rows = TRUTH.outcome([one, near], patch=False)
    assert abs(rows[2][0] - rows[2][1]) < 0.1
    # Student's t has more in its tails than a normal of the same 90 % range.
    rng = np.random.default_rng(0)
    t = rng.standard_t(patches_truth.TAILS, 200_000) * patches_truth.NORMAL_95 / patches_truth.T_95
    assert np.mean(np.abs(t) > patches_truth.NORMAL_95) == pytest.approx(0.1, abs=0.005)
    assert np.mean(np.abs(t) > 3.5) > 5 * 4.65e-4  # two-sided normal tail at 3.5 (printed tables)


def test_the_best_and_a_harmful_recipe_score_one_and_nothing():
    settings = patches_truth.candidates(TRUTH.laser)
    clean, harmless = TRUTH.judge(settings)
    best, sure = patches_truth.best_rates(TRUTH)
    assert 0 < sure <= best
    rates = np.array([area_rate(s) for s in settings])
    perfect = settings[int(np.argmax(np.where(clean & harmless, rates, 0)))]
    assert patches.score(TRUTH, perfect, best) == (1.0, "good")
    assert patches.score(TRUTH, settings[int(np.argmin(harmless))], best) == (0.0, "harms")
    assert patches.score(TRUTH, settings[int(np.argmax(harmless & ~clean))], best) == (0.0, "left")
    assert patches.score(TRUTH, None, best) == (0.0, "none")
    slow = perfect.with_(travel_speed=perfect.travel_speed / 2)
    if all(v[0] for v in TRUTH.judge([slow])):
        assert patches.score(TRUTH, slow, best)[0] == pytest.approx(0.5)


def test_who_knows_the_truth_lays_patches_the_laser_can_lay_round_a_fast_recipe_that_holds():
    best, _ = patches_truth.best_rates(TRUTH)
    placed = patches_truth.knowing_patches(TRUTH, best)
    assert len(placed) == 8
    for setting in placed:
        pp.laser(TRUTH.laser).check(setting)
    assert patches.score(TRUTH, placed[1], best)[0] >= patches_truth.WELL
    dose = np.array([s.average_power / s.travel_speed for s in placed])
    assert dose / dose[1] == pytest.approx(patches_truth.KNOWING)
    assert patches_truth.knowing_patches(TRUTH, 100 * best) == []


@pytest.mark.parametrize("name", patches_rivals.RIVALS)
def test_a_rival_keeps_to_the_rules(name, at_work):
    laser = pp.laser("pulsed-500")
    start = at_work(average_power=80.0, passes=1)
    for tuning in patches_rivals.RIVALS[name].tunings:
        asked = []

        def grade(setting, asked=asked):
            laser.check(setting)
            asked.append(setting)
            return TRUTH.grade(setting, len(asked))

        found = patches_rivals.run(patches_rivals.RIVALS[name], tuning, grade, laser, start, (4, 9))
        assert len(asked) <= 9
        assert asked[0] == start
        assert len(found) == 2
        for setting, harmed in found:
            assert 0 <= harmed <= 9
            if setting is not None:
                laser.check(setting)


def test_two_patches_that_bracket_a_recipe_name_their_middle(at_work):
    gentle, hard = at_work(average_power=100.0), at_work(average_power=400.0)
    seen = [pp.Graded(gentle, "nearly", "none"), pp.Graded(hard, "clean", "tint")]
    assert patches_rivals.named(seen, pp.laser("pulsed-500")).average_power == pytest.approx(200.0)
    assert patches_rivals.named(seen[:1], pp.laser("pulsed-500")) is None
    proven = at_work(average_power=300.0)
    assert patches_rivals.named([*seen, pp.Graded(proven, "clean", "none")], pp.laser("pulsed-500")) == proven


def test_ours_grades_no_more_than_it_may_and_stops_a_strip_at_harm():
    class Watched:
        surface, laser = TRUTH.surface, TRUTH.laser

        def __init__(self):
            self.numbers = []

        def grade(self, setting, number):
            self.numbers.append(number)
            return pp.Graded(setting, "partial", "tint" if number == 1 else "none")

    watched = Watched()
    found = patches.ours(watched, marks=(2, 5), strip=4)
    assert watched.numbers == list(range(len(watched.numbers)))
    assert len(watched.numbers) <= 5
    assert [harmed for _, harmed in found] == [1, 1]
    watched.numbers.clear()  # where a patch may not harm at all, none is laid
    assert patches.ours(watched, (2, 5), limits=pp.Limits(p_harm_patch=0.0)) == [(None, 0), (None, 0)]
    assert watched.numbers == []


def test_the_kept_study_is_as_new_as_the_code_it_covers():
    text = stamp.DOCS.joinpath("patches.md").read_text(encoding="utf-8")
    assert stamp.covers() in text, "run: make long"
    assert "| ours | 8 |" in text
