"""Heat of a spot that moves at a steady speed over a thick solid, in the spot's own frame.

The spot's middle is at x = 0 and moves towards +x; what it has passed lies at negative x.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np
from scipy import integrate

from proofpatch.physics.elementwise import NOT_NEGATIVE, POSITIVE, checked, elementwise


def _moving_gaussian_rise(
    along: Any, across: Any, depth: Any, power: Any, speed: Any, spot_radius: Any, conductivity: Any, diffusivity: Any
) -> Any:
    """Rise near a moving Gaussian spot once its pattern is steady.

        ΔT = ∫₀^∞ ds 2P/(π^1.5 ρc √(D s) (w² + 8 D s)) exp( −2((x + v s)² + y²)/(w² + 8 D s) − z²/(4 D s) )   (1)

    worked out with ξ = √(8 D s)/w and Pe = v w/(2 D), which takes the end point away:

        ΔT = (√2 P/(π^1.5 k w)) ∫₀^∞ dξ/(1 + ξ²) exp( −2((x/w + Pe ξ²/4)² + y²/w²)/(1 + ξ²) − 2 z²/(w ξ)² )   (2)

    Args:
        along: x, ahead of the spot's middle positive [m]; any shape.
        across: y [m].
        depth: z, ≥ 0 [m].
        power: P, average power absorbed, ≥ 0 [W].
        speed: v, ≥ 0 [m/s].
        spot_radius: w, 1/e² radius, > 0 [m].
        conductivity: k, > 0 [W/(m K)].
        diffusivity: D, > 0 [m²/s].

    Returns:
        Rise [K]. One integral for each element: for drawing and checking, not for loops.

    Raises:
        InputError: an argument is out of its range.

    Source: derived, checked numerically; same form as Cline & Anthony, J. Appl. Phys. 48, 3895 (1977) (from memory).
    """
    w = spot_radius
    peclet = _peclet_number(speed, w, diffusivity)
    scale = math.sqrt(2.0) * power / (math.pi**1.5 * conductivity * w)
    x, y, z = np.divide(along, w), np.divide(across, w), np.divide(depth, w)
    return scale * np.vectorize(_moving_integral, otypes=[float])(x, y, z, peclet)  # (2)


def _moving_integral(x: float, y: float, z: float, peclet: float) -> float:
    """The integral of (2) in `moving_gaussian_rise`; lengths in spot radii."""

    def integrand(xi: float) -> float:
        wide = 1.0 + xi * xi
        shape = -2.0 * ((x + peclet * xi * xi / 4.0) ** 2 + y * y) / wide
        fall = 2.0 * z * z / (xi * xi) if z > 0.0 else 0.0
        return math.exp(shape - fall) / wide

    # The spot passed this place at ξ²; the integrand is narrow there, and the pieces must not step over it.
    passed = max(-4.0 * x / peclet, 0.0) if peclet > 0.0 else 0.0
    width = 2.0 * math.sqrt(1.0 + passed) / peclet if peclet > 0.0 else 1.0
    squares = [passed + k * width for k in (-6.0, 0.0, 6.0) if passed + k * width > 0.0]
    edges = sorted({0.0, 1.0, *(math.sqrt(s) for s in squares)})
    pieces = [*pairwise(edges), (edges[-1], math.inf)]
    return float(sum(integrate.quad(integrand, a, b, epsabs=1e-13, epsrel=1e-10, limit=200)[0] for a, b in pieces))


@elementwise
def _peclet_number(speed: Any, spot_radius: Any, diffusivity: Any) -> Any:
    """Speed of the spot against the speed of heat.

        Pe = v w/(2 D)                                                           (1)

    Args:
        speed: v, ≥ 0 [m/s]; any shape.
        spot_radius: w, > 0 [m].
        diffusivity: D, > 0 [m²/s].

    Returns:
        Pe; well above 1 the heat stays behind the spot [1].

    Raises:
        InputError: an argument is out of its range.

    Source: convention (others leave out the 2).
    """
    return speed * spot_radius / (2.0 * diffusivity)  # (1)


@elementwise
def _passed_line_rise(seconds: Any, power: Any, speed: Any, conductivity: Any) -> Any:
    """Rise of the face on the track, long after the spot has passed.

        ΔT = P/(2π k v s)                                                        (1)

    Args:
        seconds: s, since the spot passed, > 0 [s]; any shape.
        power: P, absorbed, ≥ 0 [W].
        speed: v, > 0 [m/s].
        conductivity: k, > 0 [W/(m K)].

    Returns:
        Rise [K]; too high while √(8 D s) is not far above the spot radius.

    Raises:
        InputError: an argument is out of its range.

    Source: instantaneous line source on the face; Carslaw & Jaeger (from memory).
    """
    return power / (2.0 * math.pi * conductivity * speed * seconds)  # (1)


@elementwise
def _moving_point_rise(along: Any, aside: Any, power: Any, speed: Any, conductivity: Any, diffusivity: Any) -> Any:
    """Rise near a moving point of heat once its pattern is steady (Rosenthal).

        ΔT = P/(2π k R) exp( −v (R + x)/(2 D) ),   R = √(x² + aside²)            (1)

    Args:
        along: x, ahead of the point positive [m]; any shape.
        aside: distance from the line of travel, sideways or down, ≥ 0 [m].
        power: P, absorbed, ≥ 0 [W].
        speed: v, ≥ 0 [m/s].
        conductivity: k, > 0 [W/(m K)].
        diffusivity: D, > 0 [m²/s].

    Returns:
        Rise; inf at the point itself [K].

    Raises:
        InputError: an argument is out of its range.

    Source: D. Rosenthal, Trans. ASME 68, 849 (1946) (from memory).
    """
    r = np.maximum(np.sqrt(along * along + aside * aside), 1e-300)
    return power / (2.0 * math.pi * conductivity * r) * np.exp(-speed * (r + along) / (2.0 * diffusivity))  # (1)


SOLID = {"conductivity": POSITIVE, "diffusivity": POSITIVE}

moving_gaussian_rise = checked(
    _moving_gaussian_rise, depth=NOT_NEGATIVE, power=NOT_NEGATIVE, speed=NOT_NEGATIVE, spot_radius=POSITIVE, **SOLID
)
peclet_number = checked(_peclet_number, speed=NOT_NEGATIVE, spot_radius=POSITIVE, diffusivity=POSITIVE)
passed_line_rise = checked(
    _passed_line_rise, seconds=POSITIVE, power=NOT_NEGATIVE, speed=POSITIVE, conductivity=POSITIVE
)
moving_point_rise = checked(_moving_point_rise, aside=NOT_NEGATIVE, power=NOT_NEGATIVE, speed=NOT_NEGATIVE, **SOLID)
