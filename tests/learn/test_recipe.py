"""The recipe meets its limits or says why there is none."""

import pytest

import proofpatch as pp
from proofpatch.learn.forecast import grades_at
from proofpatch.learn.recipe import fastest, same

EASY = pp.Limits(p_clean=0.9, p_harm=0.05)  # before any patch no prior reaches the ordinary limits


def test_an_easy_job_has_a_recipe_inside_the_limits(pan_belief):
    found = pp.recipe(pan_belief, EASY)
    assert found.setting is not None
    p_clean, p_harm, _ = grades_at(pan_belief, found.setting)
    assert (p_clean, p_harm) == pytest.approx((found.p_clean, found.p_harm), abs=1e-9)
    assert p_clean >= 0.9
    assert p_harm <= 0.05
    pan_belief.laser.check(found.setting)
    assert found.area_rate == pytest.approx(
        found.setting.travel_speed * found.setting.sweep_width / found.setting.passes
    )
    assert not found.confirmed
    assert "confirmation" in found.because


def test_the_short_way_to_the_setting_is_the_long_one(pan_belief, oak_belief, at_work):
    # Limits from far off to easy; with a setting that is proven too.
    seen = pp.update(pan_belief, pp.Graded(at_work(passes=2), "clean", "none"))
    named = 0
    for belief in (pan_belief, oak_belief, seen):
        for limits in (pp.Limits(), EASY, pp.Limits(p_clean=0.8, p_harm=0.2), pp.Limits(p_clean=0.5, p_harm=0.5)):
            found = pp.recipe(belief, limits).setting
            assert fastest(pp.forecast(belief, limits)) == found
            named += found is not None
    assert 4 < named < 12


def test_margins_hold_at_their_ends_and_not_beyond(pan_belief):
    found = pp.recipe(pan_belief, EASY)
    assert set(found.margins) == {"average_power", "repetition_rate", "travel_speed", "sweep_width", "stand_off"}
    for knob in ("average_power", "travel_speed"):
        low, high = found.margins[knob]
        assert low <= getattr(found.setting, knob) <= high
        for end in (low, high):
            p_clean, p_harm, _ = grades_at(pan_belief, found.setting.with_(**{knob: end}))
            assert p_clean >= 0.9 - 1e-9
            assert p_harm <= 0.05 + 1e-9
    low, high = found.margins["stand_off"]
    assert low == -high <= 0


def test_no_recipe_is_an_answer_with_its_figures(oak_belief):
    found = pp.recipe(oak_belief, pp.Limits(p_clean=0.999, p_harm=0.0))
    assert found.setting is None
    assert found.because.startswith("None:")
    assert "%" in found.because
    assert found.area_rate == 0.0


def test_stricter_limits_are_never_faster(pan_belief):
    rates = [
        pp.recipe(pan_belief, pp.Limits(p_clean=c, p_harm=h)).area_rate
        for c, h in ((0.8, 0.2), (0.85, 0.1), (0.9, 0.05))
    ]
    assert rates[0] >= rates[1] * 0.98
    assert rates[1] >= rates[2] * 0.98


def test_the_gentler_alternative_is_gentler(pan_belief):
    found = pp.recipe(pan_belief, EASY)
    assert found.gentler is not None
    assert grades_at(pan_belief, found.gentler)[1] <= 0.5 * found.p_harm + 1e-9


def test_a_clean_patch_at_the_recipe_confirms_it(pan_belief):
    found = pp.recipe(pan_belief, EASY)
    taught = pp.update(pan_belief, [pp.Graded(found.setting, "clean", "none")] * 2)
    again = pp.recipe(taught, EASY)
    assert again.setting is not None
    patches = pp.next_patch(taught, EASY)
    assert again.confirmed or same(again.setting, patches[0].setting)


def test_limits_out_of_range_are_refused():
    for field in ("p_clean", "p_harm", "p_harm_patch"):
        with pytest.raises(pp.InputError) as caught:
            pp.Limits(**{field: 1.5})
        assert caught.value.field == field
