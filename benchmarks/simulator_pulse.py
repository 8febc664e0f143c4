"""What each pulse does to each pixel it reaches, for `simulator`: film off, light through, heat left, marks.

One plain Python function over loops; where Numba is there the same body runs compiled, without it slowly.
"""

from __future__ import annotations

import functools
import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from simulator_heat import COAT, DEEP, FACE, FILM, LEVELS, SKIN

from proofpatch.physics.elementwise import numba

Floats = NDArray[np.float64]
REACH = 4.0  # r²/w² up to which a pulse is followed: all but 3e-4 of a Gaussian
ABSENT = 1e-9  # m
FLOOR = 0.05  # of its threshold, that a film about to go by heat alone still needs; from memory, unverified
MEMORY = 100.0  # hits after which incubation has done its work; from memory, unverified
FELT = 0.25  # of the threshold, from which on a pulse counts as a hit; ours
CHAR = 0.1  # converted share at which wood is char, black throughout
CHAR_KEPT = 0.4  # of a pulse that blows char off, left as heat; as the films' row
PER_DEPTH = 20.0  # entries of the tables of light for one unit of optical depth
KEPT_FADES = 4  # ages whose fading is kept at hand
PARTS = 2 * LEVELS.size


class Events(NamedTuple):
    """Pulses of one crossing, or groups of them, in the order fired; places in pixels, fluences of one pulse."""

    time: Floats
    column: Floats
    row: Floats
    radius: Floats
    gaussian: Floats  # peak of the Gaussian part [J/m²]
    top_hat: Floats  # [J/m²]
    used: Floats  # share that passes the pulse's own plume


class Maps(NamedTuple):
    """State of the pixels (rows, columns)."""

    left: Floats  # film [m]
    hits: Floats
    absorb: Floats  # of the bare face
    converted: Floats  # ∫ A e^(−E/RT) dt so far
    bond: Floats  # [J/m²]
    flash: Floats  # worst pulse over what melts or marks
    hottest: Floats  # rise [K]
    soft: Floats  # highest rise of the film [K]
    face: Any  # rise there before this crossing [K]
    film: Any
    modes: Any  # (rows, columns, 2, modes) rises of this crossing alone [K], left at 0
    last: Floats  # when they were last brought up to date [s]
    heat: Any  # (rows, columns, PARTS) what this crossing has left where, see `part_weights` [J/m²]


class Rules(NamedTuple):
    """What holds for every pixel; SI."""

    group: float
    median: float
    optical: float  # α [1/m]
    threshold: float
    depth: float
    incubation: float
    kept: float
    decomposition: float
    by_heat: float  # rise from which it goes by heat alone [K]
    latent: float  # heat that takes [J/m³]
    film_heat: float
    toughness: float
    changed: float
    share: float
    onset: float  # heat by volume and depth that turns to gas, per kelvin [J/(m² K)]
    gas: float
    push: float
    melting: float
    flash_limit: float
    char_threshold: float
    reacts: float  # 1 where the ground chars


class Answers(NamedTuple):
    """Responses as arrays, and tables of light by optical depth."""

    rates: Floats
    weights: Floats
    pulse: Floats  # (levels, sources, probes) of the last pulse of a group
    before: Floats  # of those before it
    edges: Floats  # between levels, in film thickness over the median
    arrive: Floats
    coat: Floats


EDGES = np.asarray(0.5 * (LEVELS[1:] + LEVELS[:-1]))


def part_weights(weights: Floats) -> Floats:
    """Weights (PARTS, 2, modes) of the parts of `Maps.heat`: bare skin; skin and film at each level; deep last."""
    parts = np.zeros((PARTS, *weights.shape[2:]))
    parts[0] = weights[0, SKIN]
    for level in range(1, LEVELS.size):
        parts[2 * level - 1], parts[2 * level] = weights[level, SKIN], weights[level, COAT]
    parts[-1, FACE], parts[-1, FILM] = weights[0, DEEP, FACE], weights[3, DEEP, FILM]
    return parts


def follow(events: Events, maps: Maps, rules: Rules, answers: Answers) -> None:
    """All events of one crossing, pixel by pixel; the maps are changed in place.

        F = G e^(−2u) + T [u < 1],  u = r²/w²                                    (1)
        F_th(N, ΔT) = F_th N^(S−1) max(1 − ΔT/ΔT_dec, floor)                     (2)
        d = δ ln(F_used/F_th) where F_used > F_th                                (3)
        off as a whole where  ⟨η (e − ρc d (T_gas − T))⟩ > ⟨G + h U⟩  over the spot   (4)
        an organic film far beyond its decomposition goes by heat:  ρ L dh = ρc h (ΔT − ΔT_heat)   (5)

    ΔT is what the film has at that pulse, from all before it. A plume shades only where something leaves.
    """
    rows, columns = maps.left.shape
    rates, weights = answers.rates, answers.weights
    count = rates.size
    ages, fades, next_fade = np.full(KEPT_FADES, -1.0), np.ones((KEPT_FADES, count), np.float32), 0
    first, final = rows, 0
    for e in range(events.time.size):
        w, cx, cy, now = events.radius[e], events.column[e], events.row[e], events.time[e]
        far = math.sqrt(REACH) * w
        top, bottom = max(math.ceil(cy - far), 0), min(math.floor(cy + far) + 1, rows)
        begin, end = max(math.ceil(cx - far), 0), min(math.floor(cx + far) + 1, columns)
        if bottom <= top or end <= begin:
            continue
        first, final = min(first, top), max(final, bottom)
        pushed, holding = 0.0, 0.0
        for i in range(top, bottom):
            for j in range(begin, end):
                u = ((i - cy) * (i - cy) + (j - cx) * (j - cx)) / (w * w)
                if u >= REACH:
                    continue
                fluence = events.gaussian[e] * math.exp(-2.0 * u) + (events.top_hat[e] if u < 1.0 else 0.0)  # (1)
                age = now - maps.last[i, j]
                maps.last[i, j] = now
                at = -1
                for k in range(KEPT_FADES):
                    if ages[k] == age:
                        at = k
                if at < 0:
                    at = next_fade
                    next_fade = (next_fade + 1) % KEPT_FADES
                    ages[at] = age
                    for k in range(count):
                        fades[at, k] = math.exp(-rates[k] * age)
                face, film = maps.face[i, j], maps.film[i, j]
                on_face, on_film, fade = maps.modes[i, j, 0], maps.modes[i, j, 1], fades[at]
                for k in range(count):
                    on_face[k] *= fade[k]
                    on_film[k] *= fade[k]
                    face += on_face[k]
                    film += on_film[k]
                charred = rules.reacts > 0.0 and maps.converted[i, j] >= CHAR
                taken = max(maps.absorb[i, j], rules.changed) if charred else maps.absorb[i, j]
                share = 1.0 if charred else rules.share
                h, level = maps.left[i, j], 0
                in_coat, reaching = 0.0, fluence  # of one pulse
                if h > ABSENT:
                    while level < answers.edges.size and h > answers.edges[level] * rules.median:
                        level += 1
                    level = max(level, 1)
                    entry = min(int(rules.optical * h * PER_DEPTH + 0.5), answers.arrive.size - 1)
                    coat, arrive = answers.coat[entry], answers.arrive[entry]
                    light = fluence * events.used[e]
                    if light > FELT * rules.threshold:
                        maps.hits[i, j] += rules.group
                    hits = min(max(maps.hits[i, j], 1.0), MEMORY)
                    warm = film + 0.5 * fluence * coat * answers.before[level, COAT, FILM]
                    need = rules.threshold * hits ** (rules.incubation - 1.0)
                    need *= max(1.0 - warm / rules.decomposition, FLOOR)  # (2)
                    ablates = light > need
                    light = light if ablates else fluence
                    in_coat = light * coat * (rules.kept if ablates else 1.0)
                    reaching = light * arrive
                    after = film + in_coat * (answers.pulse[level, COAT, FILM] + answers.before[level, COAT, FILM])
                    maps.soft[i, j] = max(maps.soft[i, j], after)
                    surplus = max(after - rules.by_heat, 0.0) * rules.film_heat * h
                    in_coat -= surplus / rules.group
                    gone = surplus / rules.latent  # (5)
                    if ablates:
                        gone += rules.group * rules.depth * math.log(light / need)  # (3)
                    if u < 1.0:
                        skin = reaching * taken * share - rules.onset * max(rules.gas - face, 0.0)
                        pushed += rules.push * max(skin, 0.0)
                        holding += maps.bond[i, j] + rules.toughness * h
                    maps.left[i, j] = max(h - gone, 0.0)
                elif charred and fluence > rules.char_threshold:
                    reaching = CHAR_KEPT * fluence
                in_skin = reaching * taken * share
                maps.heat[i, j, PARTS - 1] += rules.group * reaching * taken * (1.0 - share)
                before = face + in_skin * answers.before[level, SKIN, FACE]
                rise = in_skin * answers.pulse[level, SKIN, FACE]
                maps.hottest[i, j] = max(maps.hottest[i, j], before + rise)
                worst = rise / max(rules.melting - before, 1.0)
                if rules.flash_limit > 0.0:
                    worst = reaching / rules.flash_limit
                maps.flash[i, j] = max(maps.flash[i, j], worst)
                into_face, into_film = rules.group * in_skin, rules.group * in_coat
                maps.heat[i, j, max(2 * level - 1, 0)] += into_face
                if level > 0:
                    maps.heat[i, j, 2 * level] += into_film
                for k in range(count):
                    on_face[k] += into_face * weights[level, SKIN, FACE, k] + into_film * weights[level, COAT, FACE, k]
                    on_film[k] += into_face * weights[level, SKIN, FILM, k] + into_film * weights[level, COAT, FILM, k]
        if pushed > holding > 0.0:  # (4)
            for i in range(top, bottom):
                for j in range(begin, end):
                    if (i - cy) * (i - cy) + (j - cx) * (j - cx) < w * w:
                        maps.left[i, j] = 0.0
    maps.modes[first:final] = 0.0


@functools.cache
def follower() -> Any:
    """`follow`, compiled where Numba is there; compiling takes some seconds, once a session."""
    if numba is None:
        return follow
    return numba.njit(cache=False, nogil=True, error_model="numpy", fastmath={"contract", "reassoc"})(follow)
