"""The super-Gaussian spot F₀ exp(−2 (r/w)^(2n)): its shape, the volume one pulse takes off, the best fluence.

Papers on ablation efficiency speak of it; our own spots are the mix in `beam.py`. Order n is 1 for a Gaussian and
grows towards a top-hat; texts that write exp(−2 (r/w)^N) mean N = 2n.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from scipy import special

from proofpatch.physics.elementwise import NOT_NEGATIVE, POSITIVE, checked


def _super_gaussian_peak_factor(order: Any) -> Any:
    """Peak over mean fluence of the super-Gaussian F₀ exp(−2 (r/w)^(2n)).

        κ = 2^(1/n) / Γ(1 + 1/n)                                                 (1)

    Args:
        order: n, > 0 [1]; any shape.

    Returns:
        F₀ π w²/E [1].

    Raises:
        InputError: `order` is not positive.

    Source: derived, checked numerically.
    """
    n = np.asarray(order, dtype=float)
    return 2.0 ** (1.0 / n) / special.gamma(1.0 + 1.0 / n)  # (1)


def _super_gaussian_encircled_share(radius: Any, spot_radius: Any, order: Any) -> Any:
    """Share of the energy of a super-Gaussian within a circle.

        P( 1/n, 2 (r/w)^(2n) ),  P the regularised lower incomplete gamma function   (1)

    Args:
        radius: r, ≥ 0 [m]; any shape.
        spot_radius: w, > 0 [m].
        order: n, 1 for a Gaussian, > 0 [1].

    Returns:
        Share of the energy [1].

    Raises:
        InputError: an argument is out of its range.

    Source: derived, checked numerically.
    """
    n = np.asarray(order, dtype=float)
    u = radius / spot_radius
    y = 2.0 * np.minimum(u, 1e300 ** (0.5 / n)) ** (2.0 * n)  # capped before the power overflows; the share is long 1
    flat = _super_gaussian_peak_factor(n) * np.minimum(u, 1.0) ** 2  # the same where y is nearly or wholly nothing
    return np.where(y < 1e-20, flat, special.gammainc(1.0 / n, y))  # (1)


def _super_gaussian_second_moment_ratio(order: Any) -> Any:
    """Second-moment (4σ) radius of a super-Gaussian over its 1/e² radius.

        w_4σ/w = √( 2^(1 − 1/n) Γ(2/n)/Γ(1/n) )                                  (1)

    Args:
        order: n, 1 for a Gaussian, > 0 [1]; any shape.

    Returns:
        Ratio, 1 only for the Gaussian [1].

    Raises:
        InputError: `order` is not positive.

    Source: derived, checked numerically; second-moment widths as in ISO 11146 (from memory).
    """
    n = np.asarray(order, dtype=float)
    return np.sqrt(2.0 ** (1.0 - 1.0 / n) * special.gamma(2.0 / n) / special.gamma(1.0 / n))  # (1)


def _volume_per_pulse(
    peak_fluence: Any, threshold_fluence: Any, effective_depth: Any, spot_radius: Any, order: Any = 1.0
) -> Any:
    """Volume one pulse takes off with a super-Gaussian spot.

        V = π w² δ (ℓ/2)^(1/n) ℓ n/(n + 1),  ℓ = ln(F₀/F_th)                     (1)
        Gaussian, n = 1:  V = (π w² δ/4) ℓ²

    Args:
        peak_fluence: F₀, > 0 [J/m²]; any shape.
        threshold_fluence: F_th, > 0 [J/m²].
        effective_depth: δ, > 0 [m].
        spot_radius: w, > 0 [m].
        order: n, 1 for a Gaussian [1].

    Returns:
        Volume, 0 below threshold [m³].

    Raises:
        InputError: an argument is not positive.

    Source: Gaussian form of Furmanski et al. (2007) and Neuenschwander et al. (from memory); super-Gaussian
    form derived, checked numerically.
    """
    n = np.asarray(order, dtype=float)
    log = np.log(np.maximum(peak_fluence / threshold_fluence, 1.0))
    return math.pi * spot_radius**2 * effective_depth * (log / 2.0) ** (1.0 / n) * log * n / (n + 1.0)  # (1)


def _volume_efficiency(peak_fluence: Any, threshold_fluence: Any, effective_depth: Any, order: Any = 1.0) -> Any:
    """Volume taken off per pulse energy with a super-Gaussian spot, whatever its radius.

        V/E = κ(n) V / (π w² F₀)                                                 (1)
        Gaussian:  V/E = δ ℓ² / (2 F₀)

    Args:
        peak_fluence: F₀, > 0 [J/m²]; any shape.
        threshold_fluence: F_th, > 0 [J/m²].
        effective_depth: δ, > 0 [m].
        order: n, 1 for a Gaussian [1].

    Returns:
        Volume per energy [m³/J]; 1e-9 is 1 mm³/J.

    Raises:
        InputError: an argument is not positive.

    Source: as `volume_per_pulse`; κ is `super_gaussian_peak_factor`.
    """
    volume = _volume_per_pulse(peak_fluence, threshold_fluence, effective_depth, 1.0, order)
    return _super_gaussian_peak_factor(order) * volume / (math.pi * peak_fluence)  # (1)


def _best_peak_fluence(threshold_fluence: Any, order: Any = 1.0) -> Any:
    """Peak fluence that takes off most per energy.

        F₀ = F_th exp(1 + 1/n)                                                   (1)

    Args:
        threshold_fluence: F_th, > 0 [J/m²]; any shape.
        order: n, 1 for a Gaussian; a large order nears the top-hat's e [1].

    Returns:
        Peak fluence [J/m²].

    Raises:
        InputError: an argument is not positive.

    Source: maximum of `volume_efficiency`; Gaussian e² of Furmanski et al. (from memory), others derived,
    checked numerically.
    """
    return threshold_fluence * np.exp(1.0 + 1.0 / np.asarray(order, dtype=float))  # (1)


super_gaussian_peak_factor = checked(_super_gaussian_peak_factor, order=POSITIVE)
super_gaussian_encircled_share = checked(
    _super_gaussian_encircled_share, radius=NOT_NEGATIVE, spot_radius=POSITIVE, order=POSITIVE
)
super_gaussian_second_moment_ratio = checked(_super_gaussian_second_moment_ratio, order=POSITIVE)
volume_per_pulse = checked(
    _volume_per_pulse,
    peak_fluence=POSITIVE, threshold_fluence=POSITIVE, effective_depth=POSITIVE, spot_radius=POSITIVE, order=POSITIVE,
)  # fmt: skip
volume_efficiency = checked(
    _volume_efficiency, peak_fluence=POSITIVE, threshold_fluence=POSITIVE, effective_depth=POSITIVE, order=POSITIVE
)
best_peak_fluence = checked(_best_peak_fluence, threshold_fluence=POSITIVE, order=POSITIVE)
