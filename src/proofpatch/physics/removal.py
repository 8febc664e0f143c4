"""What a pulse takes off: from above by blow-off, from below by lifting the film whole."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from proofpatch.physics.beam import _mean_fluence, _threshold_radius
from proofpatch.physics.elementwise import (
    AT_LEAST_ONE,
    NOT_NEGATIVE,
    POSITIVE,
    POSITIVE_SHARE,
    SHARE,
    checked,
    elementwise,
)
from proofpatch.physics.heat import _volume_heated_face_rise

# Gauss–Legendre nodes and weights on [0, 1], 4 points (NumPy's leggauss, which the tests compare with).
NODES = (0.06943184420297371, 0.33000947820757187, 0.6699905217924281, 0.9305681557970262)
WEIGHTS = (0.17392742256872679, 0.3260725774312732, 0.3260725774312732, 0.17392742256872679)


@elementwise
def _blow_off_depth(fluence: Any, threshold_fluence: Any, effective_depth: Any) -> Any:
    """Depth one pulse takes off where the fluence is above threshold.

        d = δ ln(F/F_th)   F > F_th;   0 otherwise                               (1)

    Args:
        fluence: F, ≥ 0 [J/m²]; any shape.
        threshold_fluence: F_th, > 0 [J/m²].
        effective_depth: δ, 1/α for a plain absorber, else measured, > 0 [m].

    Returns:
        Depth [m].

    Raises:
        InputError: an argument is out of its range.

    Source: blow-off model (Beer–Lambert with a threshold; textbook, from memory).
    """
    return effective_depth * np.log(np.maximum(fluence / threshold_fluence, 1.0))  # (1)


@elementwise
def _volume_absorber_threshold(
    absorption: Any, density: Any, specific_heat: Any, rise: Any, latent_heat: Any, reflectance: Any
) -> Any:
    """Threshold where light heats a depth far greater than heat travels in the pulse.

        F_th = ρ (c ΔT + L) / (α (1 − R))                                        (1)

    Args:
        absorption: α, > 0 [1/m]; any shape.
        density: ρ, > 0 [kg/m³].
        specific_heat: c, > 0 [J/(kg K)].
        rise: ΔT to decomposition or boiling, > 0 [K].
        latent_heat: L, ≥ 0 [J/kg].
        reflectance: R, below 1 [1].

    Returns:
        Incident fluence [J/m²].

    Raises:
        InputError: an argument is out of its range.

    Holds for α · 2√(D τ) ≪ 1. An upper bound: films mostly leave by stress, below this fluence.
    Source: energy balance of the face; textbook.
    """
    return density * (specific_heat * rise + latent_heat) / (absorption * (1.0 - reflectance))  # (1)


@elementwise
def _surface_absorber_threshold(
    rise: Any, pulse_width: Any, conductivity: Any, heat_capacity: Any, absorptance: Any
) -> Any:
    """Threshold where light stops in the face and heat travels far deeper.

        F_th = (ΔT/2) √(π k ρc τ) / A                                            (1)

    Args:
        rise: ΔT at the face, > 0 [K]; any shape.
        pulse_width: τ, > 0 [s].
        conductivity: k, > 0 [W/(m K)].
        heat_capacity: ρc, by volume, > 0 [J/(m³ K)].
        absorptance: A, above 0 [1].

    Returns:
        Incident fluence [J/m²].

    Raises:
        InputError: an argument is out of its range.

    Source: Carslaw & Jaeger, 2nd ed. (1959), §2.9 (from memory), solved for the fluence.
    """
    return rise / 2.0 * np.sqrt(math.pi * conductivity * heat_capacity * pulse_width) / absorptance  # (1)


@elementwise
def _conducting_absorber_threshold(
    rise: Any, pulse_width: Any, conductivity: Any, heat_capacity: Any, absorption: Any, reflectance: Any
) -> Any:
    """Threshold between the two limits: light enters, and heat travels, a similar depth.

        F_th = τ ΔT / ((1 − R) T₁(τ)),  T₁ the rise of the face by unit absorbed flux   (1)

    Args:
        rise: ΔT at the face, > 0 [K]; any shape.
        pulse_width: τ, > 0 [s].
        conductivity: k, > 0 [W/(m K)].
        heat_capacity: ρc, by volume, > 0 [J/(m³ K)].
        absorption: α, > 0 [1/m].
        reflectance: R, below 1 [1].

    Returns:
        Incident fluence, without latent heat [J/m²].

    Raises:
        InputError: an argument is out of its range.

    Source: `heat.volume_heated_face_rise` solved for the fluence; derived, checked numerically.
    """
    one = _volume_heated_face_rise(pulse_width, 1.0, conductivity, conductivity / heat_capacity, absorption)
    return pulse_width * rise / ((1.0 - reflectance) * one)  # (1)


@elementwise
def _incubation(hits: Any, exponent: Any) -> Any:
    """Threshold after a number of hits on one place over that of the first.

        F_th(N)/F_th(1) = N^(S − 1)                                              (1)

    Args:
        hits: N, ≥ 1 [1]; any shape.
        exponent: S, 1 where hits leave no memory, 0.8–0.9 for metals, > 0 [1].

    Returns:
        Factor on the threshold [1].

    Raises:
        InputError: `hits` is below 1 or `exponent` is not positive.

    Saturates at many hits in reality. Source: form read at lenzner.us; Jee, Becker & Walser, J. Opt. Soc. Am. B 5,
    648 (1988) (from memory).
    """
    return hits ** (exponent - 1.0)  # (1)


@elementwise
def _mean_incubation(hits: Any, exponent: Any) -> Any:
    """Mean of `incubation` over the hits 1…N.

        (1/N) Σ j^(S−1) ≈ (1/N) [1 + ((N + ½)^S − 1.5^S)/S]  →  N^(S−1)/S for many hits   (1)

    The first hit is counted exactly and the sum of the others is taken as an integral, so that one hit gives
    1 and not 1/S.

    Args:
        hits: N, ≥ 1 [1]; any shape, need not be whole.
        exponent: S, > 0 [1].

    Returns:
        Mean factor on the threshold, within 0.3 % for S from 0.6 to 1.2 [1].

    Raises:
        InputError: `hits` is below 1 or `exponent` is not positive.

    Source: derived, checked numerically.
    """
    n, s = hits, exponent
    return (1.0 + ((n + 0.5) ** s - 1.5**s) / s) / n  # (1)


@elementwise
def _plume_saturation(fluence: Any, plume_fluence: Any) -> Any:
    """Fluence that still reaches the work through the pulse's own plume.

        F_used = F_s (1 − exp(−F/F_s))                                           (1)

    Args:
        fluence: F, sent, ≥ 0 [J/m²]; any shape.
        plume_fluence: F_s, the most that can pass, > 0 [J/m²].

    Returns:
        Fluence used, ≤ F and ≤ F_s [J/m²].

    Raises:
        InputError: an argument is out of its range.

    Source: ours, the plainest form that bends over; efficiency falling at high fluence is reported by Brygo et
    al. (2006, abstract). No fitted F_s is printed there.
    """
    return -plume_fluence * np.expm1(-fluence / plume_fluence)  # (1)


@elementwise
def _lift_margin(
    interface_energy: Any, gas_onset_energy: Any, conversion: Any, bond_energy: Any, toughness: Any, thickness: Any
) -> Any:
    """Energy to spare for throwing a film off whole from below.

        η_m (E_i − E_gas) − (G + h U_b)                                          (1)

    Args:
        interface_energy: E_i, absorbed under the film in one pulse, ≥ 0 [J/m²]; any shape.
        gas_onset_energy: E_gas, at which the interface begins to gas, ≥ 0 [J/m²].
        conversion: η_m, share of the rest that becomes push [1].
        bond_energy: G, of the bond to what lies below, ≥ 0 [J/m²].
        toughness: U_b, energy to tear the film, ≥ 0 [J/m³].
        thickness: h, of the film, ≥ 0 [m].

    Returns:
        Margin, positive where the film flies [J/m²].

    Raises:
        InputError: an argument is out of its range.

    Source: ours (design §3), an energy balance; not a published law.
    """
    push = conversion * np.maximum(interface_energy - gas_onset_energy, 0.0)
    return push - (bond_energy + thickness * toughness)  # (1)


@elementwise
def _disc_depth_moments(
    pulse_energy: Any, spot_radius: Any, top_hat_share: Any, threshold_fluence: Any, effective_depth: Any
) -> Any:
    """Area, volume and squared depth of the dent one pulse makes with the mixed profile.

        A₀ = π w² u_t,   A₁ = ∫ d dA,   A₂ = ∫ d² dA,   d = δ ln(F(r)/F_th),  u = r²/w²   (1)
        up to the edge of the top-hat:  π w² ∫ d du, 4 Gauss–Legendre points      (2)
        beyond it d = 2 δ (u_t − u):    π w² δ (u_t − 1)²  and  π w² δ² (4/3) (u_t − 1)³   (3)

    Args:
        pulse_energy: E, > 0 [J]; any shape.
        spot_radius: w, > 0 [m].
        top_hat_share: m [1].
        threshold_fluence: F_th, > 0 [J/m²].
        effective_depth: δ, > 0 [m].

    Returns:
        (A₀ [m²], A₁ [m³], A₂ [m⁴]); zeros where the threshold is not reached.

    Raises:
        InputError: an argument is out of its range.

    Exact for a pure Gaussian and a pure top-hat; in between the error is below 1e-9 of the value (tested).
    Source: derived, checked numerically.
    """
    w, m, delta = spot_radius, top_hat_share, effective_depth
    u_t = (_threshold_radius(threshold_fluence, pulse_energy, w, m) / w) ** 2
    inner = np.minimum(u_t, 1.0)
    outer = np.maximum(u_t - 1.0, 0.0)
    over = _mean_fluence(pulse_energy, w) / threshold_fluence
    first = outer * outer  # (3)
    second = 4.0 / 3.0 * outer * outer * outer  # (3)
    for i in range(len(NODES)):
        level = over * (m + 2.0 * (1.0 - m) * np.exp(-2.0 * inner * NODES[i]))
        depth = np.log(np.maximum(level, 1.0))
        first = first + inner * WEIGHTS[i] * depth  # (2)
        second = second + inner * WEIGHTS[i] * depth * depth  # (2)
    area = math.pi * w * w
    return area * u_t, area * delta * first, area * delta * delta * second


@elementwise
def _softening(hits: Any, exponent: Any, most: float) -> Any:
    """How far the threshold falls over the hits of a place, and what the early hits lack for it.

        F_min = F_th J^(S−1),  J = min(N, N_max);   c = (1 − S) g(J) J/N         (1)
        g(J) = 1 − ln(2π J)/(2J) − 1/(12 J²),  the mean of ln(J/j) over j = 1…J               (2)

    Args:
        hits: N, ≥ 1 [1]; any shape. exponent: S [1]. most: N_max, hits after which it falls no further [1].

    Returns:
        (F_min/F_th, c) [1]; (1, 0) for a single hit, S above 1 as it is.

    Source: derived from Jee, Becker & Walser (1988), form as `incubation`; (2) is Stirling's series.
    """
    counted = np.minimum(hits, most)
    fall = 1.0 - np.log(2.0 * math.pi * counted) / (2.0 * counted) - 1.0 / (12.0 * counted * counted)  # (2)
    ramp = (1.0 - exponent) * np.maximum(fall, 0.0) * counted / hits
    return np.exp((exponent - 1.0) * np.log(counted)), ramp


@elementwise
def _incubated_depth_moments(
    pulse_energy: Any, spot_radius: Any, top_hat_share: Any, lowest_threshold: Any, effective_depth: Any,
    exponent: Any, ramp: Any,
) -> Any:  # fmt: skip
    """Volume and squared depth of the dent of one pulse, averaged over all the hits of a place.

        d̄ = δ [L − c (1 − e^(−L/a))],   L = ln(F/F_min),   a = 1 − S              (1)

    which is the mean over the hits j of δ ln(F/F_th(j)) where that is positive: early hits see a higher threshold.
    Inside the top-hat by four Gauss–Legendre points, beyond it in closed form; e^(−x) there and here as
    1/(1 + x + x²/2 + x³/6).

    Args:
        pulse_energy, spot_radius, top_hat_share, effective_depth: as of `disc_depth_moments`.
        lowest_threshold, exponent, ramp: F_min [J/m²], S and c [1] of `_softening`.

    Returns:
        (∫ d̄ dA [m³], ∫ d̄² dA [m⁴]); zeros where the threshold is not reached.

    Source: derived here; held against the pulse-by-pulse map in `benchmarks/agreement.py`.
    """
    w, m = spot_radius, top_hat_share
    a = np.maximum(np.abs(1.0 - exponent), 1e-3)
    u_t = (_threshold_radius(lowest_threshold, pulse_energy, w, m) / w) ** 2
    inner, outer = np.minimum(u_t, 1.0), np.maximum(u_t - 1.0, 0.0)
    over = _mean_fluence(pulse_energy, w) / lowest_threshold
    reach = 2.0 * outer
    x = reach / a
    gone = 1.0 - 1.0 / (1.0 + x * (1.0 + x * (0.5 + x / 6.0)))
    beyond = np.maximum(0.5 * (0.5 * reach * reach - ramp * reach + ramp * a * gone), 0.0)
    volume, square = beyond, 4.0 / 3.0 * beyond * np.sqrt(beyond)
    for i in range(len(NODES)):
        level = over * (m + 2.0 * (1.0 - m) * np.exp(-2.0 * inner * NODES[i]))
        depth = np.log(np.maximum(level, 1.0))
        x = depth / a
        depth = np.maximum(depth - ramp * (1.0 - 1.0 / (1.0 + x * (1.0 + x * (0.5 + x / 6.0)))), 0.0)
        volume = volume + inner * WEIGHTS[i] * depth
        square = square + inner * WEIGHTS[i] * depth * depth
    area, delta = math.pi * w * w, effective_depth
    return area * delta * volume, area * delta * delta * square


BELOW_ONE = (lambda v: np.all(np.greater_equal(v, 0) & np.less(v, 1)), "must be at least 0 and below 1")

blow_off_depth = checked(_blow_off_depth, fluence=NOT_NEGATIVE, threshold_fluence=POSITIVE, effective_depth=POSITIVE)
volume_absorber_threshold = checked(
    _volume_absorber_threshold,
    absorption=POSITIVE, density=POSITIVE, specific_heat=POSITIVE, rise=POSITIVE, latent_heat=NOT_NEGATIVE,
    reflectance=BELOW_ONE,
)  # fmt: skip
surface_absorber_threshold = checked(
    _surface_absorber_threshold,
    rise=POSITIVE, pulse_width=POSITIVE, conductivity=POSITIVE, heat_capacity=POSITIVE, absorptance=POSITIVE_SHARE,
)  # fmt: skip
conducting_absorber_threshold = checked(
    _conducting_absorber_threshold,
    rise=POSITIVE, pulse_width=POSITIVE, conductivity=POSITIVE, heat_capacity=POSITIVE, absorption=POSITIVE,
    reflectance=BELOW_ONE,
)  # fmt: skip
incubation = checked(_incubation, hits=AT_LEAST_ONE, exponent=POSITIVE)
mean_incubation = checked(_mean_incubation, hits=AT_LEAST_ONE, exponent=POSITIVE)
plume_saturation = checked(_plume_saturation, fluence=NOT_NEGATIVE, plume_fluence=POSITIVE)
lift_margin = checked(
    _lift_margin,
    interface_energy=NOT_NEGATIVE, gas_onset_energy=NOT_NEGATIVE, conversion=SHARE, bond_energy=NOT_NEGATIVE,
    toughness=NOT_NEGATIVE, thickness=NOT_NEGATIVE,
)  # fmt: skip
disc_depth_moments = checked(
    _disc_depth_moments,
    pulse_energy=POSITIVE, spot_radius=POSITIVE, top_hat_share=SHARE, threshold_fluence=POSITIVE,
    effective_depth=POSITIVE,
)  # fmt: skip
