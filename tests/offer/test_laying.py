"""Beam time of lanes against the physics' own hand, pulse by pulse (physics/strokes.py)."""

import numpy as np
import pytest

from proofpatch.offer.laying import COVERS_95, lanes_over, lay
from proofpatch.offer.rates import Draws
from proofpatch.offer.zones import Zone
from proofpatch.physics.strokes import HandMotion, place_pulses

LANES, LENGTH, OVERLAP = 4, 0.3, 0.1
HAND = 0.25  # ± share that covers 95 %


def even_draws():
    """Rates at one value each, so that only the hand is left uneven."""
    draws = Draws(None, seed=3)
    for name, value in (("lane_overlap", OVERLAP), ("stroke_reach", 10.0), ("stroke_run", 0.0), ("daily_speed", 1.0)):
        draws.drawn[name] = np.full(draws.samples, value)
    return draws


def test_the_beam_is_on_as_long_as_the_pulses_of_the_same_strokes(at_work):
    setting = at_work(average_power=10.0, repetition_rate=500.0, passes=2)
    width = setting.sweep_width * (1 + (LANES - 1) * (1 - OVERLAP))
    laid = lay(Zone(width * LENGTH, width=width), setting, HAND, even_draws(), "zone")
    assert set(laid.strokes) == {2.0 * LANES}
    motion = HandMotion(np.log1p(HAND) / COVERS_95, 0.0, 0.0, OVERLAP)
    took = [
        place_pulses(setting, motion, LENGTH, rayleigh_range=0.012, lanes=LANES, seed=k).time[-1] for k in range(60)
    ]
    assert float(np.mean(took)) == pytest.approx(float(np.mean(laid.beam)), rel=0.01)
    # Within a stroke the physics' hand evens out, which is not counted here: its spread is somewhat smaller.
    assert 0.6 * laid.beam.std() < np.std(took) < 1.1 * laid.beam.std()


@pytest.mark.parametrize(("width", "lanes"), [(0.03, 1), (0.1, 1), (0.101, 2), (0.19, 2), (0.191, 3), (0.28, 3)])
def test_whole_lanes(width, lanes):
    assert lanes_over(width, 0.1, np.array([OVERLAP])).tolist() == [lanes]
