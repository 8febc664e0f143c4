"""Where every pulse lands: a swept figure carried over the work by a human hand.

x runs along the sweep line, y along the hand's travel; the middle of all lanes is x = 0, a stroke goes from y = 0
to its length, or back. What the pulses leave there is in `dose_map.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError, expect
from proofpatch.physics.setting import Setting, finite_number

Floats = NDArray[np.float64]

MOST_PULSES = 10_000_000  # 320 MB of places; ten seconds at 1 MHz
MOST_STROKES = 10_000
LONGEST_STROKE = 100.0  # m
FARTHEST = 1e6  # m or s; keeps 1e308 out
CORRELATION = 0.03  # m, over which a hand keeps its speed, line and stand-off; from memory, unverified
ALONG = 0.5  # share of the speed's variance within a stroke, the rest from stroke to stroke; from memory, unverified
WAVES = 24  # in a smooth random course; each place is Gaussian with any number
NODES = 20  # per correlation length, between which the course is taken as straight
# From the middle to the rim; ours, no panel gives it. Out and in are 10.618 turns, so that each spiral lies turned by
# the golden ratio from the last and no direction is favoured.
SPIRAL_TURNS = 5.309
SPIRAL_NODES = 4096  # along a spiral; its angle is then right to 1e-6 of a turn

# field: (words, unit, highest); the lowest is 0. Beyond these no hand works. Common practice, no source.
MOTION_BOUNDS = {
    "speed_spread": ("Speed spread", "", 1.0),
    "wobble": ("Wobble", "m", 0.05),
    "stand_off_spread": ("Stand-off spread", "m", 0.1),
    "lane_overlap": ("Lane overlap", "", 0.9),
    "stop_seconds": ("Stop", "s", 10.0),
}


@dataclass(frozen=True)
class HandMotion:
    """How a hand departs from the dialled straight, even stroke; every spread is one standard deviation.

    Args:
        speed_spread: of ln(travel speed) [1]; half its variance within a stroke, half from stroke to stroke.
        wobble: sideways, slow [m]; from memory, unverified. A tremor (about ten a second) is left out.
        stand_off_spread: of the distance from focus, slow [m]; from memory, unverified.
        lane_overlap: share of the sweep width by which neighbouring lanes overlap [1]; common practice, no source.
        stop_seconds: stand-still with the beam on at both ends of each stroke [s]; a reversal is an end and a start.

    Raises:
        InputError: a value that no hand has.

    The defaults are ours; none was measured. `learn.Hand` means by ±25 % what covers 95 % of a surface, 0.114 here:
    the default hand is twice as uneven (conservative).
    """

    speed_spread: float = 0.25
    wobble: float = 1e-3
    stand_off_spread: float = 3e-3
    lane_overlap: float = 0.1
    stop_seconds: float = 0.0

    def __post_init__(self) -> None:
        for field, (words, unit, high) in MOTION_BOUNDS.items():
            object.__setattr__(self, field, finite_number(field, words, getattr(self, field), 0.0, high, unit))


STEADY = HandMotion(0.0, 0.0, 0.0, 0.0, 0.0)  # a guided head: straight, even, in focus, lanes edge to edge


@dataclass(frozen=True)
class Pulses:
    """Where each pulse landed, in the order fired; arrays of one length.

    Args:
        time: since the beam first came on, not falling [s].
        x: along the sweep line [m].
        y: along the hand's travel [m].
        radius: 1/e² spot radius at the work there, > 0 [m].

    Raises:
        InputError: the arrays do not fit together, or a value cannot be.
    """

    time: Floats
    x: Floats
    y: Floats
    radius: Floats

    def __post_init__(self) -> None:
        for field in fields(self):
            try:
                values = np.ascontiguousarray(getattr(self, field.name), dtype=float)
            except (TypeError, ValueError):
                raise InputError(field.name, f"{field.name} of the pulses is not a row of numbers.") from None
            if values.ndim != 1 or values.shape != np.shape(self.time):
                raise InputError(field.name, f"{field.name} of the pulses has another length than their time.")
            if not np.all(np.abs(values) <= FARTHEST):
                raise InputError(field.name, f"{field.name} of the pulses is not a usable number.", "Give SI numbers.")
            object.__setattr__(self, field.name, values)
        if np.any(self.radius <= 0):
            raise InputError("radius", "A spot radius is not positive.", "Give the 1/e² radius in metres.")
        if np.any(np.diff(self.time) < 0):
            raise InputError("time", "The pulses are not in the order of time.", "Sort them by time.")

    def __len__(self) -> int:
        return self.time.size


def smooth_course(places: Floats, rng: np.random.Generator) -> Floats:
    """A smooth random course: Gaussian at each place, mean 0, spread 1, forgetting itself over CORRELATION.

        Z(y) = Σ_k (a_k cos κ_k y + b_k sin κ_k y)/√K,   a, b ~ N(0, 1),   κ ~ N(0, 1/ℓ²)   (1)
        ⟨Z(y) Z(y + s)⟩ = exp(−s²/2ℓ²)                                           (2)

    Args:
        places: y [m], shape (n,).
        rng: source of the draw.

    Returns:
        Z, shape (n,) [1].

    Source: spectral sampling of a Gaussian process (textbook, from memory); (2) is tested.
    """
    phase = np.outer(places, rng.normal(size=WAVES) / CORRELATION)
    a, b = rng.normal(size=(2, WAVES))
    return np.asarray((np.cos(phase) @ a + np.sin(phase) @ b) / math.sqrt(WAVES))  # (1)


def figure_places(setting: Setting, seconds: Floats) -> tuple[Floats, Floats]:
    """Where the head points while the hand stands still.

        line    x = v (t mod T) − W/2                              T = W/v       (1)
        zigzag  the same up, then down                             2 T           (2)
        sine    x = (W/2) cos(π v t/W)                             2 T           (3)
        circle  x = (W/2) cos(2 v t/W),  y = (W/2) sin(2 v t/W)    π T           (4)
        spiral  r = b θ at speed v out to W/2, and in again, θ going on          (5)
                b = W/(4π SPIRAL_TURNS); the next one starts where θ is

    Args:
        setting: its pattern, W and v.
        seconds: t, since the figure began [s], shape (n,).

    Returns:
        (x, y) about the middle of the figure [m], each of shape (n,).

    The flyback of the line takes no time (the contract); turns of zigzag are sharp, where a real head slows down
    with the beam on. Source: geometry.
    """
    half, speed, path = setting.sweep_width / 2.0, setting.sweep_speed, setting.sweep_speed * seconds
    if setting.pattern == "line":
        return np.mod(path, 2.0 * half) - half, np.zeros_like(path)  # (1)
    if setting.pattern == "zigzag":
        return np.abs(np.mod(path, 4.0 * half) - 2.0 * half) - half, np.zeros_like(path)  # (2)
    if setting.pattern == "sine":
        return half * np.cos(math.pi * speed / setting.sweep_width * seconds), np.zeros_like(path)  # (3)
    if setting.pattern == "circle":
        return half * np.cos(path / half), half * np.sin(path / half)  # (4)
    growth, angles, roots = _spiral_arm(setting)
    length = roots[-1] ** 2
    along = np.mod(path, 2.0 * length)
    angle = np.interp(np.sqrt(length - np.abs(along - length)), roots, angles)
    before = np.floor(path / (2.0 * length)) * (2.0 * angles[-1])
    turned = before + np.where(along > length, 2.0 * angles[-1] - angle, angle)
    return growth * angle * np.cos(turned), growth * angle * np.sin(turned)  # (5)


def _spiral_arm(setting: Setting) -> tuple[float, Floats, Floats]:
    """b of (5), angles θ from the middle to the rim, and the roots of the arm's length up to there [√m].

        s(θ) = (b/2) (θ √(1 + θ²) + arsinh θ)                                    (1)

    √s is nearly proportional to θ: straight pieces between nodes then suffice. Source: geometry.
    """
    growth = setting.sweep_width / (4.0 * math.pi * SPIRAL_TURNS)
    theta = np.linspace(0.0, 2.0 * math.pi * SPIRAL_TURNS, SPIRAL_NODES)
    return growth, theta, np.sqrt(0.5 * growth * (theta * np.sqrt(1.0 + theta * theta) + np.arcsinh(theta)))  # (1)


def figure_seconds(setting: Setting) -> float:
    """Time after which the figure repeats, a spiral turned, as listed with `figure_places` [s]."""
    width = setting.sweep_width
    path = {"line": width, "zigzag": 2.0 * width, "sine": 2.0 * width, "circle": math.pi * width}
    if setting.pattern in path:
        return path[setting.pattern] / setting.sweep_speed
    return float(2.0 * _spiral_arm(setting)[2][-1] ** 2) / setting.sweep_speed


def _hand_course(
    setting: Setting, motion: HandMotion, length: float, rng: np.random.Generator
) -> tuple[Floats, Floats, Floats, Floats]:
    """(distance travelled [m], time then [s], sideways [m], out of focus [m]) at the nodes of one stroke.

        u(y) = u exp(σ Z + σ²/2)                                                 (1)

    so that the stroke takes length/u on average over strokes: the dialled travel speed is length over time, as
    an owner clocks it, and a place's mean dose is that of the closed form.
    """
    nodes = np.linspace(0.0, length, max(2, math.ceil(length / CORRELATION * NODES) + 1))
    sigma = motion.speed_spread
    course = math.sqrt(ALONG) * smooth_course(nodes, rng) + math.sqrt(1.0 - ALONG) * rng.normal()
    slowness = np.exp(-sigma * course - 0.5 * sigma * sigma) / setting.travel_speed  # (1)
    seconds = np.concatenate([[0.0], np.cumsum(0.5 * (slowness[1:] + slowness[:-1]) * np.diff(nodes))])
    return (
        nodes, seconds, motion.wobble * smooth_course(nodes, rng),
        motion.stand_off_spread * smooth_course(nodes, rng),
    )  # fmt: skip


def _refuse_too_many(count: float) -> None:
    if count > MOST_PULSES:
        raise InputError(
            "stroke_length",
            f"That makes {count:.3g} pulses; {MOST_PULSES:,} at most are placed at once.",
            "Shorten the stroke, or take fewer lanes or passes.",
        )


def place_pulses(
    setting: Setting, motion: HandMotion, stroke_length: float, *, rayleigh_range: float, lanes: int = 1,
    seed: Any = 0,
) -> Pulses:  # fmt: skip
    """Every pulse of a setting over an area: lanes side by side, each a stroke of the hand, gone over `passes` times.

        lane pitch W (1 − overlap);   w(z) = w √(1 + (z/z_R)²)                   (1)

    The hand goes to and fro, one stroke up, the next down; each stroke has its own phase of the pulses and of the
    figure, and its own hand. The beam is off between strokes, for no time (no cooling: conservative).

    Args:
        setting: what is dialled in; the figure is its pattern, see `figure_places`.
        motion: the hand; STEADY for none.
        stroke_length: of a stroke [m].
        rayleigh_range: z_R of this spot [m]; inf for a beam that never spreads.
        lanes: side by side; with the passes at most ten thousand strokes [1].
        seed: a whole number ≥ 0 or a NumPy random generator; the same seed gives the same pulses.

    Returns:
        The pulses, in the order fired.

    Raises:
        InputError: an argument is out of its range, or there are over ten million pulses.

    Without hand motion the dose in the middle of a long lane averages `sweep.mean_dose`; with it that is the mean
    over strokes, while one stroke differs by the hand. Lanes that overlap give 1/(1 − overlap) more.
    Source: definitions; caustic as `beam.caustic_radius`.
    """
    expect("setting", setting, Setting, "Give a Setting.")
    expect("motion", motion, HandMotion, "Give a HandMotion.")
    length = finite_number("stroke_length", "Stroke length", stroke_length, 1e-4, LONGEST_STROKE, "m")
    side = finite_number("lanes", "The number of lanes", lanes, 1, MOST_STROKES // setting.passes, "")
    if side != int(side):
        raise InputError("lanes", f"The number of lanes is {side:g}.", "Give a whole number.")
    if not (isinstance(rayleigh_range, float) and rayleigh_range == math.inf):
        rayleigh_range = finite_number("rayleigh_range", "Rayleigh range", rayleigh_range, 1e-6, 1e6, "m")
    rng = generator(seed)
    strokes = int(side) * setting.passes
    _refuse_too_many(strokes * setting.repetition_rate * (length / setting.travel_speed + 2.0 * motion.stop_seconds))
    pitch = setting.sweep_width * (1.0 - motion.lane_overlap)
    parts, begun, count = [], 0.0, 0
    for stroke in range(strokes):
        nodes, reached, sideways, out = _hand_course(setting, motion, length, rng)
        seconds = float(reached[-1]) + 2.0 * motion.stop_seconds
        pulse_phase, figure_phase = rng.random(2)
        count += math.ceil(seconds * setting.repetition_rate)
        _refuse_too_many(count)
        fired = (np.arange(math.ceil(seconds * setting.repetition_rate)) + pulse_phase) / setting.repetition_rate
        fired = fired[fired < seconds]
        # Before the stop is over and after the end has come the hand stands at the first and the last node.
        travelled = np.interp(fired - motion.stop_seconds, reached, nodes)
        x, y = figure_places(setting, fired + figure_phase * figure_seconds(setting))
        x += (stroke % int(side) - (side - 1.0) / 2.0) * pitch + np.interp(travelled, nodes, sideways)
        y += travelled if stroke % 2 == 0 else length - travelled
        blur = np.interp(travelled, nodes, out) / rayleigh_range
        parts.append((begun + fired, x, y, setting.spot_radius * np.sqrt(1.0 + blur * blur)))  # (1)
        begun += seconds
    return Pulses(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def generator(seed: Any) -> np.random.Generator:
    """The random generator of a seed, or the one given.

    Raises:
        InputError: neither a whole number ≥ 0 nor a generator.
    """
    if isinstance(seed, np.random.Generator):
        return seed
    if isinstance(seed, bool) or not isinstance(seed, (int, np.integer)) or seed < 0:
        raise InputError("seed", f"The seed {seed!r:.40} is not a whole number from 0 up.", "Give for example 0.")
    return np.random.default_rng(int(seed))
