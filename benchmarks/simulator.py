"""A piece of work to judge the learning by: a true surface, a true hand, and what a patch on it would look like.

Run: python benchmarks/simulator.py     (a table of forecasts against simulated outcomes, about a minute)

Nothing here is imported by the package, and none of the closed forms that decide there are used here: every pulse is
placed (`physics.strokes`) and followed on every pixel, film thickness, hits, heat and light at that moment included.
docs/simulator.md says what this truth still shares with the model and where it departs from it on purpose.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, optimize, special, stats

import proofpatch as pp
from proofpatch.materials import coating_data, coating_mixture, substrate_data, substrate_mixture
from proofpatch.physics.strokes import HandMotion, place_pulses
from proofpatch.sources import Datum

Floats = NDArray[np.float64]
ROOM = 293.15  # K
GAS = 8.314462618  # J/(mol K)
VISIBLE = 1e-6  # m; a thinner film is not seen (from memory, unverified)
TAILS = 6  # degrees of freedom of every drawn property: heavier tails than the belief's normals, on purpose
GRAIN, FILM_GRAIN = 1.5e-3, 4e-3  # m, over which dark grain and film thickness change (from memory, unverified)
TINT, MARKED, BURNT = 0.01, 0.04, 0.10  # converted share; the first and the last as in the design
OVER_MARKED, OVER_BURNT = 1.15, 1.4  # over a fluence or temperature limit, that reads as marked and burnt (ours)
TRAPPED = 0.5963  # diffuse reflectance of a film's face from within (thermal-optical.md CV-5.11)
TILE = 9e-3  # m, side of the piece of the patch that is looked at
PIXELS = 4.0  # a spot radius
SUPPORT = 1.6  # spot radii within which a pulse is followed; beyond it under 0.6 % of a Gaussian's peak falls
MOST = 400_000  # pulses on one tile
STUDIED = 8_000  # the same in the study, so that it ends within minutes
RESIDUES = ("clean", "nearly", "partial", "trace", "no effect")
EDGES = (0.01, 0.10, 0.90)
HARMS = ("none", "tint", "marked", "burnt")
HARM_SHARE, MARK = 0.001, 3e-3  # harm: tint on over 0.1 % of the open surface, or a mark over 3 mm


@dataclass(frozen=True)
class Truth:
    """One true piece, laser and hand; `film` and `under` by the names of the data tables, SI."""

    coating: str
    substrate: str
    laser: Any
    film: dict[str, float]
    under: dict[str, float]
    motion: HandMotion
    starts: str
    slip: float  # spread of a grader's eye, in logits of the share left
    wrong: float  # share of grades that are plain wrong


def drawn(datum: Datum, rng: np.random.Generator) -> float:
    """A value of a datum: its middle, its 90 % range, heavier tails than normal, on the log scale where it may be."""
    low = datum.low if datum.low is not None else datum.value * 0.9
    high = datum.high if datum.high is not None else datum.value * 1.1
    if datum.value <= 0 or high <= low:
        return datum.value
    z = rng.standard_t(TAILS) / stats.t.ppf(0.95, TAILS)
    z = float(np.clip(z, -2.5, 2.5))
    if datum.unit == "1" and 0 < datum.value < 1 and high <= 1:
        ends = special.logit(np.clip([datum.value, low, high], 1e-4, 1 - 1e-4))
        return float(special.expit(ends[0] + abs(z) * ((ends[2] - ends[0]) if z > 0 else (ends[1] - ends[0]))))
    if datum.unit == "K":
        return float(datum.value + abs(z) * ((high if z > 0 else low) - datum.value))
    return float(
        datum.value * math.exp(abs(z) * math.log((high if z > 0 else max(low, 1e-3 * datum.value)) / datum.value))
    )


def draw_truth(
    coating: str, substrate: str, laser: Any, rng: np.random.Generator, *, colour: str = "unknown",
    condition: str = "unknown", under_condition: str = "unknown", starts: str = "mask", thickness: float | None = None,
) -> Truth:  # fmt: skip
    """A true piece: what is unknown is decided, every property drawn from its datum.

    Absorption and threshold of a film go together as in the model's data (a clear film has no opaque one's threshold).
    """
    weights, shades, states = zip(*coating_mixture(coating, colour, condition), strict=True)
    pick = int(rng.choice(len(weights), p=np.array(weights) / sum(weights)))
    film_data = dict(coating_data(coating, shades[pick], states[pick]))
    weights, conditions = zip(*substrate_mixture(substrate, under_condition), strict=True)
    under_data = dict(substrate_data(substrate, conditions[int(rng.choice(len(weights), p=np.array(weights)))]))
    film = {name: drawn(datum, rng) for name, datum in film_data.items()}
    under = {name: drawn(datum, rng) for name, datum in under_data.items()}
    if thickness is not None:
        film["thickness"] = thickness * math.exp(0.08 * rng.normal())
    rise = max(film["decomposition_temperature"] - ROOM, 30.0)
    if "threshold_fluence" in film_data:
        datum = film_data["absorption"]
        deeper = math.log(film["absorption"] / datum.value)
        film["threshold_fluence"] *= math.exp(-0.4 * deeper)
    else:  # nobody measured it: what evaporation would take, of which a third to a thirtieth is what such films need
        heat = film["density"] * (film["specific_heat"] * rise + film["vaporisation_heat"])
        film["threshold_fluence"] = heat / film["absorption"] * float(np.exp(rng.uniform(np.log(0.03), np.log(0.4))))
    motion = HandMotion(0.115, 1e-3, 3e-3, 0.1, 0.1 if starts == "free" else 0.0)
    return Truth(
        coating, substrate, laser, film, under, motion, starts, float(np.exp(rng.normal(np.log(0.3), 0.3))), 0.03
    )


@dataclass(frozen=True)
class Seen:
    """What a patch looks like, in shares of the tiles looked at.

    left: covered share. gone: mean depth removed [m]. tinted, marked, burnt: of the open surface. mark: widest tinted
    spot [m]. hottest: highest rise of the face [K].
    """

    left: float
    gone: float
    tinted: float
    marked: float
    burnt: float
    mark: float
    hottest: float

    @property
    def residue(self) -> str:
        """By share still covered; thinned by under a twentieth is no effect, which the caller knows."""
        return RESIDUES[int(np.searchsorted(EDGES, self.left))]

    @property
    def harm(self) -> str:
        """The worst that more than 0.1 % of the open surface shows; a wide mark counts whatever its share."""
        shares = (self.tinted, self.marked, self.burnt)
        level = sum(share > HARM_SHARE for share in shares)
        return HARMS[max(level, 1) if self.mark > MARK else level]


# ---- One tile ----


def cooling(diffusivity: float, depth: float, radius: float, longest: float) -> tuple[Floats, Floats]:
    """Rates [1/s] and shares of a sum of falling exponentials for erfcx(√(D t)/d)/√(1 + 8 D t/w²).

    Both factors are completely monotone, so is their product, so positive terms serve; the second is the spreading of
    a swept line, which on wood does nothing and on metal nearly all.
    """
    clock = depth * depth / diffusivity
    times = np.concatenate([[0.0], np.geomspace(min(1e-8, clock / 100), max(longest, 10 * clock), 160)])
    exact = special.erfcx(np.sqrt(diffusivity * times) / depth) / np.sqrt(1 + 8 * diffusivity * times / radius**2)
    rates = np.append(np.geomspace(0.2 / times[-1], 4.0 / times[1], 26), 0.0)
    terms = np.exp(-np.outer(times, rates)) / exact[:, None]
    shares, _ = optimize.nnls(terms, np.ones_like(times))
    assert np.abs(terms @ shares - 1).max() < 0.05
    return rates[shares > 0], shares[shares > 0]


def grain(shape: tuple[int, int], pixel: float, length: float, rng: np.random.Generator) -> Floats:
    """A smooth random field, mean 0, spread 1."""
    field = ndimage.gaussian_filter(rng.normal(size=shape), length / pixel / 2, mode="wrap")
    return np.asarray((field - field.mean()) / max(field.std(), 1e-12))


@numba.njit(error_model="numpy", cache=False)
def _reacted(
    near: Any, over: Any, deep: float, seconds: float, skin_rate: Any, film_rate: Any, ln_a: Any, energy: Any
) -> float:
    """∫ A e^(−E/RT) dt while the heat left after a pulse falls, by ten looks, ever farther apart."""
    top = deep + near.sum() + over.sum()
    if energy <= 0.0 or top < 150.0 or seconds <= 0.0:
        return 0.0
    total, before = 0.0, 0.0
    rate_before = math.exp(ln_a - energy / (8.314462618 * (293.15 + top)))
    for look in range(10):
        after = seconds * 4.0 ** (look - 9)
        warm = deep
        for k in range(skin_rate.size):
            warm += near[k] * math.exp(-skin_rate[k] * after)
        for k in range(film_rate.size):
            warm += over[k] * math.exp(-film_rate[k] * after)
        rate = math.exp(ln_a - energy / (8.314462618 * (293.15 + warm)))
        total += 0.5 * (rate + rate_before) * (after - before)
        before, rate_before = after, rate
    return total


@numba.njit(error_model="numpy", cache=False)
def _follow(
    time: Any, column: Any, row: Any, radius: Any, gaussian: Any, top_hat: Any, used: Any, thickness: Any, absorb: Any,
    bond: Any, film: Any, under: Any, skin_rate: Any, skin_rise: Any, film_rate: Any, film_rise: Any,
) -> Any:  # fmt: skip
    """Every pulse on every pixel it reaches: (film left, hits, highest rise, ∫ reaction, worst fluence ratio, band)."""
    rows, columns = thickness.shape
    left = thickness.copy()
    hits = np.zeros((rows, columns))
    hottest, exponent = np.zeros((rows, columns)), np.zeros((rows, columns))
    flash, band = np.zeros((rows, columns)), np.zeros((rows, columns))
    last = np.full((rows, columns), time[0])
    n, m = skin_rate.size, film_rate.size
    near, over, deep = np.zeros((rows, columns, n)), np.zeros((rows, columns, m)), np.zeros((rows, columns))
    (alpha, reflect, threshold, delta, incubation, dec, kept, tough) = film
    (skin_share, onset_depth, capacity, push, gas, ln_a, energy, flash_per, melt, melt_root, changed, rest) = under
    for p in range(time.size):
        w, cx, cy = radius[p], column[p], row[p]
        reach = 1.6 * w
        for i in range(max(math.ceil(cy - reach), 0), min(math.floor(cy + reach) + 1, rows)):
            for j in range(max(math.ceil(cx - reach), 0), min(math.floor(cx + reach) + 1, columns)):
                r2 = ((i - cy) ** 2 + (j - cx) ** 2) / (w * w)
                if r2 > 2.56:
                    continue
                fluence = gaussian[p] * math.exp(-2.0 * r2)
                if r2 < 1.0:
                    fluence += top_hat[p]
                gone = time[p] - last[i, j]
                last[i, j] = time[p]
                exponent[i, j] += _reacted(near[i, j], over[i, j], deep[i, j], gone, skin_rate, film_rate, ln_a, energy)
                under_rise, film_own = deep[i, j], 0.0
                for k in range(n):
                    near[i, j, k] *= math.exp(-skin_rate[k] * gone)
                    under_rise += near[i, j, k]
                for k in range(m):
                    over[i, j, k] *= math.exp(-film_rate[k] * gone)
                    film_own += over[i, j, k]
                under_rise += film_own
                band[i, j] = max(band[i, j], under_rise)
                taken = absorb[i, j] if exponent[i, j] < 0.1 else max(absorb[i, j], changed)
                through = 1.0
                if left[i, j] > 0.0:
                    if r2 < 1.0:
                        hits[i, j] += 1.0
                    inside = math.exp(-alpha * left[i, j])
                    count = min(max(hits[i, j], 1.0), 100.0)
                    # The film's own heat, not only what ablation left of it, brings its threshold down.
                    need = threshold * count ** (incubation - 1.0) * max(1.0 - under_rise / dec, 0.1)
                    light = fluence * used[p]
                    ablates = light > need
                    entered = (1.0 - reflect) * (kept if ablates else 1.0) * fluence * (1.0 - inside)
                    for k in range(m):
                        over[i, j, k] += entered * film_rise[k]
                    through = (1.0 - reflect) * inside / (1.0 - 0.5963 * (1.0 - taken) * inside * inside)
                    depth = delta * math.log(light / need) if ablates else 0.0
                    interface = light * (1.0 - reflect) * inside * taken * skin_share
                    off = push * max(interface - capacity * onset_depth * max(gas - under_rise, 0.0), 0.0)
                    left[i, j] = max(left[i, j] - depth, 0.0)
                    if off > bond[i, j] + tough * left[i, j]:
                        left[i, j] = 0.0
                reached = fluence * through * taken
                own = 0.0
                for k in range(n):
                    near[i, j, k] += reached * skin_share * skin_rise[k]
                    own += reached * skin_share * skin_rise[k]
                deep[i, j] += reached * (1.0 - skin_share) * rest
                top = under_rise + own
                hottest[i, j] = max(hottest[i, j], top)
                if flash_per > 0.0:
                    flash[i, j] = max(flash[i, j], fluence * through / flash_per)
                if melt > 0.0:
                    flash[i, j] = max(flash[i, j], reached / melt_root / max(melt - under_rise, 1.0))
    for i in range(rows):
        for j in range(columns):
            exponent[i, j] += _reacted(near[i, j], over[i, j], deep[i, j], 0.5, skin_rate, film_rate, ln_a, energy)
    return left, hits, hottest, exponent, flash, band


def lay_tile(truth: Truth, setting: pp.Setting, rng: np.random.Generator, place: str = "middle") -> dict[str, Floats]:
    """Maps of one tile after all passes, in the middle of the line, at its end, or where a stroke begins.

    Raises:
        ValueError: so many pulses fall on the tile that they take too long.
    """
    w = setting.spot_radius
    pixel, film, under = w / PIXELS, truth.film, truth.under
    length = TILE + 6 * w + 2 * setting.travel_speed * setting.sweep_width / setting.sweep_speed
    pulses = place_pulses(
        setting, truth.motion, length, rayleigh_range=truth.laser.rayleigh_range * (w / truth.laser.spot_radius) ** 2,
        seed=rng,
    )  # fmt: skip
    side = min(TILE, setting.sweep_width)
    x0 = {"middle": -side / 2, "end": setting.sweep_width / 2 - side, "start": -side / 2}[place]
    y0 = -w if place == "start" else (length - TILE) / 2
    count = max(round(side / pixel), 4), max(round(TILE / pixel), 4)
    column, row = (pulses.x - x0) / pixel - 0.5, (pulses.y - y0) / pixel - 0.5
    reach = SUPPORT * pulses.radius / pixel
    near = (column > -reach) & (column < count[0] + reach) & (row > -reach) & (row < count[1] + reach)
    if near.sum() > MOST:
        raise ValueError(f"{near.sum()} pulses on one tile.")
    shape = (count[1], count[0])
    thickness = film["thickness"] * np.exp(film["thickness_spread"] * grain(shape, pixel, FILM_GRAIN, rng))
    dark = under["absorptance"] * np.exp(under["absorptance_spread"] * grain(shape, pixel, GRAIN, rng))
    bond = film["bond_energy"] * np.exp(0.5 * grain(shape, pixel, FILM_GRAIN, rng))
    energy = setting.pulse_energy * truth.laser.power_factor
    radius = pulses.radius[near]
    mean = energy / (math.pi * radius**2)
    plume, m = film["plume_saturation"], truth.laser.top_hat_share
    conductivity, capacity = under["conductivity"], under["density"] * under["specific_heat"]
    d, skin = conductivity / capacity, max(under["skin_depth"], 0.0)
    heated = skin + math.sqrt(math.pi * d * setting.pulse_width) / 2
    whole = float(pulses.time[-1] - pulses.time[0]) + 1e-3
    skin_rate, skin_share = cooling(d, heated, w, whole)
    film_c = film["density"] * film["specific_heat"]
    film_rate, film_share = cooling(d, film["thickness"] * film_c / capacity, w, whole)
    rise = max(film["decomposition_temperature"] - ROOM, 30.0)
    flash = 0.0
    if "flash_limit" in under:
        flash = under["flash_limit"] * (setting.pulse_width / under["flash_reference_width"]) ** under["flash_exponent"]
    melt = under["melting_temperature"] - ROOM if "melting_temperature" in under else 0.0
    width = (setting.pulse_width / 100e-9) ** film["threshold_width_exponent"]
    film_row = (
        film["absorption"], film["reflectance"], film["threshold_fluence"] * width, film["removal_depth"],
        film["incubation"], rise, film["residual_heat"], film["toughness"],
    )  # fmt: skip
    under_row = (
        under["skin_share"], heated, capacity, under["gas_conversion"], under.get("gas_onset", ROOM + rise) - ROOM,
        under.get("kinetics_ln_frequency_factor", 0.0), under.get("kinetics_activation_energy", 0.0), flash, melt,
        math.sqrt(math.pi * conductivity * capacity * setting.pulse_width) / 2, under.get("absorptance_changed", 0.0),
        1.0 / (capacity * max(under["diffuse_depth"], 1e-5)),
    )  # fmt: skip
    nothing = (thickness, *(np.zeros(shape) for _ in range(5)))
    left, hits, hottest, exponent, over, band = nothing if not near.any() else _follow(
        pulses.time[near], column[near], row[near], radius / pixel, 2 * (1 - m) * mean, m * mean,
        plume * -np.expm1(-mean / plume) / mean, thickness, np.minimum(dark, 0.98), bond, film_row, under_row,
        skin_rate, skin_share / (capacity * heated), film_rate, film_share / (film_c * film["thickness"]),
    )  # fmt: skip
    converted = -np.expm1(-exponent)
    limit = under["heat_limit"] - ROOM if "heat_limit" in under else math.inf
    # A face limited by a temperature: the band's, for a tint needs time; a bulk that keeps its heat is added up.
    worst = np.maximum(over, band / limit)
    tint = (converted >= TINT) | (worst >= 1)
    return {
        "left": left, "gone": thickness - left, "hottest": hottest, "tint": tint,
        "marked": (converted >= MARKED) | (worst >= OVER_MARKED), "burnt": (converted >= BURNT) | (worst >= OVER_BURNT),
        "pixel": np.array(pixel), "hits": hits, "converted": converted,
    }  # fmt: skip


def seen_of(tiles: list[dict[str, Floats]]) -> Seen:
    """What the tiles show together."""
    total = sum(t["left"].size for t in tiles)
    bare = [t["left"] <= VISIBLE for t in tiles]
    open_surface = max(sum(int(b.sum()) for b in bare), 1)

    def share(name: str) -> float:  # harm under film that is left is not seen, and not yet of the open surface
        return sum(int((t[name] & b).sum()) for t, b in zip(tiles, bare, strict=True)) / open_surface

    widest = 0.0
    for t, b in zip(tiles, bare, strict=True):
        labels, count = ndimage.label(t["tint"] & b)
        if count:
            widest = max(widest, math.sqrt(4 * np.bincount(labels.ravel())[1:].max() / math.pi) * float(t["pixel"]))
    return Seen(
        sum(int((~b).sum()) for b in bare) / total,
        float(np.mean([t["gone"].mean() for t in tiles])),
        share("tint"), share("marked"), share("burnt"), widest, float(max(t["hottest"].max() for t in tiles)),
    )  # fmt: skip


def lay_patch(truth: Truth, setting: pp.Setting, rng: np.random.Generator) -> Seen:
    """A test patch: its middle and the end of its line, laid with a timed stroke (half as uneven as a day's work)."""
    calm = replace(truth, motion=replace(truth.motion, speed_spread=truth.motion.speed_spread / 2, stop_seconds=0.0))
    return seen_of([lay_tile(calm, setting, rng, place) for place in ("middle", "end")])


def finished(truth: Truth, setting: pp.Setting, rng: np.random.Generator, strokes: int = 3) -> tuple[bool, bool, Seen]:
    """(clean, harmless, what is seen) of a finished surface: several strokes, their ends too where the hand stops."""
    places = ["middle"] * strokes + ["end"] + (["start"] if truth.starts == "free" else [])
    seen = seen_of([lay_tile(truth, setting, rng, place) for place in places])
    return seen.left <= EDGES[0], seen.tinted <= HARM_SHARE and seen.mark <= MARK, seen


def grade(truth: Truth, setting: pp.Setting, seen: Seen, rng: np.random.Generator) -> Any:
    """The patch as somebody grades it: an eye that slips near the edges, and now and then a plain wrong word."""
    share = special.expit(special.logit(np.clip(seen.left, 1e-4, 1 - 1e-4)) + truth.slip * rng.normal())
    residue = int(np.searchsorted(EDGES, share))
    if residue == 3 and seen.gone < 0.05 * truth.film["thickness"]:
        residue = 4
    harm = HARMS.index(seen.harm)
    for name, last in (("residue", 4), ("harm", 3)):
        if rng.random() < truth.wrong:
            at = residue if name == "residue" else harm
            away = at + int(rng.choice([-1, 1])) if rng.random() < 0.8 else int(rng.integers(last + 1))
            away = min(max(away, 0), last)
            residue, harm = (away, harm) if name == "residue" else (residue, away)
    return pp.Graded(setting, RESIDUES[residue], HARMS[harm])


# ---- The study ----

PIECES = (
    ("oil-varnish", "oak", "aged", "aged"), ("loose-rust", "tool-steel", "unknown", "unknown"),
    ("masonry-paint", "fired-brick", "unknown", "unknown"), ("baked-grease", "aluminium", "unknown", "unknown"),
)  # fmt: skip


def study(truths: int = 8, settings: int = 2, seed: int = 5) -> list[str]:
    """Forecast against outcome over many pieces: mean chances beside how often it came true, and a score."""
    lines = ["| piece | patches | P(clean) | came clean | P(harm) | came to harm |", "|---|---|---|---|---|---|"]
    for coating, substrate, condition, under in PIECES:
        laser = pp.laser("pulsed-500")
        surface = pp.Surface([pp.Layer(coating, condition=condition)], substrate, condition=under)
        belief = pp.prior(surface, laser)
        window = pp.forecast(belief)
        told = np.zeros((0, 4))
        rng = np.random.default_rng(seed)
        followed = np.array([s.repetition_rate * TILE**2 / (s.travel_speed * s.sweep_width) for s in window.settings])
        followed *= [s.passes for s in window.settings]
        middling = np.flatnonzero((window.p_clean > 0.15) & (followed < STUDIED))
        for _ in range(truths):
            truth = draw_truth(coating, substrate, laser, rng, condition=condition, under_condition=under)
            for k in rng.choice(middling, settings, replace=False):
                try:
                    clean, harmless, _ = finished(truth, window.settings[int(k)], rng, strokes=2)
                except ValueError:
                    continue
                told = np.vstack([told, [window.p_clean[k], clean, window.p_harm[k], not harmless]])
        p_clean, clean, p_harm, harm = told.mean(axis=0)
        lines.append(
            f"| {coating} on {substrate} | {len(told)} | {p_clean:.2f} | {clean:.2f} | {p_harm:.2f} | {harm:.2f} |"
        )
    return lines


if __name__ == "__main__":
    print("\n".join(study()))
