"""Heat going straight down into a thick solid: a face or a depth heated by one pulse or a steady flux.

Constant properties, insulated face, no melting; a rise is counted above the temperature before. Closed forms
for spots of limited width are in `spots.py`, for pulse trains in `accumulation.py`, for the moving spot in
`moving.py`, and for what heat does to wood in `kinetics.py`.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from proofpatch.physics.elementwise import NOT_NEGATIVE, POSITIVE, checked, choose, elementwise, erfcx, ierfc

SHORTEST = 1e-30  # stands for no time or depth at all where a ratio needs one [s, m]


@elementwise
def _flux_heated_rise(depth: Any, time: Any, flux: Any, conductivity: Any, diffusivity: Any) -> Any:
    """Temperature rise in a thick solid whose face absorbs a constant flux.

        ΔT(x, t) = (2 q / k) √(α t) ierfc(x / (2 √(α t)))                        (1)

    Args:
        depth: x, below the heated face, ≥ 0 [m]; any shape.
        time: t, since the flux began, ≥ 0 [s]; broadcasts with `depth`.
        flux: q, absorbed by the face, after reflection [W/m²].
        conductivity: k, > 0 [W/(m K)].
        diffusivity: α, > 0 [m²/s].

    Returns:
        Rise above the initial temperature [K], in the broadcast shape.

    Raises:
        InputError: an argument is out of its range.

    Holds until the heat meets the back face: at x = 4 √(α t) the rise is 0.2 % of the face's.
    Source: Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), §2.9 (section from memory).
    """
    reach = np.maximum(np.sqrt(diffusivity * time), SHORTEST)
    return 2.0 * flux / conductivity * reach * ierfc(depth / (2.0 * reach))  # (1)


@elementwise
def _pulse_heated_rise(
    depth: Any, time: Any, pulse_width: Any, absorbed_fluence: Any, conductivity: Any, diffusivity: Any
) -> Any:
    """Temperature rise during and after a rectangular pulse absorbed at the face.

        ΔT(x, t) = U(x, t) − U(x, t − τ) (t > τ),  U of `flux_heated_rise` with q = F/τ   (1)

    Args:
        depth: x, ≥ 0 [m]; any shape.
        time: t, since the pulse began, ≥ 0 [s].
        pulse_width: τ, > 0 [s].
        absorbed_fluence: F, after reflection, ≥ 0 [J/m²].
        conductivity: k, > 0 [W/(m K)].
        diffusivity: α, > 0 [m²/s].

    Returns:
        Rise [K].

    Raises:
        InputError: an argument is out of its range.

    A pulse Gaussian in time with the same fluence peaks at 0.78 of this. Source: Carslaw & Jaeger §2.9 (from
    memory), superposed.
    """
    flux = absorbed_fluence / pulse_width
    after = np.maximum(time - pulse_width, 0.0)
    on = _flux_heated_rise(depth, time, flux, conductivity, diffusivity)
    off = _flux_heated_rise(depth, after, flux, conductivity, diffusivity)
    return on - choose(after > 0.0, off, 0.0)  # (1)


@elementwise
def _pulse_threshold_for_rise(rise: Any, pulse_width: Any, conductivity: Any, diffusivity: Any) -> Any:
    """Absorbed fluence of a rectangular pulse that raises the face by a given amount at its end.

        F = (ΔT/2) k √(π τ/α) = (ΔT/2) √(π k ρc τ)                               (1)

    Args:
        rise: ΔT, ≥ 0 [K]; any shape.
        pulse_width: τ, > 0 [s].
        conductivity: k, > 0 [W/(m K)].
        diffusivity: α, > 0 [m²/s].

    Returns:
        Absorbed fluence [J/m²].

    Raises:
        InputError: an argument is out of its range.

    Source: `flux_heated_rise` at x = 0, t = τ, solved for the fluence.
    """
    return rise / 2.0 * conductivity * np.sqrt(math.pi * pulse_width / diffusivity)  # (1)


@elementwise
def _erfcx_remainder(x: Any) -> Any:
    """erfcx(x) − 1 + 2x/√π for x ≥ 0, without loss of digits near 0.

        Σ (−x)^j / Γ(j/2 + 1),  j = 2, 3, …                                      (1)

    Source: NIST Digital Library of Mathematical Functions, 7.6.3 (from memory), checked against SciPy.
    """
    s = np.minimum(x, 0.02)
    root = math.sqrt(math.pi)
    tail = 0.5 - s * (8.0 / (15.0 * root) - s * (1.0 / 6.0 - s * 16.0 / (105.0 * root)))
    series = s * s * (1.0 - s * (4.0 / (3.0 * root) - s * tail))  # (1)
    return choose(x < 0.02, series, erfcx(x) - 1.0 + 2.0 * x / root)


@elementwise
def _volume_heated_face_rise(time: Any, flux: Any, conductivity: Any, diffusivity: Any, absorption: Any) -> Any:
    """Temperature rise of the face of a thick solid that absorbs a constant flux in depth (Beer–Lambert).

        ΔT(0, t) = (2 q / k) √(D t/π) − (q/(α k)) [1 − erfcx(α √(D t))]          (1)

    Args:
        time: t, since the flux began, ≥ 0 [s]; any shape.
        flux: q, that enters the face, after reflection [W/m²].
        conductivity: k, > 0 [W/(m K)].
        diffusivity: D, > 0 [m²/s].
        absorption: α, > 0 [1/m].

    Returns:
        Rise [K].

    Raises:
        InputError: an argument is out of its range.

    Limits: α q t/ρc while heat stays put, `flux_heated_rise` when α √(D t) ≫ 1.
    Source: derived from Carslaw & Jaeger, 2nd ed. (from memory); checked by quadrature.
    """
    reach = absorption * np.sqrt(diffusivity * time)
    return flux / (absorption * conductivity) * _erfcx_remainder(reach)  # (1), its terms gathered


@elementwise
def _volume_heated_rise(depth: Any, time: Any, flux: Any, conductivity: Any, diffusivity: Any, absorption: Any) -> Any:
    """Temperature rise at depth in a thick solid that absorbs a constant flux in depth (Beer–Lambert).

        ΔT(z, t) = (2 q/k) √(D t) ierfc(b) − (q/(α k)) e^(−α z) + (q/(2 α k)) B  (1)
        B = e^(a²) [ e^(αz) erfc(a + b) + e^(−αz) erfc(a − b) ],   a = α √(D t),  b = z/(2 √(D t))
          = e^(−b²) [ erfcx(a + b) + erfcx(a − b) ]                              (2)

    (2) does not overflow; where a < b its second term is 2 e^(a² − αz) − e^(−b²) erfcx(b − a).

    Args:
        depth: z, ≥ 0 [m]; any shape.
        time: t, since the flux began, ≥ 0 [s].
        flux: q, that enters the face, after reflection [W/m²].
        conductivity: k, > 0 [W/(m K)].
        diffusivity: D, > 0 [m²/s].
        absorption: α, > 0 [1/m].

    Returns:
        Rise [K].

    Raises:
        InputError: an argument is out of its range.

    The terms cancel when a ≪ 1: about 16 + 2 log₁₀ a digits remain. Source: as `volume_heated_face_rise`.
    """
    z, alpha = depth, absorption
    reach = np.maximum(np.sqrt(diffusivity * time), SHORTEST)
    bracket = _volume_bracket(z, reach, alpha)
    surface = 2.0 * flux / conductivity * reach * ierfc(z / (2.0 * reach))
    return surface + flux / (alpha * conductivity) * (0.5 * bracket - np.exp(-alpha * z))  # (1)


@elementwise
def _volume_bracket(depth: Any, reach: Any, absorption: Any) -> Any:
    """B of `volume_heated_rise`, form (2), from z, √(D t) and α; dimensionless, any shape."""
    a = absorption * reach
    b = depth / (2.0 * reach)
    fade = np.exp(-b * b)
    near = fade * erfcx(np.abs(a - b))
    below = 2.0 * np.exp(np.minimum(a * a - absorption * depth, 0.0)) - near
    return fade * erfcx(a + b) + choose(a >= b, near, below)  # (2)


@elementwise
def _volume_pulse_rise(
    depth: Any, time: Any, pulse_width: Any, fluence: Any, conductivity: Any, diffusivity: Any, absorption: Any
) -> Any:
    """Temperature rise during and after a rectangular pulse absorbed in depth.

        ΔT(z, t) = V(z, t) − V(z, t − τ) (t > τ),  V of `volume_heated_rise` with q = F/τ   (1)

    Args:
        depth: z, ≥ 0 [m]; any shape.
        time: t, since the pulse began, ≥ 0 [s].
        pulse_width: τ, > 0 [s].
        fluence: F, that enters the face, ≥ 0 [J/m²].
        conductivity: k, > 0 [W/(m K)].
        diffusivity: D, > 0 [m²/s].
        absorption: α, > 0 [1/m].

    Returns:
        Rise [K].

    Raises:
        InputError: an argument is out of its range.

    Long after a short pulse the two are nearly equal: about log₁₀(t/τ) digits are lost on top of those of V.
    Source: as `volume_heated_face_rise`, superposed.
    """
    flux = fluence / pulse_width
    after = np.maximum(time - pulse_width, 0.0)
    on = _volume_heated_rise(depth, time, flux, conductivity, diffusivity, absorption)
    off = _volume_heated_rise(depth, after, flux, conductivity, diffusivity, absorption)
    return on - choose(after > 0.0, off, 0.0)  # (1)


@elementwise
def _instant_volume_rise(
    depth: Any, time: Any, fluence: Any, heat_capacity: Any, diffusivity: Any, absorption: Any
) -> Any:
    """Temperature rise after a flash absorbed in depth, all at once.

        ΔT(z, t) = (α F/(2 ρc)) B,  B of `volume_heated_rise`;   at the face (α F/ρc) erfcx(α √(D t))   (1)

    Args:
        depth: z, ≥ 0 [m]; any shape.
        time: t, since the flash, ≥ 0 [s].
        fluence: F, that enters the face, ≥ 0 [J/m²].
        heat_capacity: ρc, by volume, > 0 [J/(m³ K)].
        diffusivity: D, > 0 [m²/s].
        absorption: α, > 0 [1/m].

    Returns:
        Rise; (α F/ρc) e^(−αz) at time 0 [K].

    Raises:
        InputError: an argument is out of its range.

    Source: as `volume_heated_face_rise`, differentiated in time.
    """
    reach = np.maximum(np.sqrt(diffusivity * time), SHORTEST)
    return absorption * fluence / (2.0 * heat_capacity) * _volume_bracket(depth, reach, absorption)  # (1)


@elementwise
def _diffusion_length(time: Any, diffusivity: Any) -> Any:
    """Depth to which heat travels in a time.

        L = 2 √(D t)                                                             (1)

    Args:
        time: t, ≥ 0 [s]; any shape.
        diffusivity: D, > 0 [m²/s].

    Returns:
        L [m]; other texts leave out the 2, or put √π.

    Raises:
        InputError: an argument is out of its range.

    Source: convention.
    """
    return 2.0 * np.sqrt(diffusivity * time)  # (1)


@elementwise
def _relaxation_time(absorption: Any, diffusivity: Any) -> Any:
    """Time in which a heated absorption depth loses its heat to what lies below.

        t = 1/(α² D)                                                             (1)

    Args:
        absorption: α, > 0 [1/m]; any shape.
        diffusivity: D, > 0 [m²/s].

    Returns:
        t; a pulse far shorter heats without conduction. Other texts give a quarter of it [s].

    Raises:
        InputError: an argument is not positive.

    Source: convention.
    """
    return 1.0 / (absorption * absorption * diffusivity)  # (1)


SOLID = {"conductivity": POSITIVE, "diffusivity": POSITIVE}
PULSE = {"depth": NOT_NEGATIVE, "time": NOT_NEGATIVE, "pulse_width": POSITIVE}

flux_heated_rise = checked(_flux_heated_rise, depth=NOT_NEGATIVE, time=NOT_NEGATIVE, **SOLID)
pulse_heated_rise = checked(_pulse_heated_rise, absorbed_fluence=NOT_NEGATIVE, **PULSE, **SOLID)
pulse_threshold_for_rise = checked(_pulse_threshold_for_rise, rise=NOT_NEGATIVE, pulse_width=POSITIVE, **SOLID)
volume_heated_face_rise = checked(_volume_heated_face_rise, time=NOT_NEGATIVE, absorption=POSITIVE, **SOLID)
volume_heated_rise = checked(_volume_heated_rise, depth=NOT_NEGATIVE, time=NOT_NEGATIVE, absorption=POSITIVE, **SOLID)
volume_pulse_rise = checked(_volume_pulse_rise, fluence=NOT_NEGATIVE, absorption=POSITIVE, **PULSE, **SOLID)
instant_volume_rise = checked(
    _instant_volume_rise,
    depth=NOT_NEGATIVE, time=NOT_NEGATIVE, fluence=NOT_NEGATIVE, heat_capacity=POSITIVE, diffusivity=POSITIVE,
    absorption=POSITIVE,
)  # fmt: skip
diffusion_length = checked(_diffusion_length, time=NOT_NEGATIVE, diffusivity=POSITIVE)
relaxation_time = checked(_relaxation_time, absorption=POSITIVE, diffusivity=POSITIVE)
