"""One mark: the spot that made it, and what a lift did to it."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from proofpatch.errors import InputError
from proofpatch.lasers.estimate import Estimate
from proofpatch.lasers.lift import AGREES, CANNOT_TELL, FASTER, SLOWER, USUAL_EXCESS, spot_growth, spots_of_marks
from proofpatch.physics.beam import threshold_radius

UM, MM = 1e-6, 1e-3
SPOT, RAYLEIGH, ENERGY = 450 * UM, 12 * MM, 10e-3


def mark(growth, excess, share):
    """Diameter of the mark of a spot `growth` times the focus, whose pulse there is `excess` times the threshold."""
    fluence = (2 - share) * ENERGY / (math.pi * SPOT**2) / excess
    return 2 * float(threshold_radius(fluence, ENERGY, growth * SPOT, share)), fluence


# beam.threshold_radius inverted, while the pulse is well above threshold.
@settings(max_examples=60, deadline=None)
@given(share=st.floats(0, 1), excess=st.floats(10, 500), growth=st.floats(1, 1.5))
def test_the_spot_of_a_mark_is_the_one_that_made_it(share, excess, growth):
    diameter, fluence = mark(growth, excess, share)
    found = spots_of_marks([ENERGY], [diameter], Estimate(fluence, 0.9 * fluence, 1.1 * fluence), share)
    assert found.shape == (3, 1)
    assert found[0, 0] == pytest.approx(growth * SPOT, rel=2e-3)


# Two spots leave one mark: past the largest mark of all the smaller is named, so a weak pulse needs care.
def test_of_two_spots_that_leave_one_mark_it_is_the_smaller():
    diameter, fluence = mark(3.0, 12.0, 0.0)
    (found,), *_ = spots_of_marks([ENERGY], [diameter], Estimate(fluence, fluence, fluence), 0.0)
    assert found < 2 * SPOT
    assert 2 * float(threshold_radius(fluence, ENERGY, found, 0.0)) == pytest.approx(diameter, rel=1e-4)


def test_a_threshold_that_could_not_leave_the_mark_is_cut_off_or_refused():
    diameter, fluence = mark(1.0, 30.0, 0.7)
    spots = spots_of_marks([ENERGY], [diameter], Estimate(fluence, fluence / 2, 1e6 * fluence), 0.7)
    assert np.all(np.isfinite(spots))
    open_end = spots_of_marks([ENERGY], [diameter], Estimate(fluence, 0.0, math.inf), 0.7)
    assert np.all(np.isfinite(open_end))
    with pytest.raises(InputError, match="larger than any spot"):
        spots_of_marks([ENERGY], [diameter], Estimate(1e3 * fluence, 900 * fluence, 1e4 * fluence), 0.7)
    with pytest.raises(InputError, match="left no mark"):
        spots_of_marks([ENERGY, ENERGY], [diameter, 0.0], Estimate(fluence, fluence, fluence), 0.7)


# 600 seeded lifts of a Rayleigh range, the excess drawn from all that is allowed for, diameters read to ±0.03 mm, three
# marks in focus and three lifted: the truth inside the interval at least 86 times in 100, and the sheet, being true,
# seldom contradicted.
@pytest.mark.parametrize("share", [0.0, 0.3, 0.7, 1.0])
def test_the_interval_of_the_growth_holds_the_truth(share):
    rng = np.random.default_rng(2)
    growth = math.sqrt(2)
    held, contradicted = 0, 0
    for _ in range(600):
        excess = math.exp(rng.uniform(*np.log(USUAL_EXCESS)))
        first, second = (mark(s, excess, share)[0] + 18 * UM * rng.standard_normal(3) for s in (1.0, growth))
        try:
            found = spot_growth(list(first), list(second), RAYLEIGH, RAYLEIGH, share, 30 * UM)
        except InputError:  # a mark that by chance came out smaller than the one in focus
            continue
        held += found.growth.holds(growth)
        contradicted += found.verdict in (FASTER, SLOWER)
        assert found.growth.holds(growth) == (found.rayleigh_range.low <= RAYLEIGH <= found.rayleigh_range.high)
    assert held >= 0.86 * 600
    assert contradicted <= 0.12 * 600


# s = √(1 + (z/z_R)²) (ISO 11146 terms): a spot that has grown √2 in 12 mm has a Rayleigh range of 12 mm.
def test_the_verdict_is_about_the_sheet():
    first, second = ([mark(s, 15.0, 0.7)[0]] * 3 for s in (1.0, math.sqrt(2)))
    found = spot_growth(first, second, 12 * MM, 12 * MM, 0.7, 20 * UM)
    assert found.verdict == AGREES
    assert found.growth.value == pytest.approx(math.sqrt(2), rel=0.02)
    assert found.rayleigh_range.low < 12 * MM < found.rayleigh_range.high
    assert spot_growth(first, second, 12 * MM, 20 * MM, 0.7, 20 * UM).verdict == FASTER
    assert spot_growth(first, second, 12 * MM, 4 * MM, 0.7, 20 * UM).verdict == SLOWER
    assert spot_growth(first, second, -12 * MM, 12 * MM, 0.7, 20 * UM) == found


def test_a_growth_within_the_reading_error_cannot_tell():
    first, second = ([mark(s, 15.0, 0.7)[0]] for s in (1.0, math.sqrt(1 + (2 / 12) ** 2)))
    found = spot_growth(first, second, 2 * MM, RAYLEIGH, 0.7, 30 * UM)
    assert found.verdict == CANNOT_TELL
    assert found.growth.low == 1.0
    assert found.rayleigh_range.high == math.inf
    assert 0 < found.rayleigh_range.low < RAYLEIGH


def test_more_marks_and_a_known_threshold_narrow_it():
    first, second = (mark(s, 15.0, 0.0)[0] for s in (1.0, math.sqrt(2)))
    one = spot_growth([first], [second], RAYLEIGH, RAYLEIGH, 0.0, 30 * UM).growth
    three = spot_growth([first] * 3, [second] * 3, RAYLEIGH, RAYLEIGH, 0.0, 30 * UM).growth
    known = spot_growth([first] * 3, [second] * 3, RAYLEIGH, RAYLEIGH, 0.0, 30 * UM, (14, 16)).growth
    widths = [growth.high - growth.low for growth in (one, three, known)]
    assert widths[0] > widths[1] > 2 * widths[2]
    assert known.holds(math.sqrt(2))


@pytest.mark.parametrize(
    ("first", "second", "why"),
    [([9e-4], [8e-4], "smaller"), ([9e-4], [9e-3], "more than"), ([], [9e-4], "missing"), ([0.0], [9e-4], "missing")],
)
def test_marks_that_say_nothing_are_refused(first, second, why):
    with pytest.raises(InputError, match=why):
        spot_growth(first, second, RAYLEIGH, RAYLEIGH, 0.7, 30 * UM)


@pytest.mark.parametrize("value", [math.nan, math.inf, 1e308, None, "1 mm", True, [], 0.0, 5e-324])
def test_a_number_that_is_none_is_refused_at_its_field(value):
    good = {"focus_diameter": [9e-4], "lifted_diameter": [1.1e-3], "lift": RAYLEIGH, "rayleigh_range": RAYLEIGH,
            "top_hat_share": 0.7, "reading_error": 30 * UM}  # fmt: skip
    for field in ("lift", "rayleigh_range", "reading_error", "top_hat_share"):
        if field == "top_hat_share" and value in (0.0, 5e-324) and value is not None:
            continue
        with pytest.raises(InputError) as caught:
            spot_growth(**good | {field: value})
        assert caught.value.field == field
    for field in ("focus_diameter", "lifted_diameter"):
        with pytest.raises(InputError):
            spot_growth(**good | {field: value})
        with pytest.raises(InputError):
            spot_growth(**good | {field: [value]})
