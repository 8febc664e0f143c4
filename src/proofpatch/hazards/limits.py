"""Exposure limits of eye and skin, 400 nm to 1 mm, after two sets of rules.

`NEW` is the set of 2013/2014 (ICNIRP 2013, the same in IEC 60825-1:2014), `OLD` the one before, which some law still
uses (directive 2006/25/EC). Coefficients were read where `MARKS` says so; the limits themselves are from memory: they
meet at every breakpoint, but nobody compared them with the bought standard, and every figure on them says so.

A source seen under less than 1.5 mrad is assumed everywhere (C_E = 1): the stricter choice for a single beam.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from proofpatch.errors import InputError

SHORTEST_WAVE, LONGEST_WAVE = 400e-9, 1e-3  # m
SHORTEST, LONGEST = 1e-9, 3e4  # s, of a pulse or an exposure
SMALL_SOURCE = 10.0  # s, T₂ of a source under 1.5 mrad
EYE_APERTURE = 7e-3  # m, 400 to 1400 nm
LEAST_TRAIN = 0.4  # C₅ falls no further for pulses shorter than T_i
FRONT_TOO = 1200.0  # nm, from which the front of the eye takes no more than the skin
MANY = 600  # pulses from which C₅ falls, 2014


@dataclass(frozen=True)
class Rules:
    """One set of limits. name: as it is shown. near, short: J/m² of a short pulse, below and from 1050 nm.

    near_end, short_end: s, up to which it holds; also the time within which pulses count as one (T_i).
    """

    name: str
    near: float
    near_end: float
    short: float
    short_end: float
    old: bool


NEW = Rules("2013/2014", 2e-3, 5e-6, 0.02, 13e-6, False)
OLD = Rules("before 2013", 5e-3, 18e-6, 0.05, 50e-6, True)
RULES = (NEW, OLD)

# What each figure rests on, and where to compare it. (words, status as in sources.py)
MARKS = {
    "eye": ("eye limits 400 to 1400 nm: compare with ICNIRP 2013 (Health Phys. 105:271), the table of limits for the "
            "eye, or IEC 60825-1:2014 annex A", "memory"),
    "old": ("eye limits before 2013: compare with directive 2006/25/EC annex II, tables 2.2 to 2.4; the old train rule "
            "and T_i were read there (table 2.6)", "memory"),
    "far": ("limits above 1400 nm, of eye and skin, and their apertures: compare with ICNIRP 2013, the tables for "
            "1400 nm to 1 mm", "memory"),
    "aperture": ("pupil of 7 mm: compare with ICNIRP 2013, the table of limiting apertures", "memory"),
    "skin": ("skin limits: compare with ICNIRP 2013, the table of limits for the skin", "memory"),
    "train": ("correction of pulse trains C₅: compare with IEC 60825-1:2014, 4.3 f, the line for more than 600 pulses "
              "above all", "memory"),
    "coefficients": ("coefficients C_A, C_B, T₂: Norwegian regulations on limit values, annex 4 table 4.5, read",
                     "published"),
}  # fmt: skip


def _nm(wavelength: float) -> float:
    """[nm] of [m], without the rounding that would put a wavelength on the wrong side of a limit's edge."""
    return round(wavelength * 1e9, 6)


def wave_correction(wavelength: float) -> float:
    """C_A (C₄) [1] of a wavelength [m]: 1 to 700 nm, 10^(0.002 (λ − 700)), 5 from 1050 nm."""
    nm = _nm(wavelength)
    if nm <= 700.0:
        return 1.0
    return float(10.0 ** (0.002 * (nm - 700.0))) if nm < 1050.0 else 5.0


def depth_correction(wavelength: float, rules: Rules = NEW) -> float:
    """C_C (C₇) [1] of a wavelength [m] of 1050 to 1400 nm: 1 to 1150 nm, growing as less light reaches the retina."""
    nm = _nm(wavelength)
    if nm <= 1150.0:
        return 1.0
    if nm < 1200.0:
        return float(10.0 ** (0.018 * (nm - 1150.0)))
    return 8.0 if rules.old else 8.0 + float(10.0 ** (0.04 * (nm - 1250.0)))


def blue_correction(wavelength: float) -> float:
    """C_B (C₃) [1] of a wavelength [m]: 1 to 450 nm, then 10^(0.02 (λ − 450)); of the photochemical limit."""
    nm = _nm(wavelength)
    return 1.0 if nm < 450.0 else float(10.0 ** (0.02 * (nm - 450.0)))


def together(wavelength: float, rules: Rules = NEW) -> float:
    """T_i (T_min) [s] of a wavelength [m]: pulses closer than this count as one."""
    nm = _nm(wavelength)
    if nm < 1050.0:
        return rules.near_end
    if nm < 1400.0:
        return rules.short_end
    if nm < 1500.0:
        return 1e-3
    if nm < 1800.0:
        return 10.0
    return 1e-3 if nm < 2600.0 else 1e-7


def eye_limit(wavelength: float, duration: float, rules: Rules = NEW) -> float:
    """Radiant exposure [J/m²] the eye may get in `duration` [s] at a wavelength [m].

    1050 to 1400 nm, NEW: 0.02 C_C to 13 µs, 90 C_C t^0.75 to 10 s, 50 C_C t beyond.

    Raises:
        InputError: outside 400 nm to 1 mm, or 1 ns to 30 000 s.
    """
    nm = _checked(wavelength, duration)
    if nm >= 1400.0:
        return _far_limit(nm, duration)
    if nm >= 1050.0:
        factor, short, end, middle = depth_correction(wavelength, rules), rules.short, rules.short_end, 90.0
    else:
        factor, short, end, middle = wave_correction(wavelength), rules.near, rules.near_end, 18.0
    if duration <= end:
        return short * factor
    if duration <= SMALL_SOURCE:
        thermal = float(middle * factor * duration**0.75)
    else:
        thermal = 10.0 * wave_correction(wavelength) * (factor if nm >= 1050.0 else 1.0) * duration
    if nm < 600.0 and duration >= SMALL_SOURCE:
        blue = blue_correction(wavelength)
        return min(thermal, 100.0 * blue if duration <= 100.0 else blue * duration)
    return thermal


def _far_limit(nm: float, duration: float) -> float:
    """J/m² from 1400 nm, where the front of the eye takes the light; both sets agree there."""
    if duration > 10.0:
        return 1000.0 * duration
    if nm < 1500.0:
        return 1e3 if duration <= 1e-3 else 5600.0 * duration**0.25
    if nm < 1800.0:
        return 1e4
    if nm < 2600.0:
        return 1e3 if duration <= 1e-3 else 5600.0 * duration**0.25
    return 100.0 if duration <= 1e-7 else 5600.0 * duration**0.25


def skin_limit(wavelength: float, duration: float) -> float:
    """Radiant exposure [J/m²] the skin may get in `duration` [s]: 200 C_A, 1.1e4 C_A t^0.25 from 100 ns, 2000 C_A t.

    Large areas over more than 10 s have lower limits still, which are not in here.

    Raises:
        InputError: as `eye_limit`.
    """
    nm = _checked(wavelength, duration)
    if nm >= 1400.0:
        return _far_limit(nm, duration)
    corrected = wave_correction(wavelength)
    if duration <= 1e-7:
        return 200.0 * corrected
    return 1.1e4 * corrected * duration**0.25 if duration <= 10.0 else 2000.0 * corrected * duration


def _front_too(wavelength: float, duration: float, rules: Rules) -> float:
    """`eye_limit`, from 1200 nm no more than the skin's."""
    limit = eye_limit(wavelength, duration, rules)
    return min(limit, skin_limit(wavelength, duration)) if _nm(wavelength) >= FRONT_TOO else limit


def _checked(wavelength: float, duration: float) -> float:
    """The wavelength in nm."""
    if not SHORTEST_WAVE * (1 - 1e-9) <= wavelength <= LONGEST_WAVE * (1 + 1e-9):
        raise InputError(
            "wavelength", "The wavelength lies outside 400 nm to 1 mm.", "Give the laser's own, like 1064 nm."
        )
    if not SHORTEST * (1 - 1e-9) <= duration <= LONGEST * (1 + 1e-9):
        raise InputError("duration", "The duration lies outside 1 ns to 30 000 s.", "Give the pulse width, or 10 s.")
    return _nm(wavelength)


@dataclass(frozen=True)
class Allowed:
    """What a train of pulses, or a steady beam, may bring.

    per_pulse: J/m², None for a steady beam. average: W/m². rule: single pulse, average or train. rules: which set.
    parts: J/m² a pulse by each rule, (single, average, train).
    """

    per_pulse: float | None
    average: float
    rule: str
    rules: str
    parts: tuple[float, float, float] | None = None


def train_correction(pulses: float, width: float, exposure: float, gate: float, rules: Rules = NEW) -> float:
    """C₅ (C_P) [1] of so many pulses of `width` [s] in `exposure` [s]; `gate` is T_i [s]. From memory, unverified.

    NEW: 1 to 600 pulses or a quarter of a second, then 5 N^(−1/4), not under 0.4; OLD: N^(−1/4) always.
    """
    if rules.old:
        return float(max(pulses, 1.0) ** -0.25)
    if width > gate:
        return 1.0
    return 1.0 if exposure <= 0.25 or pulses <= MANY else max(LEAST_TRAIN, 5.0 * pulses**-0.25)


def eye_allowed(wavelength: float, width: float, rate: float | None, exposure: float, rules: Rules = NEW) -> Allowed:
    """The lowest of the three rules of repeated pulses, for the eye.

        R₁ = H(t_p);   R₂ = H(T)/(f T);   R₃ = C₅ H(t_p), or C₅ H(T_i)/⌈f T_i⌉ where pulses lie closer than T_i    (1)

    Args:
        wavelength [m]; width [s] of a pulse; rate [Hz], None for a steady beam; exposure T [s].

    Raises:
        InputError: as `eye_limit`.
    """
    over = _front_too(wavelength, exposure, rules) / exposure
    if rate is None:
        return Allowed(None, over, "steady", rules.name)
    gate = together(wavelength, rules)
    # The old rule is taken to count every pulse of the exposure, as an old manual's worked example does.
    longest = exposure if rules.old else min(exposure, SMALL_SOURCE)
    single = _front_too(wavelength, width, rules)
    average = over / rate
    if rate * gate > 1.0:
        # Whole pulses: within T_i there may be one more than f T_i says.
        many = math.ceil(round(rate * gate, 9))
        grouped = _front_too(wavelength, gate, rules) / many
        train = train_correction(max(rate * longest / many, 1.0), gate, exposure, gate, rules) * grouped
    else:
        train = train_correction(max(rate * longest, 1.0), width, exposure, gate, rules) * single
    parts = (single, average, train)
    lowest = min(parts)
    return Allowed(lowest, lowest * rate, ("single pulse", "average", "train")[parts.index(lowest)], rules.name, parts)


def strictest_eye(wavelength: float, width: float, rate: float | None, exposure: float) -> tuple[Allowed, ...]:
    """Both sets of rules, the stricter first."""
    # Rounded constants make some limits a little milder just after 10 s; a longer look never counts as milder.
    times = (exposure, SMALL_SOURCE) if exposure > SMALL_SOURCE else (exposure,)
    both = [
        min((eye_allowed(wavelength, width, rate, time, rules) for time in times), key=lambda one: one.average)
        for rules in RULES
    ]
    return tuple(sorted(both, key=lambda one: one.average))


def skin_allowed(wavelength: float, width: float, rate: float | None, exposure: float) -> Allowed:
    """As `eye_allowed`, for the skin: rules 1 and 2 only."""
    times = (exposure, SMALL_SOURCE) if exposure > SMALL_SOURCE else (exposure,)
    over = min(skin_limit(wavelength, time) / time for time in times)
    if rate is None:
        return Allowed(None, over, "steady", NEW.name)
    single = skin_limit(wavelength, width)
    lowest = min(single, over / rate)
    return Allowed(lowest, lowest * rate, "single pulse" if single <= over / rate else "average", NEW.name)


def aperture(wavelength: float) -> float:
    """Smallest diameter [m] over which the eye averages: 7 mm to 1400 nm, 1 mm beyond, 11 mm from 0.1 mm waves."""
    nm = _nm(wavelength)
    if nm < 1400.0:
        return EYE_APERTURE
    return 1e-3 if nm < 1e5 else 11e-3


def to_peak(diameter: float) -> float:
    """1/e diameter d₆₃ of a 1/e² one, both [m] or both [rad]: 4 P/(π d₆₃²) is then the peak of a Gaussian beam."""
    return diameter / math.sqrt(2.0)
