"""When to stop testing: gain against cost, from the belief."""

import dataclasses

import pytest

import proofpatch as pp
from proofpatch.learn.patches import PLACEMENT_SECONDS
from proofpatch.learn.stopping import GRADING_SECONDS, LENGTH, PLACES, another_strip, limits_at

EASY = pp.Limits(p_clean=0.9, p_harm=0.05)


@pytest.fixture(scope="module")
def proven(pan_belief):
    """A recipe that was laid, clean and harmless, three times over."""
    found = pp.recipe(pan_belief, EASY)
    belief = pp.update(pan_belief, [pp.Graded(found.setting, "clean", "none")] * 3)
    again = pp.recipe(belief, EASY)
    while not again.confirmed:
        belief = pp.update(belief, pp.Graded(again.setting, "clean", "none"))
        again = pp.recipe(belief, EASY)
    return belief


def test_a_large_job_earns_a_strip_that_a_small_one_does_not(proven):
    small, large = another_strip(proven, EASY, area=0.05), another_strip(proven, EASY, area=5000.0)
    assert not small.pays
    assert "stop testing" in small.because
    assert large.seconds_saved == pytest.approx(1e5 * small.seconds_saved, rel=1e-6)
    assert large.pays == (large.seconds_saved > large.seconds_spent)
    assert large.seconds_spent == small.seconds_spent


def test_an_unconfirmed_recipe_is_confirmed_first(pan_belief):
    worth = another_strip(pan_belief, EASY, area=0.01)
    assert worth.pays
    assert "not confirmed" in worth.because


def test_what_a_strip_costs(proven):
    worth = another_strip(proven, EASY, place="scrap", count=2)
    beam = sum(p.setting.passes * LENGTH / p.setting.travel_speed for p in worth.strip)
    least = PLACEMENT_SECONDS + beam + GRADING_SECONDS * len(worth.strip)
    assert least <= worth.seconds_spent <= least + 20.0 * len(worth.strip)
    hidden = another_strip(proven, EASY, place="hidden", count=2)
    assert [p.setting for p in hidden.strip] == [p.setting for p in worth.strip] or hidden.strip != worth.strip
    assert f"{worth.seconds_spent / 60:.1f} min" in worth.because


def test_a_hopeless_job_stops(varnished_oak):
    belief = pp.prior(
        pp.Surface([pp.Layer("waterborne-clear", condition="fresh")], "oak", "new"), "pulsed-500", draws=512
    )
    worth = another_strip(belief)
    assert not worth.pays
    assert "stop testing" in worth.because


def test_where_the_strip_lies(pan_belief):
    limits = pp.Limits()
    assert [limits_at(limits, p).p_harm_patch for p in PLACES] == [0.5, 0.1, 0.01]
    assert limits_at(pp.Limits(p_harm_patch=0.7), "scrap").p_harm_patch == 0.7
    for place in ("the cat", None, 3):
        with pytest.raises(pp.InputError) as caught:
            another_strip(pan_belief, place=place)
        assert caught.value.field == "place"
    for area in (0, -1, float("nan"), "much"):
        with pytest.raises(pp.InputError) as caught:
            another_strip(pan_belief, area=area)
        assert caught.value.field == "area"


def test_two_beliefs_give_two_sentences(pan_belief, proven):
    one, two = another_strip(pan_belief, EASY), another_strip(proven, EASY)
    assert one.because != two.because
    assert dataclasses.asdict(one).keys() == dataclasses.asdict(two).keys()
