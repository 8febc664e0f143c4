"""Many stacks of layers at once, each under pulses of its own: the batched form of `layered.py`.

The same cells and the same implicit steps; the cases stand side by side as the lanes of one loop, so that one
processor instruction serves several. What every case shares is only the number of cells and of steps; where one
needs fewer, the rest are empty: a cell that no heat reaches, a step of no length.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from proofpatch.errors import InputError
from proofpatch.physics.elementwise import numba
from proofpatch.physics.heat_stack import NO_TIME, _numbers, _positive, _stack, _Train
from proofpatch.physics.layered import FIRST_STEP, STEP_GROWTH, _graded, _mesh

Floats = NDArray[np.float64]
LANES = 32  # cases in one block; 8 and 16 were half as fast, as measured
MOST_STEPS = 2_000_000  # of all pulses of a case together


@dataclass(frozen=True)
class HeatCase:
    """One stack and the pulses on it.

    Args:
        layers: front first, as for `layered_rise`.
        starts: when each pulse begins, rising, ≥ 0 [s]; (pulses,).
        widths: how long it lasts, at most until the next begins [s]; a number or (pulses,).
        fluxes: enters the front face while it is on, after reflection, ≥ 0 [W/m²]; a number or (pulses,).
        until: how long the last pulse is followed, from its beginning [s].

    Raises:
        InputError: a value cannot be used; `field` is its name.
    """

    layers: Sequence[Any]
    starts: ArrayLike
    widths: ArrayLike
    fluxes: ArrayLike
    until: float
    stack: list[Any] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        starts = np.atleast_1d(_numbers("starts", self.starts))
        widths, fluxes = _numbers("widths", self.widths), _numbers("fluxes", self.fluxes)
        if starts.ndim != 1 or not starts.size:
            raise InputError("starts", "There is no pulse.", "Give the beginning of at least one.")
        for name, values in (("widths", widths), ("fluxes", fluxes)):
            if values.shape not in ((), starts.shape):
                raise InputError(name, f"There are not as many {name} as pulses.", "Give one number, or one a pulse.")
        if np.any(widths <= 0):
            raise InputError("widths", "A pulse has no width.", "Give seconds above zero.")
        _positive("until", self.until)
        ends = starts + widths
        if np.any(np.diff(starts) <= 0) or np.any(ends[:-1] > starts[1:] * (1 + NO_TIME)):
            raise InputError("starts", "A pulse begins before the one before has ended.", "Sort them, or shorten them.")
        object.__setattr__(self, "starts", starts)
        object.__setattr__(self, "widths", np.broadcast_to(widths, starts.shape))
        object.__setattr__(self, "fluxes", np.broadcast_to(fluxes, starts.shape))
        object.__setattr__(self, "stack", _stack(self.layers))


@dataclass(frozen=True)
class Histories:
    """What each case did at each step.

    time: (cases, steps + 1) [s]; padding repeats the last. front: (cases, steps + 1, layers) rise of the front face of
    each layer, not a number where a case has fewer layers [K]. heat: (cases,) left in the stack at the end [J/m²].
    node_steps: work done [1].
    """

    time: Floats
    front: Floats
    heat: Floats
    node_steps: int

    @property
    def peak(self) -> Floats:
        """Highest rise of each layer's front face; (cases, layers) [K]."""
        return np.asarray(np.max(self.front, axis=1))


def layered_histories(cases: Sequence[HeatCase], *, resolution: float = 1.0, compiled: bool = True) -> Histories:
    """The rise of every layer's front face, step by step, for many stacks at once.

    Args:
        cases: stacks and pulses.
        resolution: as for `layered_rise`; 0.5 leaves about 0.5 % of the greatest rise as error.
        compiled: False takes the plain NumPy form.

    Returns:
        Histories; the steps fall on the beginning and the end of every pulse, the peak of a face on an end.

    Raises:
        InputError: there is no case, or one asks for too many steps.

    Accuracy as `layered_rise`; no time is asked for in between, so nothing is interpolated.
    Source: (1) of `layered`, computed.
    """
    if not cases:
        raise InputError("cases", "There is no case.", "Give at least one stack with its pulses.")
    _positive("resolution", resolution)
    plans = [_plan(case) for case in cases]
    counts = _counts(plans, resolution)
    if sum(sum(pair) for pair in counts) > MOST_STEPS:
        raise InputError("cases", "So many pulses take too long to follow one by one.", "Ask for fewer pulses.")
    meshes = [_case_mesh(case, plan, resolution) for case, plan in zip(cases, plans, strict=True)]
    nodes = max(mesh.nodes.size for mesh in meshes)
    watched = max(len(case.stack) for case in cases)
    size = len(cases)
    capacity, conductance = np.ones((nodes, size)), np.zeros((nodes, size))
    light, watch = np.zeros((nodes, size)), np.zeros((watched, size), dtype=np.int64)
    implicit, theta, source, ends = _steps(plans, counts, resolution)
    for lane, mesh in enumerate(meshes):
        own = mesh.nodes.size
        capacity[:own, lane] = mesh.capacity
        conductance[: own - 1, lane] = mesh.conductance
        light[:own, lane] = mesh.light
        fronts = mesh.fronts[:-1]
        watch[: fronts.size, lane] = fronts
    kernel = _lanes() if compiled and numba is not None else march_plain
    seen, state = kernel(capacity, conductance, light, implicit, theta, source, watch)
    heat = np.array([mesh.capacity @ state[: mesh.nodes.size, lane] for lane, mesh in enumerate(meshes)])
    front = np.concatenate([np.zeros((1, watched, size)), seen])
    for lane, case in enumerate(cases):
        front[:, len(case.stack) :, lane] = np.nan
    return Histories(ends.T, np.moveaxis(front, 2, 0), heat, int(nodes * theta.size * size))


def _plan(case: HeatCase) -> Floats:
    """Length, flux and shortest width of each interval of a case, on and off by turns: (2, 2 pulses)."""
    starts, widths, fluxes = (np.asarray(v, dtype=float) for v in (case.starts, case.widths, case.fluxes))
    last = max(case.until - widths[-1], 0.0)
    rests = np.append(starts[1:] - starts[:-1] - widths[:-1], last)
    lengths = np.stack([widths, np.maximum(rests, 0.0)], axis=1).ravel()
    return np.stack([lengths, np.stack([fluxes, np.zeros_like(fluxes)], axis=1).ravel()])


def _counts(plans: list[Floats], resolution: float) -> list[tuple[int, int]]:
    """(steps, halved ones first) of each interval, enough for the case that needs most."""
    most = max(plan.shape[1] for plan in plans)
    counts = []
    for k in range(most):
        need = 0
        for plan in plans:
            if k < plan.shape[1] and plan[0, k] > 0:
                first = FIRST_STEP * plan[0, 2 * (k // 2)]
                need = max(need, _graded(plan[0, k], first, STEP_GROWTH, resolution).size - 1)
        counts.append((need, 2 if need >= 2 else 0))
    return counts


def _steps(
    plans: list[Floats], counts: list[tuple[int, int]], resolution: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """θ Δt (steps, cases), θ (steps,), flux (steps, cases) and the times at the ends (steps + 1, cases)."""
    total = sum(need + halved for need, halved in counts)
    implicit, source = np.zeros((total, len(plans))), np.zeros((total, len(plans)))
    ends, theta = np.zeros((total + 1, len(plans))), np.full(total, 0.5)
    for lane, plan in enumerate(plans):
        at, now = 0, 0.0
        for k, (need, halved) in enumerate(counts):
            steps = slice(at, at + need + halved)
            theta[at : at + 2 * halved] = 1.0
            length, flux = (plan[0, k], plan[1, k]) if k < plan.shape[1] else (0.0, 0.0)
            if need and length > 0:
                grid = _stretched(length, FIRST_STEP * plan[0, 2 * (k // 2)], need)
                if halved:
                    grid = np.sort(np.concatenate([grid, (grid[:2] + grid[1:3]) / 2]))
                implicit[steps, lane] = theta[steps] * np.diff(grid)
                ends[at + 1 : at + 1 + grid.size - 1, lane] = now + grid[1:]
                source[steps, lane] = flux
            else:
                ends[at + 1 : at + 1 + need + halved, lane] = now
            now += length
            at += need + halved
    return implicit, theta, source, ends


def _stretched(length: float, first: float, count: int) -> Floats:
    """`layered._graded` with a given number of steps."""
    stretch = math.log1p(STEP_GROWTH * length / first)
    points = length * np.expm1(stretch * np.linspace(0.0, 1.0, count + 1)) / math.expm1(stretch)
    points[-1] = length
    return np.asarray(points)


def _case_mesh(case: HeatCase, plan: Floats, resolution: float) -> Any:
    """The cells of a case, fine enough for its shortest pulse and deep enough for its whole time."""
    width = float(np.min(plan[0, ::2]))
    whole = float(np.sum(plan[0]))
    return _mesh(case.stack, _Train(1.0, width, whole, 1), np.array([whole]), 0.0, resolution)


def march_plain(
    capacity: Floats,
    conductance: Floats,
    light: Floats,
    implicit: Floats,
    theta: Floats,
    source: Floats,
    watch: NDArray[np.int64],
) -> tuple[Floats, Floats]:
    """(rises of the watched nodes (steps, watched, cases), last state (nodes, cases)): the readable form.

    (4) of `layered` with the pivots of `layered._factored`, all cases in step.
    """
    nodes, size = capacity.shape
    state, weighted = np.zeros((nodes, size)), np.zeros((nodes, size))
    links = np.zeros((nodes, size))
    seen = np.empty((theta.size, watch.shape[0], size))
    lanes = np.arange(size)
    for step in range(theta.size):
        beyond, carried = capacity[0], np.zeros(size)
        for i in range(nodes):
            lead = conductance[i] * implicit[step]
            pivot = beyond + lead
            right = capacity[i] * state[i] + implicit[step] * source[step] * light[i] + carried
            weighted[i] = right / pivot
            links[i] = lead / pivot
            carried = links[i] * right
            if i + 1 < nodes:
                beyond = capacity[i + 1] + links[i] * beyond
        for i in range(nodes - 2, -1, -1):
            weighted[i] += links[i] * weighted[i + 1]
        state = state + (weighted - state) / theta[step]
        seen[step] = state[watch, lanes]
    return seen, state


def _march_lanes(
    capacity: Floats,
    conductance: Floats,
    light: Floats,
    implicit: Floats,
    theta: Floats,
    source: Floats,
    watch: NDArray[np.int64],
) -> tuple[Floats, Floats]:
    """`march_plain` in blocks of LANES cases, to be compiled."""
    nodes, size = capacity.shape
    blocks = (size + LANES - 1) // LANES
    seen = np.empty((theta.size, watch.shape[0], size))
    final = np.empty((nodes, size))
    for block in numba.prange(blocks):
        begin = block * LANES
        count = min(LANES, size - begin)
        cap, lead_of, lit = np.ones((nodes, LANES)), np.zeros((nodes, LANES)), np.zeros((nodes, LANES))
        state, weighted, links = np.zeros((nodes, LANES)), np.zeros((nodes, LANES)), np.zeros((nodes, LANES))
        for i in range(nodes):
            for lane in range(count):
                cap[i, lane] = capacity[i, begin + lane]
                lead_of[i, lane] = conductance[i, begin + lane]
                lit[i, lane] = light[i, begin + lane]
        dt, heat = np.zeros(LANES), np.zeros(LANES)
        beyond, carried = np.zeros(LANES), np.zeros(LANES)
        for step in range(theta.size):
            for lane in range(count):
                dt[lane] = implicit[step, begin + lane]
                heat[lane] = dt[lane] * source[step, begin + lane]
            for lane in range(LANES):
                beyond[lane] = cap[0, lane]
                carried[lane] = 0.0
            for i in range(nodes):
                for lane in range(LANES):
                    lead = lead_of[i, lane] * dt[lane]
                    inverse = 1.0 / (beyond[lane] + lead)
                    right = cap[i, lane] * state[i, lane] + heat[lane] * lit[i, lane] + carried[lane]
                    weighted[i, lane] = right * inverse
                    link = lead * inverse
                    links[i, lane] = link
                    carried[lane] = link * right
                    beyond[lane] = cap[min(i + 1, nodes - 1), lane] + link * beyond[lane]
            turn = 1.0 / theta[step]
            for lane in range(LANES):
                carried[lane] = 0.0
            for i in range(nodes - 1, -1, -1):
                for lane in range(LANES):
                    carried[lane] = weighted[i, lane] + links[i, lane] * carried[lane]
                    state[i, lane] += (carried[lane] - state[i, lane]) * turn
            for place in range(watch.shape[0]):
                for lane in range(count):
                    seen[step, place, begin + lane] = state[watch[place, begin + lane], lane]
        for i in range(nodes):
            for lane in range(count):
                final[i, begin + lane] = state[i, lane]
    return seen, final


@functools.cache
def _lanes() -> Any:
    """The compiled form; compiling takes some seconds, once a session."""
    assert numba is not None
    return numba.njit(cache=False, nogil=True, parallel=True, error_model="numpy", fastmath={"contract"})(_march_lanes)
