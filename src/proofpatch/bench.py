"""The bench: what one or two settings are and do, every figure and every curve of it computed here.

`pictures` draws from it, the command line and JSON show it; none of them computes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from proofpatch.bench_levels import levels, said, see_through
from proofpatch.errors import InputError
from proofpatch.learn.belief import Belief
from proofpatch.learn.forecast import forecast
from proofpatch.learn.limits import Hand, Limits
from proofpatch.learn.rows import setting_rows
from proofpatch.materials import substrate as substrate_record
from proofpatch.materials.curves import substrate_curve
from proofpatch.physics import rows as at
from proofpatch.physics.beam import fluence_at
from proofpatch.physics.clocks import ROOM
from proofpatch.physics.dose_map import Grid, dose_map
from proofpatch.physics.reacting import Curve, Slab, heat_course
from proofpatch.physics.setting import Setting
from proofpatch.physics.strokes import HandMotion, place_pulses
from proofpatch.physics.trains import merged, place_train
from proofpatch.records import bench_record
from proofpatch.units import show

Floats = NDArray[np.float64]
SEED = 1  # of the hand that is drawn
STROKE, FEWEST_LINES = 20e-3, 6  # m of hand travel drawn, and lines at least
MOST_PULSES = 100_000  # drawn on a side, and CROWDED: what they cost in truth, benchmarks/bench_map.py measures
HARDLY_HIT = 1e-6  # of the edge's dose: with less in the middle there is no ratio
CROWDED = 0.25  # of the spot radius: pulses or lines closer than that are drawn as one; a pixel is wider
PHASES = np.arange(8) / 8  # of pulses and lines: where a place lies between them, in pitches
FOLLOWED = 40  # pulses at a place followed one by one; more are merged before the last
MOST_WEIGHED = 400  # pulses of a place among which the hottest moment is looked for
AFTER = 0.05  # s a place is followed after its last pulse
# Every figure that is shown, in the order it is shown: key -> (words, kind of quantity).
FIGURES = {
    "pulse_energy_J": ("pulse energy", "energy"), "peak_power_W": ("peak power", "power"),
    "mean_fluence_J_m2": ("mean fluence", "fluence"), "peak_fluence_J_m2": ("peak fluence", "fluence"),
    "coating_threshold_J_m2": ("coating leaves above", "fluence"),
    "flash_limit_J_m2": ("flash limit", "fluence"), "pulse_pitch_m": ("pulse pitch", "length"),
    "line_pitch_m": ("line pitch", "length"), "pulses_per_m2": ("pulses per mm²", "per mm²"),
    "dose_J_m2": ("dose, all passes", "fluence"), "dose_pass_J_m2": ("dose of a pass", "fluence"),
    "dose_to_clean_J_m2": ("clean needs a pass", "fluence"), "dose_to_tint_J_m2": ("harm from, a pass", "fluence"),
    "edge_over_middle": ("edge over middle", ""), "area_rate_m2_s": ("area rate", "area rate"),
    "band_rise_K": ("band, warmer by °C", ""), "peak_rise_K": ("hottest, warmer by °C", ""),
    "limit_temperature_K": ("harm at", "temperature"),
    "mean_limit_temperature_K": ("same, darkest place", "temperature"),
    "p_clean": ("clean", "chance"), "p_harm": ("harm", "chance"),
}  # fmt: skip


EMPTY = (np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0))


@dataclass(frozen=True)
class Side:
    """One setting on the bench.

    record: every figure, with unit-suffixed keys. radius, fluence: across the spot [m], [J/m²]. map, grid: dose of one
    pass [J/m²]. across, profile: along the line [m], dose there averaged over the travel and one spot [J/m²].
    seconds, face: since the first pulse at a bare place [s], rise of its face [K]. depth, hottest: below the face [m],
    highest rise [K], all four of the hottest place found; empty without a surface or where it cannot be followed.
    coating, substrate, harm: what they are called and what the substrate then does ("tints"); empty without a surface.
    limits: what limits what, in words.
    """

    setting: Setting
    record: dict[str, Any]
    radius: Floats
    fluence: Floats
    map: Floats
    grid: Grid
    across: Floats
    profile: Floats
    seconds: Floats
    face: Floats
    depth: Floats
    hottest: Floats
    coating: str
    substrate: str
    harm: str
    limits: tuple[str, ...]


def lay_out(
    settings: Sequence[Setting], top_hat_share: float, laser: Any, belief: Belief | None = None,
    limits: Limits | None = None, assumed: Sequence[str] = (), courses: bool = True,
) -> list[Side]:  # fmt: skip
    """Each setting's side of the bench.

    Args:
        settings: one or two.
        top_hat_share: m of the profile [1].
        laser: whose power factor, M² and wavelength count.
        belief: of the surface; its middle is the one drawn. None: no temperatures, no chances.
        limits: of the job.
        assumed: knobs of the first setting that were not given.
        courses: follow temperatures over time and depth too, by far the slowest part; no other figure needs it.
    """
    return [
        _side(s, top_hat_share, laser, belief, limits, assumed if n == 0 else (), courses)
        for n, s in enumerate(settings)
    ]


def warm() -> None:
    """Compiles what draws the dose, about two seconds once in a process."""
    lay_out([Setting(10.0, 20e3, 1e-7, 1e-3, 0.01, 1.0, 0.05)], 0.5, None)


def figure(record: Mapping[str, Any], key: str) -> float | None:
    """One figure of a record, the middle of it where it is a range; None where there is none."""
    found = record.get(key)
    found = found["p50"] if isinstance(found, dict) else found
    return None if found is None else float(found)


def shown(record: Mapping[str, Any], key: str) -> str:
    """One figure as people write it, a chance left out; "none" where it has no middle."""
    value, kind = figure(record, key), FIGURES[key][1]
    if value is None:
        return "none"
    if kind in ("", "per mm²"):
        return f"{float(f'{value * (1e-6 if kind else 1):.3g}'):g}"
    return show(value, kind)


def ratios(first: Side, second: Side) -> dict[str, float]:
    """The second's figures over the first's, where both have one above zero."""
    pairs = (
        (key, figure(first.record, key), figure(second.record, key))
        for key in FIGURES
        if FIGURES[key][1] != "temperature"
    )
    return {key: b / a for key, a, b in pairs if a and b}


@lru_cache(maxsize=8)
def middle(belief: Belief) -> tuple[Floats, Floats]:
    """The surface in the middle of a belief: the weighted median of every parameter; (layers, …), (…)."""
    order = np.argsort(belief.substrate, axis=0)
    total = np.cumsum(belief.weight[order], axis=0)
    sub = np.take_along_axis(belief.substrate, order, 0)[(total >= 0.5).argmax(axis=0), np.arange(total.shape[1])]
    flat = belief.layer.reshape(len(belief.weight), -1)
    order = np.argsort(flat, axis=0)
    total = np.cumsum(belief.weight[order], axis=0)
    layer = np.take_along_axis(flat, order, 0)[(total >= 0.5).argmax(axis=0), np.arange(total.shape[1])]
    return layer.reshape(belief.layer.shape[1:]), sub


def _side(
    s: Setting, share: float, laser: Any, belief: Belief | None, limits: Limits | None, assumed: Sequence[str],
    courses: bool,
) -> Side:  # fmt: skip
    factor = laser.power_factor if laser else 1.0
    record = bench_record(s, share, assumed, factor)
    radius = np.linspace(0.0, 1.8 * s.spot_radius, 181)
    energy = record["pulse_energy_J"]
    grid, maps = _map(s, share, laser, energy)
    wide = max(round(2 * s.spot_radius / grid.pixel), 1)
    profile = np.maximum(ndimage.uniform_filter1d(maps.mean(axis=0), wide, mode="constant"), 0.0)
    away = np.abs(grid.x)
    record["dose_middle_J_m2"] = float(profile[away <= s.sweep_width / 8].mean())
    record["dose_edge_J_m2"] = float(profile[(away >= s.sweep_width / 4)].max())
    edge, mid = record["dose_edge_J_m2"], record["dose_middle_J_m2"]
    record["edge_over_middle"] = edge / mid if mid > HARDLY_HIT * edge else None
    fluence = np.asarray(fluence_at(radius, energy, s.spot_radius, share))
    seen = (s, record, radius, fluence, maps, grid, grid.x, profile)
    record["dose_pass_J_m2"] = record["dose_J_m2"] / s.passes
    if belief is None:
        return Side(*seen, *EMPTY, "", "", "", ())
    if share != belief.laser.top_hat_share:
        belief = replace(belief, laser=replace(belief.laser, top_hat_share=share))
    sub = middle(belief)[1]
    row = setting_rows([s], belief.laser)[0]
    window = forecast(belief, limits, settings=[s])
    record |= {
        "p_clean": float(window.p_clean[0]), "p_harm": float(window.p_harm[0]),
        "light_to_substrate": float(window.light[0]), "governs": window.governs(0),
    }  # fmt: skip
    record |= levels(belief, row, record["dose_pass_J_m2"])
    coats, under = belief.surface.coats, substrate_record(belief.surface.substrate).title.lower()
    coating = coats[0].title.lower() if len(coats) == 1 and len(coats[0].shares) == 1 else "coating"
    harm = "tints" if sub[at.ACTIVATION] > 0 else "is harmed" if sub[at.LIMIT] < sub[at.MELT] else "melts"
    heat = record["pulse_energy_J"] / s.pulse_energy * float(sub[at.HEAT_FACTOR])
    course = _course(s, row, belief, sub, heat) if courses else EMPTY
    words = said(s, record, coating, under, harm, float(sub[at.ABSORPTANCE]), see_through(belief))
    if courses and not course[0].size:
        words = (*words, "So many pulses fall on one place that its temperature is not followed in time.")
    return Side(*seen, *course, coating, under, harm, words)


def _map(s: Setting, share: float, laser: Any, energy: float) -> tuple[Grid, Floats]:
    """(grid, dose of one pass) of a piece of a stroke by a seeded hand."""
    pitch = s.travel_speed * s.sweep_width / s.sweep_speed
    close, pulses_m = CROWDED * s.spot_radius, s.repetition_rate / s.travel_speed
    pulses_as_one = max(int(close * s.repetition_rate / s.sweep_speed), 1)
    lines_as_one = max(int(close / pitch), 1)
    length = min(STROKE, MOST_PULSES * pulses_as_one * lines_as_one / pulses_m)
    length = max(length, FEWEST_LINES * pitch, 2 * s.spot_radius)
    whole = length + 8 * s.spot_radius + 2 * pitch
    spread = Hand().speed_spread / 2
    motion = HandMotion(spread / 2, 0.0, Hand().stand_off_spread / 2, 0.0, 0.0)
    zr = math.pi * s.spot_radius**2 / (laser.m2 * laser.wavelength) if laser else math.inf
    # Where pulses or lines crowd, one strong one stands for several: the map does not see them apart.
    crowd = whole * pulses_m / MOST_PULSES
    along = min(math.ceil(crowd), pulses_as_one)
    beside = min(math.ceil(crowd / along), lines_as_one)
    few = along * beside
    try:
        drawn = s.with_(passes=1, repetition_rate=s.repetition_rate / few, sweep_speed=s.sweep_speed / beside)
        pulses = place_pulses(drawn, motion, whole, rayleigh_range=zr, seed=SEED)
    except InputError:
        raise InputError(
            "travel_speed",
            "So many pulses fall on a piece of a stroke that they cannot be drawn.",
            "Move the hand faster.",
        ) from None
    half = s.sweep_width / 2 + 2 * s.spot_radius
    pixel = max(s.spot_radius / 3, 2 * half / 1500)
    pixel = min(pixel, s.spot_radius / 2 / 1.3)
    grid = Grid.over(-half, half, (whole - length) / 2, (whole + length) / 2, pixel)
    return grid, np.asarray(dose_map(pulses, few * energy, share, grid).dose)


def _hottest(starts: Floats, fluences: Floats, held: float) -> tuple[float, int]:
    """(heat, pulse after which) a face is hottest, heat counted as (age + how long the skin holds it)^(−1/2)."""
    few = max(1, -(-starts.size // MOST_WEIGHED))
    late = np.union1d(np.arange(few - 1, starts.size, few), [int(np.argmax(fluences)), starts.size - 1])
    age = starts[late, None] - starts[None, :]
    heat = np.where(age >= 0, fluences / np.sqrt(np.maximum(age, 0.0) + held), 0.0).sum(axis=1)
    return float(heat.max()), int(late[np.argmax(heat)])


def _hottest_train(s: Setting, row: Floats, held: float) -> tuple[Floats, Floats] | None:
    """(starts, fluences) of one pass at the hottest of so many places, up to its hottest moment; None: too many.

    Where a turn crowds the pulses e-fold, e of `edge_dose_factor`, they come as from a sweep that much slower and
    narrower.
    """
    edge = float(row[at.EDGE])
    trains = []
    for pulses in PHASES:
        for lines in PHASES:
            try:
                slow = s.with_(sweep_speed=s.sweep_speed / edge, sweep_width=s.sweep_width / edge)
                starts, fluences = place_train(slow, float(row[at.TOP_HAT]), float(pulses), float(lines))
            except InputError:
                return None
            if starts.size:
                heat, last = _hottest(starts, fluences, held)
                trains.append((heat, starts[: last + 1], fluences[: last + 1]))
    if not trains:
        return None
    return max(trains, key=lambda train: train[0])[1:]


def _course(
    s: Setting, row: Floats, belief: Belief, sub: Floats, factor: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """The hottest bare place, one pass, followed by the layered solver up to its hottest moment and left to cool."""
    held = s.pulse_width + sub[at.SKIN_DEPTH] ** 2 * sub[at.HEAT_CAPACITY] / sub[at.CONDUCTIVITY]
    found = _hottest_train(s, row, float(held))
    if found is None:
        return EMPTY
    starts, fluences = found
    widths = np.full(starts.shape, s.pulse_width)
    if starts.size > FOLLOWED:
        starts, widths, fluences = merged(starts, widths, fluences, float(starts[-1]) + s.pulse_width, 0.2)
    skin = sub[at.SKIN_DEPTH]
    taken = sub[at.ABSORPTANCE] * sub[at.SKIN_SHARE]
    places: list[tuple[float, float | None]] = [(float(taken), None if skin < 1e-8 else float(1 / skin))]
    if sub[at.ABSORPTANCE] - taken > 1e-6:
        places.append((float(sub[at.ABSORPTANCE] - taken), float(1 / sub[at.DIFFUSE_DEPTH])))
    condition = belief.surface.components()[0][2]
    try:
        curve, _ = substrate_curve(belief.surface.substrate, condition, belief.surface.moisture)
    except ValueError:
        curve = Curve.steady(float(sub[at.CONDUCTIVITY]), float(sub[at.HEAT_CAPACITY]))
    slab = Slab(float(sub[at.SOLID_THICKNESS]), curve, tuple(places))
    course = heat_course([slab], starts, widths, factor * fluences / widths, AFTER, resolution=0.4)
    depth = (course.edges[1:] + course.edges[:-1]) / 2
    return course.time, course.front[:, 0] - ROOM, depth, course.hottest - ROOM
