"""The closed forms of missed places and of count regularity, against counting every pulse (a second route, ours)."""

import numpy as np
import pytest

from proofpatch.physics.coverage import _count_regularity, _gap_share, _missed_share, _thin_tail


def counted(radius, pulse_pitch, line_pitch, passes, rng, places=40_000, hand=0.0):
    """Hits at random places: every line and pass has its own phase and hand; exact, no grid."""
    total = np.zeros(places)
    for _ in range(passes):
        # A slow hand spends more time, so the mean number of lines over a place stays.
        pitch = line_pitch * np.exp(hand * rng.standard_normal(places) + hand**2 / 2)
        phase = rng.random(places) * pitch
        most = int(radius / line_pitch * np.exp(4 * hand)) + 1
        for k in range(-most, most + 1):
            offset = phase + k * pitch
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
    assert _missed_share(0.45, pulse_pitch, line_pitch, passes, 0.0) == pytest.approx(np.mean(hits == 0), abs=0.06)


# 0.114: the usual hand, ±25 % on 95 % of the surface.
@pytest.mark.parametrize("hand", [0.114, 0.3])
@pytest.mark.parametrize("line_pitch", [0.5, 0.8, 0.88, 0.9, 0.95, 1.3])
def test_an_uneven_hand_leaves_the_gaps_that_counting_finds(line_pitch, hand):
    hits = counted(0.45, 0.01, line_pitch, 1, np.random.default_rng(7), hand=hand)
    assert _gap_share(0.45, line_pitch, hand) == pytest.approx(np.mean(hits == 0), abs=0.008)
    assert _missed_share(0.45, 0.01, line_pitch, 1, hand) == pytest.approx(np.mean(hits == 0), abs=0.008)


def test_the_hand_matters_where_lines_just_touch():
    even, uneven = (_missed_share(0.45, 0.01, 0.9, 1, hand) for hand in (0.0, 0.114))
    assert even < 0.001
    assert uneven == pytest.approx(0.045, abs=0.002)
    assert _missed_share(0.45, 0.01, 0.9, 2, 0.114) == pytest.approx(uneven**2, rel=1e-6)


@pytest.mark.parametrize(
    ("pulse_pitch", "line_pitch"), [(0.5, 0.2), (0.5, 0.5), (0.3, 0.6), (0.8, 0.3), (0.1, 1.5), (0.1, 3.0)]
)
def test_regularity_is_what_counting_finds(pulse_pitch, line_pitch):
    hits = counted(0.45, pulse_pitch, line_pitch, 1, np.random.default_rng(2))
    seen = hits.var() / hits.mean()
    # Two rounded-off counts: right within a factor of two and a half; where lines come apart, to a few percent.
    factor = 1.05 if line_pitch > 0.9 else 2.5
    assert seen / factor < _count_regularity(0.45, pulse_pitch, line_pitch) < seen * factor


def test_mean_hits_are_the_density_times_the_disc():
    hits = counted(0.45, 0.5, 0.5, 1, np.random.default_rng(3))
    assert hits.mean() == pytest.approx(np.pi * 0.45**2 / 0.25, rel=0.01)


@pytest.mark.parametrize(
    ("pulse_pitch", "line_pitch", "passes", "need"), [(0.1, 1.5, 12, 0.5), (0.1, 1.5, 5, 0.4), (0.2, 1.2, 20, 0.6)]
)
def test_too_few_crossings_are_counted(pulse_pitch, line_pitch, passes, need):
    rng = np.random.default_rng(5)
    crossed = sum(counted(0.45, pulse_pitch, line_pitch, 1, rng) > 0 for _ in range(passes))
    short = np.mean(crossed < need * passes * 0.9 / line_pitch)
    # A bound on the exponent, not the share itself: right within a factor of four either way.
    assert short / 4 < _thin_tail(0.45, pulse_pitch, line_pitch, passes, need, 0.0) < short * 4
