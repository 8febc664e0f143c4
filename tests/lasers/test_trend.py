"""Readings over time: a fall is named when it is one, and its shape when the readings can tell."""

import datetime
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from proofpatch.errors import InputError
from proofpatch.lasers.trend import DRIFT, STEP, trend

SIGMA = 0.012


def month(k):
    return datetime.date(2026, 1, 5) + datetime.timedelta(days=30 * k)


def months(count):
    return [month(k) for k in range(count)]


# Simulated readings of one and the same power: at most 5 in 100 are called a fall, however many readings there are.
@pytest.mark.parametrize("count", [2, 4, 12])
def test_what_has_not_fallen_is_seldom_said_to(count):
    rng = np.random.default_rng(0)
    alarms = [trend(months(count), list(1 + SIGMA * rng.standard_normal(count)), SIGMA).fallen for _ in range(1000)]
    assert 0.01 <= np.mean(alarms) <= 0.065


# 200 simulated courses of each shape, down 12 % in all: the fall is always seen, the shape hardly ever named wrongly,
# and mostly named from eight readings on.
@pytest.mark.parametrize(("count", "named"), [(5, 0), (8, 180)])
@pytest.mark.parametrize("shape", [STEP, DRIFT])
def test_the_shape_is_named_only_where_the_readings_tell(count, named, shape):
    rng = np.random.default_rng(1)
    k = np.arange(count)
    course = np.where(k < count // 2, 1.0, 0.88) if shape == STEP else 1 - 0.12 * k / (count - 1)
    seen = Counter()
    for _ in range(200):
        found = trend(months(count), list(course * (1 + SIGMA * rng.standard_normal(count))), SIGMA)
        assert found.fallen
        seen[found.shape] += 1
        if found.shape == STEP == shape and count == 8:
            assert found.between[0] < found.between[1]
    assert seen[STEP if shape == DRIFT else DRIFT] <= 2
    assert seen[shape] >= named


def test_three_readings_show_a_fall_but_not_its_shape():
    found = trend(months(3), [1.0, 0.99, 0.88], SIGMA)
    assert found.fallen
    assert (found.shape, found.between) == ("", None)
    assert found.change.value == pytest.approx(-0.12)
    assert found.change.low < -0.12 < found.change.high < 0
    assert found.since == month(0)


def test_a_step_lies_between_two_dates():
    found = trend(months(8), [1.0, 0.99, 1.0, 0.99, 0.85, 0.86, 0.85, 0.86], SIGMA)
    assert (found.shape, found.between) == (STEP, (month(3), month(4)))


# By hand, eight readings a month apart, a clean step of d in the middle: about a straight fall Σ(y − line)² = 10/21 d²,
# which must beat a step's nothing by 6 + ln 8: d = 0.0494 for σ = 0.012.
@pytest.mark.parametrize(("drop", "shape"), [(0.046, ""), (0.052, STEP)])
def test_a_step_is_named_where_it_is_twenty_times_likelier(drop, shape):
    found = trend(months(8), [1.0] * 4 + [1 - drop] * 4, SIGMA)
    assert found.fallen
    assert (found.shape, found.since) == (shape, month(3))


def test_after_the_window_was_changed_there_is_nothing_to_say():
    found = trend(months(4), [1.0, 0.9, 0.85, 0.99], SIGMA)
    assert not found.fallen
    assert found.since == month(0)
    assert not trend(months(3), [0.8, 0.9, 1.0], SIGMA).fallen


def test_dates_decide_not_the_order_given():
    dates, values = months(6), [1.0, 1.01, 0.99, 0.9, 0.89, 0.9]
    order = [3, 0, 5, 1, 4, 2]
    assert trend([dates[i] for i in order], [values[i] for i in order], SIGMA) == trend(dates, values, SIGMA)


def test_fewer_than_two_readings_are_no_trend():
    assert trend([], [], SIGMA) is None
    assert trend([month(0)], [1.0], SIGMA) is None


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 0, -1, 1e308, 5e-324, None, "1 W", True])
def test_a_number_that_is_none_is_refused(value):
    with pytest.raises(InputError) as caught:
        trend(months(2), [1.0, value], SIGMA)
    assert caught.value.field == "values"
    if value != 1e308:
        with pytest.raises(InputError) as caught:
            trend(months(2), [1.0, 0.9], value)
        assert caught.value.field == "error"
    with pytest.raises(InputError):
        trend(months(3), [1.0, 0.9], SIGMA)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 6), st.floats(1e-12, 1e12)), min_size=2, max_size=9), st.floats(1e-6, 1))
def test_any_readings_give_an_answer(pairs, sigma):
    found = trend([month(k) for k, _ in pairs], [v for _, v in pairs], sigma)
    assert found.change.low <= found.change.value <= found.change.high
    assert found.latest == max(month(k) for k, _ in pairs)
    assert not found.fallen or found.change.high < 0
