"""Forecasts against what came."""

import numpy as np
import pytest
from scipy.special import rel_entr

import proofpatch as pp
from proofpatch.learn.memory.skill import Foretold, foretell, grade_chances, skill
from proofpatch.learn.surprise import expected


def drawn(say, jobs=400, seed=1):
    """Jobs of two kinds, nine in ten and one in ten; `say` is what is forecast of each."""
    rng = np.random.default_rng(seed)
    found = []
    for n in range(jobs):
        p = float(rng.choice([0.1, 0.9]))
        found.append(Foretold(f"job {n}", float(n), "clean", say(p, rng), bool(rng.random() < p)))
    return found


def test_a_perfect_forecaster_gains_what_information_theory_says():
    # KL of what is true to the base rate of one half, by scipy.special.rel_entr.
    (found,) = skill(drawn(lambda p, rng: p, jobs=2000))
    assert found.gain == pytest.approx(rel_entr([0.9, 0.1], [0.5, 0.5]).sum(), abs=3 * found.error)
    assert found.gain > 10 * found.error
    assert "better than the base rate" in found.because


def test_a_forecaster_who_knows_nothing_gains_nothing():
    (found,) = skill(drawn(lambda p, rng: 0.5))
    assert abs(found.gain) < 3 * found.error + 0.01
    assert "no better" in found.because


def test_an_overconfident_one_is_found_out():
    (found,) = skill(drawn(lambda p, rng: float(rng.choice([0.01, 0.99]))))
    assert found.gain < -2 * found.error
    assert "worse" in found.because


def test_a_base_rate_is_of_earlier_jobs_only():
    # First job, three patches: nothing earlier, so one half for each, however they came.
    first = [Foretold("a", float(n), "clean", 0.8, True) for n in range(3)]
    (found,) = skill(first)
    assert found.base == pytest.approx(np.log(0.5))
    assert found.error is None
    (both,) = skill([*first, Foretold("b", 9.0, "clean", 0.8, True)])
    assert both.base == pytest.approx((3 * np.log(0.5) + np.log(4 / 5)) / 4)


def test_patches_of_one_job_count_as_one_job():
    once = drawn(lambda p, rng: p, jobs=30)
    often = [Foretold(f.job, f.when + k / 10, f.outcome, f.p, f.came) for f in once for k in range(5)]
    # Were they counted each by itself, the error would be 1/√5 of it.
    assert skill(often)[0].error == pytest.approx(skill(once)[0].error, rel=0.25)


def test_periods_show_whether_it_grows():
    early, late = drawn(lambda p, rng: 0.5, 60), drawn(lambda p, rng: p, 60)
    found = skill([*early, *(Foretold(f"late {f.job}", f.when + 1e3, f.outcome, f.p, f.came) for f in late)], periods=2)
    assert [s.jobs for s in found] == [60, 60]
    assert found[0].gain < found[1].gain
    assert found[0].last < found[1].first


def test_grades_have_chances_that_add_up(oak_belief, at_work):
    laid = [pp.Graded(at_work(passes=n), "partial", "none", seconds=2.0, length=0.1) for n in (1, 8)]
    chances = grade_chances(oak_belief, laid)
    assert chances.sum(axis=(1, 2)) == pytest.approx(1.0)
    # "none" is read the same way by the likelihood an update uses.
    assert chances[0, 2, 0] == pytest.approx(expected(oak_belief, laid[0]), rel=1e-4)


def test_what_was_said_of_a_patch_was_said_before_it(oak_belief, at_work):
    graded = pp.Graded(at_work(passes=8), "clean", "none", seconds=2.0, length=0.1)
    clean, harm = foretell(oak_belief, graded, "a", 0.0)
    later, _ = foretell(pp.update(oak_belief, [graded] * 3), graded, "a", 0.0)
    assert clean.came
    assert not harm.came
    assert clean.p < later.p


def test_nothing_said_has_no_skill():
    assert skill([]) == ()
    with pytest.raises(pp.InputError, match="chance"):
        Foretold("a", 0.0, "clean", 1.2, True)
