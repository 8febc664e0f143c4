"""Dose is counted, not averaged: how evenly the pulses of a swept line fall on the places of a surface."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from proofpatch.physics.elementwise import choose, elementwise


@elementwise
def _missed_share(hit_radius: Any, pulse_pitch: Any, line_pitch: Any, passes: Any) -> Any:
    """Share of the area that no pulse reaches within `hit_radius`, any shape.

    Pulses lie regularly along a line, lines regularly across, the phase of every line and pass is free.
    A line whose chord is long against the pitch never misses; where lines lie wider apart than two radii
    the gaps are missed:

        q = 1 − 0.2146 (p/2r)²  (p ≤ 2r),  (π/4)(2r/p)  (p > 2r)      share hit of the places a line passes over
        miss = 1 − L q  (L < 1),  (1 − q)^L  (L ≥ 1),   L = 2r/h lines over a place; to the power of the passes

    Args:
        hit_radius: r, within which a pulse counts [m].
        pulse_pitch: p, along the line [m].
        line_pitch: h, from line to line [m].
        passes: over the whole area, each with its own phase.

    Derived here; checked against counting pulses one by one (tests/physics/test_coverage.py).
    """
    r = np.maximum(hit_radius, 1e-12)
    ratio = pulse_pitch / (2.0 * r)
    q = choose(ratio <= 1.0, 1.0 - (1.0 - math.pi / 4.0) * ratio * ratio, (math.pi / 4.0) / np.maximum(ratio, 1.0))
    lines = 2.0 * r / line_pitch
    gaps = 1.0 - np.minimum(lines, 1.0) * q
    log_one = choose(lines < 1.0, np.log(np.maximum(gaps, 1e-12)), np.log(np.maximum(1.0 - q, 1e-12)) * lines)
    return np.exp(np.maximum(log_one * passes, -40.0))


@elementwise
def _count_regularity(hit_radius: Any, pulse_pitch: Any, line_pitch: Any) -> Any:
    """Variance of the hits at a place over their mean, any shape; 1 would be random (Poisson) hits.

        κ = min(1, p/(9.4 r)) + (π/24) min(h, 2r)/p

    First the free phase of the pulses along each line, then the free phase of the lines (both as the
    variance of a rounded-off count, 1/6 on average).

    Args:
        hit_radius: r [m]. pulse_pitch: p [m]. line_pitch: h [m].

    Derived here; checked by counting, as above.
    """
    r = np.maximum(hit_radius, 1e-12)
    return np.minimum(1.0, pulse_pitch / (9.4 * r)) + (math.pi / 24.0) * np.minimum(line_pitch, 2.0 * r) / pulse_pitch
