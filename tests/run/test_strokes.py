"""The stroke plan counts what the hours count, to the digit."""

import numpy as np
import pytest

from proofpatch.errors import InputError
from proofpatch.offer.laying import lay
from proofpatch.offer.rates import Draws, rates_data
from proofpatch.offer.zones import Zone
from proofpatch.physics.sweep import mean_dose
from proofpatch.run.piece import Piece
from proofpatch.run.strokes import narrowed, plan_strokes

OAK = Piece("oak", ("oil-varnish",))


def middle_draws():
    """Every rate at its middle value, the hand even."""
    draws = Draws(None, seed=3, samples=1)
    for name, datum in rates_data().items():
        draws.drawn[name] = np.array([datum.value])
    return draws


@pytest.mark.parametrize(
    "zone",
    [
        Zone(0.5, width=0.4),
        Zone(0.3, 1.6, width=0.06, count=4),
        Zone(2.0),
        Zone(1e-3),
        Zone(0.7, hand_share=0.3, effort=1.3),
    ],
)
def test_plan_and_hours_agree_to_the_digit(zone, at_work):
    setting = at_work(passes=3)
    laid = lay(zone, setting, 0.0, middle_draws(), "zone 0")
    plan = plan_strokes(zone, setting, OAK)
    assert plan.strokes == laid.strokes[0]
    assert plan.beam == pytest.approx(laid.beam[0], rel=1e-13)


# By hand: a board of 0.4 m × 1.25 m under a sweep of 100 mm with lanes 90 mm apart: 100 + 3·90 = 370 < 400 ≤ 460, so 5
# lanes; a reach of 0.35 m makes 4 parts of 312.5 mm, each 30 mm longer by its runs: 342.5 mm at 50 mm/s are 6.85 s.
def test_a_board_counted_by_hand(at_work):
    plan = plan_strokes(Zone(0.5, width=0.4), at_work(passes=2), OAK)
    assert (plan.lanes, plan.parts, plan.strokes, plan.beats) == (5, 4, 40, 7)
    assert (plan.stroke, plan.seconds, plan.step) == pytest.approx((0.3125, 6.85, 0.09))
    assert plan.beats * plan.beat == pytest.approx(plan.seconds)
    assert "with the grain" in plan.words[0]
    assert "7 beats of 0.98 s" in plan.words[0]


def test_the_shops_own_rates_and_a_hand_without_a_mask(at_work):
    plan = plan_strokes(Zone(0.5, width=0.4), at_work(), Piece("brass"), {"lane_overlap": 0.5}, "free")
    assert plan.lanes == 7
    assert "with the grain" not in " ".join(plan.words)
    assert any("A mask is safer" in one for one in plan.words)


def test_a_sweep_wider_than_the_member_is_said(at_work):
    plan = plan_strokes(Zone(0.1, width=0.04), at_work(), OAK)
    assert plan.narrower == 0.04
    assert any("wider than the member" in one for one in plan.words)
    assert plan_strokes(Zone(0.1, width=0.1), at_work(), OAK).narrower is None


def test_a_narrower_sweep_keeps_the_dose_and_what_a_crossing_brings(at_work):
    wide = at_work()
    slim = narrowed(wide, 0.04)
    assert slim.travel_speed == pytest.approx(0.125)
    doses = [mean_dose(one.average_power, one.sweep_width, one.travel_speed, one.passes) for one in (wide, slim)]
    assert doses[0] == pytest.approx(doses[1])
    assert slim.sweep_speed == wide.sweep_speed
    with pytest.raises(InputError, match="already fits"):
        narrowed(wide, 0.1)


@pytest.mark.parametrize("speed", [0.02, 0.1, 1.0])
def test_beats_fill_the_stroke(at_work, speed):
    plan = plan_strokes(Zone(0.1), at_work().with_(travel_speed=speed), OAK)
    assert plan.beats == max(round(plan.seconds), 1)  # one a second, as a metronome is set
    assert plan.beats * plan.beat == pytest.approx(plan.seconds)


def test_no_zone_for_the_beam(at_work):
    with pytest.raises(InputError, match="for the beam"):
        plan_strokes(Zone(0.1, hand_share=1.0), at_work(), OAK)
