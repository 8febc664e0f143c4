"""From an outcome to grades: ordered categories with noise and a small chance of being plain wrong."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from proofpatch.physics.elementwise import elementwise, normal_cdf

# Share of the area left at the edges between clean | nearly | partial | trace, as normal quantiles of the spread.
CLEAN_EDGE = -2.3263478740408408  # 1 %
NEARLY_EDGE = -1.2815515655446004  # 10 %
PARTIAL_EDGE = 1.2815515655446004  # 90 %
THINNED = math.log(20.0)  # "no effect": thinned by under 5 %, so the dose needed is over 20 times the dose given
# ln heat beyond the first tint at which it reads as marked and as burnt; from memory, unverified.
MARKED_STEP, BURNT_STEP = 0.12, 0.25
FAR = 60.0
NEIGHBOUR_SHARE = 0.8  # of the plain wrong grades fall on a neighbour; from memory, unverified


@elementwise
def _between(low: Any, high: Any, scale: Any) -> Any:
    return normal_cdf(high / scale) - normal_cdf(low / scale)


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
def harm_edge(index: Any) -> Any:
    """Edge `index` (0..4) on −margin between none, tint, marked and burnt."""
    return (index == 0) * -FAR + (index == 2) * MARKED_STEP + (index == 3) * BURNT_STEP + (index >= 4) * FAR


@elementwise
def _said(right: Any, below: Any, above: Any, index: Any, last: int, wrong: Any) -> Any:
    """Chance that a grade is said, from the chances that it and its neighbours are true; sums to 1 over the grades.

    A plain wrong grade falls on a neighbour with NEIGHBOUR_SHARE (the only one, at an end), else anywhere.
    """
    from_below = below * (0.5 + 0.5 * (index == 1))
    from_above = above * (0.5 + 0.5 * (index == last - 1))
    astray = NEIGHBOUR_SHARE * (from_below + from_above) + (1.0 - NEIGHBOUR_SHARE) / (last + 1.0)
    return (1.0 - wrong) * right + wrong * astray


@elementwise
def residue_chance(steps_dirty: Any, log_need: Any, spread: Any, noise: Any, wrong: Any) -> Any:
    """Chance that a grader says the residue grade `steps_dirty` (0 clean … 4 no effect), any shape."""
    low = residue_edge(steps_dirty, spread) - log_need
    high = residue_edge(steps_dirty + 1, spread) - log_need
    lower = residue_edge(np.maximum(steps_dirty - 1, 0), spread) - log_need
    higher = residue_edge(np.minimum(steps_dirty + 2, 5), spread) - log_need
    right = _between(low, high, noise)
    return _said(right, _between(lower, low, noise), _between(high, higher, noise), steps_dirty, 4, wrong)


@elementwise
def harm_chance(steps_harm: Any, margin: Any, noise: Any, wrong: Any) -> Any:
    """Chance that a grader says the harm grade `steps_harm` (0 none … 3 burnt), any shape."""
    low = harm_edge(steps_harm) + margin
    high = harm_edge(steps_harm + 1) + margin
    lower = harm_edge(np.maximum(steps_harm - 1, 0)) + margin
    higher = harm_edge(np.minimum(steps_harm + 2, 4)) + margin
    right = _between(low, high, noise)
    return _said(right, _between(lower, low, noise), _between(high, higher, noise), steps_harm, 3, wrong)


@elementwise
def fraction_chance(fraction: Any, log_need: Any, spread: Any, noise: Any, wrong: Any) -> Any:
    """Chance (density up to a constant) of a measured fraction left, any shape.

    The photo's own error is taken as a quarter of f(1 − f) plus one hundredth (from memory, unverified).
    """
    error = 0.01 + 0.25 * fraction * (1.0 - fraction)
    left = normal_cdf(log_need / np.maximum(np.sqrt(spread * spread + noise * noise), 1e-6))
    off = (left - fraction) / error
    # Noise of the setting itself blurs the fraction too: its slope in ln X times the noise.
    return (1.0 - wrong) * np.exp(-0.5 * off * off) / error + wrong


def grade_table(log_need: Any, spread: Any, margin: Any, noise: Any, wrong: float) -> tuple[Any, Any]:
    """(chances of the 5 residue grades, clean first; of the 4 harm grades) on a new last axis, any shape.

    As `residue_chance` and `harm_chance` of every grade, each edge worked out once.
    """
    residue = [normal_cdf((residue_edge(i, spread) - log_need) / noise) for i in range(6)]
    harm = [normal_cdf((harm_edge(i) + margin) / noise) for i in range(5)]
    return _all_said(np.stack(residue, axis=-1), wrong), _all_said(np.stack(harm, axis=-1), wrong)


def _all_said(below_edge: Any, wrong: float) -> Any:
    """`_said` of every grade, from the chance below each edge (…, grades + 1)."""
    right = np.diff(below_edge, axis=-1)
    last = right.shape[-1] - 1
    weight = np.full(last + 1, 0.5)
    lower, upper = np.zeros_like(right), np.zeros_like(right)
    lower[..., 1:], upper[..., :-1] = right[..., :-1], right[..., 1:]
    from_below, from_above = weight.copy(), weight.copy()
    from_below[1] = from_above[last - 1] = 1.0
    astray = NEIGHBOUR_SHARE * (lower * from_below + upper * from_above) + (1.0 - NEIGHBOUR_SHARE) / (last + 1.0)
    return (1.0 - wrong) * right + wrong * astray


@elementwise
def residue_seen(steps_dirty: Any, log_need: Any, spread: Any, noise: Any, wrong: Any, rusted: Any) -> Any:
    """As `residue_chance`, where fresh rust makes a patch look one grade dirtier with chance `rusted`."""
    right = residue_chance(steps_dirty, log_need, spread, noise, wrong)
    cleaner = residue_chance(np.maximum(steps_dirty - 1, 0), log_need, spread, noise, wrong)
    return (1.0 - rusted * (steps_dirty < 4)) * right + rusted * (steps_dirty > 0) * cleaner


@elementwise
def harm_seen(steps_harm: Any, margin: Any, noise: Any, wrong: Any, early: Any) -> Any:
    """As `harm_chance`, where harm that has not come out yet looks one grade kinder with chance `early`."""
    right = harm_chance(steps_harm, margin, noise, wrong)
    worse = harm_chance(np.minimum(steps_harm + 1, 3), margin, noise, wrong)
    return (1.0 - early * (steps_harm > 0)) * right + early * (steps_harm < 3) * worse
