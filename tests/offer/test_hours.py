"""Hours: the plain arithmetic of area, rate, hand and set-up, as a distribution."""

import numpy as np
import pytest

import proofpatch as pp

EASY = pp.Limits(p_clean=0.9, p_harm=0.05)  # before any patch no prior reaches the ordinary limits


@pytest.fixture(scope="module")
def found(pan_belief):
    return pp.recipe(pan_belief, EASY)


def test_the_middle_is_area_over_rate_times_hand_plus_set_up(pan_belief, found):
    hours = pp.hours(found, pan_belief, [2.0], {"set_up": 600.0, "hand_factor": 2.0})
    assert hours.quantile(0.5) == pytest.approx(2.0 / found.area_rate * 2.0 + 600.0, rel=0.05)
    assert hours.quantile(0.1) < hours.quantile(0.5) < hours.quantile(0.9)
    assert hours.quantile(0.1) < hours.mean < hours.quantile(0.9)


def test_effort_counts_as_area(pan_belief, found):
    plain, carved = (pp.hours(found, pan_belief, zones, {"set_up": 0.0}) for zones in ([3.0], [(1.0, 3.0)]))
    assert np.array_equal(plain.seconds, carved.seconds)


def test_same_seed_same_hours(pan_belief, found):
    assert np.array_equal(pp.hours(found, pan_belief, [1.0]).seconds, pp.hours(found, pan_belief, [1.0]).seconds)


@pytest.mark.parametrize(
    ("zones", "rates", "field"),
    [
        ([], None, "zones"),
        ([-1.0], None, "zones"),
        ([float("nan")], None, "zones"),
        ([1.0], {"tea": 1.0}, "rates"),
        ([1.0], {"set_up": float("inf")}, "rates.set_up"),
    ],
)
def test_bad_input_is_one_sentence(pan_belief, found, zones, rates, field):
    with pytest.raises(pp.InputError) as caught:
        pp.hours(found, pan_belief, zones, rates)
    assert caught.value.field == field


def test_no_recipe_no_hours(oak_belief):
    none = pp.recipe(oak_belief, pp.Limits(p_clean=0.999, p_harm=0.0))
    with pytest.raises(pp.InputError, match="no recipe"):
        pp.hours(none, oak_belief, [1.0])
