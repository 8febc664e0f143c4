"""The spot: how the energy of one pulse is spread over the work, and how the spot grows away from focus.

Radii are 1/e² intensity radii. The profile is a mix of a Gaussian and a top-hat of the same radius; its
share is always the *top-hat* share (0 Gaussian, 1 top-hat). The super-Gaussian of the literature is in
`super_gaussian.py`.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from proofpatch.physics.elementwise import NOT_NEGATIVE, POSITIVE, SHARE, checked, choose, elementwise

TINY = 1e-200  # stands for the Gaussian part of a pure top-hat, so that its logarithm exists
TINIER = 1e-300  # far enough below TINY that TINY/TINIER still lies beyond the edge


@elementwise
def _spot_area(spot_radius: Any) -> Any:
    """Area of the 1/e² disc.

        A = π w²                                                                 (1)

    Args:
        spot_radius: w, 1/e² radius at the work, > 0 [m]; any shape.

    Returns:
        Area [m²].

    Raises:
        InputError: `spot_radius` is not positive.

    Source: geometry.
    """
    w = spot_radius
    return math.pi * w * w  # (1)


@elementwise
def _mean_fluence(pulse_energy: Any, spot_radius: Any) -> Any:
    """Pulse energy over the area of the 1/e² disc.

        F_m = E / (π w²)                                                         (1)

    Args:
        pulse_energy: E, ≥ 0 [J]; any shape.
        spot_radius: w, 1/e² radius at the work, > 0 [m].

    Returns:
        Mean fluence [J/m²].

    Raises:
        InputError: `pulse_energy` is negative or `spot_radius` is not positive.

    A convention for the Gaussian part, which puts 13.5 % of its energy outside the disc.
    Source: ISO 11145 terms (from memory).
    """
    w = spot_radius
    return pulse_energy / (math.pi * w * w)  # (1)


@elementwise
def _peak_fluence(pulse_energy: Any, spot_radius: Any, top_hat_share: Any) -> Any:
    """Fluence in the middle of the spot.

        F₀ = (2 − m) E / (π w²)                                                  (1)

    Args:
        pulse_energy: E, ≥ 0 [J]; any shape.
        spot_radius: w, 1/e² radius at the work, > 0 [m].
        top_hat_share: m, share of the energy in the top-hat part [1].

    Returns:
        Peak fluence [J/m²].

    Raises:
        InputError: an argument is out of its range.

    Source: `fluence_at` at r = 0; derived, checked numerically.
    """
    return (2.0 - top_hat_share) * _mean_fluence(pulse_energy, spot_radius)  # (1)


@elementwise
def _fluence_at(radius: Any, pulse_energy: Any, spot_radius: Any, top_hat_share: Any) -> Any:
    """Fluence at a distance from the middle of the spot.

        F(r) = E [ (1 − m) 2/(π w²) exp(−2 r²/w²) + m/(π w²) (r < w) ]           (1)

    Args:
        radius: r, from the middle of the spot, ≥ 0 [m]; any shape.
        pulse_energy: E, ≥ 0 [J].
        spot_radius: w, 1/e² radius of the Gaussian part and edge of the top-hat part, > 0 [m].
        top_hat_share: m, share of the energy in the top-hat part [1].

    Returns:
        Fluence [J/m²].

    Raises:
        InputError: an argument is out of its range.

    Source: derived, checked numerically (the two parts are the textbook profiles).
    """
    r, w, m = radius, spot_radius, top_hat_share
    inside = choose(r < w, 1.0, 0.0)
    u = (r / w) ** 2
    return _mean_fluence(pulse_energy, w) * ((1.0 - m) * 2.0 * np.exp(-2.0 * u) + m * inside)  # (1)


@elementwise
def _encircled_share(radius: Any, spot_radius: Any, top_hat_share: Any) -> Any:
    """Share of the pulse energy within a circle about the middle of the spot.

        (1 − m) (1 − exp(−2 r²/w²)) + m min(1, r²/w²)                            (1)

    Args:
        radius: r, of the circle, ≥ 0 [m]; any shape.
        spot_radius: w, > 0 [m].
        top_hat_share: m, share of the energy in the top-hat part [1].

    Returns:
        Share of the energy, 0 to 1 [1].

    Raises:
        InputError: an argument is out of its range.

    Source: `fluence_at` integrated over the circle; derived, checked numerically.
    """
    m = top_hat_share
    u = (radius / spot_radius) ** 2
    return -(1.0 - m) * np.expm1(-2.0 * u) + m * np.minimum(1.0, u)  # (1)


@elementwise
def _threshold_radius(threshold_fluence: Any, pulse_energy: Any, spot_radius: Any, top_hat_share: Any) -> Any:
    """Radius inside which the fluence reaches a threshold.

    With x = F_th/(E/π w²) and u = r²/w², the fluence falls steadily from the middle and drops by m at the
    edge of the top-hat, so the place is a disc and its edge one of four:

        u = 0                                  x > 2 − m                         (1)
        u = ½ ln( 2 (1 − m)/(x − m) )          inside the edge                   (2)
        u = 1                                  x within the drop at the edge     (3)
        u = ½ ln( 2 (1 − m)/x )                outside the edge                  (4)

    Args:
        threshold_fluence: F_th, > 0 [J/m²]; any shape.
        pulse_energy: E, > 0 [J].
        spot_radius: w, > 0 [m].
        top_hat_share: m, share of the energy in the top-hat part [1].

    Returns:
        Radius, 0 where the threshold is not reached anywhere [m].

    Raises:
        InputError: an argument is out of its range.

    Source: `fluence_at` inverted; derived, checked numerically. The pure Gaussian is the spot-size method of
    J. M. Liu, Opt. Lett. 7, 196 (1982) (from memory).
    """
    w, m = spot_radius, top_hat_share
    x = threshold_fluence / _mean_fluence(pulse_energy, w)
    gaussian = np.maximum(2.0 * (1.0 - m), TINY)
    # Where x ≤ m the top-hat alone suffices: the logarithm is then large and clips to the edge, which is (3).
    within = 0.5 * np.log(gaussian / np.maximum(x - m, TINIER))  # (2)
    beyond = 0.5 * np.log(gaussian / x)  # (4)
    u = np.maximum(beyond, np.minimum(np.maximum(within, 0.0), 1.0))
    return w * np.sqrt(u)


@elementwise
def _rayleigh_range(waist_radius: Any, beam_quality: Any, wavelength: Any) -> Any:
    """Distance from the waist at which the spot area has doubled.

        z_R = π w₀² / (M² λ)                                                     (1)

    Args:
        waist_radius: w₀, > 0 [m]; any shape.
        beam_quality: M², ≥ 1 for a real beam [1].
        wavelength: λ, > 0 [m].

    Returns:
        Rayleigh range [m].

    Raises:
        InputError: an argument is not positive.

    Source: ISO 11146-1 definitions (from memory).
    """
    return math.pi * waist_radius * waist_radius / (beam_quality * wavelength)  # (1)


@elementwise
def _caustic_radius(distance: Any, waist_radius: Any, beam_quality: Any, wavelength: Any) -> Any:
    """Spot radius at a distance from the waist.

        w(z) = w₀ √(1 + (z/z_R)²)                                                (1)

    Args:
        distance: z, along the beam from the waist, either sign [m]; any shape.
        waist_radius: w₀, > 0 [m].
        beam_quality: M² [1].
        wavelength: λ, > 0 [m].

    Returns:
        Radius [m].

    Raises:
        InputError: an argument is out of its range.

    Source: ISO 11146-1 (from memory).
    """
    z_r = _rayleigh_range(waist_radius, beam_quality, wavelength)
    return waist_radius * np.sqrt(1.0 + (distance / z_r) ** 2)  # (1)


@elementwise
def _divergence_half_angle(waist_radius: Any, beam_quality: Any, wavelength: Any) -> Any:
    """Half angle of the far-field cone.

        θ = M² λ / (π w₀)                                                        (1)

    Args:
        waist_radius: w₀, > 0 [m]; any shape.
        beam_quality: M² [1].
        wavelength: λ, > 0 [m].

    Returns:
        Half angle [rad]; data sheets often give the full angle.

    Raises:
        InputError: an argument is not positive.

    Source: ISO 11146-1 (from memory).
    """
    return beam_quality * wavelength / (math.pi * waist_radius)  # (1)


@elementwise
def _beam_parameter_product(beam_quality: Any, wavelength: Any) -> Any:
    """Waist radius times half angle, the same through any good optics.

        BPP = w₀ θ = M² λ/π                                                      (1)

    Args:
        beam_quality: M² [1]; any shape.
        wavelength: λ, > 0 [m].

    Returns:
        Beam parameter product [m rad]; 1e-6 m rad is 1 mm mrad.

    Raises:
        InputError: an argument is not positive.

    Source: ISO 11146-1 (from memory).
    """
    return beam_quality * wavelength / math.pi  # (1)


@elementwise
def _focus_diameter(beam_diameter: Any, focal_length: Any, beam_quality: Any, wavelength: Any) -> Any:
    """Diameter of the focus of a lens.

        d = 4 M² λ f / (π D)                                                     (1)

    Args:
        beam_diameter: D, 1/e² or 4σ diameter at the lens, > 0 [m]; any shape.
        focal_length: f, > 0 [m].
        beam_quality: M² [1].
        wavelength: λ, > 0 [m].

    Returns:
        Diameter in the same sense as D [m].

    Raises:
        InputError: an argument is not positive.

    Holds for a well-corrected lens in the far field. Source: ISO 11146-1 (from memory).
    """
    return 4.0 * beam_quality * wavelength * focal_length / (math.pi * beam_diameter)  # (1)


@elementwise
def _liu_diameter(pulse_energy: Any, threshold_energy: Any, spot_radius: Any, order: Any = 1.0) -> Any:
    """Diameter of the mark one pulse leaves, for a (super-)Gaussian spot.

        (D/2w)^(2n) = ½ ln(E/E_th)                                               (1)
        Gaussian, n = 1:  D² = 2 w² ln(E/E_th)

    Args:
        pulse_energy: E, > 0 [J]; any shape.
        threshold_energy: E_th, at which the middle just marks, > 0 [J].
        spot_radius: w, > 0 [m].
        order: n, 1 for a Gaussian, > 0 [1].

    Returns:
        Diameter, 0 at or below the threshold [m].

    Raises:
        InputError: an argument is not positive.

    A top-hat marks its whole disc at any energy above threshold; the method then tells nothing.
    Source: J. M. Liu, Opt. Lett. 7, 196 (1982) (from memory); super-Gaussian form derived, checked numerically.
    """
    above = np.maximum(np.log(pulse_energy / threshold_energy), 0.0)
    return 2.0 * spot_radius * (0.5 * above) ** (1.0 / (2.0 * order))  # (1)


spot_area = checked(_spot_area, spot_radius=POSITIVE)
mean_fluence = checked(_mean_fluence, pulse_energy=NOT_NEGATIVE, spot_radius=POSITIVE)
peak_fluence = checked(_peak_fluence, pulse_energy=NOT_NEGATIVE, spot_radius=POSITIVE, top_hat_share=SHARE)
fluence_at = checked(
    _fluence_at, radius=NOT_NEGATIVE, pulse_energy=NOT_NEGATIVE, spot_radius=POSITIVE, top_hat_share=SHARE
)
encircled_share = checked(_encircled_share, radius=NOT_NEGATIVE, spot_radius=POSITIVE, top_hat_share=SHARE)
threshold_radius = checked(
    _threshold_radius, threshold_fluence=POSITIVE, pulse_energy=POSITIVE, spot_radius=POSITIVE, top_hat_share=SHARE
)
rayleigh_range = checked(_rayleigh_range, waist_radius=POSITIVE, beam_quality=POSITIVE, wavelength=POSITIVE)
caustic_radius = checked(_caustic_radius, waist_radius=POSITIVE, beam_quality=POSITIVE, wavelength=POSITIVE)
divergence_half_angle = checked(
    _divergence_half_angle, waist_radius=POSITIVE, beam_quality=POSITIVE, wavelength=POSITIVE
)
beam_parameter_product = checked(_beam_parameter_product, beam_quality=POSITIVE, wavelength=POSITIVE)
focus_diameter = checked(
    _focus_diameter, beam_diameter=POSITIVE, focal_length=POSITIVE, beam_quality=POSITIVE, wavelength=POSITIVE
)
liu_diameter = checked(
    _liu_diameter, pulse_energy=POSITIVE, threshold_energy=POSITIVE, spot_radius=POSITIVE, order=POSITIVE
)
