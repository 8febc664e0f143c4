"""Slow chemistry on any clock: how far one first-order step goes at a temperature, and the temperature for a step."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from scipy import constants

from proofpatch.physics.elementwise import NOT_NEGATIVE, POSITIVE, checked, choose, elementwise

GAS_CONSTANT = float(constants.R)  # J/(mol K)
LEAST_CONVERSION = 1e-300  # keeps the logarithm of the conversion finite


@elementwise
def _arrhenius_rate(temperature: Any, ln_frequency_factor: Any, activation_energy: Any) -> Any:
    """Rate of one first-order step.

        k = A exp(−E/(R T))                                                      (1)

    Args:
        temperature: T, absolute, > 0 [K]; any shape.
        ln_frequency_factor: ln A, A in 1/s [1].
        activation_energy: E, > 0 [J/mol].

    Returns:
        k [1/s].

    Raises:
        InputError: an argument is out of its range.

    Holds in the range the pair A, E was fitted in; beyond it the rate is an extrapolation.
    Source: Arrhenius (textbook).
    """
    return np.exp(ln_frequency_factor - activation_energy / (GAS_CONSTANT * temperature))  # (1)


@elementwise
def _arrhenius_conversion(temperature: Any, seconds: Any, ln_frequency_factor: Any, activation_energy: Any) -> Any:
    """Share of the material converted after a time at one temperature.

        X = 1 − exp(−A e^(−E/RT) t)                                              (1)

    Args:
        temperature: T, absolute, > 0 [K]; any shape.
        seconds: t, ≥ 0 [s].
        ln_frequency_factor: ln A, A in 1/s [1].
        activation_energy: E, > 0 [J/mol].

    Returns:
        X, 0 to 1 [1].

    Raises:
        InputError: an argument is out of its range.

    Source: dX/dt = k (1 − X) at constant T; the pyrolysis form of Di Blasi & Branca, Ind. Eng. Chem. Res. 40,
    5547 (2001), abstract.
    """
    rate = _arrhenius_rate(temperature, ln_frequency_factor, activation_energy)
    return -np.expm1(-rate * seconds)  # (1)


@elementwise
def _temperature_for_conversion(conversion: Any, seconds: Any, ln_frequency_factor: Any, activation_energy: Any) -> Any:
    """Temperature that converts a share of the material in a time; the inverse of `arrhenius_conversion`.

        T = E / ( R [ ln A + ln t − ln(−ln(1 − X)) ] )                           (1)

    Args:
        conversion: X, above 0, below 1 [1]; any shape.
        seconds: t, > 0 [s].
        ln_frequency_factor: ln A, A in 1/s [1].
        activation_energy: E, > 0 [J/mol].

    Returns:
        T, absolute; inf where even an infinite temperature is too slow (A t below −ln(1 − X)) [K].

    Raises:
        InputError: an argument is out of its range.

    Source: (1) of `arrhenius_conversion`, solved for T.
    """
    wanted = np.log(np.maximum(-np.log1p(-conversion), LEAST_CONVERSION))
    room = ln_frequency_factor + np.log(seconds) - wanted
    return choose(room > 0.0, activation_energy / (GAS_CONSTANT * np.maximum(room, 1e-12)), math.inf)  # (1)


BETWEEN_0_AND_1 = (lambda v: np.all(np.greater(v, 0) & np.less(v, 1)), "must lie above 0 and below 1")

arrhenius_rate = checked(_arrhenius_rate, temperature=POSITIVE, activation_energy=POSITIVE)
arrhenius_conversion = checked(
    _arrhenius_conversion, temperature=POSITIVE, seconds=NOT_NEGATIVE, activation_energy=POSITIVE
)
temperature_for_conversion = checked(
    _temperature_for_conversion, conversion=BETWEEN_0_AND_1, seconds=POSITIVE, activation_energy=POSITIVE
)
