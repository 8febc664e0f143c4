"""Spot radii at several stand-offs: where the focus is, how small it is, and how fast the beam opens.

Radii are 1/e² radii w of our profile. ISO 11146 speaks of second-moment widths: for a Gaussian of 1/e² radius w and
for a top-hat of radius w alike the second-moment (4σ) radius is w, so for any mix of the two ours is theirs. For
another shape, such as a super-Gaussian, it is not. That the profile keeps its mix away from focus is assumed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from proofpatch.errors import InputError
from proofpatch.lasers.estimate import NINE_IN_TEN, NORMAL_90, Estimate, explained, spanned
from proofpatch.physics.setting import finite_number
from proofpatch.units import show

Floats = NDArray[np.float64]
LEAST_STAND_OFFS = 5
LEAST_FAR = 2  # stand-offs beyond a Rayleigh range from the focus
FARTHEST = 1.0  # m from where the focus cue shows
RADIUS_BOUNDS = (1e-7, 0.05)  # m
DIRECTIONS = 4000


@dataclass(frozen=True)
class Caustic:
    """The beam about its focus.

    waist_radius: w₀ [m]. focus: z₀, where it lies on the scale of the stand-offs [m]. rayleigh_range [m]. m2: M² [1].
    divergence: half angle [rad]. scatter: of the radii about the fit, one standard deviation [m].
    """

    waist_radius: Estimate
    focus: Estimate
    rayleigh_range: Estimate
    m2: Estimate
    divergence: Estimate
    scatter: float


def fit_caustic(stand_off: Any, spot_radius: Any, wavelength: float, reading_error: float = 0.0) -> Caustic:
    """The hyperbola through spot radii at several stand-offs.

        w²(z) = A + B z + C z² = w₀² + θ² (z − z₀)²                              (1)
        θ = √C,  z₀ = −B/(2C),  w₀ = √(A − B²/(4C)),  z_R = w₀/θ,  M² = π w₀ θ/λ  (2)

    Least squares of w² in 1, z, z², each weighted by 1/w²: a radius is read equally finely anywhere, its square is
    not. Intervals are the range of each quantity over all (A, B, C) within Student's t of the best, so that for A, B
    and C themselves they are the t intervals.

    Args:
        stand_off: z of each radius, along the beam, any zero, either sign [m].
        spot_radius: w there [m].
        wavelength: λ [m].
        reading_error: half the 90 % width of how finely a radius is read [m]; a scatter below it is not believed.

    Returns:
        Caustic.

    Raises:
        InputError: fewer than 5 stand-offs, none far enough for the beam to open, a beam better than M² = 1, or a
            number that is none.

    Holds for a beam that is round, and the same along both axes.
    Source: ISO 11146-1 (from memory).
    """
    z, w = _stand_offs(stand_off, spot_radius)
    lam = finite_number("wavelength", "The wavelength", wavelength, 1e-7, 2e-5, "m")
    error = finite_number("reading_error", "The reading error", reading_error, 0.0, 0.01, "m")
    if len(np.unique(z)) < LEAST_STAND_OFFS:
        said = f"There are {len(np.unique(z))} different stand-offs."
        raise InputError("lifts", said, f"Give at least {LEAST_STAND_OFFS}, on both sides of focus.")
    # Centred and scaled, so that the three columns are of one size.
    middle, reach, unit = z.mean(), float(np.ptp(z)) / 2, float(np.median(w))
    u = (z - middle) / reach
    weight = unit / w
    columns = np.stack([np.ones_like(u), u, u**2], axis=1) * weight[:, None]
    best, rim = _ellipsoid(columns, (w / unit) ** 2 * weight, 2 * error / unit)
    a, b, c = np.concatenate([best[:, None], rim], axis=1)
    if c.min() <= 0:
        farther = show(2 * float(np.abs(z).max()), "length")
        raise InputError(
            "lifts", "The spot does not surely grow over these stand-offs.", f"Lift farther, to {farther}."
        )
    inside = a - b**2 / (4 * c)
    if inside[0] <= 0:
        raise InputError(
            "lifts",
            "These radii fit no beam: by them the focus has no size.",
            "Give more stand-offs within a few millimetres of the focus.",
        )
    waist = unit * np.sqrt(np.maximum(inside, 0.0))  # (2)
    angle = unit / reach * np.sqrt(c)
    focus = middle - reach * b / (2 * c)
    rayleigh = waist / angle
    quality = np.pi * waist * angle / lam
    _check_reach(z, focus[0], rayleigh[0])
    if quality.max() < 1:
        said = f"By these radii M² is {quality[0]:.2g}, but no beam is better than 1."
        raise InputError("lifts", said, "Check the stand-offs, and that diameters are not read as radii.")
    rest = unit * weight * ((w / unit) ** 2 - a[0] - b[0] * u - c[0] * u**2) / 2
    if not explained(rest, w, error, len(z) - 3):
        off = show(float(np.abs(rest).max()), "length")
        raise InputError(
            "lifts",
            f"A radius lies {off} off any beam, which ±{show(error, 'length')} of reading does not explain.",
            "Check each lift and its mark, and use the strongest pulse: a weak one marks too little when lifted.",
        )
    return Caustic(
        spanned(waist), spanned(focus), spanned(rayleigh), spanned(quality), spanned(angle),
        float(np.linalg.norm(rest) / math.sqrt(len(z) - 3)),
    )  # fmt: skip


def _stand_offs(stand_off: Any, spot_radius: Any) -> tuple[Floats, Floats]:
    """Stand-offs and radii as arrays of one length.

    Raises:
        InputError: they are not.
    """
    found = []
    for field, words, given, low, high in (
        ("stand_off", "A stand-off", stand_off, -FARTHEST, FARTHEST),
        ("spot_radius", "A spot radius", spot_radius, *RADIUS_BOUNDS),
    ):
        if not isinstance(given, (Sequence, np.ndarray)) or isinstance(given, str):
            raise InputError(field, f"{field} is not a list of numbers.", "Give one for each mark.")
        found.append([finite_number(field, words, v, low, high, "m") for v in given])
    if len(found[0]) != len(found[1]):
        said = f"There are {len(found[0])} stand-offs and {len(found[1])} radii."
        raise InputError("spot_radius", said, "Give one radius for each stand-off.")
    return np.array(found[0]), np.array(found[1])


def _ellipsoid(columns: Floats, y: Floats, error: float) -> tuple[Floats, Floats]:
    """(best coefficients, coefficients on the rim of all within Student's t of them).

    error: half the 90 % width of what `y` is read to.
    """
    freedom = len(y) - columns.shape[1]
    best = np.linalg.lstsq(columns, y, rcond=None)[0]
    rest = y - columns @ best
    s = math.sqrt(max(float(rest @ rest) / freedom, (error / NORMAL_90) ** 2))
    factor = np.linalg.inv(np.linalg.qr(columns, mode="r"))
    return np.asarray(best), best[:, None] + stdtrit(freedom, NINE_IN_TEN) * s * factor @ _sphere(DIRECTIONS)


def _sphere(count: int) -> Floats:
    """Directions spread evenly over a sphere, (3, count): a golden-angle spiral."""
    i = np.arange(count)
    height = 1 - (2 * i + 1) / count
    round_ = np.pi * (3 - math.sqrt(5)) * i
    flat = np.sqrt(1 - height**2)
    return np.stack([flat * np.cos(round_), flat * np.sin(round_), height])


def _check_reach(z: Floats, focus: float, rayleigh: float) -> None:
    """Refuses stand-offs that lie all near the focus or all far from it."""
    away = np.abs(z - focus)
    if len(np.unique(z[away > rayleigh])) < LEAST_FAR:
        said = f"Only {len(np.unique(z[away > rayleigh]))} stand-offs lie beyond a Rayleigh range from the focus"
        farther = show(1.5 * rayleigh, "length")
        raise InputError(
            "lifts",
            f"{said}, which is about {show(rayleigh, 'length')}.",
            f"Add some {farther} or more from focus, on both sides.",
        )
    if not np.any(away <= rayleigh):
        nearer = show(focus, "length") if focus > 0 else f"-{show(-focus, 'length')}"
        raise InputError(
            "lifts", "No stand-off lies within a Rayleigh range of the focus.", f"Add some about a lift of {nearer}."
        )
