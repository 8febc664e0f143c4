"""What is left of a day holds what it says: simulated days whose truth is known."""

import datetime

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.offer.hours import AT_PIECE, hours, zone_seconds
from proofpatch.offer.zones import Zone
from proofpatch.run.ahead import ahead
from proofpatch.units import show

ZONES = [Zone(0.5, area_spread=0.1), Zone(0.3, 1.4, width=0.08, set_ups=1), Zone(0.2), Zone(0.9, area_spread=0.05)]


@pytest.fixture(scope="module")
def recipe(oak_belief, at_work):
    return pp.Recipe(at_work(), "", 0.97, 0.01, 0.00125, {}, None, "flash")


@pytest.fixture(scope="module")
def thought(recipe, oak_belief):
    return zone_seconds(recipe, oak_belief, ZONES)


@pytest.fixture(scope="module")
def days(recipe, varnished_oak):
    """True days: the same work, drawn with other draws."""
    return zone_seconds(recipe, pp.prior(varnished_oak, "pulsed-500", draws=16, seed=9), ZONES)


def test_the_zones_add_up_to_the_hours_of_the_offer(recipe, oak_belief, thought):
    whole = hours(recipe, oak_belief, ZONES)
    at_zones = sum(values for name, values in whole.parts.items() if name in AT_PIECE)
    rest = whole.parts["rest"] / (at_zones + whole.parts["setting up"])  # a share of all work that day
    assert thought.sum(axis=0) == pytest.approx(at_zones * (1 + rest), rel=1e-12)


@pytest.mark.parametrize("shares", [(0, 0, 0, 0), (1, 0, 0, 0), (1, 1, 0, 0), (1, 1, 1, 0), (1, 0.5, 0, 0)])
def test_eight_days_in_ten_end_within_the_range(thought, days, shares):
    s = np.array(shares, float)
    held = []
    for true in days.T[:600]:
        found = ahead(thought, shares, s * true)
        held.append(found.left[0] <= float(((1 - s) * true).sum()) <= found.left[2])
    # 600 days: a standard error of 1.6 %.
    assert np.mean(held) == pytest.approx(0.8, abs=0.05)


@pytest.mark.parametrize("share", [0.6, 1.1])
def test_an_open_zone_that_lasts_still_holds_eight_in_ten(thought, days, share):
    held = []
    elapsed = share * float(np.median(thought[1]))
    for true in days.T:
        if true[1] <= elapsed:
            continue  # over by then: not open
        found = ahead(thought, (1, 0, 0, 0), (true[0], 0, 0, 0), open_zone=1, elapsed=elapsed)
        held.append(found.left[0] <= float(true[1:].sum()) - elapsed <= found.left[2])
    assert len(held) > 500
    assert np.mean(held) == pytest.approx(0.8, abs=0.06)


def test_draws_in_which_it_would_be_over_are_left_out(thought):
    (zone,) = thought[:1]
    elapsed = float(np.median(zone))
    found = ahead(thought[:1], (0,), (0,), open_zone=0, elapsed=elapsed)
    assert found.left == pytest.approx(np.quantile(zone[zone > elapsed] - elapsed, (0.1, 0.5, 0.9)))


def test_minutes_really_needed_narrow_the_range_and_move_it(thought):
    middle = np.append(np.median(thought[:2].sum(axis=0)) * np.array([0.7, 0.3]), [0, 0])
    rest = thought[2:].sum(axis=0)

    def wide(found):
        return np.log(found.left[2] / found.left[0])

    slow, even = (ahead(thought, (1, 1, 0, 0), f * middle) for f in (1.5, 1.0))
    assert wide(even) < 0.7 * np.log(np.quantile(rest, 0.9) / np.quantile(rest, 0.1))
    # What done and left have in common is corrected, what each has for itself is not.
    assert 1.2 < slow.left[1] / even.left[1] < 1.5
    assert slow.pace == pytest.approx(1.5)


# Normal conjugate update (any textbook): with ln Z = c + e, c ~ N(0, s²), e ~ N(0, q²) of each zone, the rest of one
# zone after one has mean b (ln d), b = s²/(s² + q²), and variance q² + s² q²/(s² + q²).
def test_it_is_the_normal_conjugate_update_where_that_is_exact():
    rng, s, q = np.random.default_rng(4), 0.3, 0.2
    common = s * rng.standard_normal(40_000)
    z = np.exp(np.array([common + q * rng.standard_normal(40_000) for _ in range(2)]))
    found = ahead(z, (1, 0), (1.5, 0))
    b = s**2 / (s**2 + q**2)
    spread = np.sqrt(q**2 + s**2 * q**2 / (s**2 + q**2))
    assert np.log(found.left[1]) == pytest.approx(b * np.log(1.5), abs=0.01)
    assert np.log(found.left[2] / found.left[0]) / (2 * 1.2816) == pytest.approx(spread, rel=0.02)


def test_the_clock_and_the_words(thought):
    now = datetime.datetime(2026, 3, 2, 9, 3)
    found = ahead(thought, (1, 0, 0, 0), (float(np.median(thought[0])), 0, 0, 0), now=now)
    assert found.finish is not None
    assert found.finish[0] < found.finish[2]
    assert all(one.minute % 5 == 0 and one.second == 0 for one in found.finish)
    assert show(found.left[0], "duration", like=found.left[2]) in found.words
    assert f"{found.finish[2]:%H:%M}" in found.words
    assert "not end today" in ahead(thought, (0, 0, 0, 0), (0,) * 4, now=now.replace(hour=23)).words
    done = ahead(thought, (1, 1, 1, 1), (1, 1, 1, 1), now=now)
    assert (done.left, done.words) == ((0.0, 0.0, 0.0), "All zones are done.")


def test_longer_than_every_draw_still_has_something_left(thought):
    ever = 10 * float(thought[0].max())
    assert ahead(thought[:1], (0,), (0,), open_zone=0, elapsed=ever).left[0] == pytest.approx(0.1 * ever)


@pytest.mark.parametrize(("shares", "taken"), [((1, 0), (1, 0)), ((2, 0, 0, 0), (0,) * 4), ((0,) * 4, (-1, 0, 0, 0))])
def test_what_fits_no_zones_is_refused(thought, shares, taken):
    with pytest.raises(InputError):
        ahead(thought, shares, taken)
