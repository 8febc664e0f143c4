"""The next patch risks little, teaches, and never jumps past what gentler ones have shown."""

import itertools

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn.forecast import thinned
from proofpatch.learn.grading import grade_table, harm_chance, residue_chance
from proofpatch.learn.patches import JUMPS, _conditional_harm, _hardness, graded_chances
from proofpatch.learn.rows import setting_rows


@pytest.fixture(scope="module")
def strip(oak_belief):
    return pp.next_patch(oak_belief, pp.Limits(), count=3)


def test_a_first_patch_is_within_the_harm_of_a_patch(oak_belief):
    (patch,) = pp.next_patch(oak_belief, pp.Limits())
    assert patch.p_harm <= 0.1
    oak_belief.laser.check(patch.setting)
    assert "harm" in patch.because


def test_a_strip_goes_from_gentle_to_hard(oak_belief, strip):
    assert 1 < len(strip) <= 3
    dose = _hardness(oak_belief, [p.setting for p in strip])[:, 2]
    assert all(a <= b * 1.0001 for a, b in itertools.pairwise(dose))
    assert all(p.p_harm <= 0.1 for p in strip)
    # One placement: a single knob is stepped.
    knobs = {"average_power", "repetition_rate", "travel_speed", "passes"}
    stepped = {
        k
        for k in (*knobs, "travel_speed", "pulse_width", "sweep_width")
        if len({getattr(p.setting, k) for p in strip}) > 1
    }
    assert len(stepped) == 1
    assert stepped <= knobs


def test_a_stricter_limit_gives_a_gentler_patch(oak_belief):
    _, (careful,) = (pp.next_patch(oak_belief, pp.Limits(p_harm_patch=p)) for p in (0.3, 0.02))
    assert careful.p_harm <= 0.02


def test_never_past_what_gentler_patches_have_shown(oak_belief, strip):
    graded = [pp.Graded(strip[0].setting, "trace", "none")]
    taught = pp.update(oak_belief, graded)
    shown = _hardness(taught, [strip[0].setting])[0]
    (single,) = pp.next_patch(taught, pp.Limits())
    assert (_hardness(taught, [single.setting])[0] <= shown * JUMPS * 1.0001).all()
    # A strip climbs a step at a time, from what is shown and from what lies before in it.
    for patch in pp.next_patch(taught, pp.Limits(), count=3):
        hard = _hardness(taught, [patch.setting])[0]
        assert (hard <= shown * JUMPS * 1.0001).all()
        shown = np.maximum(shown, hard)


def test_never_as_hard_as_a_patch_that_harmed(oak_belief, strip):
    harmed = strip[-1].setting
    taught = pp.update(
        oak_belief, [pp.Graded(strip[0].setting, "partial", "none"), pp.Graded(harmed, "nearly", "marked")]
    )
    limit = _hardness(taught, [harmed])[0]
    for patch in pp.next_patch(taught, pp.Limits(), count=3):
        # The very same may be laid again where the harm did not fit; nothing harder.
        assert patch.setting == harmed or not (_hardness(taught, [patch.setting])[0] >= limit).all()


def test_what_is_laid_is_not_asked_again(oak_belief):
    (first,) = pp.next_patch(oak_belief, pp.Limits())
    (second,) = pp.next_patch(oak_belief, pp.Limits(), done=[first])
    assert second.setting != first.setting


def test_no_patch_inside_the_limit_is_an_empty_list(oak_belief):
    assert pp.next_patch(oak_belief, pp.Limits(p_harm_patch=0.0)) == []


def test_an_easy_job_is_confirmed_at_the_recipe(pan_belief):
    easy = pp.Limits(p_clean=0.9, p_harm=0.05)
    found = pp.recipe(pan_belief, easy)
    patches = pp.next_patch(pan_belief, easy, count=3)
    (through,) = (p for p in patches if p.setting == found.setting)
    assert "It is the recipe" in through.because
    (single,) = pp.next_patch(pan_belief, easy)
    assert single.setting == found.setting


def test_with_a_proven_recipe_a_strip_risks_half_as_much(varnished_oak):
    # Without that rule the hardest steps here would risk 0.058 in a strip and 0.085 alone.
    limits = pp.Limits(p_clean=0.8, p_harm=0.05, p_harm_patch=0.1)
    belief = pp.prior(varnished_oak, "pulsed-500", draws=1024)
    for _ in range(8):
        found = pp.recipe(belief, limits)
        if found.confirmed:
            break
        steps = [found.setting] if found.setting else [p.setting for p in pp.next_patch(belief, limits, count=3)[:2]]
        belief = pp.update(belief, [pp.Graded(s, "clean", "none") for s in steps])
    assert found.confirmed
    for count in (1, 3):
        patches = pp.next_patch(belief, limits, count=count)
        assert patches
        assert max(p.p_harm for p in patches) <= limits.p_harm_patch / 2


def test_harm_along_a_strip_counts_what_its_gentler_steps_showed(oak_belief, strip):
    few = thinned(oak_belief, 512)
    rows = setting_rows([p.setting for p in strip], oak_belief.laser)
    grades = graded_chances(oak_belief, few, rows)
    found = _conditional_harm(grades, few.weight, range(len(strip)))
    # By hand, draw by draw: Bayes with "harm none" said of every gentler step.
    left = few.weight.copy()
    for j, value in enumerate(found):
        assert value == pytest.approx(left @ grades.harm[:, j] / left.sum(), rel=1e-9)
        left = left * grades.joint.reshape(len(left), len(strip), 5, 4)[:, j, :, 0].sum(axis=1)
    assert found[-1] <= few.weight @ grades.harm[:, -1] + 1e-9


def test_the_table_of_grades_is_the_single_grades():
    rng = np.random.default_rng(0)
    need, spread, margin, noise = (
        rng.normal(size=50),
        rng.uniform(0.05, 1, 50),
        rng.normal(size=50),
        rng.uniform(0.1, 0.4, 50),
    )
    residue, harm = grade_table(need, spread, margin, noise, 0.03)
    for i in range(5):
        np.testing.assert_allclose(residue[:, i], residue_chance(i, need, spread, noise, 0.03), rtol=1e-12, atol=1e-15)
    for i in range(4):
        np.testing.assert_allclose(harm[:, i], harm_chance(i, margin, noise, 0.03), rtol=1e-12, atol=1e-15)


@pytest.mark.parametrize("count", [0, 13, 1.5, True, "3"])
def test_bad_counts_are_one_sentence(oak_belief, count):
    with pytest.raises(pp.InputError) as caught:
        pp.next_patch(oak_belief, pp.Limits(), count=count)
    assert caught.value.field == "count"
