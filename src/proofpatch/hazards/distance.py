"""How far a beam reaches with more than the limit, and what eyewear must hold back.

All diameters and angles are 1/e ones (d₆₃), so that 4 P/(π d²) is the peak of a Gaussian beam (`limits.to_peak`).
Where a pulse rule governs, the average it allows stands for it: P over that is pulse energy over radiant exposure.

Forms: ANSI Z136.1 appendix B and IEC 60825-1 (from memory; checked by published worked examples in the tests).
"""

from __future__ import annotations

import math

FACE = 0.1  # m from the focus: as near as a face comes; the near case of a German table of eyewear (DGUV 203-042)
LARGEST_CORRECTED = 15.0  # mm, from which the correction of eyewear for the spot no longer grows; inferred, unverified
SPOT_EXPONENT = 1.7  # of that correction; inferred, unverified
EYEWEAR_SECONDS = 5.0  # that filter and frame have to stand; EN 207, in copies
GATES = (13e-6, 50e-6)  # s, T_i of the editions of the eyewear standard; the stricter counts
MOST_NUMBER = 10
NEAR_COLUMN = 1400e-9 * (1 + 1e-9)  # m, up to which the stricter column of EN 207 holds, 1400 nm with it
SCREEN_POWER, SCREEN_ENERGY = 100.0, 30.0  # W, J: what EN 12254 covers


def spread_diameter(power: float, allowed: float) -> float:
    """K [m]: diameter at which a beam of `power` [W] is down to `allowed` [W/m²]: √(4 P/(π E))."""
    return math.sqrt(4.0 * power / (math.pi * allowed))


def direct(power: float, allowed: float, diameter: float, divergence: float) -> float:
    """Distance [m] from the exit of a collimated beam: (K − a)/φ, diameter a, full angle φ [rad]; 0 at least."""
    return max((spread_diameter(power, allowed) - diameter) / divergence, 0.0)


def beyond_focus(power: float, allowed: float, on_lens: float, focal_length: float) -> float:
    """Distance [m] from the focus of a lens: (f/b) K, focal length f [m], diameter b on the lens [m]."""
    return focal_length / on_lens * spread_diameter(power, allowed)


def diffuse(power: float, allowed: float, reflectance: float = 1.0) -> float:
    """Distance [m] from a matt surface, straight off it: √(ρ P/(π E))."""
    return math.sqrt(reflectance * power / (math.pi * allowed))


def optical_density(power: float, allowed: float, aperture: float) -> float:
    """OD [1] with all power through the aperture [m]: log₁₀(P/(A E)); not under 0."""
    return max(math.log10(power / (math.pi / 4.0 * aperture**2 * allowed)), 0.0)


def spot_correction(diameter: float) -> float:
    """F(d) [1] of EN 207 for a spot of `diameter` [m]: d^1.7 in mm, from 1 to 15 mm. Inferred, unverified."""
    return float(min(max(diameter * 1e3, 1.0), LARGEST_CORRECTED) ** SPOT_EXPONENT)


def scale_number(level: float, first: float) -> int:
    """The least whole number n, at least 1, with first × 10ⁿ ≥ level."""
    return max(math.ceil(math.log10(max(level, 1e-300) / first) - 1e-9), 1)


def number_steady(power: float, diameter: float, wavelength: float) -> int:
    """EN 207 number for the average power (D): E F ≤ 10^(n+1) W/m², 10^(n+3) above 1400 nm."""
    irradiance = power / (math.pi / 4.0 * diameter**2) * spot_correction(diameter)
    return scale_number(irradiance, 10.0 if wavelength <= NEAR_COLUMN else 1000.0)


def number_pulsed(energy: float, rate: float, diameter: float, wavelength: float) -> int:
    """EN 207 number for the pulses (I or R): H N^(1/4) ≤ 5 × 10^(n−3) J/m², 10^(n+2) above 1400 nm.

    N counts 5 s; pulses closer than T_i are summed within it.
    """
    area = math.pi / 4.0 * diameter**2
    levels = []
    for gate in GATES:
        if rate * gate > 1.0:
            together = math.ceil(rate * gate - 1e-9)  # whole pulses within it
            levels.append(energy * together / area * (EYEWEAR_SECONDS / gate) ** 0.25)
        else:
            levels.append(energy / area * max(rate * EYEWEAR_SECONDS, 1.0) ** 0.25)
    return scale_number(max(levels), 5e-3 if wavelength <= NEAR_COLUMN else 100.0)


def density_at(power: float, allowed: float, diameter: float, aperture: float) -> float:
    """OD [1] where the beam is so wide [m]: through the aperture or the beam, whichever is larger; not under 0."""
    area = math.pi / 4.0 * max(diameter, aperture) ** 2
    return max(math.log10(power / (area * allowed)), 0.0)


def pulse_letter(width: float) -> str:
    """Letter of the eyewear standard for pulses of `width` [s]: D over 0.25 s, I to 1 µs, R to 1 ns, M below."""
    if width > 0.25:
        return "D"
    return "I" if width > 1e-6 else "R" if width >= 1e-9 else "M"
