"""The mark of one pulse: which spot made it, and how much the spot grew when the head was lifted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.lasers.estimate import Estimate
from proofpatch.lasers.marks import mark_readings
from proofpatch.physics.beam import threshold_radius
from proofpatch.physics.setting import finite_number

Floats = NDArray[np.float64]
# Peak fluence in focus over the threshold of the card, where nobody looked for the threshold: a pulse of which a fifth
# still leaves a mark. Common practice, no source.
USUAL_EXCESS = (5.0, 50.0)
LEAST_THRESHOLD = 1e-3  # of its value, where nothing bounds a threshold from below
AGREES, FASTER, SLOWER, CANNOT_TELL = "agrees", "grows faster", "grows slower", "cannot tell"


@lru_cache(maxsize=8)
def _mark_curve(share: float) -> tuple[Floats, Floats]:
    """(w, D/2) in units of √(E/π F_th) for one pulse, up to the spot that leaves the largest mark."""
    v = np.geomspace(1e-6, math.sqrt(2 - share), 6000)
    h = threshold_radius(1.0, np.pi, v, share)
    top = int(np.argmax(h))
    return v[: top + 1], h[: top + 1]


def spots_of_marks(pulse_energy: Any, diameter: Any, threshold_fluence: Estimate, top_hat_share: float) -> Floats:
    """Spot radius from each mark, where the threshold of the material is known.

        D = 2 r(F_th, E, w, m)  solved for w                                     (1)

    A mark first grows with the spot and then, as the fluence thins, shrinks: two spots leave the same mark. This is
    the smaller, right as long as the pulse is well above threshold (Gaussian: peak fluence over e F_th).

    Args:
        pulse_energy: E of each mark [J].
        diameter: D of each, above 0 [m].
        threshold_fluence: F_th, peak fluence at which the material just marks [J/m²]; where its upper part could not
            leave one of these marks, that part is cut off.
        top_hat_share: m [1].

    Returns:
        w of each mark at the value, the low and the high end of F_th, (3, marks) [m].

    Raises:
        InputError: a mark larger than any spot leaves at this energy, or a number that is none.

    Source: `threshold_radius` inverted; derived, checked numerically.
    """
    energies, diameters = mark_readings(pulse_energy, diameter)
    share = finite_number("top_hat_share", "The top-hat share", top_hat_share, 0.0, 1.0, "")
    value = finite_number("threshold_fluence", "The threshold fluence", threshold_fluence.value, 1e-3, 1e12, "J/m²")
    if np.any(diameters <= 0):
        raise InputError("lifts", "A lifted pulse left no mark.", "Use the strongest pulse, or lift less.")
    v, h = _mark_curve(share)
    most = float(np.min((2 * h[-1] / diameters) ** 2 * energies / np.pi))
    if threshold_fluence.low > most:
        raise InputError(
            "lifts",
            "A mark is larger than any spot leaves at this pulse energy and threshold.",
            "Check its diameter and energy, and that the material is the same.",
        )
    ends = (value, max(threshold_fluence.low, value * LEAST_THRESHOLD), threshold_fluence.high)
    unit = np.sqrt(energies / (np.pi * np.minimum(np.array(ends), most)[:, None]))
    return np.asarray(unit * np.interp(diameters / (2 * unit), h, v))


@dataclass(frozen=True)
class Growth:
    """How the spot grew by a lift. growth: w there over w in focus [1]. rayleigh_range [m]. verdict: on the sheet's."""

    growth: Estimate
    rayleigh_range: Estimate
    verdict: str


def spot_growth(
    focus_diameter: Any,
    lifted_diameter: Any,
    lift: float,
    rayleigh_range: float,
    top_hat_share: float,
    reading_error: float,
    excess: tuple[float, float] = USUAL_EXCESS,
) -> Growth:
    """Growth of the spot from a few marks in focus and a few lifted, one pulse energy and one material.

        D₂/D₁ = s g(x s²)/g(x),  x = (2 − m)/R,  z_R = z/√(s² − 1)               (1)

    g is the radius of the mark in units of the spot's, R the peak fluence in focus over the threshold, which is only
    known within `excess`. The interval takes the worst of it on either side: it is wide and errs on that side. Of the
    two spots that leave the same mark it is the smaller, see `spots_of_marks`.

    Args:
        focus_diameter: D₁ of each mark in focus [m].
        lifted_diameter: D₂ of each mark at the lift [m].
        lift: z, either way from focus [m].
        rayleigh_range: of the sheet, to be checked [m].
        top_hat_share: m [1].
        reading_error: half the 90 % width of how finely a diameter is read, > 0 [m].
        excess: (least, most) R, > 1 [1].

    Returns:
        Growth. verdict: "agrees", "grows faster" or "grows slower" where the sheet's growth lies inside, below or
        above the interval; "cannot tell" where it lies inside but so does no growth at all.

    Raises:
        InputError: no mark, marks that shrink when lifted, more growth than a mark can show, or a number that is none.

    Holds if the first marks were made in focus. Source: derived from `threshold_radius` and ISO 11146-1 (from memory).
    """
    first, second = (_mean(field, given) for field, given in (("marks", focus_diameter), ("lifts", lifted_diameter)))
    z = abs(finite_number("lift", "The lift", lift, -1.0, 1.0, "m"))
    z = finite_number("lift", "The lift", z, 1e-5, 1.0, "m")
    sheet = finite_number("rayleigh_range", "The Rayleigh range", rayleigh_range, 1e-6, 1e3, "m")
    share = finite_number("top_hat_share", "The top-hat share", top_hat_share, 0.0, 1.0, "")
    error = finite_number("reading_error", "The reading error", reading_error, 1e-7, 0.01, "m")
    least, most = (finite_number("excess", "The fluence over threshold", r, 1.0, 1e9, "") for r in excess)
    ratio = second[0] / first[0]
    spread = ratio * math.hypot(error / first[0] / math.sqrt(first[1]), error / second[0] / math.sqrt(second[1]))
    if ratio + spread < 1:
        raise InputError(
            "lifts",
            "The lifted mark is smaller than the one in focus.",
            "Use a stronger pulse, or find the focus first: it is not where the first mark was made.",
        )
    ends = [_growths(r, share, ratio, spread) for r in np.geomspace(least, max(most, least * (1 + 1e-9)), 25)]
    found = [growth for growth in ends if growth is not None]
    if not found:
        raise InputError(
            "lifts", "The mark grew more than a spot can make it grow at this pulse energy.", "Check both diameters."
        )
    s = Estimate(found[len(found) // 2][0], min(f[1] for f in found), max(f[2] for f in found))
    expected = math.sqrt(1 + (z / sheet) ** 2)
    verdict = FASTER if expected < s.low else SLOWER if expected > s.high else CANNOT_TELL if s.low <= 1 else AGREES
    reach = [z / math.sqrt(g**2 - 1) if g > 1 else math.inf for g in (s.value, s.high, s.low)]  # (1)
    return Growth(s, Estimate(*reach), verdict)


def _mean(field: str, given: Any) -> tuple[float, int]:
    """(mean, count) of diameters."""
    ones = [1e-3] * len(given) if isinstance(given, (list, tuple, np.ndarray)) else given
    _, diameters = mark_readings(ones, given)
    if not len(diameters) or np.any(diameters <= 0):
        raise InputError(field, "A mark is missing.", "Give at least one mark in focus and one lifted.")
    return float(diameters.mean()), len(diameters)


def _growths(excess: float, share: float, ratio: float, spread: float) -> tuple[float, float, float] | None:
    """(growth, least, most) for one peak fluence over threshold; None where the marks cannot be of such a pulse."""
    v, h = _mark_curve(share)
    start = math.sqrt((2 - share) / excess)
    if start >= v[-1]:
        return None
    in_focus = float(np.interp(start, v, h))
    if in_focus <= 0 or (ratio - spread) * in_focus > h[-1]:
        return None
    ends = np.interp(np.clip(np.array([ratio, ratio - spread, ratio + spread]) * in_focus, None, h[-1]), h, v) / start
    middle, low, high = np.maximum(ends, 1.0)
    return float(middle), float(low), float(high)
