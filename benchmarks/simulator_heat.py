"""Heat for `simulator`: a layered stack in depth, solved once and for all times; spreading sideways on the pixels.

In depth a stack of cells is taken apart into its modes, so that any heat cools as a sum of falling exponentials

    M dT/dt = −K T,   T(t) = Σ_k v_k e^(−λ_k t) (v_k · q)                        (1)

and sideways, in a solid whose properties are the same everywhere, each of them spreads as a Gaussian of variance 2 D t.
On a rectangle whose rims let no heat through that is a factor e^(−D κ² t) on every cosine of the map.
Held against `physics.layered` and `physics.green` in tests/benchmarks/test_simulator.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, linalg, optimize
from simulator_truth import FilmTruth, GroundTruth

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
GROWTH = 1.12  # of the cells downward
FILM_CELLS = 40
RATE_STEP = 2.5  # between the rates that stand for all modes
SOLID = 1e-9  # m, a film that is none
LEVELS = np.array([0.0, 0.06, 0.2, 0.45, 0.8, 1.25])  # film thickness over its median; a pixel takes the nearest
LEAST = 1e-3  # of the greatest; a rise below it is fitted in absolute terms
FACE, FILM = 0, 1  # what is asked: the substrate's face, the film where it takes light
SKIN, COAT, DEEP = 0, 1, 2  # where heat goes: the substrate's skin, the film, the diffuse rest


@dataclass(frozen=True)
class Stack:
    """Modes of a film on a substrate: rates (modes,) [1/s], and by mode the weight of each place as source or probe.

    skin, coat, deep, face: heat put there [J/m²] or temperature taken there, (modes,); ΔT(t) = Σ probe source e^(−λt).
    """

    rates: Floats
    skin: Floats
    coat: Floats
    deep: Floats
    face: Floats

    @classmethod
    def of(cls, film: FilmTruth, ground: GroundTruth, thickness: float, pulse_width: float) -> Stack:
        """The stack with the film `thickness` thick; the first cells are fine enough for one pulse in the face."""
        h, cells = thickness, 0
        reach = math.sqrt(ground.conductivity / ground.heat_capacity * pulse_width)
        first = max(0.1 * reach, ground.skin_depth / 30.0)
        below = _graded(first, max(ground.thickness, 4.0 * first))
        size, k, c = below, np.full(below.size, ground.conductivity), np.full(below.size, ground.heat_capacity)
        if h > SOLID:
            half = _graded(min(h / FILM_CELLS, 0.3 / film.absorption), h / 2.0)
            above = np.concatenate([half, half[::-1]])
            cells = above.size
            size = np.concatenate([above, size])
            k = np.concatenate([np.full(cells, film.conductivity), k])
            c = np.concatenate([np.full(cells, film.heat_capacity), c])
        resistance = 0.5 * size / k
        link = 1.0 / (resistance[1:] + resistance[:-1])
        root = np.sqrt(c * size)
        diagonal = (np.append(link, 0.0) + np.append(0.0, link)) / root**2
        rates, shapes = linalg.eigh_tridiagonal(diagonal, -link / (root[1:] * root[:-1]))
        shapes = shapes / root[:, None]
        edges = np.concatenate([[0.0], np.cumsum(below)])
        skin = _laid(edges, ground.skin_depth)
        deep = _laid(edges, ground.diffuse_depth)
        coat = np.zeros(size.size)
        if cells:
            coat[:cells] = _laid(np.concatenate([[0.0], np.cumsum(size[:cells])]), 1.0 / film.absorption)
        under = np.zeros(cells)
        face = np.zeros(size.size)
        face[cells] = 1.0
        if cells:  # between the two cells that meet there
            near = 1.0 / resistance[cells - 1 : cells + 1]
            face[cells - 1 : cells + 1] = near / near.sum()
        return cls(
            np.maximum(rates, 0.0), shapes.T @ np.concatenate([under, skin]), shapes.T @ coat,
            shapes.T @ np.concatenate([under, deep]), shapes.T @ face,
        )  # fmt: skip

    def weights(self, source: int, probe: int, pulse_width: float) -> Floats:
        """Of each mode in the rise of `probe` for a joule by area in `source`, at the end of a pulse [K m²/J].

        The pulse is a rectangle: a factor (1 − e^(−λτ))/(λτ).
        """
        into = (self.skin, self.coat, self.deep)[source] * (self.face, self.coat)[probe]
        spent = np.maximum(self.rates * pulse_width, 1e-12)
        return np.asarray(into * -np.expm1(-spent) / spent)


def _graded(first: float, whole: float) -> Floats:
    """Cells from `first` growing by GROWTH that fill `whole`."""
    count = max(1, math.ceil(math.log1p(whole / first * (GROWTH - 1.0)) / math.log(GROWTH)))
    cells = first * GROWTH ** np.arange(count)
    return np.asarray(cells * whole / cells.sum())


def _laid(edges: Floats, depth: float) -> Floats:
    """Share of light with depth `depth` that each cell takes, all of it in all; 0 depth stops in the first."""
    if depth <= 0.0:
        return np.asarray(np.eye(1, edges.size - 1)[0])
    share = -np.diff(np.exp(-edges / depth))
    return np.asarray(share / share.sum())


@dataclass(frozen=True)
class Responses:
    """How face and film answer to heat, at the levels of film thickness, with rates shared by all.

    rates: (modes,) rising, the first 0. weights: (levels, sources, probes, modes). fresh: (levels, sources, probes) at
    the end of the pulse. grouped: the same, what the earlier pulses of a group of `group` have left when its last
    begins. worst: largest error of the fit, of what a skin or film leaves in itself [1].
    """

    rates: Floats
    weights: Floats
    fresh: Floats
    grouped: Floats
    worst: float


def responses(
    film: FilmTruth, ground: GroundTruth, pulse_width: float, gap: float, group: int, longest: float
) -> Responses:
    """Responses good for ages from a third of `gap`, the time between events, to `longest` [s].

    An event is `group` pulses.
    """
    count = math.ceil(math.log(longest * 30.0 / gap) / math.log(RATE_STEP))
    rates = np.append(0.0, np.geomspace(1.0 / (3.0 * longest), 10.0 / gap, count))
    ages = np.geomspace(gap / 3.0, longest, 10 * count)
    before = np.arange(1, group) * gap / group
    weights = np.zeros((LEVELS.size, 3, 2, rates.size))
    fresh, grouped, worst = np.zeros(weights.shape[:3]), np.zeros(weights.shape[:3]), 0.0
    for level, share in enumerate(LEVELS):
        stack = Stack.of(film, ground, share * film.thickness, pulse_width)
        falls = np.exp(-np.outer(ages, stack.rates))
        for source in (SKIN, COAT, DEEP):
            for probe in (FACE, FILM):
                if share * film.thickness <= SOLID and (source == COAT or probe == FILM):
                    continue
                own = stack.weights(source, probe, pulse_width)
                fresh[level, source, probe] = own.sum()
                grouped[level, source, probe] = own @ np.exp(-np.outer(stack.rates, before)).sum(axis=1)
                fitted, error = _fit(rates, ages, falls @ own)
                weights[level, source, probe] = fitted
                if (source, probe) in ((SKIN, FACE), (COAT, FILM)):
                    worst = max(worst, error)
    used = (weights != 0).any(axis=(0, 1, 2))
    used[0] = True
    return Responses(rates[used], weights[..., used], fresh, grouped, worst)


def _fit(rates: Floats, ages: Floats, exact: Floats) -> tuple[Floats, float]:
    """(weights of the rates, largest relative error); positive where what it left only falls."""
    scale = 1.0 / np.maximum(exact, LEAST * exact.max())
    terms = np.exp(-np.outer(ages, rates)) * scale[:, None]
    if np.all(np.diff(exact) <= 0):
        fitted = optimize.nnls(terms, exact * scale)[0]
    else:  # heat that arrives late; the ridge keeps neighbours from cancelling each other
        ridge = 1e-3 * np.eye(rates.size) / exact.max()
        size = 1.0 / (exact.max() * scale.max())
        fitted = np.linalg.lstsq(
            np.vstack([terms, ridge * size]), np.append(exact * scale, np.zeros(rates.size)), rcond=None
        )[0]
    return fitted, float(np.abs(terms @ fitted - exact * scale).max())


class Spread:
    """Heat on the pixels of a rectangle, by mode: it cools, goes sideways, and is asked for at times to come.

    Args:
        shape: (rows, columns), even numbers. pixel: [m]. diffusivity: D sideways [m²/s]. rates: (modes,) [1/s].
        blur: how far diffuse light spreads sideways, standard deviation [m].
        coarse: whether heat runs so far that two by two pixels do for one.
    """

    def __init__(
        self, shape: tuple[int, int], pixel: float, diffusivity: float, rates: Floats, blur: float, coarse: bool
    ) -> None:
        self.step = 2 if coarse else 1
        shape = shape[0] // self.step, shape[1] // self.step
        kappa = [np.pi * np.arange(n) / (n * pixel * self.step) for n in shape]
        square = kappa[0][:, None] ** 2 + kappa[1] ** 2
        self.along = (diffusivity * square).astype(np.float32)
        self.blur = np.exp(-0.5 * blur * blur * square).astype(np.float32)
        self.rates = rates
        self.state = np.zeros((*shape, 2, rates.size), np.float32)
        self._factors: dict[str, Singles] = {}

    def _sideways(self, seconds: float) -> Singles:
        key = f"{seconds:.4g}"
        if key not in self._factors:
            if len(self._factors) > 64:
                self._factors.clear()
            self._factors[key] = np.exp(-np.minimum(self.along * np.float32(seconds), np.float32(80.0)))
        return self._factors[key]

    def _fade(self, seconds: float) -> Singles:
        return np.asarray(np.exp(-np.minimum(self.rates * seconds, 80.0)), dtype=np.float32)

    def advance(self, seconds: float) -> None:
        """Let it cool and spread for a while."""
        self.state *= self._fade(seconds)
        self.state *= self._sideways(seconds)[:, :, None, None]

    def add(self, heat: Singles, weights: Floats) -> None:
        """Take in heat by parts (rows, columns, parts) [J/m²], the last deep light; weights (parts, 2, modes)."""
        there = np.flatnonzero(heat.any(axis=(0, 1)))
        if not there.size:
            return
        taken = heat[:, :, there]
        if self.step == 2:
            taken = 0.25 * (taken[::2, ::2] + taken[1::2, ::2] + taken[::2, 1::2] + taken[1::2, 1::2])
        parts = fft.dctn(taken, type=2, norm="ortho", axes=(0, 1))
        if there[-1] == heat.shape[2] - 1:
            parts[:, :, -1] *= self.blur
        modes = weights[there].reshape(there.size, -1).astype(np.float32)
        self.state += (parts.reshape(-1, there.size) @ modes).reshape(self.state.shape)

    def look(self, seconds: float) -> Singles:
        """Rise of the face after a while [K], (rows, columns)."""
        return np.asarray(self._asked(seconds, self.state[:, :, FACE]))

    def now(self) -> Singles:
        """Rises of the face and of the film at once [K], (rows, columns, 2)."""
        return np.asarray(self._asked(0.0, self.state))

    def _asked(self, seconds: float, state: Singles) -> Singles:
        total = state @ self._fade(seconds)
        if seconds > 0.0:
            total *= self._sideways(seconds)
        found = np.asarray(fft.idctn(total, type=2, norm="ortho", axes=(0, 1)), dtype=np.float32)
        return found if self.step == 1 else found.repeat(2, axis=0).repeat(2, axis=1)
