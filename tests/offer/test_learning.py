"""Wright's law against a printed example, and what learns in a batch."""

import dataclasses

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.offer.hours import Correction, Preliminaries, Zone
from proofpatch.offer.learning import batch_factor


# Wideman, Learning curve mathematics (maxwideman.com, appendix 2, model A after Wright 1936): at 80 % the first two
# average 80 % of the first, so that the second alone takes 60 %; the first four average 64 %.
def test_the_worked_example_of_the_80_percent_curve():
    assert batch_factor(1, 0.8) == 1.0
    assert batch_factor(2, 0.8) / 2 == pytest.approx(0.80)
    assert batch_factor(2, 0.8) - batch_factor(1, 0.8) == pytest.approx(0.60)
    assert batch_factor(4, 0.8) / 4 == pytest.approx(0.64)


@pytest.fixture(scope="module")
def found(pan_belief):
    return pp.recipe(pan_belief, pp.Limits(p_clean=0.9, p_harm=0.05))


def test_the_beam_does_not_learn_and_the_hand_does(found, pan_belief):
    zone = Zone(0.4, masking=2.0, set_ups=1)
    one, many = (pp.hours(found, pan_belief, [zone], {"learning": 0.9}, pieces=n) for n in (1, 8))
    assert np.allclose(many.parts["beam on"], 8 * one.parts["beam on"])
    assert np.array_equal(many.parts["setting up"], one.parts["setting up"])
    ratio = float(np.median(many.parts["masking"] / one.parts["masking"]))
    assert ratio == pytest.approx(8 * 0.9**3, rel=0.02)  # three doublings


def test_the_parts_add_up(found, pan_belief):
    around = Preliminaries(strips=2, waiting=1800.0, trips=2, travel=2400.0, first_of_kind=True)
    zone = Zone(0.7, 1.4, "rail", 0.1, 0.06, 0.1, 3, 2, 1.5)
    hours = pp.hours(found, pan_belief, [zone, 0.2], around=around, pieces=3)
    assert np.allclose(sum(hours.parts.values()), hours.seconds)
    assert np.allclose(hours.at_work, hours.seconds - hours.parts["on the road"] - 1800.0)
    assert {"test strips", "masking", "clamping", "finishing by hand", "rest"} <= set(hours.parts)
    assert min(float(values.min()) for values in hours.parts.values()) >= 0


def test_a_narrow_member_takes_whole_strokes(found, pan_belief):
    wide = found.setting.sweep_width
    full, half = (pp.hours(found, pan_belief, [Zone(b * 1.2, width=b)]) for b in (wide, wide / 2))
    assert np.allclose(full.parts["beam on"], half.parts["beam on"])


def test_an_unsure_area_widens_the_hours_and_is_named(found, pan_belief):
    sure, unsure = (pp.hours(found, pan_belief, [Zone(3.0, name="door", area_spread=s)]) for s in (0.0, 0.5))
    assert np.std(np.log(unsure.seconds)) > 1.5 * np.std(np.log(sure.seconds))
    assert unsure.ranked[0].name == "area of door"
    assert "Area of door makes" in unsure.ranked[0].sentence


def test_finished_jobs_correct_the_hours(found, pan_belief):
    plain = pp.hours(found, pan_belief, [1.0])
    moved = pp.hours(found, pan_belief, [1.0], correction=Correction(1.3, 0.0, 5))
    assert np.allclose(moved.parts["beam on"], 1.3 * plain.parts["beam on"])
    assert "no finished job of this shop" in plain.drivers[-1]
    assert "5 finished jobs of the shop make these hours 1.3 times" in moved.drivers[-1]
    with pytest.raises(pp.InputError, match="rests on no job"):
        Correction(1.2, 0.1, 0)


# A sum of independent parts: each makes its own variance over the sum's (definition of a first-order index).
def test_the_shares_of_the_doubt_are_those_of_a_sum():
    from proofpatch.offer.drivers import drivers_of

    rng = np.random.default_rng(5)
    a, b = rng.standard_normal(50_000), rng.standard_normal(50_000)
    found = drivers_of(2.0 * a + b, {"set_up": a, "looking": b})
    assert [one.name for one in found] == ["set_up", "looking"]
    assert [one.share for one in found] == pytest.approx([0.8, 0.2], abs=0.01)


def test_what_is_gone_over_again_follows_from_the_chance_of_clean(found, pan_belief):
    def again(p_clean):
        parts = pp.hours(dataclasses.replace(found, p_clean=p_clean), pan_belief, [2.0]).parts
        return parts["going over again"] / (parts["beam on"] + parts["turning strokes"] + parts["looking"])

    sure, never, mixed = (again(p) for p in (1.0, 0.0, 0.7))
    assert float(np.median(sure)) == pytest.approx(0.02, rel=0.1)  # rates.csv, touching_up
    assert float(np.median(never)) == pytest.approx(0.20, rel=0.1)  # islands
    assert float(np.mean(mixed == sure)) == pytest.approx(0.7, abs=0.03)
