"""Burn marks of single pulses, read with a loupe: the spot radius, and the threshold of what was marked.

The larger the pulse energy, the larger the mark; how fast it grows with the logarithm of the energy is the spot.
Radii are 1/e² radii, the top-hat share is that of the energy in the flat part of the profile (0 Gaussian, 1 top-hat).
Every interval is the middle 90 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from proofpatch.errors import InputError
from proofpatch.lasers.estimate import MISFIT, NINE_IN_TEN, NORMAL_90, Estimate, explained, spanned
from proofpatch.lasers.flat_marks import DEEPEST, search_marks
from proofpatch.physics.beam import threshold_radius
from proofpatch.physics.setting import finite_number
from proofpatch.physics.super_gaussian import super_gaussian_peak_factor
from proofpatch.units import show

Floats = NDArray[np.float64]
LEAST_MARKS, LEAST_ENERGIES = 4, 3
LEAST_FOR_SHARE = 6  # marks from which a top-hat share can be fitted too
MOST_MARKS = 500
ENERGY_BOUNDS = (1e-9, 1e2)  # J
DIAMETER_BOUNDS = (1e-7, 0.1)  # m
WIDEST_SHARE = 0.6  # an interval of the fitted share beyond this tells nothing
_CIRCLE = np.linspace(0.0, 2 * np.pi, 1440, endpoint=False)


@dataclass(frozen=True)
class MarkFit:
    """What the marks of several pulse energies say.

    spot_radius [m], threshold_energy [J]: at which the middle just marks, threshold_fluence [J/m²]: in the middle
    then; top_hat_share: as stated, or as fitted; scatter: of the diameters about the fit, one standard deviation [m].
    """

    spot_radius: Estimate
    threshold_energy: Estimate
    threshold_fluence: Estimate
    top_hat_share: Estimate
    scatter: float
    marks: int


def fit_marks(
    pulse_energy: Any,
    diameter: Any,
    top_hat_share: float | None = 0.0,
    reading_error: float = 0.0,
    order: float = 1.0,
) -> MarkFit:
    """Spot radius and threshold from the diameters of single-pulse marks.

        Gaussian:         D² = 2 w² ln(E/E_th),  F_th = 2 E_th/(π w²)            (1)
        super-Gaussian:   D^(2n) = ½ (2w)^(2n) ln(E/E_th),  F_th = κ(n) E_th/(π w²)   (2)
        with a top-hat:   D = 2 r(F_th, E, w, m),  F_th = (2 − m) E_th/(π w²)    (3)

    (1) and (2) are ordinary least squares of D^(2n) on ln E. (3) is least squares in D² too: for a given E_th it is
    linear in w², so one search over E_th finds the best and cannot stop short of it; with m = 0 it is (1). The mark
    of a top-hat keeps the diameter 2w over a wide span of energies, where E_th is only bounded.

    Intervals are the range of each quantity over all (E_th, w) whose sum of squares is at most the smallest plus
    t² s², with Student's t: for the slope that is the t interval, for E_th Fieller's, for F_th, where neither exists,
    the profile. Fieller's and not a simulated one: it needs no random numbers and has no end where the slope is not
    known to be above zero, which is then refused.

    Args:
        pulse_energy: E of each mark [J]; any scale that is right up to a factor serves for w.
        diameter: D of each mark, 0 where the pulse left none [m].
        top_hat_share: m [1]; None: fitted too, from 6 marks up.
        reading_error: half the 90 % width of how finely a diameter is read [m]; a scatter below it is not believed.
        order: n of the super-Gaussian, with m = 0 only [1].

    Returns:
        MarkFit.

    Raises:
        InputError: fewer than 4 marks or 3 energies, marks that do not grow, a plot that is not of this profile, or a
            number that is none.

    Holds for a profile of this shape, single pulses and marks whose edge is where the fluence meets the threshold:
    heat or plume that widens the strongest marks bends the plot.
    Source: J. M. Liu, Opt. Lett. 7, 196 (1982); E. C. Fieller, J. R. Stat. Soc. B 16, 175 (1954) (both from memory);
    (2) and (3) derived, checked numerically.
    """
    energies, diameters = mark_readings(pulse_energy, diameter)
    error = finite_number("reading_error", "The reading error", reading_error, 0.0, 0.01, "m")
    n = finite_number("order", "The order", order, 0.3, 20.0, "")
    marked = diameters > 0
    if marked.sum() < LEAST_MARKS or len(np.unique(energies[marked])) < LEAST_ENERGIES:
        raise InputError(
            "marks",
            f"There are {int(marked.sum())} marks at {len(np.unique(energies[marked]))} pulse energies.",
            f"Give at least {LEAST_MARKS} marks at {LEAST_ENERGIES} or more energies that all leave one.",
        )
    _check_growth(energies[marked], diameters[marked])
    unmarked = energies[~marked].max(initial=0.0)
    if unmarked > np.sort(energies[marked])[1]:
        raise InputError(
            "marks",
            f"A pulse of {show(float(unmarked), 'energy')} left no mark, though weaker ones did.",
            "Check that mark, and that all were made in focus on one material.",
        )
    share = None
    if top_hat_share is not None:
        share = finite_number("top_hat_share", "The top-hat share", top_hat_share, 0.0, 1.0, "")
    if share != 0.0:
        if n != 1.0:
            raise InputError("order", "An order and a top-hat share are two profiles.", "Give one of the two.")
        fit = _fit_mixed(energies, diameters, share, error)
    else:
        fit = _fit_line(energies[marked], diameters[marked], error, n)
        if n == 1.0:
            search_marks(energies[marked], diameters[marked], share, error)  # refuses what a share would fit better
    return _agreeing(fit, energies[~marked])


def mark_readings(pulse_energy: Any, diameter: Any) -> tuple[Floats, Floats]:
    """Energies and diameters as arrays of one length.

    Raises:
        InputError: they are not.
    """
    found = []
    for field, words, given, (low, high), unit in (
        ("pulse_energy", "A pulse energy", pulse_energy, ENERGY_BOUNDS, "J"),
        ("diameter", "A diameter", diameter, DIAMETER_BOUNDS, "m"),
    ):
        if not isinstance(given, (Sequence, np.ndarray)) or isinstance(given, str) or len(given) > MOST_MARKS:
            raise InputError(
                field, f"{field} is not a list of at most {MOST_MARKS} numbers.", "Give one for each mark."
            )
        none_left = field == "diameter"
        found.append(
            [0.0 if none_left and v is not False and v == 0 else finite_number(field, words, v, low, high, unit)
             for v in (given.tolist() if isinstance(given, np.ndarray) else given)]
        )  # fmt: skip
    if len(found[0]) != len(found[1]):
        said = f"There are {len(found[0])} pulse energies and {len(found[1])} diameters."
        raise InputError("diameter", said, "Give one diameter for each energy.")
    return np.array(found[0]), np.array(found[1])


def _check_growth(energies: Floats, diameters: Floats) -> None:
    """Marks that surely shrink as the energy rises are no marks of one spot."""
    x = np.log(energies) - np.log(energies).mean()
    slope = (x @ diameters) / (x @ x)
    rest = diameters - diameters.mean() - slope * x
    error = math.sqrt((rest @ rest) / (len(x) - 2) / (x @ x))
    if slope < 0 and -slope > error * stdtrit(len(x) - 2, 1 - MISFIT):
        raise InputError(
            "marks",
            "The marks shrink as the pulse energy rises.",
            "Check which diameter belongs to which energy, and that all were made in focus.",
        )


def _fit_line(energies: Floats, diameters: Floats, error: float, n: float) -> MarkFit:
    """(1) and (2): a straight line through D^(2n) over ln E, and the ellipse of all lines that fit."""
    unit = math.exp(float(np.log(diameters).mean()))  # keeps high powers of D within what a float holds
    d, count = diameters / unit, len(diameters)
    x, y = np.log(energies), d ** (2 * n)
    middle = x.mean()
    u = x - middle
    sxx = u @ u
    slope, level = (u @ y) / sxx, y.mean()
    rest = y - level - slope * u
    steep = 2 * n * d ** (2 * n - 1)  # of y over d
    _check_order(x, d, n, error / unit)
    t = stdtrit(count - 2, NINE_IN_TEN)
    s = math.sqrt(max((rest @ rest) / (count - 2), float(np.mean((steep * error / unit / NORMAL_90) ** 2))))
    if slope <= t * s / math.sqrt(sxx):
        raise InputError(
            "marks",
            "The marks do not grow with the pulse energy beyond their scatter, as under a flat-topped beam.",
            "State the top-hat share of the beam, or give marks at energies further apart.",
        )
    _check_scatter(unit * rest / steep, diameters, error, count - 2)
    b = np.append(slope, slope + t * s / math.sqrt(sxx) * np.cos(_CIRCLE))
    a = np.append(level, level + t * s / math.sqrt(count) * np.sin(_CIRCLE))
    w = 0.5 * unit * (2 * b) ** (0.5 / n)  # (2), (1) where n = 1
    ends = x.min() - DEEPEST, x.max() + DEEPEST
    threshold = np.exp(np.clip(middle - a / b, *ends))
    fluence = super_gaussian_peak_factor(n) * threshold / (np.pi * w**2)  # (2), κ(1) = 2
    scatter = unit * float(np.linalg.norm(rest / steep)) / math.sqrt(count - 2)
    return MarkFit(
        spanned(w), *_opened(spanned(threshold), spanned(fluence), *ends), Estimate(0.0, 0.0, 0.0), scatter, count
    )


def _opened(energy: Estimate, fluence: Estimate, lowest: float, highest: float) -> tuple[Estimate, Estimate]:
    """Threshold energy and fluence, an end of both open where the energy reached the end [ln J] of the search."""
    low = 0.0 if energy.low <= math.exp(lowest) * (1 + 1e-9) else 1.0
    high = math.inf if energy.high >= math.exp(highest) * (1 - 1e-9) else 1.0
    return (
        Estimate(energy.value, energy.low * low, energy.high * high),
        Estimate(fluence.value, fluence.low * low, fluence.high * high),
    )


def _check_order(log_energies: Floats, diameters: Floats, n: float, error: float) -> None:
    """Refuses a plot that another order of (2) makes straight and this one leaves bent (F test of one more unknown).

    Diameters are in units of their geometric mean. Powers of D are compared in the scale of Box & Cox, J. R. Stat.
    Soc. B 26, 211 (1964) (from memory).
    """
    u = log_energies - log_energies.mean()
    orders = np.append(np.geomspace(0.2 * n, 8.0 * n, 400), n)[:, None]
    z = np.exp(np.clip(2 * orders * np.log(diameters), -300, 300)) / (2 * orders)
    z -= z.mean(axis=1, keepdims=True)
    squares = np.sum((z - np.outer(z @ u, u) / (u @ u)) ** 2, axis=1)
    freedom, best = len(u) - 3, int(np.argmin(squares))
    # Rounding leaves a scatter of its own where the marks were computed, not read.
    variance = max(squares[best] / freedom, (error / NORMAL_90) ** 2, 1e-10)
    if 2 * stdtr(freedom, -math.sqrt((squares[-1] - squares[best]) / variance)) > MISFIT:
        return
    if orders[best, 0] > n:
        raise InputError(
            "marks",
            "The square of the diameter levels off over the logarithm of the energy, so the beam is no Gaussian.",
            "State its top-hat share, or have it fitted.",
        )
    raise InputError(
        "marks",
        "The square of the diameter bends up over the logarithm of the energy, as where heat or plume widens the mark.",
        "Leave out the strongest marks, as far as the plot is straight.",
    )


def _check_scatter(rest: Floats, diameters: Floats, error: float, freedom: int) -> None:
    """Refuses marks that lie off their profile by more than reading them explains."""
    if not explained(rest, diameters, error, freedom):
        off, by = (show(float(length), "length") for length in (np.abs(rest).max(), error))
        raise InputError(
            "marks",
            f"A mark lies {off} off the profile they are read with, which ±{by} of reading does not explain.",
            "Leave out marks that heat or plume has widened, check that all are in focus, or state another share.",
        )


def _agreeing(fit: MarkFit, unmarked: Floats) -> MarkFit:
    """The fit, unless an energy that left no mark is surely above its threshold."""
    if len(unmarked) and unmarked.max() > fit.threshold_energy.high:
        raise InputError(
            "marks",
            f"A pulse of {show(float(unmarked.max()), 'energy')} left no mark, but by the others the threshold is "
            f"{show(fit.threshold_energy.value, 'energy')}.",
            "Check that mark, and that all were made in focus on one material.",
        )
    return fit


def _fit_mixed(energies: Floats, diameters: Floats, share: float | None, error: float) -> MarkFit:
    """(3): a search over ln E_th, and over the share too where it is not stated."""
    count = len(energies)
    if share is None and count < LEAST_FOR_SHARE:
        said = f"{count} marks are too few to fit the top-hat share too."
        raise InputError("marks", said, f"Give at least {LEAST_FOR_SHARE} marks, or state the share.")
    search = search_marks(energies, diameters, share, error)
    threshold, square, of_share = search.region()
    if share is None and of_share.max() - of_share.min() > WIDEST_SHARE:
        raise InputError(
            "marks",
            "These marks fit any top-hat share.",
            "State the share, or give marks from just above the threshold up to the strongest pulse.",
        )
    w = np.sqrt(square)
    fluence = (2 - of_share) * threshold / (np.pi * square)  # (3)
    model = 2 * threshold_radius(fluence[0], energies, w[0], of_share[0])
    rest, freedom = diameters - model, count - search.unknowns
    _check_scatter(rest, diameters, error, freedom)
    lowest = math.log(energies[diameters > 0].min()) - DEEPEST
    return MarkFit(
        spanned(w), *_opened(spanned(threshold), spanned(fluence), lowest, math.inf), spanned(of_share),
        float(np.linalg.norm(rest)) / math.sqrt(freedom), int((diameters > 0).sum()),
    )  # fmt: skip
