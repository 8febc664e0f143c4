"""Places of a patch for `simulator`: a tile of the work, and the strokes of a true hand over it.

A tile is a rectangle of pixels in the middle of the swept line, at its end, where two lanes overlap, or where strokes
begin. Around what is looked at lies a margin that only lets heat and light come and go.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special
from simulator_heat import Responses, Spread, responses
from simulator_pulse import (
    ABSENT,
    EDGES,
    PARTS,
    PER_DEPTH,
    Answers,
    Events,
    Maps,
    Rules,
    follower,
    part_weights,
)
from simulator_truth import ROOM, GroundTruth, Truth

from proofpatch.physics.optics import two_layer_shares
from proofpatch.physics.setting import Setting
from proofpatch.physics.strokes import HandMotion, Pulses, place_pulses

Floats = NDArray[np.float64]
GAS_CONSTANT = 8.314462618  # J/(mol K)
PIXELS = 3.0  # a spot radius
SPOTS = (3.5e-3, 8e-3, 16.0)  # least and most side of a tile [m], spot radii it would have
COARSEST = 2.0  # pixels a spot radius must have
TOGETHER = 2e-3  # s; crossings closer than that are one
GROUPED = 6.0  # of a spot radius, over which neighbouring pulses may be taken together
WARM = 400.0  # K, below which nothing reacts that matters
# s after a crossing, shorter heat leaves no mark: on stone, whose quartz turns at once; on metal, whose oxide grows by
# diffusion (its limits are of minutes); from memory, unverified.
LASTING, GROWING = 3e-4, 1e-2
BY_HEAT = 150.0  # K beyond its slow decomposition, at which a film goes within milliseconds; from memory, unverified
INORGANIC = 1400.0  # K; what is no organic film melts, and only then goes easily; from memory, unverified
DEEPEST = 25.0  # optical depth of the tables of light
COARSE = 1.5  # pixels; heat that runs farther between two lines is followed on coarser ones
FADED = 30.0  # exponent of a mode that is gone by the next line
WAVES = 48  # in a random field
STREAK = 6.0  # how much longer than wide grain of wood is; from memory, unverified
SETTLED = 1e-3  # of the film; a pass that takes off less has settled
INDEX = 1.5  # of a clear film
KINDS = ("middle", "end", "overlap", "start")


@dataclass(eq=False)
class Tile:
    """A rectangle of pixels and what has become of it; `seen` (rows, columns) is what is looked at.

    x0, y0: corner, x from the middle of the lane or, where lanes overlap, from between them; y from the stroke's start.
    """

    kind: str
    weight: float  # share of the surface it stands for
    pixel: float
    x0: float
    y0: float
    length: float  # of the strokes over it [m]
    start: Floats  # film before anything was done [m]
    absorb: Floats
    bond: Floats
    soaks: Floats  # uniform numbers that decide where molten film stays in pores
    seen: tuple[slice, slice]
    left: Floats
    hits: Floats
    converted: Floats
    flash: Floats
    hottest: Floats
    soft: Floats
    lasting: Floats  # highest rise that lasted [K]

    @property
    def covered(self) -> NDArray[np.bool_]:
        """Where film is, or has soaked in."""
        return self.left > ABSENT

    def copy(self) -> Tile:
        """The same with maps of its own."""
        own: dict[str, Any] = {k: v.copy() for k, v in vars(self).items() if isinstance(v, np.ndarray)}
        return replace(self, **own)


def random_field(
    shape: tuple[int, int], pixel: float, length: float, rng: np.random.Generator, stretch: float = 1.0
) -> Floats:
    """A smooth random field, mean 0 and spread 1 over many tiles, forgetting itself over `length` [m].

    (1) of `strokes.smooth_course` in two directions; `stretch` times longer in a direction drawn at random.
    """
    waves = rng.normal(size=(2, WAVES)) / length
    waves[0] /= stretch
    turn = rng.uniform(0.0, math.pi)
    kx = math.cos(turn) * waves[0] - math.sin(turn) * waves[1]
    ky = math.sin(turn) * waves[0] + math.cos(turn) * waves[1]
    y, x = np.arange(shape[0]) * pixel, np.arange(shape[1]) * pixel
    a, b = rng.normal(size=(2, WAVES)) / math.sqrt(WAVES)
    cos_x, sin_x, cos_y, sin_y = (
        np.cos(np.outer(kx, x)),
        np.sin(np.outer(kx, x)),
        np.cos(np.outer(ky, y)),
        np.sin(np.outer(ky, y)),
    )
    even = (a * cos_y.T + b * sin_y.T) @ cos_x
    odd = (b * cos_y.T - a * sin_y.T) @ sin_x
    return np.asarray(even + odd)


def whole_spread(field: Floats) -> Floats:
    """The same field with its values moved to those a normal distribution has, in their order.

    A tile is a sample of a patch a hundred times its size: so it holds the patch's darkest thousandth too.
    """
    order = np.empty(field.size)
    order[np.argsort(field, axis=None)] = np.arange(field.size)
    return np.asarray(special.ndtri((order + 0.5) / field.size).reshape(field.shape))


def make_tile(truth: Truth, setting: Setting, kind: str, weight: float, rng: np.random.Generator) -> Tile:
    """A fresh tile for settings like this one; another setting may follow on it if its spot is not much smaller."""
    w, ground = setting.spot_radius, truth.ground
    pixel = w / PIXELS
    side = min(max(SPOTS[2] * w, SPOTS[0]), SPOTS[1])
    across = min(side, 0.5 * setting.sweep_width)
    sideways = ground.conductivity / ground.heat_capacity
    margin = 2.0 * w + min(3.0 * math.sqrt(2.0 * sideways * 2.0 * w / setting.travel_speed), 6e-3)
    overlap = truth.hand.lane_overlap * setting.sweep_width
    outer = margin if kind == "end" else 0.0
    if kind == "overlap":
        across = min(across, overlap)
    rows, columns = 2 * round((side + 2 * margin) / pixel / 2), 2 * round((across + outer) / pixel / 2)
    x0 = -across / 2.0 if kind != "end" else setting.sweep_width / 2.0 - across
    y0 = 0.0 if kind != "start" else -(margin + side / 4.0)
    rim = round(w / pixel)
    inner, wide = round(margin / pixel), min(round(across / pixel), columns)
    # The last spot radius of a line is its soft rim, and not looked at.
    seen = slice(inner, rows - inner), slice(0, wide - rim if kind == "end" else wide)
    shape, film = (rows, columns), truth.film
    start = film.thickness * np.exp(film.spread * whole_spread(random_field(shape, pixel, film.correlation, rng)))
    stretch = STREAK if ground.activation > 0.0 else 1.0
    dark = ground.absorptance * np.exp(
        ground.streaks * whole_spread(random_field(shape, pixel, ground.grain, rng, stretch))
    )
    bond = film.bond * np.exp(film.bond_spread * whole_spread(random_field(shape, pixel, film.correlation, rng)))
    zeros = [np.zeros(shape) for _ in range(6)]
    return Tile(
        kind, weight, pixel, x0, y0, rows * pixel + y0, start, np.minimum(dark, 0.98), bond,
        rng.random(shape), seen, start.copy(), *zeros,
    )  # fmt: skip


def lay(
    tile: Tile, truth: Truth, setting: Setting, hand: HandMotion, slowness: Floats, rng: np.random.Generator
) -> None:
    """Go over a tile once for each of `slowness`, numbers of standard deviations by which that stroke is slow.

    Once a tile is bare, or nothing changes any more, one more pass is followed, the slowest of those left, and the
    rest taken to be like it.

    Raises:
        ValueError: the spot is too small for the pixels of the tile.
    """
    if setting.spot_radius < COARSEST * tile.pixel:
        raise ValueError("The spot is too small for a tile made for a larger one.")
    work = _Work(tile, truth, setting)
    left = list(slowness)
    while left:
        done = work.settled
        now = max(left) if done else left[0]
        left.remove(now)
        before, face = tile.converted.copy(), work.mean_face()
        removed = tile.left.sum()
        for lane in (-0.5, 0.5) if tile.kind == "overlap" else (0.0,):
            shift = lane * setting.sweep_width * (1.0 - hand.lane_overlap)
            work.stroke(hand, float(now), shift, rng)
            work.rest(truth.pause)
        work.settled = bool(not tile.covered[tile.seen].any()) or (
            removed - tile.left.sum() < SETTLED * tile.start.sum() and tile.hits.mean() >= 100.0
        )
        if done:
            tile.converted += len(left) * (tile.converted - before)
            tile.lasting += len(left) * max(work.mean_face() - face, 0.0)
            return


def true_rise(ground: GroundTruth, rise: Any) -> Any:
    """What a heat really warms a material that takes more of it the warmer it is: the same heat by volume [K]."""
    if not ground.warming:
        return rise
    table = np.array(ground.warming)
    return np.interp(rise, table[:, 0], table[:, 1])


class _Work:
    """One setting at work on one tile: heat of the moment, and what each crossing does."""

    def __init__(self, tile: Tile, truth: Truth, setting: Setting) -> None:
        film, ground = truth.film, truth.ground
        self.tile, self.truth, self.setting, self.settled = tile, truth, setting, False
        pitch = setting.sweep_speed / setting.repetition_rate
        self.group = max(1, int(setting.spot_radius / GROUPED / pitch))
        self.gap = self.group / setting.repetition_rate
        longest = min(max(2.0 * (truth.pause + tile.length / setting.travel_speed), 10.0), 300.0)
        answers = responses(film, ground, setting.pulse_width, self.gap, self.group, longest)
        self.answers = self._tables(answers)
        line = setting.sweep_width / setting.sweep_speed
        self.slow = int((answers.rates * line < FADED).sum())
        self.parts = part_weights(answers.weights)[:, :, : self.slow]
        shape = tile.left.shape
        sideways = ground.conductivity / ground.heat_capacity
        coarse = math.sqrt(2.0 * sideways * line) > COARSE * tile.pixel
        self.spread = Spread(
            shape, tile.pixel, sideways, answers.rates[: self.slow], min(ground.diffuse_depth, 5e-3), coarse
        )
        self.modes = np.zeros((*shape, 2, answers.rates.size), np.float32)
        self.last, self.heat = np.zeros(shape), np.zeros((*shape, PARTS), np.float32)
        self.rules = self._rules()

    def _tables(self, found: Responses) -> Answers:
        """Light by optical depth: clear films trap what the ground throws back, others only weaken it."""
        film, ground = self.truth.film, self.truth.ground
        depth = np.arange(int(DEEPEST * PER_DEPTH) + 1) / PER_DEPTH
        into = 1.0 - film.reflectance
        arrive, coat = into * np.exp(-depth), into * -np.expm1(-depth)
        if film.clear:
            shares = two_layer_shares(INDEX, depth, 1.0 - ground.absorptance)
            face = 1.0 - ((INDEX - 1.0) / (INDEX + 1.0)) ** 2
            arrive, coat = into / face * np.asarray(shares.arriving), into / face * np.asarray(shares.coat)
        arrive[-1], coat[-1] = 0.0, into
        return Answers(found.rates, found.weights, found.fresh, found.grouped, EDGES, arrive, coat)

    def _rules(self) -> Rules:
        film, ground, setting = self.truth.film, self.truth.ground, self.setting
        width = setting.pulse_width
        reach = math.sqrt(math.pi * ground.conductivity / ground.heat_capacity * width) / 2.0
        soft = film.decomposition if film.organic else max(film.decomposition, INORGANIC)
        flash = ground.flash_limit * (width / ground.flash_width) ** ground.flash_exponent
        return Rules(
            float(self.group), film.thickness, film.absorption,
            film.threshold * (width / 1e-7) ** film.width_exponent, film.depth, film.incubation, film.residual_heat,
            soft, soft + BY_HEAT if film.organic else 1e9,
            film.density * film.vaporisation, film.heat_capacity, film.toughness, ground.changed,
            ground.skin_share, ground.heat_capacity * (ground.skin_depth + reach),
            ground.gas_onset if ground.gas_onset > 0.0 else film.decomposition, ground.gas_conversion,
            min(ground.melting, 1e9), flash, ground.char_threshold, float(ground.activation > 0.0),
        )  # fmt: skip

    def stroke(self, hand: HandMotion, slow: float, shift: float, rng: np.random.Generator) -> None:
        """One stroke of the hand over the tile, every crossing of it in turn."""
        tile, s = self.tile, self.setting
        calm = replace(hand, speed_spread=0.0, stop_seconds=hand.stop_seconds if tile.kind == "start" else 0.0)
        speed = s.travel_speed * math.exp(0.5 * hand.speed_spread**2 - hand.speed_spread * slow)
        moved = s.with_(travel_speed=speed, repetition_rate=s.repetition_rate / self.group, passes=1)
        laser = self.truth.laser
        rayleigh = math.pi * s.spot_radius**2 / (laser.m2 * laser.wavelength)
        pulses = place_pulses(moved, calm, tile.length, rayleigh_range=rayleigh, seed=rng)
        events, cuts = self._events(pulses, shift, tile.kind != "start" and bool(rng.integers(2)))
        now = 0.0
        for begin, end in pairwise(cuts):
            crossing = Events(*(column[begin:end] for column in events))
            middle = float(0.5 * (crossing.time[0] + crossing.time[-1]))
            if begin > 0:
                self.cool(middle - now)
            now = middle
            self._cross(crossing)

    def _events(self, pulses: Pulses, shift: float, back: bool) -> tuple[Events, list[int]]:
        """(events that reach the tile, where each crossing begins and the last ends)."""
        tile, s, film = self.tile, self.setting, self.truth.film
        y = tile.length - pulses.y if back else pulses.y
        column = (pulses.x + shift - tile.x0) / tile.pixel - 0.5
        row = (y - tile.y0) / tile.pixel - 0.5
        radius = pulses.radius / tile.pixel
        rows, columns = tile.left.shape
        near = (column > -2 * radius) & (column < columns + 2 * radius)
        near &= (row > -2 * radius) & (row < rows + 2 * radius)
        time, column = pulses.time[near], column[near]
        if not time.size:
            return Events(*([time] * 7)), [0]
        energy = s.average_power * self.truth.power / s.repetition_rate
        mean = energy / (math.pi * pulses.radius[near] ** 2)
        m = self.truth.top_hat_share
        used = film.plume * -np.expm1(-mean / film.plume) / mean
        turned = np.diff(np.sign(np.diff(column, prepend=column[0] - 1.0)), prepend=1.0) != 0
        fresh = (np.diff(time, prepend=time[0]) > 1.5 * self.gap) | turned
        cuts = [0]
        for k in np.flatnonzero(fresh):
            if time[k] - time[cuts[-1]] > TOGETHER:
                cuts.append(int(k))
        return Events(time, column, row[near], radius[near], 2 * (1 - m) * mean, m * mean, used), [*cuts, time.size]

    def _cross(self, events: Events) -> None:
        """One crossing: pulse by pulse on what is warm already, then its heat to the rest."""
        t = self.tile
        self.last[:] = events.time[0]
        warm = self.spread.now()
        np.maximum(t.lasting, warm[:, :, 0], out=t.lasting)
        maps = Maps(
            t.left, t.hits, t.absorb, t.converted, t.bond, t.flash, t.hottest, t.soft, warm[:, :, 0], warm[:, :, 1],
            self.modes, self.last, self.heat,
        )  # fmt: skip
        follower()(events, maps, self.rules, self.answers)
        self.spread.add(self.heat, self.parts)
        self.heat[:] = 0.0

    def mean_face(self) -> float:
        """Rise of the face, averaged over the tile [K]."""
        return float(self.spread.look(0.0).mean())

    def cool(self, seconds: float) -> None:
        """Let a while pass: what reacts, what lasts, how heat spreads."""
        ground = self.truth.ground
        if ground.activation > 0.0:
            face = self.spread.look(0.0)
            if float(true_rise(ground, face.max())) + ROOM > WARM:
                self._react(face, seconds)
        elif math.isfinite(ground.heat_limit):
            lasting = GROWING if math.isfinite(ground.melting) else LASTING
            np.maximum(self.tile.lasting, self.spread.look(min(lasting, seconds)), out=self.tile.lasting)
        self.spread.advance(seconds)

    def rest(self, seconds: float) -> None:
        """The pause before the next stroke, in ever longer parts."""
        spent = 0.0
        for until in (0.02, 0.2, seconds):
            if until > spent:
                self.cool(min(until, seconds) - spent)
                spent = min(until, seconds)

    def _react(self, face: Any, seconds: float) -> None:
        """∫ A e^(−E/RT) dt over a while, looked at ever more rarely; between looks the rate falls as a power of e."""
        ground = self.truth.ground

        def exponent(rise: Any) -> Floats:
            warm = np.maximum(true_rise(ground, rise), 0.0) + ROOM
            return np.asarray(ground.ln_frequency - ground.activation / (GAS_CONSTANT * warm))

        before, then = exponent(face), 0.0
        for share in (0.02, 0.08, 0.25, 0.55, 1.0):
            after = exponent(self.spread.look(share * seconds))
            drop = np.maximum(np.abs(before - after), 1e-6)
            mean = np.exp(np.maximum(before, after)) * -np.expm1(-drop) / drop
            self.tile.converted += mean * (share * seconds - then)
            before, then = after, share * seconds
