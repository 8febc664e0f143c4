"""From an outcome to grades: ordered categories with noise and a small chance of being plain wrong."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from proofpatch.physics.elementwise import choose, elementwise, normal_cdf

# Share of the area left at the edges between clean | nearly | partial | trace, as normal quantiles of the spread.
CLEAN_EDGE = -2.3263478740408408  # 1 %
NEARLY_EDGE = -1.2815515655446004  # 10 %
PARTIAL_EDGE = 1.2815515655446004  # 90 %
THINNED = math.log(20.0)  # "no effect": thinned by under 5 %, so the dose needed is over 20 times the dose given
# ln heat beyond the first tint at which it reads as marked and as burnt; from memory, unverified.
MARKED_STEP, BURNT_STEP = 0.12, 0.25
FAR = 60.0


@elementwise
def residue_edge(index: Any, spread: Any) -> Any:
    """Edge `index` (0..5) on ln X between the residue grades from clean up to no effect, any shape of `spread`."""
    trace = np.maximum(THINNED, PARTIAL_EDGE * spread + 0.2)
    return (
        (index == 0) * -FAR
        + (index == 1) * CLEAN_EDGE * spread
        + (index == 2) * NEARLY_EDGE * spread
        + (index == 3) * PARTIAL_EDGE * spread
        + (index == 4) * trace
        + (index >= 5) * FAR
    )


@elementwise
def as_typical(log_need: Any, spread: Any, typical: Any) -> Any:
    """ln X that leaves the same room to clean where ln X spreads as `typical`, any shape.

    A grade is read as that room alone, on edges as far apart as the data's own values set them. Draws of another spread
    would read the same grade as another room, and a grade could speak for their spread instead of for what is clean.
    """
    return log_need + CLEAN_EDGE * (typical - spread)


@elementwise
def harm_edge(index: Any) -> Any:
    """Edge `index` (0..4) on −margin between none, tint, marked and burnt."""
    return (index == 0) * -FAR + (index == 2) * MARKED_STEP + (index == 3) * BURNT_STEP + (index >= 4) * FAR


@elementwise
def _off_by(ratio: Any, steps: Any) -> Any:
    """ratio to the power of |steps|, for up to four steps, any shape."""
    n = np.abs(steps)
    square = ratio * ratio
    return (
        (n == 0) * 1.0
        + (n == 1) * ratio
        + (n == 2) * square
        + (n == 3) * square * ratio
        + (n == 4) * square * square
    )  # fmt: skip


@elementwise
def _slip(wrong: Any) -> Any:
    """How much rarer each further grade of error is, q = w/(2 (1 − w)): about `wrong` of all are off by one.

    A chance that falls off so evenly keeps order: for one eye and one steepness of the film, a cleaner grade speaks for
    a cleaner patch (the kernel is totally positive; Karlin 1968, from memory). Were grades strewn anywhere, one far off
    would count as an accident and speak for nothing. So no grade teaches the eye or the steepness (`as_typical`): one
    far out would say that the eye is blunt or the film steep, and P(clean) would fall from it to a cleaner one.
    """
    return wrong / (2.0 * (1.0 - wrong))


@elementwise
def residue_chance(steps_dirty: Any, log_need: Any, spread: Any, noise: Any, wrong: Any) -> Any:
    """Chance that a grader says the residue grade `steps_dirty` (0 clean … 4 no effect), any shape."""
    q = _slip(wrong)
    one = normal_cdf((residue_edge(1, spread) - log_need) / noise)
    two = normal_cdf((residue_edge(2, spread) - log_need) / noise)
    three = normal_cdf((residue_edge(3, spread) - log_need) / noise)
    four = normal_cdf((residue_edge(4, spread) - log_need) / noise)
    end = 1.0 + q * (1.0 + q * (1.0 + q * (1.0 + q)))
    inner = 1.0 + q * (2.0 + q * (1.0 + q))
    middle = 1.0 + 2.0 * q * (1.0 + q)
    return (
        one / end * _off_by(q, steps_dirty)
        + (two - one) / inner * _off_by(q, steps_dirty - 1)
        + (three - two) / middle * _off_by(q, steps_dirty - 2)
        + (four - three) / inner * _off_by(q, steps_dirty - 3)
        + (1.0 - four) / end * _off_by(q, steps_dirty - 4)
    )


@elementwise
def _harm_shares(margin: Any, noise: Any) -> Any:
    """Chance that the true grade is none, tint, marked, burnt, any shape."""
    none = normal_cdf((harm_edge(1) + margin) / noise)
    tint = normal_cdf((harm_edge(2) + margin) / noise)
    marked = normal_cdf((harm_edge(3) + margin) / noise)
    return none, tint - none, marked - tint, 1.0 - marked


@elementwise
def harm_chance(steps_harm: Any, margin: Any, noise: Any, wrong: Any) -> Any:
    """Chance that a grader says the harm grade `steps_harm` (0 none … 3 burnt), any shape."""
    q = _slip(wrong)
    none, tint, marked, burnt = _harm_shares(margin, noise)
    end = 1.0 + q * (1.0 + q * (1.0 + q))
    inner = 1.0 + q * (2.0 + q)
    return (
        none / end * _off_by(q, steps_harm)
        + tint / inner * _off_by(q, steps_harm - 1)
        + marked / inner * _off_by(q, steps_harm - 2)
        + burnt / end * _off_by(q, steps_harm - 3)
    )


def photo_error(fraction: Any) -> Any:
    """Standard error a measured fraction is taken to have where none was said (from memory, unverified)."""
    return 0.01 + 0.25 * fraction * (1.0 - fraction)


@elementwise
def fraction_chance(fraction: Any, error: Any, log_need: Any, spread: Any, noise: Any, wrong: Any) -> Any:
    """Chance (density up to a constant) of a measured fraction left with its standard error, any shape."""
    left = normal_cdf(log_need / np.maximum(np.sqrt(spread * spread + noise * noise), 1e-6))
    off = (left - fraction) / error
    # Noise of the setting itself blurs the fraction too: its slope in ln X times the noise.
    return (1.0 - wrong) * np.exp(-0.5 * off * off) / error + wrong


@elementwise
def residue_chances(log_need: Any, spread: Any, noise: Any, wrong: Any) -> Any:
    """`residue_chance` of all five grades, clean first, any shape: each edge worked out once."""
    q = _slip(wrong)
    one = normal_cdf((residue_edge(1, spread) - log_need) / noise)
    two = normal_cdf((residue_edge(2, spread) - log_need) / noise)
    three = normal_cdf((residue_edge(3, spread) - log_need) / noise)
    four = normal_cdf((residue_edge(4, spread) - log_need) / noise)
    inner = 1.0 + q * (2.0 + q * (1.0 + q))
    end = 1.0 + q * (1.0 + q * (1.0 + q * (1.0 + q)))
    a, b, c = one / end, (two - one) / inner, (three - two) / (1.0 + 2.0 * q * (1.0 + q))
    d, e = (four - three) / inner, (1.0 - four) / end
    return (
        a + q * (b + q * (c + q * (d + q * e))),
        b + q * (a + c + q * (d + q * e)),
        c + q * (b + d + q * (a + e)),
        d + q * (c + e + q * (b + q * a)),
        e + q * (d + q * (c + q * (b + q * a))),
    )


@elementwise
def harm_chances(margin: Any, noise: Any, wrong: Any) -> Any:
    """`harm_chance` of all four grades, none first, any shape."""
    q = _slip(wrong)
    none, tint, marked, burnt = _harm_shares(margin, noise)
    end, inner = 1.0 + q * (1.0 + q * (1.0 + q)), 1.0 + q * (2.0 + q)
    a, b, c, d = none / end, tint / inner, marked / inner, burnt / end
    return (
        a + q * (b + q * (c + q * d)),
        b + q * (a + c + q * d),
        c + q * (b + d + q * a),
        d + q * (c + q * (b + q * a)),
    )


def grade_table(log_need: Any, spread: Any, margin: Any, noise: Any, wrong: float) -> tuple[Any, Any]:
    """(chances of the 5 residue grades, clean first; of the 4 harm grades) on a new last axis, any shape."""
    residue, harm = residue_chances(log_need, spread, noise, wrong), harm_chances(margin, noise, wrong)
    return np.stack(np.broadcast_arrays(*residue), axis=-1), np.stack(np.broadcast_arrays(*harm), axis=-1)


@elementwise
def residue_seen(steps_dirty: Any, log_need: Any, spread: Any, noise: Any, wrong: Any, rusted: Any) -> Any:
    """As `residue_chance`, where fresh rust makes a patch look one grade dirtier with chance `rusted`."""
    right = residue_chance(steps_dirty, log_need, spread, noise, wrong)
    cleaner = residue_chance(np.maximum(steps_dirty - 1, 0), log_need, spread, noise, wrong)
    return (1.0 - rusted * (steps_dirty < 4)) * right + rusted * (steps_dirty > 0) * cleaner


@elementwise
def harm_seen(steps_harm: Any, margin: Any, noise: Any, wrong: Any, early: Any) -> Any:
    """Chance of what a harm grade is taken to say; harm that has not come out yet looks harmless with chance `early`.

    "None" says none. Any other grade says "this or worse": how far harm goes is seen late and judged kindly, and so
    no harm ever speaks for less of it.
    """
    none = harm_chance(0, margin, noise, wrong) + early * harm_chance(1, margin, noise, wrong)
    worse = (
        harm_chance(1, margin, noise, wrong) * (steps_harm <= 1)
        + harm_chance(2, margin, noise, wrong) * (steps_harm <= 2)
        + harm_chance(3, margin, noise, wrong)
    )
    return choose(steps_harm == 0, none, worse)
