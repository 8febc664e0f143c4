"""Heat left over from pulse to pulse on one place: what N pulses have added up to just before the next.

Thick solid, insulated face, light stopped in the face; only the part of each pulse that stays as heat counts.
The same sums serve for lines and passes, with the time between them in place of 1/f.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from scipy import special

from proofpatch.errors import InputError
from proofpatch.physics.elementwise import NOT_NEGATIVE, POSITIVE, POSITIVE_SHARE, checked, elementwise

MOST_PULSES = 10_000_000  # ten seconds at 1 MHz; the sums are added up term by term


def _pulse_numbers(pulses: Any) -> Any:
    """1/j for j = N … 1, refusing what is not a usable count."""
    if np.ndim(pulses) != 0 or pulses != int(pulses) or not 1 <= pulses <= MOST_PULSES:
        raise InputError(
            "pulses", f"{pulses} is not a number of pulses.", f"Give a whole number from 1 to {MOST_PULSES}."
        )
    # Sum the smallest terms first, or rounding swallows the tail.
    return np.arange(int(pulses), 0, -1, dtype=float)


def _accumulation_sum(pulses: Any, dimensions: Any) -> Any:
    """Sum that carries the heat of earlier pulses.

        S_n(N) = Σ_{j=1…N} j^(−n/2)                                              (1)
        n = 1: ≈ 2√N − 1.4604;   n = 2: ≈ ln N + 0.5772;   n = 3: → ζ(3/2) = 2.6124

    Args:
        pulses: N, a whole number from 1 to 10 million [1].
        dimensions: n, ways the heat can go: 1 down, 2 down and across a line, 3 every way.

    Returns:
        Sum [1].

    Raises:
        InputError: `pulses` or `dimensions` is not such a number.

    Source: Weber et al., Opt. Express 22, 11312 (2014) (formula from memory; derived, checked numerically).
    """
    if dimensions not in (1, 2, 3):
        raise InputError("dimensions", f"Heat does not spread in {dimensions} dimensions.", "Give 1, 2 or 3.")
    return float(np.sum(_pulse_numbers(pulses) ** (-dimensions / 2.0)))  # (1)


def _accumulated_rise(
    pulses: Any, repetition_rate: Any, heat: Any, heat_capacity: Any, diffusivity: Any, dimensions: Any = 1
) -> Any:
    """Rise of the face just before pulse N + 1, for a spread in 1, 2 or 3 dimensions.

        ΔT = 2 H_n/(ρc (4π D/f)^(n/2)) S_n(N)                                    (1)

    Args:
        pulses: N [1].
        repetition_rate: f, > 0 [Hz]; any shape.
        heat: H_n left by each pulse: n = 1 per area [J/m²], n = 2 per length of line [J/m], n = 3 in all [J].
        heat_capacity: ρc, by volume, > 0 [J/(m³ K)].
        diffusivity: D, > 0 [m²/s].
        dimensions: n.

    Returns:
        Rise [K].

    Raises:
        InputError: an argument is out of its range.

    The factor 2 is the insulated face. Source: as `accumulation_sum`.
    """
    spread = 4.0 * math.pi * diffusivity / repetition_rate
    return 2.0 * heat / (heat_capacity * spread ** (dimensions / 2.0)) * _accumulation_sum(pulses, dimensions)  # (1)


def _gaussian_accumulated_rise(
    pulses: Any, repetition_rate: Any, peak_heat: Any, spot_radius: Any, heat_capacity: Any, diffusivity: Any
) -> Any:
    """Rise in the middle of a Gaussian spot just before pulse N + 1, standing still.

        ΔT = t₁ Σ_{j=1…N} 1/( √j (1 + 8 D j/(f w²)) ),   t₁ = F₀/(ρc √(π D/f))   (1)

    Args:
        pulses: N, a whole number [1].
        repetition_rate: f, > 0 [Hz]; any shape.
        peak_heat: F₀, heat left by each pulse per area in the middle, ≥ 0 [J/m²].
        spot_radius: w, 1/e² radius, > 0 [m].
        heat_capacity: ρc, by volume, > 0 [J/(m³ K)].
        diffusivity: D, > 0 [m²/s].

    Returns:
        Rise; it goes from 1D to 3D by itself, near N = f w²/(8 D) [K].

    Raises:
        InputError: an argument is out of its range.

    Source: `spots.gaussian_disc_pulse_rise` summed; derived, checked numerically.
    """
    j = _pulse_numbers(pulses)
    first = peak_heat / (heat_capacity * np.sqrt(math.pi * diffusivity / repetition_rate))
    crossover = np.asarray(_crossover_pulses(repetition_rate, spot_radius, diffusivity))[..., None]
    return first * np.sum(1.0 / (np.sqrt(j) * (1.0 + j / crossover)), axis=-1)  # (1)


@elementwise
def _crossover_pulses(repetition_rate: Any, spot_radius: Any, diffusivity: Any) -> Any:
    """Number of pulses after which heat leaves sideways.

        N_x = f w²/(8 D)                                                         (1)

    Args:
        repetition_rate: f, > 0 [Hz]; any shape.
        spot_radius: w, 1/e² radius, > 0 [m].
        diffusivity: D, > 0 [m²/s].

    Returns:
        N_x [1]; fewer pulses pile up as √N.

    Raises:
        InputError: an argument is not positive.

    Source: (1) of `gaussian_accumulated_rise`.
    """
    return repetition_rate * spot_radius * spot_radius / (8.0 * diffusivity)  # (1)


def _standing_power_limit(
    rise: Any, heat_share: Any, repetition_rate: Any, heat_capacity: Any, diffusivity: Any
) -> Any:
    """Average power of a tiny spot, standing still, that heats it by no more than a given rise.

        P = ΔT ρc (4π D)^1.5 / (2 η ζ(3/2) √f)                                   (1)

    Args:
        rise: ΔT allowed just before the next pulse, > 0 [K]; any shape.
        heat_share: η, share of the power that stays as heat, above 0, at most 1 [1].
        repetition_rate: f, > 0 [Hz].
        heat_capacity: ρc, by volume, > 0 [J/(m³ K)].
        diffusivity: D, > 0 [m²/s].

    Returns:
        Average power [W].

    Raises:
        InputError: an argument is out of its range.

    Point source, very many pulses. Source: `accumulated_rise` with n = 3, P = f E; derived, checked numerically.
    """
    zeta = float(special.zeta(1.5))
    spread = (4.0 * math.pi * diffusivity) ** 1.5
    return rise * heat_capacity * spread / (2.0 * heat_share * zeta * np.sqrt(repetition_rate))  # (1)


accumulation_sum = checked(_accumulation_sum, pulses=POSITIVE)
accumulated_rise = checked(
    _accumulated_rise,
    pulses=POSITIVE, repetition_rate=POSITIVE, heat=NOT_NEGATIVE, heat_capacity=POSITIVE, diffusivity=POSITIVE,
)  # fmt: skip
gaussian_accumulated_rise = checked(
    _gaussian_accumulated_rise,
    pulses=POSITIVE, repetition_rate=POSITIVE, peak_heat=NOT_NEGATIVE, spot_radius=POSITIVE, heat_capacity=POSITIVE,
    diffusivity=POSITIVE,
)  # fmt: skip
crossover_pulses = checked(_crossover_pulses, repetition_rate=POSITIVE, spot_radius=POSITIVE, diffusivity=POSITIVE)
standing_power_limit = checked(
    _standing_power_limit,
    rise=POSITIVE, heat_share=POSITIVE_SHARE, repetition_rate=POSITIVE, heat_capacity=POSITIVE, diffusivity=POSITIVE,
)  # fmt: skip
