"""Dose is counted, not averaged: how evenly the pulses of a swept line fall on the places of a surface."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from proofpatch.physics.elementwise import choose, elementwise, normal_cdf


@elementwise
def _hit_share(hit_radius: Any, pulse_pitch: Any) -> Any:
    """Share of the places a line passes over that one of its pulses hits, any shape.

    q = 1 − (1 − π/4) (p/2r)²  (p ≤ 2r),   (π/4)(2r/p)  (p > 2r)
    """
    ratio = pulse_pitch / (2.0 * hit_radius)
    sparse = (math.pi / 4.0) / np.maximum(ratio, 1.0)
    return choose(ratio <= 1.0, 1.0 - (1.0 - math.pi / 4.0) * ratio * ratio, sparse)


@elementwise
def _gap_share(hit_radius: Any, line_pitch: Any, hand_spread: Any) -> Any:
    """Share of the area between lines that lie wider apart than two radii, in one pass of an uneven hand, any shape.

        E[max(1 − L', 0)] = Φ(s/2 − a) − L Φ(−s/2 − a),   a = ln(L)/s,   L = 2r/h

    L' = 2r/h' is log-normal about L by the hand's speed. At L = 1 an even hand leaves no gap, one of 11 % leaves 4.5 %.

    Args:
        hand_spread: s, of ln(hand's speed) [1]; the rest as in `_missed_share`.

    Partial mean of the log-normal distribution (from memory); checked by counting.
    """
    s = np.maximum(hand_spread, 1e-3)
    lines = 2.0 * hit_radius / line_pitch
    a = np.log(lines) / s
    return np.maximum(normal_cdf(0.5 * s - a) - lines * normal_cdf(-0.5 * s - a), 0.0)


@elementwise
def _missed_share(hit_radius: Any, pulse_pitch: Any, line_pitch: Any, passes: Any, hand_spread: Any) -> Any:
    """Share of the area that no pulse reaches within `hit_radius`, any shape.

    Pulses lie regularly along a line, lines regularly across, the phase of every line and pass is free, and so is the
    hand's speed in each. A line whose chord is long against the pitch never misses; the gaps between lines are missed:

        miss = g + (1 − g) (1 − q)^max(L, 1),   L = 2r/h lines over a place; to the power of the passes

    Args:
        hit_radius: r, within which a pulse counts [m].
        pulse_pitch: p, along the line [m].
        line_pitch: h, from line to line [m].
        passes: over the whole area, each with its own phase.
        hand_spread: of ln(hand's speed) [1], for the gaps g = `_gap_share`.

    Derived here; checked against counting pulses one by one (tests/physics/test_coverage.py).
    """
    r = np.maximum(hit_radius, 1e-12)
    q = _hit_share(r, pulse_pitch)
    gaps = _gap_share(r, line_pitch, hand_spread)
    holes = np.exp(np.log(np.maximum(1.0 - q, 1e-12)) * np.maximum(2.0 * r / line_pitch, 1.0))
    return np.exp(np.maximum(np.log(np.maximum(gaps + (1.0 - gaps) * holes, 1e-18)) * passes, -40.0))


@elementwise
def _thin_tail(hit_radius: Any, pulse_pitch: Any, line_pitch: Any, passes: Any, need: Any, hand_spread: Any) -> Any:
    """Share of the area crossed by too few lines for the dose it needs, where lines lie wider apart than two radii.

    Passes that hit a place are binomial with chance b = (1 − g) q; it needs a share x = b min(need, 1) of them. The
    lower tail by its exponent:

        Φ(−√(2 n KL)),  KL = x ln(x/b) + (1 − x) ln((1 − x)/(1 − b))

    Args:
        need: dose needed over dose given [1]; the rest as in `_missed_share`.

    Source: Chernoff bound in its refined normal form (from memory); checked by counting.
    """
    r = np.maximum(hit_radius, 1e-12)
    reached = (1.0 - _gap_share(r, line_pitch, hand_spread)) * _hit_share(r, pulse_pitch)
    chance = np.minimum(np.maximum(reached, 1e-9), 1.0 - 1e-9)
    x = np.maximum(chance * np.minimum(need, 1.0), 1e-12)
    divergence = x * np.log(x / chance) + (1.0 - x) * np.log((1.0 - x) / (1.0 - chance))
    tail = normal_cdf(-np.sqrt(np.maximum(2.0 * passes * divergence, 0.0)))
    return choose(line_pitch > 2.0 * r, tail, 0.0)


@elementwise
def _count_regularity(hit_radius: Any, pulse_pitch: Any, line_pitch: Any) -> Any:
    """Variance of the hits at a place over their mean, any shape; 1 would be random (Poisson) hits.

        κ = min(1, p/(9.4 r)) + max( (π/24) min(h, 2r),  [h > 2r] (16/(3π) − π min(r/h, ½)) r ) / p

    First the free phase of the pulses along each line, then the free phase of the lines: as the variance of a
    rounded-off count (1/6 on average), or where lines lie apart of the chord of one line that may pass or not.

    Args:
        hit_radius: r [m]. pulse_pitch: p [m]. line_pitch: h [m].

    Derived here; checked by counting, as above.
    """
    r = np.maximum(hit_radius, 1e-12)
    chord = (16.0 / (3.0 * math.pi) - math.pi * np.minimum(r / line_pitch, 0.5)) * r
    across = np.maximum(math.pi / 24.0 * np.minimum(line_pitch, 2.0 * r), choose(line_pitch > 2.0 * r, chord, 0.0))
    return np.minimum(1.0, pulse_pitch / (9.4 * r)) + across / pulse_pitch
