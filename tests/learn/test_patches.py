"""The next patch risks little, teaches, and never jumps past what gentler ones have shown."""

import itertools

import pytest

import proofpatch as pp
from proofpatch.learn.patches import DOSE_JUMP, FLUENCE_JUMP, _hardness


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
    knobs = {"average_power", "repetition_rate", "passes"}
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
    for patch in pp.next_patch(taught, pp.Limits(), count=3):
        hard = _hardness(taught, [patch.setting])[0]
        assert (hard <= shown * [FLUENCE_JUMP, DOSE_JUMP, DOSE_JUMP] * 1.0001).all()


def test_never_as_hard_as_a_patch_that_harmed(oak_belief, strip):
    harmed = strip[-1].setting
    taught = pp.update(
        oak_belief, [pp.Graded(strip[0].setting, "partial", "none"), pp.Graded(harmed, "nearly", "marked")]
    )
    limit = _hardness(taught, [harmed])[0]
    for patch in pp.next_patch(taught, pp.Limits(), count=3):
        assert not (_hardness(taught, [patch.setting])[0] >= limit).all()


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
    assert patches[-1].setting == found.setting
    assert "recipe" in patches[-1].because


@pytest.mark.parametrize("count", [0, 13, 1.5, True, "3"])
def test_bad_counts_are_one_sentence(oak_belief, count):
    with pytest.raises(pp.InputError) as caught:
        pp.next_patch(oak_belief, pp.Limits(), count=count)
    assert caught.value.field == "count"
