"""Heat properties of wood from its specific gravity, moisture and temperature.

Moisture is in percent of the ovendry mass, as the trade and the handbook have it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from proofpatch.physics.elementwise import POSITIVE, checked, elementwise

SHRINKAGE_PER_GRAVITY = (
    26.5  # % of volume, green to ovendry, per unit of basic specific gravity; handbook Eq. 4-10 (from memory)
)
FIBRE_SATURATION = 30.0  # %, above which wood no longer swells


@elementwise
def _wood_conductivity(specific_gravity: Any, moisture_percent: Any) -> Any:
    """Thermal conductivity across the grain.

        k = G (B + C x) + A,   A = 0.01864, B = 0.1941, C = 0.004064 W/(m K)     (1)

    Args:
        specific_gravity: G, ovendry mass over volume at x, above 0.3 [1]; any shape.
        moisture_percent: x, 0 to 25 [%].

    Returns:
        k at about 24 °C [W/(m K)]; single pieces differ by 20 %, along the grain it is about 1.8 times this.

    Raises:
        InputError: outside the range of the equation.

    Source: Forest Products Laboratory, Wood Handbook, FPL-GTR-190 (2010), Eq. 4-15.
    """
    return specific_gravity * (0.1941 + 0.004064 * moisture_percent) + 0.01864  # (1)


@elementwise
def _wood_specific_heat(temperature: Any, moisture_percent: Any) -> Any:
    """Specific heat of moist wood.

        c₀ = 103.1 + 3.867 T                                                     (1)
        A_c = x (b₁ + b₂ T + b₃ x),   b = −61.91, 0.236, −0.133 J/(kg K)         (2)
        c = (c₀ + 4180 x/100)/(1 + x/100) + A_c                                  (3)

    One printed page gives all three b as positive; its code and a later page have the signs above.

    Args:
        temperature: T, absolute, 280 to 420 [K]; any shape.
        moisture_percent: x, 0 to 30 [%].

    Returns:
        c [J/(kg K)].

    Raises:
        InputError: outside the range of the equation (temperatures from memory).

    Source: Wood Handbook equations, read through the documentation and code of an open library of wood chemistry.
    """
    t, x = temperature, moisture_percent
    dry = 103.1 + 3.867 * t  # (1)
    bound = x * (-61.91 + 0.236 * t - 0.133 * x)  # (2)
    return (dry + 4180.0 * x / 100.0) / (1.0 + x / 100.0) + bound  # (3)


@elementwise
def _wood_density(specific_gravity: Any, moisture_percent: Any) -> Any:
    """Density of moist wood.

        ρ = 1000 G (1 + x/100)                                                   (1)

    Args:
        specific_gravity: G, ovendry mass over volume at x, > 0 [1]; any shape.
        moisture_percent: x, ≥ 0 [%].

    Returns:
        ρ [kg/m³].

    Raises:
        InputError: an argument is out of its range.

    Source: Wood Handbook, FPL-GTR-190 (2010), ch. 4.
    """
    return 1000.0 * specific_gravity * (1.0 + moisture_percent / 100.0)  # (1)


@elementwise
def _volumetric_shrinkage(basic_specific_gravity: Any) -> Any:
    """Shrinkage of the volume from green to ovendry, when no species value is known.

        S₀ = 26.5 G_b                                                            (1)

    Args:
        basic_specific_gravity: G_b, ovendry mass over green volume, > 0 [1]; any shape.

    Returns:
        S₀ [%].

    Raises:
        InputError: `basic_specific_gravity` is not positive.

    Source: Wood Handbook Eq. 4-10 (from memory).
    """
    return SHRINKAGE_PER_GRAVITY * basic_specific_gravity  # (1)


@elementwise
def _specific_gravity_at(basic_specific_gravity: Any, moisture_percent: Any, shrinkage_percent: Any) -> Any:
    """Specific gravity at a moisture content.

        G_x = G_b/(1 − S_x/100),   S_x = S₀ (1 − x/30)                           (1)

    Args:
        basic_specific_gravity: G_b, ovendry mass over green volume, > 0 [1]; any shape.
        moisture_percent: x, 0 to 30 [%].
        shrinkage_percent: S₀, green to ovendry, 0 to 50, e.g. from `volumetric_shrinkage` [%].

    Returns:
        G_x [1].

    Raises:
        InputError: an argument is out of its range.

    Source: Wood Handbook, ch. 4, read through the documentation of an open library of wood chemistry.
    """
    shrunk = shrinkage_percent * (1.0 - moisture_percent / FIBRE_SATURATION)
    return basic_specific_gravity / (1.0 - shrunk / 100.0)  # (1)


def within(low: float, high: float) -> tuple[Callable[[Any], Any], str]:
    """The rule for `checked` that a value lies in the range an equation covers."""
    return (lambda v: np.all(np.greater_equal(v, low) & np.less_equal(v, high)), f"must lie from {low:g} to {high:g}")


wood_conductivity = checked(_wood_conductivity, specific_gravity=within(0.3, 1.5), moisture_percent=within(0, 25))
wood_specific_heat = checked(_wood_specific_heat, temperature=within(280, 420), moisture_percent=within(0, 30))
wood_density = checked(_wood_density, specific_gravity=POSITIVE, moisture_percent=within(0, 300))
volumetric_shrinkage = checked(_volumetric_shrinkage, basic_specific_gravity=POSITIVE)
specific_gravity_at = checked(
    _specific_gravity_at,
    basic_specific_gravity=POSITIVE, moisture_percent=within(0, FIBRE_SATURATION), shrinkage_percent=within(0, 50),
)  # fmt: skip
