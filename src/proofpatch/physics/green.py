"""Heat of many pulses, each where and when it falls: the exact sum over all of them.

Thick solid, insulated face, constant properties; a rise is counted above the temperature before the first pulse.
Each pulse is a rectangle in time and a Gaussian spot that stands still while it is on; its heat goes into the face,
or into a skin below it. The same sum in far fewer terms, with a bound on its error, is in `green_tree.py`; one spot
that stands still is in `accumulation.py`, one that moves steadily in `moving.py`.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from proofpatch.errors import InputError, expect
from proofpatch.physics.elementwise import choose, elementwise, numba
from proofpatch.physics.heat import _volume_bracket

Floats = NDArray[np.float64]
FACE = math.inf  # absorption of a solid that stops light in its face [1/m]
# Age over width from which a pulse is told by its middle, and by two moments; younger ones by many. The error is then
# under 2e-7 of what the pulse gives in its middle at the time, measured against adaptive quadrature.
MIDDLE, TWO = 1000.0, 10.0
FAR = 500.0  # exponent of what is nothing
MOST_PIECES = 10_000_000
PAIRS = 200_000  # of probe and pulse held at once by the plain form

# Widest sense in which a value is one of this subject; beyond, a unit has slipped, or arithmetic overflows.
RANGES = {
    "starts": (-1e9, 1e9), "along": (-1e6, 1e6), "across": (-1e6, 1e6), "heats": (0.0, 1e12),
    "spot_radii": (1e-9, 1e3), "widths": (1e-16, 1e6), "depth": (0.0, 1e3), "time": (-1e9, 1e9),
    "heat_capacity": (1e-3, 1e12), "diffusivity": (1e-12, 1.0), "absorption": (1e-3, 1e12),
    "start": (-1e9, 1e9), "begin": (-1e6, 1e6), "end": (-1e6, 1e6), "speed": (1e-9, 1e6), "power": (0.0, 1e9),
    "tolerance": (1e-4, 0.01),
}  # fmt: skip


def _numbers(field: str, values: ArrayLike) -> Floats:
    """Values as an array, refusing what is not a number or out of its range."""
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        array = np.array(math.nan)
    if not np.all(np.isfinite(array)):
        raise InputError(field, f"{field} holds what is not a finite number.", "Give numbers in SI units.")
    low, high = RANGES[field]
    if np.any(array < low) or np.any(array > high):
        raise InputError(field, f"{field} must lie between {low:g} and {high:g}.", "Check the value and its unit.")
    return array


def _number(field: str, value: Any) -> float:
    """One number, refusing a list."""
    array = _numbers(field, value)
    if array.ndim:
        raise InputError(field, f"{field} must be one number.", "Leave out the brackets.")
    return float(array)


@dataclass(frozen=True, eq=False)
class Pulses:
    """Pulses on the face of a solid, in any order.

    Args:
        starts: when each begins [s]; (pulses,).
        along, across: where the middle of its spot lies [m]; a number or (pulses,).
        heats: Q, what it leaves in the solid as heat, after reflection, ≥ 0 [J]; a number or (pulses,).
        spot_radii: w, 1/e² radius of the Gaussian spot, > 0 [m]; a number or (pulses,).
        widths: how long it is on, > 0 [s]; a number or (pulses,).

    Raises:
        InputError: a value cannot be used; `field` is its name.

    A Gaussian of 1/e² radius w has the second moment of a top-hat of radius w, so it stands for any mix of the two.
    For top-hat share m its rise in the middle of the spot is too high by m/(2 − m) at first (for a top-hat, twice), and
    by at most m times 16 %, 6 %, 2 % and 0.4 % once 8 D s is 1, 2, 4 and 10 w²: the side of more heat. At first it
    is also too high outside the rim, but too low from 0.59 w to the rim, there down to 0.27 of a pure top-hat: the
    edge of a fresh spot is not to be read from it. (From the closed forms of `spots` and the two profiles.)
    """

    starts: ArrayLike
    along: ArrayLike
    across: ArrayLike
    heats: ArrayLike
    spot_radii: ArrayLike
    widths: ArrayLike

    def __post_init__(self) -> None:
        starts = _numbers("starts", self.starts)
        if starts.ndim != 1 or not starts.size:
            raise InputError("starts", "There is no list of pulses.", "Give the beginning of at least one.")
        for item in fields(self):
            values = _numbers(item.name, getattr(self, item.name))
            if values.shape not in ((), starts.shape):
                problem = f"There are not as many {item.name} as pulses."
                raise InputError(item.name, problem, "Give one number, or one a pulse.")
            object.__setattr__(self, item.name, np.broadcast_to(values, starts.shape))
        latest, shortest = float(np.max(np.abs(starts))), float(np.min(np.asarray(self.widths)))
        if np.spacing(latest) > 1e-3 * shortest:
            problem = "The times are too large to tell such short pulses apart."
            raise InputError("starts", problem, "Count seconds from the first pulse.")

    @property
    def table(self) -> Floats:
        """One row a pulse: start [s], x, y [m], heat [J], w²/4 (variance of the spot along an axis) [m²], width [s]."""
        w = np.asarray(self.spot_radii)
        return np.stack([self.starts, self.along, self.across, self.heats, w * w / 4.0, self.widths], axis=1)


START, ALONG, ACROSS, HEAT, SPOT, WIDTH = range(6)


def scanned_line(
    start: float, begin: tuple[float, float], end: tuple[float, float], speed: float, power: float, spot_radius: float,
    pieces: int,
) -> Pulses:  # fmt: skip
    """A continuous beam drawn along a straight line, as pulses that follow each other without a gap.

        piece k of n:  t = t₀ + k τ,  place (k + ½)/n along the line,  Q = P τ,  τ = L/(v n)   (1)

    Args:
        start: when the beam begins to move [s].
        begin, end: (along, across) of its first and its last place, apart [m].
        speed: v, > 0 [m/s].
        power: P that stays as heat, ≥ 0 [W].
        spot_radius: w, 1/e² radius, > 0 [m].
        pieces: n.

    Returns:
        Pulses.

    Raises:
        InputError: an argument is out of its range.

    A piece is lit all at once, so the beam's last place is wrong by up to half a piece: under the spot of CV-4.18 the
    rise is 0.7 % too high for pieces of a tenth of its radius, 0.02 % for a hundredth (measured against
    `moving.moving_gaussian_rise`); behind the spot far less. Source: definition.
    """
    first, last = _numbers("begin", begin), _numbers("end", end)
    for field, place in (("begin", first), ("end", last)):
        if place.shape != (2,):
            raise InputError(field, f"{field} is not a place.", "Give two numbers, along and across.")
    if not isinstance(pieces, (int, np.integer)) or not 1 <= pieces <= MOST_PIECES:
        problem = f"{pieces!r} is not a number of pieces."
        raise InputError("pieces", problem, f"Give a whole number from 1 to {MOST_PIECES}.")
    length = float(np.hypot(*(last - first)))
    if length == 0.0:
        raise InputError("end", "The line has no length.", "Give two places that lie apart.")
    step = length / _number("speed", speed) / pieces
    middles = first + (last - first) * (np.arange(pieces)[:, None] + 0.5) / pieces
    starts = _number("start", start) + np.arange(pieces) * step
    return Pulses(starts, middles[:, 0], middles[:, 1], _number("power", power) * step, spot_radius, step)  # (1)


# ---- One pulse ----


@elementwise
def _fall(square: Any, spread: Any) -> Any:
    """e^(−square/spread), 0 where it is nothing, any shape: exponentials that vanish take five times as long."""
    return choose(square < FAR * spread, np.exp(-np.minimum(square, FAR * spread) / spread), 0.0)


@elementwise
def _plane_density(aside: Any, variance: Any) -> Any:
    """Share of a spot's heat by area, e^(−r²/2v)/(2π v), from r² and v, any shape [1/m²]."""
    twice = 2.0 * variance
    return _fall(aside, twice) / (math.pi * twice)


@elementwise
def _depth_density(depth: Any, age: Any, diffusivity: Any, absorption: Any) -> Any:
    """Share of the heat by depth, any shape [1/m]: from the face, or from a skin with its profile α e^(−αz)."""
    if absorption == FACE:  # one number for all elements, so an `if` is safe here
        spread = 4.0 * diffusivity * age
        return 2.0 * _fall(depth * depth, spread) / np.sqrt(math.pi * spread)
    return 0.5 * absorption * _volume_bracket(depth, np.sqrt(diffusivity * age), absorption)


@elementwise
def _flash_density(aside: Any, depth: Any, age: Any, spot: Any, diffusivity: Any, absorption: Any) -> Any:
    """Share of the heat by volume, for a pulse of no width [1/m³].

        g(r, z, s) = e^(−r²/2v)/(2π v) · a(z, s),   v = w²/4 + 2 D s             (1)
        a = e^(−z²/4Ds)/√(π D s)   from the face;   (α/2) B of `heat.instant_volume_rise`   from a skin

    Args:
        aside: r² [m²]. depth: z [m]. age: s > 0 [s]. spot: w²/4 [m²]. diffusivity: D. absorption: α, or FACE.
    """
    spread = spot + 2.0 * diffusivity * age
    return _plane_density(aside, spread) * _depth_density(depth, age, diffusivity, absorption)  # (1)


@elementwise
def _pulse_density(
    aside: Any, depth: Any, age: Any, width: Any, spot: Any, diffusivity: Any, absorption: Any, rule: Any
) -> Any:
    """Share of the heat by volume, for a pulse of `width` that began `age` ago [1/m³].

        h = (1/τ) ∫ g ds = (2/τ) ∫ u g(u²) du,   u from √max(s − τ, 0) to √s     (1)

    In u the face's 1/√s is gone. `rule` (2, n): places between the ends and weights of a quadrature over 0 to 1.
    """
    first, last = np.sqrt(np.maximum(age - width, 0.0)), np.sqrt(age)
    span = np.minimum(age, width) / (first + last)
    total = 0.0 * age
    for k in range(rule.shape[1]):
        u = first + span * rule[0, k]
        total = total + rule[1, k] * u * _flash_density(aside, depth, u * u, spot, diffusivity, absorption)
    return 2.0 * span / width * total  # (1)


def _rule(nodes: int, grading: int) -> Floats:
    """Gauss–Legendre places and weights over 0 to 1, drawn towards 0 as x^grading; (2, nodes)."""
    x, weight = np.polynomial.legendre.leggauss(nodes)
    x = (x + 1.0) / 2.0
    return np.stack([x**grading, weight / 2.0 * grading * x ** (grading - 1)])


PAIR = _rule(2, 1)
# Drawn towards the beginning, where a small spot, a shallow probe and a thin skin make the integrand change.
MANY = _rule(48, 4)


@elementwise
def _one_pulse(aside: Any, depth: Any, age: Any, width: Any, spot: Any, diffusivity: Any, absorption: Any) -> Any:
    """`_pulse_density` of one pulse with the rule its age asks for; numbers only, 0 before it begins [1/m³]."""
    if age <= 0.0:
        return 0.0
    if age > MIDDLE * width:
        return _flash_density(aside, depth, age - 0.5 * width, spot, diffusivity, absorption)
    if age > TWO * width:
        return _pulse_density(aside, depth, age, width, spot, diffusivity, absorption, PAIR)
    return _pulse_density(aside, depth, age, width, spot, diffusivity, absorption, MANY)


def each_pulse(
    aside: Floats, depth: Floats, age: Floats, width: Floats, spot: Floats, diffusivity: float, absorption: float
) -> Floats:
    """`_one_pulse` for arrays of one shape: the readable form."""
    middle = np.where(age > MIDDLE * width, age - 0.5 * width, 1.0)
    share = np.where(age > MIDDLE * width, _flash_density(aside, depth, middle, spot, diffusivity, absorption), 0.0)
    recent = np.nonzero((age > 0.0) & (age <= MIDDLE * width))
    for low, high, rule in ((TWO, MIDDLE, PAIR), (0.0, TWO, MANY)):
        at = tuple(i[(age[recent] > low * width[recent]) & (age[recent] <= high * width[recent])] for i in recent)
        share[at] = _pulse_density(aside[at], depth[at], age[at], width[at], spot[at], diffusivity, absorption, rule)
    return share


# ---- The sum ----


def sum_plain(pulses: Floats, probes: Floats, diffusivity: float, absorption: float) -> Floats:
    """Σ Q h over all pulses at each probe (x, y, z, t): the readable form [J/m³]."""
    total = np.zeros(len(probes))
    held = max(PAIRS // len(pulses), 1)
    for begin in range(0, len(probes), held):
        x, y, z, t = probes[begin : begin + held, :, None].transpose(1, 0, 2)
        aside = (x - pulses[:, ALONG]) ** 2 + (y - pulses[:, ACROSS]) ** 2
        depth, width, spot, age = np.broadcast_arrays(z, pulses[:, WIDTH], pulses[:, SPOT], t - pulses[:, START])
        total[begin : begin + held] = (
            each_pulse(aside, depth, age, width, spot, diffusivity, absorption) @ pulses[:, HEAT]
        )
    return total


def _sum(pulses: Floats, probes: Floats, diffusivity: float, absorption: float) -> Floats:
    """`sum_plain` probe by probe, to be compiled."""
    total = np.empty(len(probes))
    for i in numba.prange(len(probes)):
        x, y, z, t = probes[i]
        found = 0.0
        for k in range(len(pulses)):
            start, along, across, heat, spot, width = pulses[k]
            aside = (x - along) ** 2 + (y - across) ** 2
            found += heat * _one_pulse(aside, z, t - start, width, spot, diffusivity, absorption)
        total[i] = found
    return total


@functools.cache
def _compiled_sum() -> Any:
    """The compiled form; compiling takes some seconds, once a session."""
    return numba.njit(cache=False, nogil=True, parallel=True, error_model="numpy")(_sum)


def pulses_rise(
    pulses: Pulses, along: ArrayLike, across: ArrayLike, depth: ArrayLike, time: ArrayLike, heat_capacity: float,
    diffusivity: float, absorption: float | None = None, *, compiled: bool = True,
) -> Any:  # fmt: skip
    """Rise at given places and moments, from all pulses that have begun by then.

        ΔT = Σ_{t_i < t} (Q_i/ρc) (1/τ_i) ∫ g(r_i, z, s) ds                      (1)
        g = 2/(π (w_i² + 8 D s)) · e^(−2 r²/(w_i² + 8 D s)) · a(z, s)            (2)
        a = e^(−z²/4Ds)/√(π D s)  face;   (α/2) B of `heat.instant_volume_rise`  skin with profile α e^(−αz)   (3)

    over the ages s of the parts of pulse i at the moment t: from t − t_i back by its width, or as far as it has come.

    Args:
        pulses: N of them.
        along, across: x, y of the probe on the face [m]; any shapes that broadcast.
        depth: z, ≥ 0 [m].
        time: t, on the clock of the pulses [s].
        heat_capacity: ρc, by volume [J/(m³ K)].
        diffusivity: D [m²/s].
        absorption: α of the skin that takes the light [1/m]; None stops it in the face.
        compiled: False takes the plain NumPy form.

    Returns:
        Rise [K], in the broadcast shape. N × probes terms, compiled about 10 ns of one core each, 30 for a skin.

    Raises:
        InputError: an argument is out of its range or does not broadcast.

    The width is not left out anywhere, so the rise stays finite under a pulse that is on. The integral is done in √s
    by 24 points for pulses younger than 10 widths, by 2 up to 1000, by their middle beyond: within 1e-5 of what each
    pulse gives in its middle at the time.
    Source: reference §4.4, instantaneous Gaussian disc with depth, integrated over the width (derived, checked by
    quadrature); (3) as `heat.instant_volume_rise`.
    """
    probes, shape = _checked(pulses, along, across, depth, time)
    solid = _solid(heat_capacity, diffusivity, absorption)
    kernel = _compiled_sum() if compiled and numba is not None else sum_plain
    return (kernel(pulses.table, probes, solid[1], solid[2]) / solid[0]).reshape(shape)[()]  # (1)


def _checked(
    pulses: Pulses, along: ArrayLike, across: ArrayLike, depth: ArrayLike, time: ArrayLike
) -> tuple[Floats, tuple[int, ...]]:
    """Rows of probes (x, y, z, t), and the shape asked for."""
    expect("pulses", pulses, Pulses, "Build one with Pulses(...).")
    columns = [_numbers(n, v) for n, v in (("along", along), ("across", across), ("depth", depth), ("time", time))]
    try:
        whole = np.broadcast_arrays(*columns)
    except ValueError:
        problem = "along, across, depth and time do not fit each other."
        raise InputError("along", problem, "Give numbers, or lists of one length.") from None
    return np.stack([column.ravel() for column in whole], axis=1), whole[0].shape


def _solid(heat_capacity: float, diffusivity: float, absorption: float | None) -> tuple[float, float, float]:
    """ρc, D and α, checked."""
    alpha = FACE if absorption is None else _number("absorption", absorption)
    return _number("heat_capacity", heat_capacity), _number("diffusivity", diffusivity), alpha
