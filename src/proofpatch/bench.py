"""The bench: what one or two settings are and do, every figure and every curve of it computed here.

`pictures` draws from it, the command line and JSON show it; none of them computes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from proofpatch.learn.belief import Belief
from proofpatch.learn.forecast import forecast
from proofpatch.learn.kernels import outcomes
from proofpatch.learn.limits import Hand, Limits
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.materials import substrate as substrate_record
from proofpatch.materials.curves import substrate_curve
from proofpatch.physics import rows as at
from proofpatch.physics.beam import fluence_at
from proofpatch.physics.clocks import ROOM
from proofpatch.physics.dose_map import Grid, dose_map
from proofpatch.physics.hot_place import _hot_place
from proofpatch.physics.outcome import CLOCKS
from proofpatch.physics.reacting import Curve, Slab, heat_course
from proofpatch.physics.setting import Setting
from proofpatch.physics.strokes import HandMotion, place_pulses
from proofpatch.physics.trains import merged, place_train
from proofpatch.records import bench_record
from proofpatch.units import show

Floats = NDArray[np.float64]
SEED = 1  # of the hand that is drawn
STROKE, FEWEST_LINES = 20e-3, 6  # m of hand travel drawn, and lines at least
MOST_PULSES = 400_000
PHASES = (0.0, 0.5)  # of pulses and lines: on one, or half-way between
FOLLOWED = 40  # pulses at a place followed one by one; more are merged before the last
MOST_WEIGHED = 4000  # pulses of a place among which the hottest moment is looked for
AFTER = 0.05  # s a place is followed after its last pulse
RATIOS = (
    "pulse_energy_J", "peak_power_W", "mean_fluence_J_m2", "peak_fluence_J_m2", "pulse_pitch_m", "line_pitch_m",
    "pulses_per_m2", "dose_J_m2", "edge_over_middle", "area_rate_m2_s", "band_rise_K", "peak_rise_K", "p_clean",
    "p_harm",
)  # fmt: skip


@dataclass(frozen=True)
class Side:
    """One setting on the bench.

    record: every figure, with unit-suffixed keys. radius, fluence: across the spot [m], [J/m²]. map, grid: dose of one
    pass [J/m²]. across, profile: along the line [m], dose there averaged over the travel and one spot [J/m²].
    seconds, face: since the first pulse at a bare place [s], rise of its face [K]. depth, hottest: below the face [m],
    highest rise [K]; the last four empty without a surface. limits: what limits what, in words.
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
    limits: tuple[str, ...]


def lay_out(
    settings: Sequence[Setting], top_hat_share: float, laser: Any, belief: Belief | None = None,
    limits: Limits | None = None, assumed: Sequence[str] = (),
) -> list[Side]:  # fmt: skip
    """Each setting's side of the bench.

    Args:
        settings: one or two.
        top_hat_share: m of the profile [1].
        laser: whose power factor, M² and wavelength count.
        belief: of the surface; its middle is the one drawn. None: no temperatures, no chances.
        limits: of the job.
        assumed: knobs of the first setting that were not given.
    """
    return [_side(s, top_hat_share, laser, belief, limits, assumed if n == 0 else ()) for n, s in enumerate(settings)]


def ratios(first: Side, second: Side) -> dict[str, float]:
    """The second's figures over the first's, where both have one above zero."""
    pairs = ((key, first.record.get(key), second.record.get(key)) for key in RATIOS)
    return {key: b / a for key, a, b in pairs if a and b}


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
    s: Setting, share: float, laser: Any, belief: Belief | None, limits: Limits | None, assumed: Sequence[str]
) -> Side:
    factor = laser.power_factor if laser else 1.0
    record = bench_record(s, share, assumed, factor)
    radius = np.linspace(0.0, 1.8 * s.spot_radius, 181)
    energy = record["pulse_energy_J"]
    grid, maps = _map(s, share, laser, energy)
    profile = ndimage.uniform_filter1d(
        maps.mean(axis=0), max(round(2 * s.spot_radius / grid.pixel), 1), mode="constant"
    )
    away = np.abs(grid.x)
    record["dose_middle_J_m2"] = float(profile[away <= s.sweep_width / 8].mean())
    record["dose_edge_J_m2"] = float(profile[(away >= s.sweep_width / 4)].max())
    record["edge_over_middle"] = record["dose_edge_J_m2"] / max(record["dose_middle_J_m2"], 1e-12)
    empty = np.zeros(0)
    course: tuple[Floats, Floats, Floats, Floats] = (empty, empty, empty, empty)
    said: tuple[str, ...] = ()
    if belief is not None:
        course, said = _on_surface(s, share, laser, belief, limits, record)
    fluence = np.asarray(fluence_at(radius, energy, s.spot_radius, share))
    return Side(s, record, radius, fluence, maps, grid, grid.x, profile, *course, said)


def _map(s: Setting, share: float, laser: Any, energy: float) -> tuple[Grid, Floats]:
    """(grid, dose of one pass) of a piece of a stroke by a seeded hand."""
    pitch = s.travel_speed * s.sweep_width / s.sweep_speed
    length = min(STROKE, MOST_PULSES * s.travel_speed / s.repetition_rate)
    length = max(length, FEWEST_LINES * pitch)
    whole = length + 8 * s.spot_radius + 2 * pitch
    spread = Hand().speed_spread / 2
    motion = HandMotion(spread / 2, 0.0, Hand().stand_off_spread / 2, 0.0, 0.0)
    zr = math.pi * s.spot_radius**2 / (laser.m2 * laser.wavelength) if laser else math.inf
    pulses = place_pulses(s.with_(passes=1), motion, whole, rayleigh_range=zr, seed=SEED)
    half = s.sweep_width / 2 + 2 * s.spot_radius
    pixel = max(s.spot_radius / 3, 2 * half / 1500)
    pixel = min(pixel, s.spot_radius / 2 / 1.3)
    grid = Grid.over(-half, half, (whole - length) / 2, (whole + length) / 2, pixel)
    return grid, np.asarray(dose_map(pulses, energy, share, grid).dose)


def _on_surface(
    s: Setting, share: float, laser: Any, belief: Belief, limits: Limits | None, record: dict[str, Any]
) -> tuple[tuple[Floats, Floats, Floats, Floats], tuple[str, ...]]:
    """((seconds, face, depth, hottest), sentences) on the middle of the belief; figures go into the record."""
    layer, sub = middle(belief)
    row = setting_rows([s], belief.laser)
    window = forecast(belief, limits, settings=[s])
    record |= {"p_clean": float(window.p_clean[0]), "p_harm": float(window.p_harm[0])}
    found = outcomes(layer[None], sub[None], row, hand_row(belief.hand), len(layer) - 1)
    margin, clock, light = float(found[2][0, 0]), CLOCKS[int(found[3][0, 0])], float(found[4][0, 0])
    taken = sub[at.ABSORPTANCE] * sub[at.SKIN_SHARE]
    band, peak, _, _, _ = _hot_place(
        row[0, at.POWER], row[0, at.RATE], row[0, at.WIDTH], row[0, at.SPOT], row[0, at.SWEEP],
        row[0, at.SWEEP_SPEED], row[0, at.TRAVEL], row[0, at.TOP_HAT], taken, sub[at.SKIN_DEPTH],
        sub[at.ABSORPTANCE] - taken, sub[at.DIFFUSE_DEPTH], sub[at.SOLID_THICKNESS], sub[at.CONDUCTIVITY],
        sub[at.HEAT_CAPACITY],
    )  # fmt: skip
    record |= {
        "band_rise_K": float(band), "peak_rise_K": float(peak), "light_to_substrate": light, "governs": clock,
        "heat_factor_to_harm": math.exp(margin),
    }  # fmt: skip
    title = substrate_record(belief.surface.substrate).title.lower()
    celsius = ROOM - 273.15
    said = (
        f"{show(light, 'share')} of the light ends as heat in the {title} while the coating is there, "
        f"{show(sub[at.ABSORPTANCE], 'share')} where it is bare.",
        f"On a bare place the band under the hand reaches {band + celsius:.0f} °C, "
        f"the hottest moment {peak + celsius:.0f} °C.",
        f"What governs harm is the {clock}: {_room(margin)}.",
        "Drawn for the middle of the belief; the chances count all of it.",
    )
    return _course(s, share, belief, sub, record["pulse_energy_J"] / s.pulse_energy), said


def _room(margin: float) -> str:
    """How far from harm, in words, of the ln of the factor by which heat could still grow."""
    times = math.exp(abs(margin))
    if times < 1.05:
        return "this is about where it begins"
    return f"it would begin at {times:.2g} times this heat" if margin > 0 else f"this is {times:.2g} times too much"


def _hottest(starts: Floats, fluences: Floats, held: float) -> int:
    """The pulse after which the face is hottest, heat counted as (age + how long the skin holds it)^(−1/2)."""
    few = max(1, starts.size // MOST_WEIGHED)
    best, at_pulse = -1.0, 0
    for k in range(0, starts.size, few):
        heat = float(np.sum(fluences[: k + 1] / np.sqrt(starts[k] - starts[: k + 1] + held)))
        if heat > best:
            best, at_pulse = heat, k
    return at_pulse


def _course(
    s: Setting, share: float, belief: Belief, sub: Floats, factor: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """The bare place that gets most in the middle of a line, one pass, followed by the layered solver up to its hottest
    moment and then left to cool."""
    trains = [place_train(s, share, a, b) for a in PHASES for b in PHASES]
    starts, fluences = max(trains, key=lambda train: float(train[1].sum()))
    held = s.pulse_width + sub[at.SKIN_DEPTH] ** 2 * sub[at.HEAT_CAPACITY] / sub[at.CONDUCTIVITY]
    last = _hottest(starts, fluences, float(held)) + 1
    starts, fluences = starts[:last], fluences[:last]
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
