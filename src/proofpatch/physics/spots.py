"""Heat under a spot of limited width, standing still: it spreads sideways as well as down.

Thick solid, insulated face, light stopped in the face, constant properties; rises above the temperature before.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from proofpatch.physics.elementwise import NOT_NEGATIVE, POSITIVE, checked, elementwise


@elementwise
def _gaussian_spot_rise(time: Any, power: Any, spot_radius: Any, conductivity: Any, diffusivity: Any) -> Any:
    """Rise in the middle of a Gaussian spot that shines steadily.

        ΔT(t) = (I₀ w/(k √(2π))) arctan( √(8 D t)/w ),   I₀ = 2 P/(π w²)         (1)

    Args:
        time: t, since it began, ≥ 0 [s]; any shape.
        power: P, absorbed, ≥ 0 [W].
        spot_radius: w, 1/e² radius, > 0 [m].
        conductivity: k, > 0 [W/(m K)].
        diffusivity: D, > 0 [m²/s].

    Returns:
        Rise; after switching off subtract the same with the time since then [K].

    Raises:
        InputError: an argument is out of its range.

    Source: derived from the instantaneous Gaussian disc, checked by quadrature; the form is in Carslaw & Jaeger
    (from memory).
    """
    w = spot_radius
    peak = 2.0 * power / (math.pi * w * w)
    return (
        peak * w / (conductivity * math.sqrt(2.0 * math.pi)) * np.arctan(np.sqrt(8.0 * diffusivity * time) / w)
    )  # (1)


@elementwise
def _gaussian_spot_steady_rise(power: Any, spot_radius: Any, conductivity: Any) -> Any:
    """Rise in the middle of a Gaussian spot after a very long time.

        ΔT = P / (√(2π) k w)                                                     (1)

    Args:
        power: P, absorbed, ≥ 0 [W]; any shape.
        spot_radius: w, 1/e² radius, > 0 [m].
        conductivity: k, > 0 [W/(m K)].

    Returns:
        Rise [K].

    Raises:
        InputError: an argument is out of its range.

    Source: limit of `gaussian_spot_rise`.
    """
    return power / (math.sqrt(2.0 * math.pi) * conductivity * spot_radius)  # (1)


@elementwise
def _top_hat_spot_steady_rise(power: Any, radius: Any, conductivity: Any) -> Any:
    """Rise in the middle of an evenly lit disc after a very long time.

        ΔT = P / (π a k)                                                         (1)

    Args:
        power: P, absorbed, ≥ 0 [W]; any shape.
        radius: a, of the disc, > 0 [m].
        conductivity: k, > 0 [W/(m K)].

    Returns:
        Rise [K].

    Raises:
        InputError: an argument is out of its range.

    Source: Carslaw & Jaeger, 2nd ed. (1959), §8.2 (from memory).
    """
    return power / (math.pi * radius * conductivity)  # (1)


@elementwise
def _point_pulse_rise(distance: Any, time: Any, energy: Any, heat_capacity: Any, diffusivity: Any) -> Any:
    """Rise after heat is put in at a point of the face, all at once.

        ΔT(r, t) = 2 Q/(ρc (4π D t)^1.5) exp(−r²/(4 D t))                        (1)

    Args:
        distance: r, from the point, in any direction within the solid, ≥ 0 [m]; any shape.
        time: t, since then, > 0 [s].
        energy: Q, ≥ 0 [J].
        heat_capacity: ρc, by volume, > 0 [J/(m³ K)].
        diffusivity: D, > 0 [m²/s].

    Returns:
        Rise [K].

    Raises:
        InputError: an argument is out of its range.

    Source: Carslaw & Jaeger, 2nd ed. (1959), §10.2 (from memory), doubled for the insulated face.
    """
    spread = 4.0 * diffusivity * time
    return 2.0 * energy / (heat_capacity * (math.pi * spread) ** 1.5) * np.exp(-distance * distance / spread)  # (1)


@elementwise
def _gaussian_disc_pulse_rise(
    radius: Any, depth: Any, time: Any, energy: Any, spot_radius: Any, heat_capacity: Any, diffusivity: Any
) -> Any:
    """Rise after a Gaussian spot of heat is put into the face, all at once.

        ΔT = F₀/(ρc √(π D t)) · 1/(1 + 8 D t/w²) · exp(−2 r²/(w² + 8 D t) − z²/(4 D t)),  F₀ = 2 Q/(π w²)   (1)

    Args:
        radius: r, from the middle, ≥ 0 [m]; any shape.
        depth: z, ≥ 0 [m].
        time: t, since then, > 0 [s].
        energy: Q, absorbed, ≥ 0 [J].
        spot_radius: w, 1/e² radius, > 0 [m].
        heat_capacity: ρc, by volume, > 0 [J/(m³ K)].
        diffusivity: D, > 0 [m²/s].

    Returns:
        Rise [K].

    Raises:
        InputError: an argument is out of its range.

    Source: `point_pulse_rise` spread over the spot; derived, checked numerically.
    """
    w, alpha_t = spot_radius, diffusivity * time
    peak = 2.0 * energy / (math.pi * w * w)
    wide = w * w + 8.0 * alpha_t
    shape = np.exp(-2.0 * radius * radius / wide - depth * depth / (4.0 * alpha_t))
    return peak / (heat_capacity * np.sqrt(math.pi * alpha_t)) * (w * w / wide) * shape  # (1)


@elementwise
def _top_hat_disc_pulse_rise(time: Any, energy: Any, radius: Any, heat_capacity: Any, diffusivity: Any) -> Any:
    """Rise in the middle after an even disc of heat is put into the face, all at once.

        ΔT(t) = F/(ρc √(π D t)) (1 − exp(−a²/(4 D t))),   F = Q/(π a²)           (1)

    Args:
        time: t, since then, > 0 [s]; any shape.
        energy: Q, absorbed, ≥ 0 [J].
        radius: a, of the disc, > 0 [m].
        heat_capacity: ρc, by volume, > 0 [J/(m³ K)].
        diffusivity: D, > 0 [m²/s].

    Returns:
        Rise [K].

    Raises:
        InputError: an argument is out of its range.

    Source: `point_pulse_rise` spread over the disc; derived, checked numerically.
    """
    alpha_t = diffusivity * time
    fluence = energy / (math.pi * radius * radius)
    held = -np.expm1(-radius * radius / (4.0 * alpha_t))
    return fluence / (heat_capacity * np.sqrt(math.pi * alpha_t)) * held  # (1)


gaussian_spot_rise = checked(
    _gaussian_spot_rise,
    time=NOT_NEGATIVE, power=NOT_NEGATIVE, spot_radius=POSITIVE, conductivity=POSITIVE, diffusivity=POSITIVE,
)  # fmt: skip
gaussian_spot_steady_rise = checked(
    _gaussian_spot_steady_rise, power=NOT_NEGATIVE, spot_radius=POSITIVE, conductivity=POSITIVE
)
top_hat_spot_steady_rise = checked(
    _top_hat_spot_steady_rise, power=NOT_NEGATIVE, radius=POSITIVE, conductivity=POSITIVE
)
point_pulse_rise = checked(
    _point_pulse_rise,
    distance=NOT_NEGATIVE, time=POSITIVE, energy=NOT_NEGATIVE, heat_capacity=POSITIVE, diffusivity=POSITIVE,
)  # fmt: skip
gaussian_disc_pulse_rise = checked(
    _gaussian_disc_pulse_rise,
    radius=NOT_NEGATIVE, depth=NOT_NEGATIVE, time=POSITIVE, energy=NOT_NEGATIVE, spot_radius=POSITIVE,
    heat_capacity=POSITIVE, diffusivity=POSITIVE,
)  # fmt: skip
top_hat_disc_pulse_rise = checked(
    _top_hat_disc_pulse_rise,
    time=POSITIVE, energy=NOT_NEGATIVE, radius=POSITIVE, heat_capacity=POSITIVE, diffusivity=POSITIVE,
)  # fmt: skip
