"""The pulse train of the source: energy, peak power, and what the source can give at a rate and width."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from scipy import constants

from proofpatch.physics.elementwise import NOT_NEGATIVE, POSITIVE, checked, elementwise

GAUSSIAN_PULSE = 2.0 * math.sqrt(math.log(2.0) / math.pi)  # 0.9394, peak power of a Gaussian pulse over E/FWHM
PHOTON_ENERGY_TIMES_LENGTH = float(constants.h * constants.c)  # h c [J m]


@elementwise
def _pulse_energy(average_power: Any, repetition_rate: Any) -> Any:
    """Energy of one pulse.

        E = P/f                                                                  (1)

    Args:
        average_power: P, ≥ 0 [W]; any shape.
        repetition_rate: f, > 0 [Hz]; 20 kHz is 20 000 pulses a second.

    Returns:
        E [J].

    Raises:
        InputError: an argument is out of its range.

    Source: definition.
    """
    return average_power / repetition_rate  # (1)


@elementwise
def _peak_power(pulse_energy: Any, pulse_width: Any) -> Any:
    """Highest power within a pulse that is Gaussian in time.

        P_peak = 2 √(ln 2/π) E/τ = 0.9394 E/τ                                    (1)

    Args:
        pulse_energy: E, ≥ 0 [J]; any shape.
        pulse_width: τ, full width at half maximum, > 0 [s].

    Returns:
        P_peak [W].

    Raises:
        InputError: an argument is out of its range.

    Source: integral of a Gaussian; textbook.
    """
    return GAUSSIAN_PULSE * pulse_energy / pulse_width  # (1)


@elementwise
def _rectangular_peak_power(pulse_energy: Any, pulse_width: Any) -> Any:
    """Power of a pulse that is even from start to end.

        P_peak = E/τ                                                             (1)

    Args:
        pulse_energy: E, ≥ 0 [J]; any shape.
        pulse_width: τ, > 0 [s].

    Returns:
        P_peak [W].

    Raises:
        InputError: an argument is out of its range.

    Source: definition.
    """
    return pulse_energy / pulse_width  # (1)


@elementwise
def _available_power(repetition_rate: Any, rated_power: Any, energy_limit: Any) -> Any:
    """Highest average power a source with an energy limit gives at a rate.

        P(f, τ) = min(P_rated, f E_max(τ))                                       (1)

    Args:
        repetition_rate: f, > 0 [Hz]; any shape.
        rated_power: P_rated, > 0 [W].
        energy_limit: E_max at the pulse width in use, > 0 [J].

    Returns:
        P [W].

    Raises:
        InputError: an argument is not positive.

    For a seeded amplifier, whose pulse width stays as set. Source: an encyclopedia article on decoupling pulse
    duration and energy (2008).
    """
    return np.minimum(rated_power, repetition_rate * energy_limit)  # (1)


@elementwise
def _corner_rate(rated_power: Any, energy_limit: Any) -> Any:
    """Repetition rate below which the source no longer gives its rated power.

        f_c(τ) = P_rated/E_max(τ)                                                (1)

    Args:
        rated_power: P_rated, > 0 [W]; any shape.
        energy_limit: E_max at the pulse width in use, > 0 [J].

    Returns:
        f_c [Hz].

    Raises:
        InputError: an argument is not positive.

    Source: as `available_power`.
    """
    return rated_power / energy_limit  # (1)


@elementwise
def _energy_limit(pulse_width: Any, stored_energy: Any, peak_power_limit: Any) -> Any:
    """Highest pulse energy of a fibre amplifier at a pulse width.

        E_max(τ) = min(E_store, P_pk,max τ)                                      (1)

    Args:
        pulse_width: τ, > 0 [s]; any shape.
        stored_energy: E_store, the most the fibre can hold, > 0 [J].
        peak_power_limit: P_pk,max, before the light scatters itself away, > 0 [W].

    Returns:
        E_max; for a pulse taken as even, which is the careful side [J].

    Raises:
        InputError: an argument is not positive.

    Generic: an owner's own table goes before. Source: from memory.
    """
    return np.minimum(stored_energy, peak_power_limit * pulse_width)  # (1)


@elementwise
def _saturation_energy(wavelength: Any, core_area: Any, emission: Any, absorption: Any) -> Any:
    """Pulse energy that takes about two thirds of the gain out of a fibre; it can hold about ten times this.

        E_sat = h ν A/(σ_e + σ_a),   ν = c/λ                                     (1)

    Args:
        wavelength: λ, > 0 [m]; any shape.
        core_area: A, of the fibre's core, > 0 [m²].
        emission: σ_e, emission cross-section, > 0 [m²].
        absorption: σ_a, absorption cross-section at λ, ≥ 0 [m²].

    Returns:
        E_sat [J].

    Raises:
        InputError: an argument is out of its range.

    Source: amplifier theory (from memory).
    """
    return PHOTON_ENERGY_TIMES_LENGTH / wavelength * core_area / (emission + absorption)  # (1)


@elementwise
def _raman_power_limit(mode_area: Any, raman_gain: Any, fibre_length: Any) -> Any:
    """Peak power above which a fibre turns its light into another wavelength.

        P_pk,max ≈ 16 A_eff/(g_R L_eff)                                          (1)

    Args:
        mode_area: A_eff, > 0 [m²]; any shape.
        raman_gain: g_R, > 0 [m/W].
        fibre_length: L_eff, > 0 [m].

    Returns:
        Peak power [W].

    Raises:
        InputError: an argument is not positive.

    Source: R. G. Smith, Appl. Opt. 11, 2489 (1972) (from memory).
    """
    return 16.0 * mode_area / (raman_gain * fibre_length)  # (1)


pulse_energy = checked(_pulse_energy, average_power=NOT_NEGATIVE, repetition_rate=POSITIVE)
peak_power = checked(_peak_power, pulse_energy=NOT_NEGATIVE, pulse_width=POSITIVE)
rectangular_peak_power = checked(_rectangular_peak_power, pulse_energy=NOT_NEGATIVE, pulse_width=POSITIVE)
available_power = checked(_available_power, repetition_rate=POSITIVE, rated_power=POSITIVE, energy_limit=POSITIVE)
corner_rate = checked(_corner_rate, rated_power=POSITIVE, energy_limit=POSITIVE)
energy_limit = checked(_energy_limit, pulse_width=POSITIVE, stored_energy=POSITIVE, peak_power_limit=POSITIVE)
saturation_energy = checked(
    _saturation_energy, wavelength=POSITIVE, core_area=POSITIVE, emission=POSITIVE, absorption=NOT_NEGATIVE
)
raman_power_limit = checked(_raman_power_limit, mode_area=POSITIVE, raman_gain=POSITIVE, fibre_length=POSITIVE)
