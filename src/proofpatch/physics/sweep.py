"""From a swept line and a moving hand to the dose: pitch, overlap, pulses per area, edges of the line.

A line is `sweep_width` long and takes sweep_width/sweep_speed; meanwhile the hand moves on by a line pitch.
A circle or spiral is `sweep_width` across and traced at `sweep_speed`: it gives an area as many pulses.
Overlap is linear, 1 − pitch/diameter; negative means a gap.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from proofpatch.errors import InputError
from proofpatch.physics.beam import _peak_fluence
from proofpatch.physics.elementwise import NOT_NEGATIVE, POSITIVE, checked, choose, elementwise
from proofpatch.physics.setting import PATTERNS

# Of a spiral over an evenly filled disc, in the middle hundredth of its width, where its innermost turn crowds.
HEART = 1.07  # counted in tests/physics/test_strokes.py
MIDDLE = {"line": 1.0, "zigzag": 1.0, "sine": 2 / math.pi, "circle": 2 / math.pi, "spiral": 4 / math.pi * HEART}


@elementwise
def _pulse_pitch(sweep_speed: Any, repetition_rate: Any) -> Any:
    """Distance between pulses along a line.

        p = v/f                                                                  (1)

    Args:
        sweep_speed: v, mean along the line, > 0 [m/s]; any shape.
        repetition_rate: f, > 0 [Hz].

    Returns:
        p [m].

    Raises:
        InputError: an argument is not positive.

    Source: definition.
    """
    return sweep_speed / repetition_rate  # (1)


@elementwise
def _line_pitch(travel_speed: Any, sweep_width: Any, sweep_speed: Any) -> Any:
    """Distance between lines.

        h = u W/v                                                                (1)

    Args:
        travel_speed: u, of the hand across the lines, > 0 [m/s]; any shape.
        sweep_width: W, length of a line, > 0 [m].
        sweep_speed: v, mean along the line, > 0 [m/s].

    Returns:
        h [m].

    Raises:
        InputError: an argument is not positive.

    Source: definition.
    """
    return travel_speed * sweep_width / sweep_speed  # (1)


@elementwise
def _linear_overlap(pitch: Any, spot_diameter: Any) -> Any:
    """Overlap of neighbouring pulses, or of neighbouring lines.

        O = 1 − p/d                                                              (1)

    Args:
        pitch: p of the pulses or h of the lines, > 0 [m]; any shape.
        spot_diameter: d = 2 w, > 0 [m].

    Returns:
        O, negative where there is a gap [1].

    Raises:
        InputError: an argument is not positive.

    Source: definition.
    """
    return 1.0 - pitch / spot_diameter  # (1)


@elementwise
def _hits_per_spot(pitch: Any, spot_diameter: Any) -> Any:
    """Pulses (or lines) within one spot diameter.

        N = d/p;   along a line d f/v, across the lines d/h                      (1)

    Args:
        pitch: p of the pulses or h of the lines, > 0 [m]; any shape.
        spot_diameter: d = 2 w, > 0 [m].

    Returns:
        N [1].

    Raises:
        InputError: an argument is not positive.

    Source: definition used in Appl. Phys. A (2018), s00339-018-2040-4.
    """
    return spot_diameter / pitch  # (1)


@elementwise
def _circle_overlap(pitch: Any, spot_diameter: Any) -> Any:
    """Share of a spot's disc that the next one covers too.

        O = (2/π) (arccos q − q √(1 − q²)),   q = p/d                            (1)

    Args:
        pitch: p, ≥ 0 [m]; any shape.
        spot_diameter: d = 2 w, > 0 [m].

    Returns:
        O, 0 where the discs do not touch [1].

    Raises:
        InputError: an argument is out of its range.

    Source: geometry of two equal circles.
    """
    q = np.minimum(pitch / spot_diameter, 1.0)
    return 2.0 / math.pi * (np.arccos(q) - q * np.sqrt(1.0 - q * q))  # (1)


@elementwise
def _mean_dose(average_power: Any, sweep_width: Any, travel_speed: Any, passes: Any = 1.0) -> Any:
    """Energy given to an area by all passes, averaged.

        dose = n E/(p h) = n P/(u W)                                             (1)

    Args:
        average_power: P, ≥ 0 [W]; any shape.
        sweep_width: W, length of a line, > 0 [m].
        travel_speed: u, of the hand, > 0 [m/s].
        passes: n, > 0 [1].

    Returns:
        Dose [J/m²].

    Raises:
        InputError: an argument is out of its range.

    Source: energy over area.
    """
    return passes * average_power / (travel_speed * sweep_width)  # (1)


@elementwise
def _pulses_per_area(repetition_rate: Any, sweep_width: Any, travel_speed: Any, passes: Any = 1.0) -> Any:
    """Pulses given to an area by all passes.

        n/(p h) = n f/(u W)                                                      (1)

    Args:
        repetition_rate: f, > 0 [Hz]; any shape.
        sweep_width: W, length of a line, > 0 [m].
        travel_speed: u, of the hand, > 0 [m/s].
        passes: n, > 0 [1].

    Returns:
        Pulses per area [1/m²].

    Raises:
        InputError: an argument is not positive.

    Source: count over area.
    """
    return passes * repetition_rate / (travel_speed * sweep_width)  # (1)


@elementwise
def _area_rate(sweep_width: Any, travel_speed: Any, passes: Any = 1.0) -> Any:
    """Area finished per time while the beam is on.

        v h/n = u W/n                                                            (1)

    Args:
        sweep_width: W, length of a line, > 0 [m]; any shape.
        travel_speed: u, of the hand, > 0 [m/s].
        passes: n, > 0 [1].

    Returns:
        Area rate [m²/s].

    Raises:
        InputError: an argument is not positive.

    Source: definition; no lane overlap and no pauses.
    """
    return travel_speed * sweep_width / passes  # (1)


@elementwise
def _gaussian_line_sum(pitch: Any, spot_radius: Any) -> Any:
    """Fluence added up in the middle of a line of Gaussian pulses, over the peak of one.

        S = Σ_k exp(−2 (k p/w)²) = (w/p) √(π/2) [ 1 + 2 Σ_{k≥1} exp(−π² k² w²/(2 p²)) ]   (1)
        smooth limit:  (w/p) √(π/2)   for p < w

    The first sum where p > 1.25 w, the second below: four terms of either are exact to rounding.

    Args:
        pitch: p, > 0 [m]; any shape.
        spot_radius: w, > 0 [m].

    Returns:
        S [1].

    Raises:
        InputError: an argument is not positive.

    Source: definition; second form by Poisson summation, derived, checked numerically.
    """
    q = pitch / spot_radius
    wide = np.maximum(q, 1.25)
    tight = np.minimum(q, 1.25)
    direct = 1.0
    ripple = 1.0
    for k in range(1, 5):
        direct = direct + 2.0 * np.exp(-2.0 * (k * wide) ** 2)
        ripple = ripple + 2.0 * np.exp(-0.5 * (math.pi * k / tight) ** 2)
    return choose(q > 1.25, direct, math.sqrt(math.pi / 2.0) / tight * ripple)  # (1)


@elementwise
def _gaussian_line_limit(pitch: Any, spot_radius: Any) -> Any:
    """`gaussian_line_sum` without its ripple.

        S = (w/p) √(π/2)                                                         (1)

    Args:
        pitch: p, > 0 [m]; any shape.
        spot_radius: w, > 0 [m].

    Returns:
        S, 1.4 % low at p = w and better for closer pulses [1].

    Raises:
        InputError: an argument is not positive.

    Source: as `gaussian_line_sum`.
    """
    return spot_radius / pitch * math.sqrt(math.pi / 2.0)  # (1)


@elementwise
def _gaussian_area_dose(pulse_energy: Any, spot_radius: Any, pulse_pitch: Any, line_pitch: Any) -> Any:
    """Fluence added up over one pass at a place hit in the middle, Gaussian pulses on a square grid.

        dose = F₀ S(p) S(h),   F₀ = 2 E/(π w²)                                   (1)

    Args:
        pulse_energy: E, ≥ 0 [J]; any shape.
        spot_radius: w, > 0 [m].
        pulse_pitch: p, > 0 [m].
        line_pitch: h, > 0 [m].

    Returns:
        Highest dose of the pass; its mean is E/(p h) [J/m²].

    Raises:
        InputError: an argument is out of its range.

    Source: as `gaussian_line_sum`, both ways.
    """
    both = _gaussian_line_sum(pulse_pitch, spot_radius) * _gaussian_line_sum(line_pitch, spot_radius)
    return _peak_fluence(pulse_energy, spot_radius, 0.0) * both  # (1)


@elementwise
def _sine_edge_dose_factor(sweep_width: Any, spot_diameter: Any) -> Any:
    """Dose of a sinusoidal sweep in the last spot diameter of the line, over the mean along the line.

        (W/d) (1/π) arccos(1 − 2 d/W)                                            (1)

    Args:
        sweep_width: W, length of the line, > 0 [m]; any shape.
        spot_diameter: d = 2 w, > 0 [m]; a line shorter than the spot has no edge and gives 1.

    Returns:
        Factor, ≥ 1 [1].

    Raises:
        InputError: an argument is not positive.

    Source: share of the time that x = (W/2) cos ωt spends there; derived, checked numerically.
    """
    share = np.minimum(spot_diameter / sweep_width, 1.0)
    return np.arccos(1.0 - 2.0 * share) / (math.pi * share)  # (1)


sine_edge_dose_factor = checked(_sine_edge_dose_factor, sweep_width=POSITIVE, spot_diameter=POSITIVE)


@elementwise
def _disc_edge_dose_factor(sweep_width: Any, spot_diameter: Any) -> Any:
    """Dose of an evenly filled disc moved along, in the last spot diameter of its width, over the mean along it.

        (1/(π q)) [ arccos(1 − 2q) − 2 (1 − 2q) √(q (1 − q)) ],   q = d/W        (1)

    Args:
        sweep_width: W, diameter of the disc, > 0 [m]; any shape.
        spot_diameter: d = 2 w, > 0 [m]; a disc smaller than the spot has no edge and gives 1.

    Returns:
        Factor, at most 1: the edges of a disc get less than its middle [1].

    Raises:
        InputError: an argument is not positive.

    Source: area of a circle's segment; derived, checked by counting pulses.
    """
    q = np.minimum(spot_diameter / sweep_width, 1.0)
    chord = 2.0 * (1.0 - 2.0 * q) * np.sqrt(q * (1.0 - q))
    return (np.arccos(1.0 - 2.0 * q) - chord) / (math.pi * q)  # (1)


disc_edge_dose_factor = checked(_disc_edge_dose_factor, sweep_width=POSITIVE, spot_diameter=POSITIVE)


def edge_dose_factor(sweep_width: Any, spot_diameter: Any, pattern: str) -> Any:
    """Dose at the ends of the line over the mean along it, averaged along the travel.

    1 for "line" and "zigzag", `sine_edge_dose_factor` for "sine" and "circle" (the same dwell across the travel),
    `disc_edge_dose_factor` for "spiral".

    Args:
        sweep_width: W, > 0 [m]; any shape.
        spot_diameter: d = 2 w, > 0 [m].
        pattern: "line" (beam off in the turn-round), "zigzag", "sine", "circle" or "spiral" (beam on).

    Returns:
        Factor [1].

    Raises:
        InputError: a length is not positive, or the pattern is not known.

    A zigzag turns at once here: a head that slows down for the turn with the beam on is hotter there. A spiral is
    hottest in the middle (`middle_dose_factor`).
    """
    refuse_unknown(pattern)
    factor = sine_edge_dose_factor(sweep_width, spot_diameter)
    if pattern in ("sine", "circle"):
        return factor
    return disc_edge_dose_factor(sweep_width, spot_diameter) if pattern == "spiral" else np.ones_like(factor)


def middle_dose_factor(pattern: str) -> float:
    """Dose in the middle of the line over the mean along it, averaged along the travel.

        1 at constant speed;   2/π for x = (W/2) cos ωt and a circle;   4/π for an evenly filled disc,   (1)
        7 % more for a spiral, whose innermost turn crowds in the middle

    Args:
        pattern: as in `edge_dose_factor`.

    Returns:
        Factor [1].

    Raises:
        InputError: the pattern is not known.

    Source: share of the time spent there; derived, checked by counting pulses.
    """
    refuse_unknown(pattern)
    return MIDDLE[pattern]  # (1)


def refuse_unknown(pattern: Any) -> None:
    """One sentence for a pattern that is not known.

    Raises:
        InputError: it is none of PATTERNS.
    """
    if not isinstance(pattern, str) or pattern not in PATTERNS:
        raise InputError("pattern", f"The pattern {pattern!r} is not known.", f"Use one of: {', '.join(PATTERNS)}.")


pulse_pitch = checked(_pulse_pitch, sweep_speed=POSITIVE, repetition_rate=POSITIVE)
line_pitch = checked(_line_pitch, travel_speed=POSITIVE, sweep_width=POSITIVE, sweep_speed=POSITIVE)
linear_overlap = checked(_linear_overlap, pitch=POSITIVE, spot_diameter=POSITIVE)
hits_per_spot = checked(_hits_per_spot, pitch=POSITIVE, spot_diameter=POSITIVE)
circle_overlap = checked(_circle_overlap, pitch=NOT_NEGATIVE, spot_diameter=POSITIVE)
mean_dose = checked(
    _mean_dose, average_power=NOT_NEGATIVE, sweep_width=POSITIVE, travel_speed=POSITIVE, passes=POSITIVE
)
pulses_per_area = checked(
    _pulses_per_area, repetition_rate=POSITIVE, sweep_width=POSITIVE, travel_speed=POSITIVE, passes=POSITIVE
)
area_rate = checked(_area_rate, sweep_width=POSITIVE, travel_speed=POSITIVE, passes=POSITIVE)
gaussian_line_sum = checked(_gaussian_line_sum, pitch=POSITIVE, spot_radius=POSITIVE)
gaussian_line_limit = checked(_gaussian_line_limit, pitch=POSITIVE, spot_radius=POSITIVE)
gaussian_area_dose = checked(
    _gaussian_area_dose, pulse_energy=NOT_NEGATIVE, spot_radius=POSITIVE, pulse_pitch=POSITIVE, line_pitch=POSITIVE
)
