"""Heat in layers that change with it: properties that move with temperature, melting, a receding face, slow chemistry.

    ∂H/∂t = ∂/∂z (k(T) ∂T/∂z) + S(z, t),   T = T(H)                              (1)

H is heat by volume, so that a phase change is a flat stretch of T(H) and no heat is lost at it. A cell at the front
whose heat passes what its layer can hold as a solid or melt leaves as gas and takes its heat along; light then falls
on the next. Where removal is known as a depth per pulse (blow-off by a measured threshold) that depth is cut off at
the end of the pulse instead. Reaction goes as dX/dt = A e^(−E/RT) (1 − X) in every cell.

Flow of melt, recoil, plume shielding and sideways conduction are left out; a buried cell never bursts.

Source of the method: finite volumes in enthalpy form, V. R. Voller & C. Prakash, Int. J. Heat Mass Transfer 30, 1709
(1987); stepped by the two-stage L-stable SDIRK scheme of R. Alexander, SIAM J. Numer. Anal. 14, 1006 (1977) (both from
memory). Held against exact solutions and a general-purpose finite-element library in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import lapack

from proofpatch.errors import InputError
from proofpatch.physics.clocks import ROOM
from proofpatch.physics.heat_stack import HeatLayer, _numbers, _positive
from proofpatch.physics.kinetics import GAS_CONSTANT
from proofpatch.physics.layered import FIRST_STEP, STEP_GROWTH, _graded
from proofpatch.physics.layered_batch import HeatCase, _case_mesh, _plan

Floats = NDArray[np.float64]
GAMMA = 1.0 - 1.0 / math.sqrt(2.0)  # of the SDIRK scheme: second order and L-stable
MOST_TURNS = 40  # Newton steps of one stage
CLOSE = 1e-10  # of the greatest heat by volume; a stage is solved
ROUNDING = 4e-15
HOTTEST = 1e5  # K, where a curve is taken to end
OVERSHOOT = 0.05  # of what a cell can hold; a step that heats the front beyond it is cut in two
SHORTEST_PART = 1 / 4096  # of a step
SLIVER = 1e-3  # of a cell; less is cut off with the rest


@dataclass(frozen=True)
class Curve:
    """What a material does as it warms: heat by volume and conductivity over temperature, straight between points.

    Args:
        temperatures: rising; the first is where heat is counted from, at or below ROOM [K].
        heats: heat by volume at each, never falling [J/m³].
        conductivities: k at each [W/(m K)].
        leaves_at: heat by volume above which the material leaves as gas; inf where it does not [J/m³].

    Raises:
        InputError: the points do not make a curve; `field` is the list at fault.
    """

    temperatures: tuple[float, ...]
    heats: tuple[float, ...]
    conductivities: tuple[float, ...]
    leaves_at: float = math.inf

    def __post_init__(self) -> None:
        t, h, k = (_numbers(n, getattr(self, n)) for n in ("temperatures", "heats", "conductivities"))
        if t.ndim != 1 or t.size < 2 or not t.shape == h.shape == k.shape:
            raise InputError("temperatures", "The points of a curve are not as many.", "Give two or more of each.")
        if np.any(np.diff(t) <= 0) or t[0] > ROOM:
            raise InputError("temperatures", "The temperatures do not rise from room or below.", "Sort them.")
        if np.any(np.diff(h) <= 0):
            raise InputError("heats", "The heat does not rise with temperature.", "Check the points.")
        if np.any(k <= 0):
            raise InputError("conductivities", "A conductivity is not above zero.", "Check the points.")
        if not self.leaves_at > h[0]:
            raise InputError(
                "leaves_at", "The material leaves before it is warm.", "Count the heat from the first point."
            )

    @classmethod
    def steady(cls, conductivity: float, heat_capacity: float) -> Curve:
        """Properties that do not move: k [W/(m K)] and ρc [J/(m³ K)]."""
        _positive("conductivity", conductivity)
        _positive("heat_capacity", heat_capacity)
        return cls((ROOM, ROOM + 1.0), (0.0, heat_capacity), (conductivity, conductivity))

    def with_change(self, temperature: float, latent: float, over: float = 1.0, leaves: bool = False) -> Curve:
        """The same with a change of phase: `latent` heat by volume [J/m³] taken up from `temperature` on [K].

        Args:
            temperature: where it begins, above the first point.
            latent: heat it takes, > 0 [J/m³].
            over: the range it is spread over [K]; a pure substance has none, 1 K costs no accuracy here.
            leaves: what has taken it up leaves as gas.

        Raises:
            InputError: `temperature` is below the first point, or a value is not positive.
        """
        _positive("latent", latent)
        _positive("over", over)
        if not self.temperatures[0] < temperature < HOTTEST:
            raise InputError("temperature", "The change lies outside the curve.", "Give kelvin.")
        begin, end = self.heat_at(temperature), self.heat_at(temperature + over) + latent
        k_begin, k_end = self.conductivity_at(temperature), self.conductivity_at(temperature + over)
        points = list(zip(self.temperatures, self.heats, self.conductivities, strict=True))
        below = [p for p in points if p[0] < temperature]
        above = [(t, h + latent, k) for t, h, k in points if t > temperature + over]
        if not above:  # the last slope goes on
            last = temperature + over + 1.0
            above = [(last, self.heat_at(last) + latent, self.conductivity_at(last))]
        t, h, k = zip(*below, (temperature, begin, k_begin), (temperature + over, end, k_end), *above, strict=True)
        return Curve(
            t, h, k, end if leaves else (self.leaves_at + latent if begin < self.leaves_at else self.leaves_at)
        )

    def heat_at(self, temperature: float) -> float:
        """Heat by volume [J/m³]; the last slope goes on beyond the last point."""
        t, h = self._extended()
        return float(np.interp(temperature, t, h))

    def conductivity_at(self, temperature: float) -> float:
        """k [W/(m K)]; constant beyond the points."""
        return float(np.interp(temperature, self.temperatures, self.conductivities))

    def _extended(self) -> tuple[Floats, Floats]:
        t, h = np.array(self.temperatures), np.array(self.heats)
        slope = (h[-1] - h[-2]) / (t[-1] - t[-2])
        first = (h[1] - h[0]) / (t[1] - t[0])
        return (
            np.concatenate([[0.0], t, [HOTTEST]]) if t[0] > 0 else np.append(t, HOTTEST),
            np.concatenate([[h[0] - first * t[0]], h, [h[-1] + slope * (HOTTEST - t[-1])]])
            if t[0] > 0
            else np.append(h, h[-1] + slope * (HOTTEST - t[-1])),
        )


@dataclass(frozen=True)
class Slab:
    """One layer that changes as it warms.

    Args:
        thickness: [m]; None for a thick last layer.
        curve: the material.
        absorption: as of `HeatLayer`; a layer that recedes has one place only.
        ln_frequency_factor, activation_energy: of its slow reaction [1, J/mol]; activation 0: none.
    """

    thickness: float | None
    curve: Curve
    absorption: Any = None
    ln_frequency_factor: float = 0.0
    activation_energy: float = 0.0
    layer: HeatLayer = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if not isinstance(self.curve, Curve):
            raise InputError("curve", "The material is not a Curve.", "Build it with Curve.steady(k, ρc).")
        if not (math.isfinite(self.ln_frequency_factor) and 0 <= self.activation_energy < math.inf):
            raise InputError("activation_energy", "The kinetics are not numbers.", "Give ln A and E in J/mol.")
        if self.thickness is None and self.curve.leaves_at < math.inf:
            raise InputError("thickness", "A layer that can leave has no thickness.", "Give it one.")
        # Cells are laid for the quickest the material can be.
        slopes = np.diff(self.curve.heats) / np.diff(self.curve.temperatures)
        layer = HeatLayer(self.thickness, max(self.curve.conductivities), 1.0, float(slopes.min()), self.absorption)
        object.__setattr__(self, "layer", layer)


@dataclass(frozen=True)
class Course:
    """What became of a stack; times at the ends of the steps, the first 0.

    time: (steps + 1,) [s]. front: (steps + 1, layers) temperature of each layer's front face, not a number once the
    layer is gone [K]. removed: (steps + 1,) depth gone from the front [m]. edges: (cells + 1,) of the untouched stack
    [m]. hottest: (cells,) each cell's highest temperature [K]. converted: (cells,) share reacted [1]. states: (steps +
    1, cells) temperatures, where asked for [K]. absorbed, stored, carried: heat taken in, still there, gone with what
    left [J/m²]. unsettled: stages that Newton did not bring below CLOSE [1].
    """

    time: Floats
    front: Floats
    removed: Floats
    edges: Floats
    hottest: Floats
    converted: Floats
    states: Floats
    absorbed: float
    stored: float
    carried: float
    unsettled: int

    def depth_where(self, values: Floats, limit: float, below: float = 0.0) -> float:
        """How far under the depth `below` [m] the values of the cells reach `limit`, straight between cells [m]."""
        middle = (self.edges[1:] + self.edges[:-1]) / 2
        here = middle > below
        z, v = middle[here] - below, values[here]
        if not v.size or v[0] < limit:
            return 0.0
        deeper = np.flatnonzero(v < limit)
        if not deeper.size:
            return float(z[-1])
        k = int(deeper[0])
        return float(z[k - 1] + (v[k - 1] - limit) / (v[k - 1] - v[k]) * (z[k] - z[k - 1]))

    def char_depth(self, below: float = 0.0, share: float = 0.1) -> float:
        """How deep under `below` at least `share` has reacted [m]; 0.1 is burnt, 0.01 a tint (common practice)."""
        return self.depth_where(self.converted, share, below)


def heat_course(
    slabs: Sequence[Slab],
    starts: ArrayLike,
    widths: ArrayLike,
    fluxes: ArrayLike,
    until: float,
    *,
    cuts: ArrayLike = 0.0,
    start_temperature: float = ROOM,
    resolution: float = 0.5,
    keep_states: bool = False,
) -> Course:
    """Follow a stack of changing layers under given pulses.

    Args:
        slabs: front first.
        starts, widths, fluxes, until: as of `HeatCase`; fluxes are what falls on the front, and each layer's places
            say what it takes.
        cuts: depth cut off the front at the end of each pulse, ≥ 0 [m]; a number or (pulses,). The last layer is never
            cut.
        start_temperature: of everything [K].
        resolution: 2 halves cells and steps together: a quarter of the error where nothing changes phase.
        keep_states: keep every temperature of every step.

    Returns:
        Course.

    Raises:
        InputError: a value cannot be used; `field` is its name.

    Energy is kept to rounding. At the usual resolution the rise is within 0.5 % of the greatest where properties are
    steady; where something melts or leaves, a cell changes at a time, so depths are good to a cell, a thirtieth of the
    absorption or diffusion depth.
    Source: (1) of this module, computed.
    """
    if isinstance(slabs, Slab) or not all(isinstance(slab, Slab) for slab in slabs) or not len(slabs):
        raise InputError("slabs", "There is no layer.", "Give Slabs, front first, in a list.")
    _positive("resolution", resolution)
    _positive("start_temperature", start_temperature)
    case = HeatCase([slab.layer for slab in slabs], starts, widths, fluxes, until)
    cut = np.broadcast_to(_numbers("cuts", cuts), np.shape(case.starts))
    plan = _plan(case)
    mesh = _case_mesh(case, plan, resolution)
    stack = _Stack(slabs, mesh.nodes, mesh.fronts, start_temperature)
    times, seen, gone, states = [0.0], [stack.faces(0.0)], [0.0], [stack.warm.copy()]
    for k in range(plan.shape[1]):
        for step in _interval(plan, k, resolution):
            stack.advance(float(step), float(plan[1, k]))
            times.append(times[-1] + float(step))
            seen.append(stack.faces(float(plan[1, k])))
            gone.append(stack.face)
            if keep_states:
                states.append(np.where(np.arange(stack.warm.size) < stack.front, np.nan, stack.warm))
        if k % 2 == 0 and cut[k // 2] > 0:  # a second entry at the same time: before and after the cut
            stack.cut(float(cut[k // 2]))
            times.append(times[-1])
            seen.append(stack.faces(0.0))
            gone.append(stack.face)
            if keep_states:
                states.append(np.where(np.arange(stack.warm.size) < stack.front, np.nan, stack.warm))
    return Course(
        np.array(times), np.array(seen), np.array(gone), mesh.nodes, stack.hottest, -np.expm1(-stack.exponent),
        np.array(states), stack.absorbed, stack.stored, stack.carried, stack.unsettled,
    )  # fmt: skip


def _interval(plan: Floats, k: int, resolution: float) -> Floats:
    """Steps of one interval, short after the flux has jumped [s]."""
    if plan[0, k] <= 0:
        return np.zeros(0)
    return np.diff(_graded(float(plan[0, k]), FIRST_STEP * 4 * float(plan[0, 2 * (k // 2)]), STEP_GROWTH, resolution))


class _Stack:
    """The cells of a stack as they change. `front` is the first cell still there, `face` how deep its top is [m]."""

    def __init__(self, slabs: Sequence[Slab], edges: Floats, fronts: Any, cold: float) -> None:
        self.slabs, self.edges, self.fronts = slabs, edges, fronts
        self.size = np.diff(edges)
        cells = self.size.size
        owner = np.searchsorted(fronts, np.arange(cells), side="right") - 1
        self.curves = [(*slab.curve._extended(), slab.curve) for slab in slabs]
        self.base = np.array([slab.curve.heat_at(cold) for slab in slabs])[owner]
        self.leaves = np.array([slab.curve.leaves_at for slab in slabs])[owner]
        self.heat = self.base.copy()
        self.warm, self.slope, self.conduct = np.full(cells, cold), np.empty(cells), np.empty(cells)
        self.hottest, self.exponent, self.rate = np.full(cells, cold), np.zeros(cells), np.zeros(cells)
        self.front, self.face = 0, 0.0
        self.absorbed, self.carried, self.unsettled = 0.0, 0.0, 0
        self.light = self._light()
        self._properties()
        self._react(0.0)

    @property
    def stored(self) -> float:
        """Heat in the cells still there [J/m²]."""
        here = slice(self.front, None)
        return float(self.size[here] @ (self.heat[here] - self.base[here]))

    def _own(self, j: int) -> slice:
        """Cells of layer j that are still there."""
        return slice(max(self.fronts[j], self.front), self.fronts[j + 1])

    def _light(self) -> Floats:
        """Share of what falls on the front that each cell takes."""
        taken = np.zeros(self.size.size)
        arrives = 1.0
        for j, slab in enumerate(self.slabs):
            own = self._own(j)
            if own.start >= own.stop:
                continue
            z = self.edges[own.start : own.stop + 1] - max(self.edges[own.start], self.face)
            z[0] = 0.0
            passed = 0.0
            for share, alpha in slab.layer.places:
                if alpha is None:
                    taken[own.start] += arrives * share
                    continue
                through = np.exp(-alpha * z)
                taken[own] += arrives * share * (through[:-1] - through[1:])
                passed += share * through[-1]
            arrives *= passed
        return taken

    def _properties(self) -> None:
        """Temperature, its slope over heat, and conductivity of every cell."""
        for j, (t, h, curve) in enumerate(self.curves):
            own = self._own(j)
            heat = self.heat[own]
            self.warm[own] = np.interp(heat, h, t)
            at = np.clip(np.searchsorted(h, heat), 1, h.size - 1)
            self.slope[own] = (t[at] - t[at - 1]) / (h[at] - h[at - 1])
            self.conduct[own] = np.interp(self.warm[own], curve.temperatures, curve.conductivities)

    def _stage(self, known: Floats, lead: float, source: Floats) -> bool:
        """Solve H = known + lead · (what flows in) by Newton; False where it does not settle.

        The unknown is H, in which the system is monotone also where T stands still at a change of phase.
        """
        here = slice(self.front, None)
        size, heat = self.size[here], self.heat[here]
        for _ in range(MOST_TURNS):
            self._properties()
            warm, slope, conduct = self.warm[here], self.slope[here], self.conduct[here]
            lam = 2.0 / (size[:-1] / conduct[:-1] + size[1:] / conduct[1:])
            flow = lam * (warm[:-1] - warm[1:])
            gain = source[here].copy()
            gain[:-1] -= flow
            gain[1:] += flow
            miss = size * (heat - known[here]) - lead * gain
            # Quick cells carry fluxes that cancel: their rounding is no imbalance.
            noise = ROUNDING * lead * lam * warm[:-1]
            slack = CLOSE * max(float(np.abs(heat - self.base[here]).max()), 1.0) * size
            slack[:-1] += noise
            slack[1:] += noise
            if np.all(np.abs(miss) <= slack):
                heat -= miss / size  # what is left of the imbalance, so that no heat is lost
                return True
            diagonal = size.copy()
            diagonal[:-1] += lead * lam * slope[:-1]
            diagonal[1:] += lead * lam * slope[1:]
            heat -= _solve(-lead * lam * slope[:-1], diagonal, -lead * lam * slope[1:], miss)
        heat -= miss / size
        return False

    def advance(self, step: float, flux: float) -> None:
        """One step [s] under a flux [W/m²], cut in parts where the front would burst or a stage does not settle."""
        over, part = 0.0, step
        while over < step * (1.0 - 1e-12):
            part = min(part, step - over)
            begin = self.heat.copy()
            source = flux * self.light
            settled = self._stage(begin, GAMMA * part, source)
            if settled:
                known = begin + (1.0 - GAMMA) / GAMMA * (self.heat - begin)
                settled = self._stage(known, GAMMA * part, source)
            holds = self.leaves[self.front] - self.base[self.front]
            bursts = self.heat[self.front] - self.base[self.front] > (1.0 + OVERSHOOT) * holds
            if (bursts or not settled) and part > step * SHORTEST_PART:
                self.heat[:] = begin
                part *= 0.5
                continue
            self.unsettled += not settled
            self.absorbed += part * float(source[self.front :].sum())
            over += part
            self._properties()
            self._react(part)
            self.hottest[self.front :] = np.maximum(self.hottest[self.front :], self.warm[self.front :])
            self._leave()
            part *= 2.0

    def _react(self, part: float) -> None:
        """Add ∫ A e^(−E/RT) dt of each cell over a part of a step, straight between its ends."""
        for j, slab in enumerate(self.slabs):
            if slab.activation_energy > 0:
                own = self._own(j)
                rate = np.exp(slab.ln_frequency_factor - slab.activation_energy / (GAS_CONSTANT * self.warm[own]))
                self.exponent[own] += 0.5 * part * (self.rate[own] + rate)
                self.rate[own] = rate

    def _leave(self) -> None:
        """Front cells that have taken up all they can hold leave; what they have beyond that goes to the next."""
        before, last = self.front, self.size.size - 1
        while self.front < last and self.heat[self.front] > self.leaves[self.front]:
            i = self.front
            self.carried += float(self.size[i] * (self.leaves[i] - self.base[i]))
            self.heat[i + 1] += self.size[i] * (self.heat[i] - self.leaves[i]) / self.size[i + 1]
            self.front, self.face = i + 1, float(self.edges[i + 1])
        if self.front > before:
            self.light = self._light()

    def cut(self, depth: float) -> None:
        """Take a depth [m] off the front, down to the last layer at most."""
        left = depth
        while left > 0.0 and self.front < self.fronts[-2]:
            i = self.front
            whole = left >= self.size[i] * (1.0 - SLIVER)
            off = float(self.size[i]) if whole else left
            self.carried += off * float(self.heat[i] - self.base[i])
            left -= off
            if whole:
                self.front, self.face = i + 1, float(self.edges[i + 1])
            else:
                self.size[i] -= off
                self.face += off
        if depth > 0.0:
            self.light = self._light()

    def faces(self, flux: float) -> Floats:
        """Temperature of each layer's front face, not a number where the layer is gone [K]."""
        found = np.full(len(self.slabs), np.nan)
        self._properties()
        for j, slab in enumerate(self.slabs):
            own = self._own(j)
            i = own.start
            if i >= own.stop:
                continue
            if i == self.front:  # half a cell beyond the first middle, by the flux that the very face takes
                alone = sum(share for share, alpha in slab.layer.places if alpha is None)
                found[j] = self.warm[i] + flux * alone * self.size[i] / (2.0 * self.conduct[i])
            else:
                near, far = self.conduct[i - 1] / self.size[i - 1], self.conduct[i] / self.size[i]
                found[j] = (near * self.warm[i - 1] + far * self.warm[i]) / (near + far)
        return found


def _solve(lower: Floats, diagonal: Floats, upper: Floats, right: Floats) -> Floats:
    """Tridiagonal system, by LAPACK."""
    if diagonal.size == 1:
        return right / diagonal
    *_, solution, fault = lapack.dgtsv(lower, diagonal, upper, right)
    assert fault == 0, "columns are diagonally dominant"
    return np.asarray(solution)
