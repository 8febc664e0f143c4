"""What the pulses of a moving hand leave on the work: dose, hits, film taken off, highest face temperature.

A map of square pixels, each a place (the pixel's centre). `strokes` says where every pulse lands, `dose_kernels`
adds them up; here are the things a map is made of, and the numbers read off it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage, optimize, special

from proofpatch.errors import InputError, expect
from proofpatch.physics import dose_kernels as kernels
from proofpatch.physics.beam import mean_fluence
from proofpatch.physics.outcome import ABSENT, INCUBATION_HITS, REFERENCE_WIDTH
from proofpatch.physics.removal import plume_saturation
from proofpatch.physics.setting import BOUNDS, finite_number
from proofpatch.physics.strokes import Pulses

Floats = NDArray[np.float64]
Counts = NDArray[np.int32]

PIXELS_PER_RADIUS = 6.0  # of `default_pixel`
MOST_PIXELS = 10_000_000  # 80 MB a map
MOST_CELLS = 100_000_000  # pixels and the margin the kernels add to each row
COARSEST = 0.5  # spot radii; a coarser pixel misses what a pulse does
FIT_ERROR = 0.004  # of erfcx as a sum of exponentials, relative; checked to stay under 0.5 %
FIT_TERMS = 60  # twelve do for an hour on wood


@dataclass(frozen=True)
class Grid:
    """The pixels of a map; row i, column j has its centre at x0 + (j + ½) pixel, y0 + (i + ½) pixel.

    Args:
        x0, y0: corner with the lowest x and y [m].
        pixel: side of a pixel [m].
        columns, rows: number of pixels along x (the sweep line) and along y (the hand's travel).

    Raises:
        InputError: not such a grid, or over ten million pixels.
    """

    x0: float
    y0: float
    pixel: float
    columns: int
    rows: int

    def __post_init__(self) -> None:
        for field, low, high in (("x0", -1e3, 1e3), ("y0", -1e3, 1e3), ("pixel", 1e-7, 1e-1)):
            object.__setattr__(self, field, finite_number(field, field, getattr(self, field), low, high, "m"))
        for field in ("columns", "rows"):
            count = finite_number(field, f"The number of {field}", getattr(self, field), 1, MOST_PIXELS, "")
            if count != int(count):
                raise InputError(field, f"The number of {field} is {count:g}.", "Give a whole number.")
            object.__setattr__(self, field, int(count))
        if self.columns * self.rows > MOST_PIXELS:
            raise InputError(
                "pixel",
                f"The map has {self.columns * self.rows:.3g} pixels; {MOST_PIXELS:,} at most are drawn.",
                "Map a smaller area, or take coarser pixels.",
            )

    @classmethod
    def over(cls, x_low: float, x_high: float, y_low: float, y_high: float, pixel: float) -> Grid:
        """The grid that covers an area [m], from its lower corner."""
        pixel = finite_number("pixel", "The pixel", pixel, 1e-7, 1e-1, "m")
        x_low, x_high, y_low, y_high = _area(x_low, x_high, y_low, y_high)
        counts = []
        for field, side in (("x_high", x_high - x_low), ("y_high", y_high - y_low)):
            finite_number(field, "The side of the map", side, pixel, 2e3, "m")
            counts.append(max(1, math.ceil(side / pixel - 1e-9)))
        return cls(x_low, y_low, pixel, *counts)

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, columns), the shape of every map."""
        return self.rows, self.columns

    @property
    def x(self) -> Floats:
        """Centres of the columns [m]."""
        return np.asarray(self.x0 + (np.arange(self.columns) + 0.5) * self.pixel)

    @property
    def y(self) -> Floats:
        """Centres of the rows [m]."""
        return np.asarray(self.y0 + (np.arange(self.rows) + 0.5) * self.pixel)


def _area(*corners: float) -> list[float]:
    """Corners of an area as numbers, or one clear sentence."""
    names = ("x_low", "x_high", "y_low", "y_high")
    return [finite_number(n, f"{n} of the area", c, -1e3, 1e3, "m") for n, c in zip(names, corners, strict=True)]


def default_pixel(spot_radius: float) -> float:
    """A pixel fine enough for most questions.

        pixel = w/6                                                              (1)
        energy of one pulse on the map:  σ(E)/E ≤ 0.26 m (pixel/w)^1.5           (2)

    Args:
        spot_radius: w, the smallest on the map [m].

    Returns:
        Side of a pixel [m].

    Raises:
        InputError: the radius is out of its range.

    A place's dose is as exact on any pixel; (2) is what is lost by looking at places instead of areas: 1.8 % (one
    standard deviation) for a single pulse of pure top-hat, less for the sum of many, nothing for a Gaussian. Pulses
    may lie closer than a pixel. Gaps and islands are seen down to one pixel.
    Source: form of (2) Kendall, Q. J. Math. 19, 1 (1948), points of a lattice in a circle (from memory); its
    constant counted here for w/pixel from 2 to 12 (tests/physics/test_dose_map.py).
    """
    words, unit, low, high = BOUNDS["spot_radius"]
    return finite_number("spot_radius", words, spot_radius, low, high, unit) / PIXELS_PER_RADIUS  # (1)


def _within(thing: Any, bounds: dict[str, tuple[float, float, str]]) -> None:
    """Every field a finite number within its bounds; they keep 5e-324 and 1e308 out, common practice, no source."""
    for field, (low, high, unit) in bounds.items():
        words = field.replace("_", " ").capitalize()
        object.__setattr__(thing, field, finite_number(field, words, getattr(thing, field), low, high, unit))


@dataclass(frozen=True)
class Film:
    """One layer of coating, as blow-off sees it.

    Args:
        thickness: h [m]; `dose_map` takes a map of it instead.
        threshold: F_th of the first hit at 100 ns [J/m²].
        depth: δ, of ln(F/F_th) [m].
        incubation: S, 1 where hits leave no memory [1]; counted up to a hundred hits.
        width_exponent: x of (τ/100 ns)^x on the threshold [1].
        plume_fluence: F_s, the most that passes a pulse's own plume [J/m²]; None where the plume does not matter.

    Raises:
        InputError: a value is out of its range.
    """

    thickness: float
    threshold: float
    depth: float
    incubation: float = 1.0
    width_exponent: float = 0.0
    plume_fluence: float | None = None

    def __post_init__(self) -> None:
        bounds = {
            "thickness": (0.0, 1.0, "m"), "threshold": (1e-2, 1e9, "J/m²"), "depth": (1e-10, 1e-1, "m"),
            "incubation": (0.1, 2.0, ""), "width_exponent": (-2.0, 2.0, ""),
        }  # fmt: skip
        _within(self, bounds | ({} if self.plume_fluence is None else {"plume_fluence": (1e-2, 1e12, "J/m²")}))


@dataclass(frozen=True)
class Skin:
    """A bare substrate's face, as heat sees it.

    Args:
        absorptance: A, of the light on it [1].
        share: s, of what is absorbed, taken within the skin [1]; 1 on metal.
        depth: d, of the skin [m]; 0 where light stops at the face.
        heat_capacity: ρc, by volume [J/(m³ K)].
        conductivity: k [W/(m K)].
        diffuse_depth: over which the rest is spread [m].

    Raises:
        InputError: a value is out of its range.
    """

    absorptance: float
    share: float
    depth: float
    heat_capacity: float
    conductivity: float
    diffuse_depth: float = 1.0

    def __post_init__(self) -> None:
        bounds = {
            "absorptance": (0.0, 1.0, ""), "share": (0.0, 1.0, ""), "depth": (0.0, 1e-1, "m"),
            "heat_capacity": (1e3, 1e8, "J/(m³ K)"), "conductivity": (1e-4, 1e5, "W/(m K)"),
            "diffuse_depth": (1e-7, 1e3, "m"),
        }  # fmt: skip
        _within(self, bounds)


@dataclass(frozen=True)
class Maps:
    """What the pulses left; arrays (rows, columns) of one grid, None where it was not asked for.

    dose: energy per area of all pulses [J/m²]. hits: pulses whose 1/e² spot covered the place.
    ablating_hits: those that took film off. depth_removed, remaining: film gone and left [m].
    peak_rise: highest rise of the bare face [K]. peak_time: when, NaN where no pulse came [s].
    """

    grid: Grid
    dose: Floats
    hits: Counts
    ablating_hits: Counts | None = None
    depth_removed: Floats | None = None
    remaining: Floats | None = None
    peak_rise: Floats | None = None
    peak_time: Floats | None = None

    @property
    def covered(self) -> NDArray[np.bool_]:
        """Where film is left.

        Raises:
            InputError: the map was made without a film.
        """
        if self.remaining is None:
            raise InputError("film", "The map was made without a film.", "Give one to dose_map.")
        return self.remaining > ABSENT

    def within(self, x_low: float, x_high: float, y_low: float, y_high: float) -> Maps:
        """The part of the maps whose pixels have their centres in an area [m], to leave out soft rims.

        Raises:
            InputError: no pixel lies in it.
        """
        g = self.grid
        x_low, x_high, y_low, y_high = _area(x_low, x_high, y_low, y_high)
        columns = np.flatnonzero((g.x >= x_low) & (g.x <= x_high))
        rows = np.flatnonzero((g.y >= y_low) & (g.y <= y_high))
        if not columns.size or not rows.size:
            raise InputError("x_low", "No pixel of the map lies in that area.", "Give an area on the map, in metres.")
        i, j = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
        grid = Grid(g.x0 + j.start * g.pixel, g.y0 + i.start * g.pixel, g.pixel, columns.size, rows.size)
        whole = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "grid"}
        cut: dict[str, Any] = {name: None if a is None else a[i, j] for name, a in whole.items()}
        return Maps(grid, **cut)


def dose_map(
    pulses: Pulses, pulse_energy: float, top_hat_share: float, grid: Grid, film: Film | None = None, *,
    thickness: ArrayLike | None = None, skin: Skin | None = None, pulse_width: float = REFERENCE_WIDTH,
) -> Maps:  # fmt: skip
    """What pulses leave on every pixel of a grid.

        F(r) = (E/π w²) [ 2 (1 − m) exp(−2 r²/w²) + m (r < w) ],  dose = Σ F     (1)
        hit  r < w;   N, the hits of a place so far
        d = δ ln(F_used/F_th(N)),  F_used = F · F_s (1 − e^(−F_m/F_s))/F_m,  F_th(N) = F_th (τ/100 ns)^x N^(S−1)   (2)
        ΔT = Σ_j A F_j [ (s/(ρc d)) erfcx(√(D (t − t_j))/d) + (1 − s)/(ρc d_diffuse) ],  d = d_s + √(π D τ)/2   (3)

    Args:
        pulses: where they land, in the order fired.
        pulse_energy: E, of each [J].
        top_hat_share: m [1].
        grid: the pixels; no coarser than half the smallest spot radius.
        film: what (2) takes off, or None.
        thickness: film at each pixel instead of `film.thickness` [m], shape `grid.shape`.
        skin: of the bare substrate for (3), or None.
        pulse_width: τ [s].

    Returns:
        The maps.

    Raises:
        InputError: an argument is of the wrong kind or out of its range.

    (1) is cut off two radii to each side (1.3e-4 of a Gaussian's energy); sums run in single precision, within 1e-5
    of the highest dose. (2) goes pulse by pulse at each place, stops when the film is gone and leaves out that a warm
    film goes sooner and that light may throw it off from below: removal is under- rather than overrated. (3) takes the
    face as bare from the first pulse, all light on it; heat goes straight down into a thick solid, none sideways, no
    moisture: on metals, where heat runs sideways between lines, it overrates. It is the rise above the temperature
    before, just after each pulse; the cooling is right to 0.5 % of what is left of each pulse.
    Source: `beam.fluence_at`, `removal`, `heat.instant_volume_rise`; the pulse's own reach in d as in `outcome`.
    """
    expect("pulses", pulses, Pulses, "Place them with place_pulses.")
    expect("grid", grid, Grid, "Give a Grid.")
    expect("film", film, (Film, type(None)), "Give a Film or None.")
    expect("skin", skin, (Skin, type(None)), "Give a Skin or None.")
    energy = finite_number("pulse_energy", "Pulse energy", pulse_energy, 1e-12, 1e5, "J")
    m = finite_number("top_hat_share", "Top-hat share", top_hat_share, 0.0, 1.0, "")
    words, unit, low, high = BOUNDS["pulse_width"]
    width = finite_number("pulse_width", words, pulse_width, low, high, unit)
    cover = _thickness(film, thickness, grid)
    near, places = _places(pulses, energy, m, grid)
    maps = Maps(grid, *kernels.add_dose(places, grid.shape))
    if film is not None and cover is not None:
        left, ablating = kernels.take_off(places, _blow(film, places, energy, m, width, grid.pixel), cover)
        maps = replace(maps, ablating_hits=ablating, depth_removed=cover - left, remaining=left)
    if skin is not None:
        time = pulses.time[near]
        peak, index = kernels.warm_up(places, time, cooling_of(skin, time, width), grid.shape)
        when = np.append(time, math.nan)[index]  # −1, no pulse, finds the NaN
        maps = replace(maps, peak_rise=peak, peak_time=when)
    return maps


def _thickness(film: Film | None, thickness: ArrayLike | None, grid: Grid) -> Floats | None:
    """Film at every pixel [m], or None without a film."""
    if film is None:
        if thickness is not None:
            raise InputError("thickness", "A thickness was given without a film.", "Give the film too.")
        return None
    try:
        cover = np.array(film.thickness if thickness is None else thickness, dtype=float)
    except (TypeError, ValueError):
        raise InputError("thickness", "The film's thickness is not a map of numbers.", "Give it in metres.") from None
    if cover.shape not in ((), grid.shape):
        raise InputError(
            "thickness", f"The map of thickness is {cover.shape}, the grid {grid.shape}.", "Give one value a pixel."
        )
    if not np.all((cover >= 0) & (cover <= 1.0)):
        raise InputError("thickness", "A film's thickness is outside 0 to 1 m.", "Check the values and their unit.")
    return np.ascontiguousarray(np.broadcast_to(cover, grid.shape)).copy()


def _places(pulses: Pulses, energy: float, m: float, grid: Grid) -> tuple[NDArray[np.int64], kernels.Places]:
    """(numbers of the pulses that reach the map, where on it they land and what they bring)."""
    if len(pulses) and grid.pixel > COARSEST * pulses.radius.min() * (1 + 1e-9):
        raise InputError(
            "pixel",
            f"A pixel of {grid.pixel:.3g} m is coarse for a spot radius of {pulses.radius.min():.3g} m.",
            "Take at most half the smallest spot radius.",
        )
    widest = pulses.radius.max(initial=0.0) / grid.pixel
    if grid.rows * (grid.columns + 4.0 * kernels.SUPPORT * widest) > MOST_CELLS:
        raise InputError(
            "grid",
            f"{grid.rows} rows of {grid.columns} pixels are too many for spots {2 * widest:.3g} pixels wide.",
            "Map fewer rows, or take coarser pixels.",
        )
    column = (pulses.x - grid.x0) / grid.pixel - 0.5
    row = (pulses.y - grid.y0) / grid.pixel - 0.5
    radius = pulses.radius / grid.pixel
    reach = kernels.FARTHEST * radius
    near = np.flatnonzero(
        (column > -reach) & (column < grid.columns + reach) & (row > -reach) & (row < grid.rows + reach)
    )
    fluence = np.asarray(mean_fluence(energy, pulses.radius[near]))
    return near, kernels.Places(column[near], row[near], radius[near], 2.0 * (1.0 - m) * fluence, m * fluence)


def _blow(film: Film, places: kernels.Places, energy: float, m: float, width: float, pixel: float) -> kernels.Blow:
    """(2) of `dose_map` made ready: thresholds by hit, what passes the plume, how far a pulse can ablate."""
    hits = np.maximum(np.arange(int(INCUBATION_HITS) + 1), 1)
    threshold = film.threshold * (width / REFERENCE_WIDTH) ** film.width_exponent
    log_threshold = math.log(threshold) + (film.incubation - 1.0) * np.log(hits)
    fluence = np.asarray(mean_fluence(energy, places.radius * pixel))
    used = np.ones_like(fluence)
    if film.plume_fluence is not None:
        used = plume_saturation(fluence, film.plume_fluence) / fluence
    over = np.log(np.maximum(used * places.gaussian, 1e-300)) - log_threshold.min()
    return kernels.Blow(log_threshold, used, film.depth, np.sqrt(np.clip(0.5 * over, 1.0, kernels.FARTHEST**2)))


def cooling_of(skin: Skin, time: Floats, pulse_width: float) -> kernels.Cooling:
    """(3) of `dose_map` as a sum of exponentials, good for the times between these pulses.

    Args:
        skin: the face.
        time: of the pulses, rising [s].
        pulse_width: τ [s].

    Returns:
        Rates and rises.
    """
    diffusivity = skin.conductivity / skin.heat_capacity
    reach = skin.depth + math.sqrt(math.pi * diffusivity * pulse_width) / 2.0
    clock = diffusivity / (reach * reach)
    gaps = np.diff(time)
    shortest = gaps[gaps > 0].min() if np.any(gaps > 0) else 1.0
    rate, share = erfcx_terms(clock * shortest, clock * (time[-1] - time[0]) if time.size else 0.0)
    rise = skin.absorptance * skin.share / (skin.heat_capacity * reach) * share
    rest = skin.absorptance * (1.0 - skin.share) / (skin.heat_capacity * skin.diffuse_depth)
    return kernels.Cooling(np.append(clock * rate, 0.0), np.append(rise, rest))


def erfcx_terms(shortest: float, longest: float) -> tuple[Floats, Floats]:
    """Rates and shares of a sum of falling exponentials that stands for the cooling of a flash.

        erfcx(√θ) ≈ Σ c_k exp(−s_k θ),   c_k > 0                                 (1)

    erfcx(√θ) is such a sum with infinitely many terms, (1/π) ∫ exp(−sθ)/(√s (1 + s)) ds, so positive ones serve. They
    are fitted at rates evenly spread in log, by least squares with weights that grow where the error is largest.

    Args:
        shortest, longest: θ = D t/d² for which (1) must hold, and at 0 [1].

    Returns:
        (s, c); the relative error is under 0.5 % at 0 and between the two (tested).

    Source: integral from NIST Digital Library of Mathematical Functions, 7.7 (from memory), checked against SciPy.
    """
    high = min(max(longest, 1.0), 1e16)
    low = min(max(shortest, 1e-7), high / 2.0)  # below it the sum cannot be off by more than erfcx moves, 4e-4
    theta = np.concatenate([[0.0], np.geomspace(low, high, int(24 * math.log10(high / low)) + 24)])
    exact = special.erfcx(np.sqrt(theta))
    for count in range(2, FIT_TERMS):
        # The last one is gone before the next pulse comes: it only lifts the sum at 0.
        rates = np.append(np.geomspace(0.25 / high, max(min(2.0 / low, 1e3), 0.5 / high), count), 40.0 / low)
        terms = np.exp(-np.outer(theta, rates)) / exact[:, None]
        weight = np.ones_like(theta)
        for _ in range(15):
            share = optimize.nnls(terms * weight[:, None], weight)[0]
            error = np.abs(terms @ share - 1.0)
            if error.max() < FIT_ERROR:
                return rates[share > 0], share[share > 0]
            weight *= np.sqrt(error / error.max() + 1e-3)
    raise AssertionError(f"no fit of erfcx between {low:g} and {high:g}")


@dataclass(frozen=True)
class Islands:
    """Connected areas still covered: how many, the largest [m²], and their share of the map [1]."""

    count: int
    largest: float
    share: float


def islands(maps: Maps) -> Islands:
    """The connected areas still covered; pixels that touch at a corner are one island.

    Args:
        maps: made with a film.

    Returns:
        Their count, the largest area and their share of the map.

    Raises:
        InputError: the map was made without a film.

    Source: definition; connected areas by scipy.ndimage.
    """
    covered = maps.covered
    label, count = ndimage.label(covered, structure=np.ones((3, 3)))
    largest = int(np.bincount(label.ravel())[1:].max()) if count else 0
    return Islands(int(count), largest * maps.grid.pixel**2, float(covered.mean()))


@dataclass(frozen=True)
class HotEdges:
    """Dose at the ends of the line, averaged along the travel: of the last spot diameter over the middle quarter,
    of the hottest place of the outer halves over the middle quarter, and of the last diameter over the whole line."""

    end_over_middle: float
    highest_over_middle: float
    end_over_mean: float


def hot_edges(maps: Maps, sweep_width: float, spot_diameter: float, middle: float = 0.0) -> HotEdges:
    """How much hotter the ends of the line are than its middle.

    Args:
        maps: one lane, cut to where the hand travelled evenly.
        sweep_width: W [m].
        spot_diameter: 2 w [m].
        middle: x of the lane's middle [m].

    Returns:
        The ratios; a spot wide of the line's end takes half its energy out of the last diameter, so even a line at
        constant speed has soft ends.

    Raises:
        InputError: the map does not reach both the middle and the ends, or got no dose there.

    Source: definition.
    """
    width = finite_number("sweep_width", "Sweep width", sweep_width, *BOUNDS["sweep_width"][2:], "m")
    spot = finite_number("spot_diameter", "Spot diameter", spot_diameter, 1e-6, width / 2.0, "m")
    away = np.abs(maps.grid.x - finite_number("middle", "The middle", middle, -1e3, 1e3, "m"))
    profile = maps.dose.mean(axis=0)
    line, end = away <= width / 2.0, (away <= width / 2.0) & (away >= width / 2.0 - spot)
    inner, outer = away <= width / 8.0, away >= width / 4.0
    if not end.any() or not inner.any() or profile[inner].mean() <= 0.0:
        raise InputError("sweep_width", "The map does not show the middle and the ends of a line.", "Map a whole lane.")
    at_end, at_middle = profile[end].mean(), profile[inner].mean()
    return HotEdges(
        float(at_end / at_middle), float(profile[outer].max() / at_middle), float(at_end / profile[line].mean())
    )
