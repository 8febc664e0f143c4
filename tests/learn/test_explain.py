"""What binds a recipe and what its neighbours cost: every number from the belief it speaks of."""

import re

import pytest

import proofpatch as pp
from proofpatch.learn.explain import alternatives, turned, what_binds
from proofpatch.learn.forecast import fits, grades_at
from proofpatch.units import chance

EASY = pp.Limits(p_clean=0.9, p_harm=0.05)


@pytest.fixture(scope="module", params=[0, 5])
def asked(request, greasy_pan):
    belief = pp.prior(greasy_pan, "pulsed-500", seed=request.param, draws=512)
    return belief, pp.recipe(belief, EASY)


def test_every_number_of_an_alternative_is_the_beliefs(asked):
    belief, found = asked
    assert len(found.alternatives) == 3
    here = grades_at(belief, found.setting)
    for other in found.alternatives:
        p_clean, p_harm, _ = grades_at(belief, other.setting)
        assert (other.p_clean, other.p_harm) == pytest.approx((p_clean, p_harm), abs=1e-9)
        assert other.holds == (p_clean >= EASY.p_clean and p_harm <= EASY.p_harm)
        assert f"clean {chance(p_clean)} instead of {chance(here[0])}" in other.because
        assert f"harm {chance(p_harm)} instead of {chance(here[1])}" in other.because
        assert fits(belief, other.setting)
        time = found.area_rate / other.area_rate
        said = re.search(r"(\d+\.?\d*) % (more|less) time", other.because)
        if said:
            assert float(said[1]) == pytest.approx(100 * abs(time - 1), rel=5e-3)
            assert (said[2] == "more") == (time > 1)
        else:
            assert time == pytest.approx(1.0, abs=0.02)


def test_what_binds_names_figures_of_the_belief(asked):
    belief, found = asked
    s = found.setting
    percents = set(re.findall(r"(?:over |under )?\d+\.?\d* %", found.binds))
    steps = [
        s.with_(**change)
        for change in (
            {"travel_speed": s.travel_speed * 1.25},
            *([{"passes": s.passes - 1}] if s.passes > 1 else []),
        )
    ]
    steps += [step.with_(average_power=step.average_power * 1.25) for step in steps]
    known = {chance(p) for step in steps for p in grades_at(belief, step)[:2]}
    assert percents
    assert percents <= known


def test_two_beliefs_give_two_explanations(greasy_pan, at_work):
    beliefs = [pp.prior(greasy_pan, "pulsed-500", seed=seed, draws=512) for seed in (0, 5)]
    told = [[a.because for a in alternatives(b, EASY, at_work())] for b in beliefs]
    assert told[0] != told[1]
    assert what_binds(beliefs[0], EASY, at_work()) != what_binds(beliefs[1], EASY, at_work())


def test_the_fastest_hand_in_one_pass_is_said(pan_belief, at_work):
    said = what_binds(pan_belief, EASY, at_work(travel_speed=0.15, passes=1))
    assert "150 mm/s, the fastest" in said


def test_steps_stay_inside_what_laser_and_hand_can_do(pan_belief, at_work):
    full = at_work(average_power=500.0, repetition_rate=20e3, passes=1)
    words = [w for w, _ in turned(pan_belief, full)]
    assert "a quarter more power" not in words
    assert "one pass less" not in words
    assert "a fifth less power" in words
