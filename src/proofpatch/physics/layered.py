"""Heat going straight down through a stack of layers under a train of pulses, solved in small cells.

The independent truth behind the closed forms of `heat.py`, which know one thick solid only: here the layers differ,
may be thin, and each takes its share of the light. Constant properties, perfect contact, no melting, nothing
removed; no heat leaves the front or the back. A rise is counted above the temperature before.

    ρc ∂T/∂t = ∂/∂z (k ∂T/∂z) + α I(z) s(t),   k ∂T/∂z = 0 at both faces         (1)

s(t) is 1 while a pulse is on, 0 between. Nodes stand on both faces and on every interface, so each conductance lies
inside one layer (the harmonic mean of two equal conductivities is that conductivity) and the temperature of an
interface is a node's own. Every node keeps the heat of its cell: half-way to the neighbours on both sides.

Source of the method: finite volumes and the θ scheme as in S. V. Patankar, Numerical Heat Transfer and Fluid Flow
(1980), ch. 4; two steps halved and made implicit after each jump as in R. Rannacher, Numer. Math. 43, 309 (1984)
(both from memory). Held against exact solutions, one and two layers, in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import interpolate
from scipy.linalg import lapack

from proofpatch.errors import InputError
from proofpatch.physics.elementwise import numba
from proofpatch.physics.heat_stack import NO_TIME, HeatLayer, _numbers, _positive, _stack, _Train, _train

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

# Chosen here by refining until the closed forms were met; `resolution` divides all four.
FINEST_CELL = 1 / 32  # of √(D t) of the shortest time of interest, and of the absorption depth
CELL_GROWTH = 0.03  # a cell is longer by so much of its distance from the nearest face; neighbours differ by 3 %
FIRST_STEP = 1 / 400  # of the pulse width
STEP_GROWTH = 0.08  # a step is longer by so much of the time since the flux last jumped

FEWEST = 6  # cells in half a layer, steps in an interval
THICK = 8.0  # √(D t) that stand for a thick last layer: the rise there is under 1e-8 of the face's
DARK = 40.0  # absorption depths after which no light is left in a thick last layer, e⁻⁴⁰
SHORTEST_CLOCK = 1e-6  # of the pulse width; an earlier time is resolved no finer
WORTH_COMPILING = 600  # pulses from which the compiled loop pays for being compiled


def layered_rise(
    layers: Sequence[Any],
    flux: float,
    pulse_width: float,
    repetition_rate: float,
    pulses: int,
    depths: ArrayLike,
    times: ArrayLike,
    *,
    resolution: float = 1.0,
) -> Floats:
    """Temperature rise at (depth, time) pairs in a stack of layers under a train of rectangular pulses.

    Pulse k = 0, 1, … is on from k/f to k/f + τ. Light goes straight in: a layer of absorption α and thickness h takes
    1 − e^(−αh) of what reaches it, one without takes all at its front face; what passes the last layer is gone. A thick
    last layer is 8 √(D t) and 40 absorption depths deep, or down to the deepest depth asked for: none is lost there.

    Args:
        layers: front first; `HeatLayer`s, or mappings or objects with its names.
        flux: enters the front face while a pulse is on, after reflection, ≥ 0 [W/m²].
        pulse_width: τ, > 0; with more than one pulse at most 1/f [s].
        repetition_rate: f, > 0 [Hz].
        pulses: whole number, 1 to a million [1].
        depths: below the front face, ≥ 0, within the stack [m]; any shape.
        times: since the first pulse began, ≥ 0 [s]; broadcasts with `depths`.
        resolution: 2 halves cells and steps together: a quarter of the error, four times the work.

    Returns:
        Rise [K], in the broadcast shape.

    Raises:
        InputError: a value cannot be used; `field` is its name (of the layer's value, where a layer is at fault).

    Accuracy at resolution 1, against closed forms of one thick solid and the image series of two layers: 0.1 % of the
    greatest rise in the stack so far. Within τ/40 after an edge of a pulse, other than the first one's start: 0.7 % of
    one pulse's own rise. Far ahead of the heat, where a hundredth of the face's rise arrives, 1 % of what arrives.
    Every time asked for is stepped to exactly; between nodes lies a monotone cubic, layer by layer, which adds less.
    Cost: about 160 steps a pulse, however many pulses, over 300 to 1500 cells: half a second for 1000 pulses on two
    layers, compiled (`_march_compiled`), four times that where Numba is missing.
    Source: (1) of this module, computed.
    """
    z, t = np.broadcast_arrays(_numbers("depths", depths), _numbers("times", times))
    stack, train = _stack(layers), _train(flux, pulse_width, repetition_rate, pulses)
    _positive("resolution", resolution)
    depth = sum(layer.thickness or math.inf for layer in stack)
    if np.any(z > depth * (1 + 1e-12)):
        raise InputError("depths", f"A depth is below the stack, which ends at {depth:g} m.", "Ask within the layers.")
    rise = np.zeros(z.size)
    asked, pair = np.unique(t.ravel(), return_inverse=True)
    order = np.split(np.argsort(pair, kind="stable"), np.cumsum(np.bincount(pair, minlength=asked.size))[:-1])
    if asked.size and asked[-1] > 0:
        mesh = _mesh(stack, train, asked, float(z.max()), resolution)
        for index, temperature in _states(mesh, train, asked, resolution):
            here = order[index]
            rise[here] = _at_depths(mesh, temperature, np.minimum(z.ravel()[here], mesh.nodes[-1]))
    return rise.reshape(z.shape)


def layered_energy(
    layers: Sequence[Any],
    flux: float,
    pulse_width: float,
    repetition_rate: float,
    pulses: int,
    times: ArrayLike,
    *,
    resolution: float = 1.0,
) -> Floats:
    """Heat that lies in the stack of `layered_rise` at each time.

        H(t) = ∫ ρc ΔT dz                                                        (2)

    Args:
        layers, flux, pulse_width, repetition_rate, pulses, resolution: as for `layered_rise`.
        times: since the first pulse began, ≥ 0 [s]; any shape.

    Returns:
        H [J/m²], in the shape of `times`; what was absorbed until then, since no heat leaves.

    Raises:
        InputError: as `layered_rise`.

    Source: (2), summed over the cells.
    """
    t = _numbers("times", times)
    stack, train = _stack(layers), _train(flux, pulse_width, repetition_rate, pulses)
    _positive("resolution", resolution)
    asked, pair = np.unique(t.ravel(), return_inverse=True)
    heat = np.zeros(asked.size)
    if asked.size and asked[-1] > 0:
        mesh = _mesh(stack, train, asked, 0.0, resolution)
        for index, temperature in _states(mesh, train, asked, resolution):
            heat[index] = mesh.capacity @ temperature  # (2)
    return heat[pair].reshape(t.shape)


# ---- What was asked ----


@dataclass(frozen=True)
class _Mesh:
    """Nodes, and between them conductances. `light` is each cell's share of the flux that enters the front."""

    nodes: Floats  # [m]
    fronts: Ints  # the node on each layer's front, and the last node
    capacity: Floats  # ρc times length of each cell [J/(m² K)]
    conductance: Floats  # k/Δz between neighbours [W/(m² K)]
    light: Floats  # [1]


def _graded(length: float, finest: float, growth: float, resolution: float) -> Floats:
    """Points from 0 to `length`, `finest` apart at 0 and then apart by `growth` times the distance from there more.

        x_j = length (e^(a j/n) − 1)/(e^a − 1),   a = ln(1 + growth · length/finest)   (3)

    One smooth map sampled more or less often: refining it leaves its shape alone. It serves depth and time.
    """
    stretch = math.log1p(growth * length / finest)
    count = math.ceil(max(FEWEST, math.ceil(stretch / growth)) * resolution)
    points = length * np.expm1(stretch * np.linspace(0.0, 1.0, count + 1)) / math.expm1(stretch)  # (3)
    points[-1] = length
    return points


def _mesh(stack: list[HeatLayer], train: _Train, asked: Floats, deepest: float, resolution: float) -> _Mesh:
    """Cells for a stack: fine at both faces of every layer, coarse in its middle."""
    nodes, fronts = [np.zeros(1)], [0]
    inside, mass, leads, absorbed = [0.0], [], [], []
    top, arrives = 0.0, 1.0
    clock = _clock(train, asked)
    for layer in stack:
        finest = FINEST_CELL * math.sqrt(layer.diffusivity * clock)
        depths_taken = [1 / alpha for _, alpha in layer.places if alpha is not None]
        finest = min([finest, *(FINEST_CELL * depth for depth in depths_taken)])
        if layer.is_thick:
            dark = DARK * max(depths_taken, default=0.0)
            thickness = max(THICK * math.sqrt(layer.diffusivity * asked[-1]), dark, deepest - top)
            points = _graded(thickness, finest, CELL_GROWTH, resolution)
        else:
            thickness = float(layer.thickness or 0.0)
            half = _graded(thickness / 2, finest, CELL_GROWTH, resolution)
            points = np.concatenate([half, thickness - half[-2::-1]])
        cells = np.diff(points)
        leads.append(layer.conductivity / cells)
        mass.append(layer.heat_capacity * cells / 2)  # of either half between two nodes
        taken = np.zeros((2, cells.size))
        passed = 0.0
        for share, alpha in layer.places:
            if alpha is None:
                taken[0, 0] += arrives * share
                continue
            # Each half between two nodes takes 1 − e^(−αΔ/2) of what reaches it, exactly.
            depths = np.stack([points[:-1], points[:-1] + cells / 2])
            taken -= arrives * share * np.exp(-alpha * depths) * np.expm1(-alpha * cells / 2)
            passed += share * math.exp(-alpha * thickness)
        arrives *= passed
        absorbed.append(taken)
        nodes.append(top + points[1:])
        fronts.append(fronts[-1] + cells.size)
        top += thickness
        inside.append(top)
    halves, shares = np.concatenate(mass), np.concatenate(absorbed, axis=1)
    return _Mesh(
        nodes=np.concatenate(nodes),
        fronts=np.array(fronts),
        capacity=np.append(halves, 0.0) + np.insert(halves, 0, 0.0),
        conductance=np.concatenate(leads),
        light=np.append(shares[0], 0.0) + np.insert(shares[1], 0, 0.0),
    )


def _clock(train: _Train, asked: Floats) -> float:
    """Shortest time of interest: the pulse, or the first time asked for if that is earlier [s]."""
    first = float(asked[np.searchsorted(asked, 0.0, side="right")])
    return max(min(train.width, first), SHORTEST_CLOCK * train.width)


def _at_depths(mesh: _Mesh, temperature: Floats, depths: Floats) -> Floats:
    """A node's own value on a node; between, the monotone cubic (Fritsch & Carlson) of its layer's nodes."""
    place = np.searchsorted(mesh.nodes, depths)
    rise = temperature[place]
    between = mesh.nodes[place] != depths
    if np.any(between):
        layer = np.searchsorted(mesh.fronts, place, side="left") - 1
        for number in np.unique(layer[between]):
            here = between & (layer == number)
            span = slice(mesh.fronts[number], mesh.fronts[number + 1] + 1)
            with np.errstate(
                over="ignore"
            ):  # far ahead of the heat slopes are denormal; their inverse, inf, is no slope
                curve = interpolate.PchipInterpolator(mesh.nodes[span], temperature[span])
            rise[here] = curve(depths[here])
    return rise


# ---- Steps ----


@dataclass(frozen=True)
class _Steps:
    """How to cross one interval: the times of its steps, the implicitness θ of each, and their factored systems."""

    ends: Floats  # since the interval began, the first 0 [s]
    theta: Floats  # [1]
    pivots: Floats  # D of L D Lᵀ = C + θ Δt K, one row a step
    links: Floats  # the entries of L below its diagonal


def _factored(mesh: _Mesh, implicit: Floats) -> tuple[Floats, Floats]:
    """L D Lᵀ of C + θ Δt K, one row for each θ Δt of `implicit`.

    Without a subtraction: each pivot is the cell's lead to the next plus what it holds beyond that, so that cells far
    quicker than their step lose no heat to rounding, however many steps follow. (Grassmann, Taksar & Heyman, Oper.
    Res. 33, 1107 (1985), for Markov chains; from memory. The plain factors lost 4e-6 in films of 20 nm.)
    """
    lead = mesh.conductance[:, None] * implicit
    pivots, links = np.empty((mesh.nodes.size, implicit.size)), np.empty(lead.shape)
    beyond = np.full(implicit.size, mesh.capacity[0])
    for i, to_next in enumerate(lead):
        pivots[i] = beyond + to_next
        links[i] = -to_next / pivots[i]
        beyond = mesh.capacity[i + 1] - links[i] * beyond
    pivots[-1] = beyond
    return np.ascontiguousarray(pivots.T), np.ascontiguousarray(links.T)


def _steps(mesh: _Mesh, length: float, first: float, resolution: float) -> _Steps:
    """Two steps in halves by backward Euler, which damps what the jump leaves, then Crank–Nicolson, ever longer."""
    ends = _graded(length, first, STEP_GROWTH, resolution)
    ends = np.sort(np.concatenate([ends, (ends[:2] + ends[1:3]) / 2]))
    theta = np.full(ends.size - 1, 0.5)
    theta[:4] = 1.0
    return _Steps(ends, theta, *_factored(mesh, theta * np.diff(ends)))


def _states(mesh: _Mesh, train: _Train, asked: Floats, resolution: float) -> Iterator[tuple[int, Floats]]:
    """The state at each time asked for (ascending), with its place; what is asked never changes the steps between.

    A time between two steps is reached by one shorter step aside, from the step before it.
    """
    usual = FIRST_STEP * train.width
    early = FIRST_STEP * _clock(train, asked)
    gap = train.period - train.width
    last = train.pulses - 1
    heard = min(train.pulses, math.ceil(asked[-1] / train.period))  # pulses that begin before the last time asked for
    kept: dict[tuple[float, float], _Steps] = {}

    def steps(length: float, first: float) -> _Steps:
        if (length, first) not in kept:
            kept[length, first] = _steps(mesh, length, first, resolution)
        return kept[length, first]

    march = _march_for(heard * resolution)
    temperature = np.zeros(mesh.nodes.size)
    nothing = np.zeros_like(mesh.light)
    index = int(np.searchsorted(asked, 0.0, side="right"))
    for pulse in range(heard):
        begin = pulse * train.period
        rest = gap if pulse < last else max(float(asked[-1]) - begin - train.width, 0.0)
        on = (begin, train.width, early if pulse == 0 else usual, train.flux * mesh.light)
        off = (begin + train.width, rest, usual, nothing)
        for start, length, first, source in (on, off):
            if length <= NO_TIME * train.width:
                continue
            plan = steps(length, first)
            done, stop = 0, start + length
            while index < asked.size and asked[index] < stop:
                after = asked[index] - start
                reached = max(int(np.searchsorted(plan.ends, after, side="right")) - 1, done)
                temperature = march(mesh, temperature, source, plan, done, reached)
                done = reached
                yield index, _aside(mesh, temperature, source, plan, reached, after)
                index += 1
            temperature = march(mesh, temperature, source, plan, done, len(plan.theta))
            while index < asked.size and asked[index] <= stop:
                yield index, temperature
                index += 1
            if index == asked.size:
                return
    for left in range(index, asked.size):  # the last time missed the last stop by rounding alone
        yield left, temperature


def _aside(mesh: _Mesh, temperature: Floats, source: Floats, plan: _Steps, reached: int, after: float) -> Floats:
    """The state a part of a step after step `reached`."""
    step = after - plan.ends[reached]
    if step <= 0:
        return temperature
    theta = plan.theta[reached : reached + 1]
    lead = theta[0] * step * mesh.conductance
    diagonal = mesh.capacity + np.append(lead, 0.0) + np.insert(lead, 0, 0.0)
    pivots, links, fault = lapack.dpttrf(diagonal, -lead)  # quicker than `_factored`; nothing is built on this state
    assert fault == 0, "the system of an insulated stack is positive definite"
    part = _Steps(np.array([0.0, step]), theta, pivots[None], links[None])
    return _march_plain(mesh, temperature, source, part, 0, 1)


March = Callable[[_Mesh, Floats, Floats, _Steps, int, int], Floats]


def _march_plain(mesh: _Mesh, temperature: Floats, source: Floats, plan: _Steps, begin: int, end: int) -> Floats:
    """The state after steps `begin` to `end` of a plan: the readable form, solved by LAPACK, and the fallback.

        (C + θ Δt K) T_θ = C T + θ Δt S,   T_new = T + (T_θ − T)/θ               (4)

    Written for the weighted state T_θ = θ T_new + (1 − θ) T, it needs no explicit part.
    """
    implicit = plan.theta * np.diff(plan.ends)
    for step in range(begin, end):
        right = mesh.capacity * temperature + implicit[step] * source
        weighted = lapack.dpttrs(plan.pivots[step], plan.links[step], right[:, None])[0][:, 0]  # (4)
        temperature = temperature + (weighted - temperature) / plan.theta[step]
    return temperature


def _march_loop(
    capacity: Floats, state: Floats, source: Floats, implicit: Floats, theta: Floats, pivots: Floats, links: Floats
) -> Floats:
    """(4) of `_march_plain` node by node, to be compiled."""
    temperature, weighted = state.copy(), state.copy()
    last = state.size - 1
    for step in range(theta.size):
        carried = 0.0
        for i in range(last + 1):
            carried = capacity[i] * temperature[i] + implicit[step] * source[i] - carried
            weighted[i] = carried / pivots[step, i]
            if i < last:
                carried *= links[step, i]
        carried = weighted[last]
        temperature[last] += (carried - temperature[last]) / theta[step]
        for i in range(last - 1, -1, -1):
            carried = weighted[i] - links[step, i] * carried
            temperature[i] += (carried - temperature[i]) / theta[step]
    return temperature


if numba is not None:
    _loop: Any = numba.njit(cache=False, nogil=True, error_model="numpy", fastmath={"contract"})(_march_loop)


def _march_compiled(mesh: _Mesh, temperature: Floats, source: Floats, plan: _Steps, begin: int, end: int) -> Floats:
    """As `_march_plain`, compiled: the same to rounding."""
    implicit = (plan.theta * np.diff(plan.ends))[begin:end]
    rows = slice(begin, end)
    out: Floats = _loop(
        mesh.capacity, temperature, source, implicit, plan.theta[rows], plan.pivots[rows], plan.links[rows]
    )
    return out


def _march_for(work: float) -> March:
    """The quicker of the two for so many pulses at resolution 1: compiling takes a second or so, once a session."""
    return _march_compiled if numba is not None and work > WORTH_COMPILING else _march_plain
