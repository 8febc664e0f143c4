"""Light at and in a coating: what is reflected, what passes, what arrives underneath."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from scipy import special

from proofpatch.physics.elementwise import (
    AT_LEAST_ONE,
    NOT_NEGATIVE,
    POSITIVE,
    POSITIVE_SHARE,
    SHARE,
    checked,
    choose,
    elementwise,
)


@elementwise
def _transmitted_share(optical_depth: Any) -> Any:
    """Share of the light that passes a film.

        T = exp(−α h)                                                            (1)

    Args:
        optical_depth: α h, absorption coefficient times thickness, ≥ 0 [1]; any shape.

    Returns:
        Share [1].

    Raises:
        InputError: `optical_depth` is negative.

    Without scattering and without the reflections at its faces. Source: Beer–Lambert law.
    """
    return np.exp(-optical_depth)  # (1)


@elementwise
def _mean_transmitted_share(optical_depth: Any) -> Any:
    """Share of the light that passes a film, averaged while the film is taken off evenly down to nothing.

        T̄ = (1 − exp(−α h)) / (α h),  1 at α h = 0                               (1)

    Args:
        optical_depth: α h at the start, ≥ 0 [1]; any shape.

    Returns:
        Mean share [1].

    Raises:
        InputError: `optical_depth` is negative.

    Source: `transmitted_share` averaged over 0…h; derived, checked numerically.
    """
    a = np.maximum(optical_depth, 1e-12)  # the first terms left out, a/2, are then below rounding
    return -np.expm1(-a) / a  # (1)


@elementwise
def _fresnel_reflectance(index: Any, extinction: Any) -> Any:
    """Reflectance of a smooth face in air at normal incidence.

        R = ((n − 1)² + k²) / ((n + 1)² + k²)                                    (1)

    Args:
        index: n, real refractive index, > 0 [1]; any shape.
        extinction: k, imaginary part, ≥ 0 [1].

    Returns:
        Reflectance [1]; an opaque solid absorbs the rest.

    Raises:
        InputError: an argument is out of its range.

    Smooth and clean; rough, oxidised or dirty metal reflects far less. Source: Fresnel equations (textbook).
    """
    n, k = index, extinction
    return ((n - 1.0) ** 2 + k * k) / ((n + 1.0) ** 2 + k * k)  # (1)


@elementwise
def _absorption_coefficient(extinction: Any, wavelength: Any) -> Any:
    """Absorption coefficient from the imaginary part of the index.

        α = 4 π k / λ                                                            (1)

    Args:
        extinction: k, ≥ 0 [1]; any shape.
        wavelength: λ in vacuum, > 0 [m].

    Returns:
        α [1/m].

    Raises:
        InputError: an argument is out of its range.

    Source: textbook.
    """
    return 4.0 * math.pi * extinction / wavelength  # (1)


@elementwise
def _internal_diffuse_reflectance(index: Any) -> Any:
    """Share of diffuse light that the face of a clear film throws back into the film.

        r_e = ½ + (n−1)(3n+1)/(6(n+1)²) + n²(n²−1)²/(n²+1)³ ln((n−1)/(n+1))
              − 2n³(n²+2n−1)/((n²+1)(n⁴−1)) + 8n⁴(n⁴+1)/((n²+1)(n⁴−1)²) ln n      (1)
        r_i = 1 − (1 − r_e)/n²                                                   (2)

    r_e is what the same face reflects of diffuse light from the air.

    Args:
        index: n of the film, ≥ 1 [1]; any shape. Below 1.001 the terms cancel; a straight line to 0 takes over.

    Returns:
        r_i [1].

    Raises:
        InputError: `index` is below 1.

    Source: S. Q. Duntley, J. Opt. Soc. Am. 32, 61 (1942), after Walsh (from memory); checked against the
    integral of the Fresnel equations.
    """
    n = np.maximum(index, 1.001)
    n2 = n * n
    n4 = n2 * n2
    outside = 0.5 + (n - 1.0) * (3.0 * n + 1.0) / (6.0 * (n + 1.0) ** 2)
    outside = outside + n2 * (n2 - 1.0) ** 2 / (n2 + 1.0) ** 3 * np.log((n - 1.0) / (n + 1.0))
    outside = outside - 2.0 * n * n2 * (n2 + 2.0 * n - 1.0) / ((n2 + 1.0) * (n4 - 1.0))
    outside = outside + 8.0 * n4 * (n4 + 1.0) / ((n2 + 1.0) * (n4 - 1.0) ** 2) * np.log(n)  # (1)
    return (1.0 - (1.0 - outside) / n2) * np.minimum((index - 1.0) / 0.001, 1.0)  # (2)


class TwoLayerShares(NamedTuple):
    """Where the light goes in a clear coat over a diffusing ground, shares of what falls on it [1]."""

    arriving: Any  # light that reaches the ground, counting each bounce: may exceed 1
    ground: Any
    coat: Any
    reflected: Any


def _two_layer_shares(index: Any, optical_depth: Any, ground_reflectance: Any) -> TwoLayerShares:
    """Light in a clear coat over a diffusing ground such as wood.

        r_e = ((n−1)/(n+1))²,  r_i internal diffuse reflectance,  T₁ = e^(−a),  T₂ = 2 E₃(a)   (1)
        W = (1 − r_e) T₁ / (1 − R_g r_i T₂²)                                     (2)
        A_ground = (1 − R_g) W                                                   (3)
        R = r_e + (1 − r_e) T₁ R_g T₂ (1 − r_i)/(1 − R_g r_i T₂²)                (4)
        A_coat = 1 − A_ground − R                                                (5)

    Args:
        index: n of the coat, ≥ 1 [1]; any shape.
        optical_depth: a = α h of the coat, ≥ 0 [1].
        ground_reflectance: R_g, diffuse reflectance of the ground inside the coat [1].

    Returns:
        TwoLayerShares: arriving W, ground, coat, reflected; the last three add to 1.

    Raises:
        InputError: an argument is out of its range.

    For light falling straight on, a coat that does not scatter and a ground that does so completely.
    Source: derived, checked numerically (the integral of the Fresnel equations and of diffuse paths).
    """
    n, a, r_g = index, optical_depth, ground_reflectance
    r_e = ((n - 1.0) / (n + 1.0)) ** 2
    r_i = _internal_diffuse_reflectance(n)
    t_1, t_2 = np.exp(-a), 2.0 * special.expn(3, a)  # (1)
    bounce = 1.0 - r_g * r_i * t_2**2
    arriving = (1.0 - r_e) * t_1 / bounce  # (2)
    ground = (1.0 - r_g) * arriving  # (3)
    reflected = r_e + arriving * r_g * t_2 * (1.0 - r_i)  # (4)
    return TwoLayerShares(arriving, ground, 1.0 - ground - reflected, reflected)  # (5)


@elementwise
def _thick_layer_reflectance(absorption_ratio: Any) -> Any:
    """Reflectance of a scattering layer too thick to see through (Kubelka–Munk).

        R∞ = 1 + K/S − √((K/S)² + 2 K/S)                                         (1)

    Args:
        absorption_ratio: K/S, absorption over scattering, ≥ 0 [1]; any shape.

    Returns:
        R∞ [1]. Worked out as 1/(1 + K/S + √…), the same number without the loss of digits at large K/S.

    Raises:
        InputError: `absorption_ratio` is negative.

    Source: P. Kubelka, J. Opt. Soc. Am. 38, 448 (1948) (from memory).
    """
    q = absorption_ratio
    return 1.0 / (1.0 + q + np.sqrt(q * q + 2.0 * q))  # (1)


@elementwise
def _absorption_ratio(thick_layer_reflectance: Any) -> Any:
    """Absorption over scattering from the reflectance of a thick layer (Kubelka–Munk).

        K/S = (1 − R∞)² / (2 R∞)                                                 (1)

    Args:
        thick_layer_reflectance: R∞, above 0, at most 1 [1]; any shape.

    Returns:
        K/S [1].

    Raises:
        InputError: the reflectance is not above 0 and at most 1.

    Source: Kubelka 1948 (from memory).
    """
    r = thick_layer_reflectance
    return (1.0 - r) ** 2 / (2.0 * r)  # (1)


@elementwise
def _layer_reflectance(absorption: Any, scattering: Any, thickness: Any, ground_reflectance: Any) -> Any:
    """Reflectance of a scattering layer on a ground (Kubelka–Munk).

        a = 1 + K/S,  b = √(a² − 1)
        R = (1 − R_g (a − b coth(b S X))) / (a − R_g + b coth(b S X))            (1)

    Args:
        absorption: K, ≥ 0 [1/m]; any shape.
        scattering: S, > 0 [1/m].
        thickness: X, > 0 [m].
        ground_reflectance: R_g [1].

    Returns:
        Diffuse reflectance, without the faces [1].

    Raises:
        InputError: an argument is out of its range.

    Source: Kubelka 1948 (from memory).
    """
    r_g, q = ground_reflectance, absorption / scattering
    a = 1.0 + q
    b = np.maximum(np.sqrt(q * (2.0 + q)), 1e-7)  # b → 0 is the layer that only scatters; the limit is smooth
    b_coth = b / np.tanh(b * scattering * thickness)
    return (1.0 - r_g * (a - b_coth)) / (a - r_g + b_coth)  # (1)


@elementwise
def _layer_transmittance(absorption: Any, scattering: Any, thickness: Any) -> Any:
    """Transmittance of a scattering layer (Kubelka–Munk).

        T = b / (a sinh(b S X) + b cosh(b S X)),  a = 1 + K/S,  b = √(a² − 1)    (1)

    Written with e^(−b S X), which cannot overflow.

    Args:
        absorption: K, ≥ 0 [1/m]; any shape.
        scattering: S, > 0 [1/m].
        thickness: X, > 0 [m].

    Returns:
        Diffuse transmittance, without the faces [1].

    Raises:
        InputError: an argument is out of its range.

    Source: Kubelka 1948 (from memory).
    """
    q = absorption / scattering
    a = 1.0 + q
    b = np.maximum(np.sqrt(q * (2.0 + q)), 1e-7)
    y = b * scattering * thickness
    return 2.0 * b * np.exp(-y) / (-a * np.expm1(-2.0 * y) + b * (1.0 + np.exp(-2.0 * y)))  # (1)


@elementwise
def _measured_reflectance(reflectance: Any, outer_loss: Any, inner_loss: Any) -> Any:
    """Reflectance seen through the face of a coating (Saunderson).

        R_m = k₁ + (1 − k₁)(1 − k₂) R / (1 − k₂ R)                               (1)

    Args:
        reflectance: R, of the layer inside [1]; any shape.
        outer_loss: k₁, share the face reflects from outside [1].
        inner_loss: k₂, share the face reflects back from inside, < 1 for a layer that reflects all [1].

    Returns:
        Measured reflectance [1].

    Raises:
        InputError: an argument is out of its range.

    Source: J. L. Saunderson, J. Opt. Soc. Am. 32, 727 (1942) (from memory).
    """
    r, k_1, k_2 = reflectance, outer_loss, inner_loss
    left = 1.0 - k_2 * r
    return k_1 + (1.0 - k_1) * (1.0 - k_2) * r / choose(left > 0.0, left, 1.0)  # (1)


transmitted_share = checked(_transmitted_share, optical_depth=NOT_NEGATIVE)
mean_transmitted_share = checked(_mean_transmitted_share, optical_depth=NOT_NEGATIVE)
fresnel_reflectance = checked(_fresnel_reflectance, index=POSITIVE, extinction=NOT_NEGATIVE)
absorption_coefficient = checked(_absorption_coefficient, extinction=NOT_NEGATIVE, wavelength=POSITIVE)
internal_diffuse_reflectance = checked(_internal_diffuse_reflectance, index=AT_LEAST_ONE)
two_layer_shares = checked(_two_layer_shares, index=AT_LEAST_ONE, optical_depth=NOT_NEGATIVE, ground_reflectance=SHARE)
thick_layer_reflectance = checked(_thick_layer_reflectance, absorption_ratio=NOT_NEGATIVE)
absorption_ratio = checked(_absorption_ratio, thick_layer_reflectance=POSITIVE_SHARE)
layer_reflectance = checked(
    _layer_reflectance, absorption=NOT_NEGATIVE, scattering=POSITIVE, thickness=POSITIVE, ground_reflectance=SHARE
)
layer_transmittance = checked(_layer_transmittance, absorption=NOT_NEGATIVE, scattering=POSITIVE, thickness=POSITIVE)
measured_reflectance = checked(_measured_reflectance, reflectance=SHARE, outer_loss=SHARE, inner_loss=SHARE)
