"""The closed forms of missed places and of count regularity, against counting every pulse (a second route, ours)."""

import numpy as np
import pytest

from proofpatch.physics.coverage import _count_regularity, _missed_share


def counted(radius, pulse_pitch, line_pitch, passes, rng, places=40_000):
    """Hits at random places: every line and pass has its own phase; exact, no grid."""
    total = np.zeros(places)
    for _ in range(passes):
        phase = rng.random(places) * line_pitch
        for k in range(-int(radius / line_pitch) - 1, int(radius / line_pitch) + 2):
            offset = phase + k * line_pitch
            half = np.sqrt(np.maximum(radius**2 - offset**2, 0.0))
            first = rng.random(places) * pulse_pitch
            # Pulses at first + j p within ±half of the place.
            total += np.floor((half - first) / pulse_pitch) - np.ceil((-half - first) / pulse_pitch) + 1
    return np.maximum(total, 0.0)


@pytest.mark.parametrize(
    ("pulse_pitch", "line_pitch", "passes"),
    [
        (0.5, 0.2, 1),
        (0.5, 0.5, 1),
        (0.5, 1.0, 1),
        (0.2, 1.4, 1),
        (1.2, 0.5, 1),
        (2.0, 1.5, 2),
        (0.5, 1.0, 3),
        (3.0, 3.0, 4),
    ],
)
def test_missed_share_is_what_counting_finds(pulse_pitch, line_pitch, passes):
    hits = counted(0.45, pulse_pitch, line_pitch, passes, np.random.default_rng(1))
    assert _missed_share(0.45, pulse_pitch, line_pitch, passes) == pytest.approx(np.mean(hits == 0), abs=0.06)


@pytest.mark.parametrize(("pulse_pitch", "line_pitch"), [(0.5, 0.2), (0.5, 0.5), (0.3, 0.6), (0.8, 0.3)])
def test_regularity_is_what_counting_finds(pulse_pitch, line_pitch):
    hits = counted(0.45, pulse_pitch, line_pitch, 1, np.random.default_rng(2))
    seen = hits.var() / hits.mean()
    # Two rounded-off counts: right within a factor of two and a half, far below the 1 of random hits.
    assert seen / 2.5 < _count_regularity(0.45, pulse_pitch, line_pitch) < seen * 2.5
    assert seen < 0.6


def test_mean_hits_are_the_density_times_the_disc():
    hits = counted(0.45, 0.5, 0.5, 1, np.random.default_rng(3))
    assert hits.mean() == pytest.approx(np.pi * 0.45**2 / 0.25, rel=0.01)
