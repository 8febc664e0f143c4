"""Strokes laid over a zone by a hand: how many, how long they take, and what is lost between them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from proofpatch.offer.rates import Draws, Floats
from proofpatch.offer.zones import Zone
from proofpatch.physics.setting import Setting

COVERS_95 = 1.96  # standard deviations; `learn.Hand` gives the ± that covers 95 % of the surface

# Where nothing was read off.
UNREAD = {"told": "an area that was only told", "eye": "an area guessed by eye", "pace": "an area paced off"}


@dataclass(frozen=True)
class Laid:
    """One piece, sampled: beam [s] on, turns [s] between strokes, stances [s] between reaches; strokes counted."""

    beam: Floats
    turns: Floats
    stances: Floats
    strokes: Floats


def lanes_over(width: Floats | float, sweep_width: float, overlap: Floats) -> Floats:
    """Whole lanes that cover a width.

        1                                    for b ≤ W                           (1)
        1 + ⌈(b − W)/(W (1 − o))⌉            beyond                              (2)

    Args:
        width: b, across the strokes [m]; broadcasts with the overlap. sweep_width: W [m].
        overlap: o, share of W by which a lane covers the last one [1].

    Source: geometry; the first lane covers W, each further one W (1 − o).
    """
    beyond = np.maximum(width - sweep_width, 0.0) / (sweep_width * (1.0 - overlap))
    return np.asarray(1.0 + np.ceil(np.round(beyond, 9)))


def strokes_over(
    area: Floats, width: float | None, sweep_width: float, overlap: Floats, reach: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """(across [m], lanes, parts of a lane, along [m]) of one pass over an area, arrays of one length.

    Args:
        area: [m²]. width: across the strokes [m]; None: about square. sweep_width: [m]. overlap: of lanes [1].
        reach: longest stroke from one stance [m].
    """
    if width is None:
        across = along = np.sqrt(area)
    else:
        across, along = np.full(np.shape(area), width), area / width
    return across, lanes_over(across, sweep_width, overlap), np.ceil(along / reach), along


def lay(zone: Zone, setting: Setting, hand_spread: float, draws: Draws, key: str) -> Laid:
    """The laying of one zone at a setting, all passes, all equal ones; effort counts as area.

    A zone of no width is taken as square. A stroke longer than the reach is drawn in parts; every part runs on to a
    mask or off the piece at both its ends.
    """
    area = zone.area * (1.0 - zone.hand_share) * zone.effort * _sure(zone, draws, key)
    reach = draws["stroke_reach"]
    across, lanes, parts, along = strokes_over(area, zone.width, setting.sweep_width, draws["lane_overlap"], reach)
    strokes = lanes * parts * setting.passes * zone.count
    metres = lanes * (along + parts * draws["stroke_run"]) * setting.passes * zone.count
    # A stroke takes length/u on average, as physics.strokes clocks it; the sum of n varies by 1/√n of what one does.
    strokes = np.maximum(strokes, 1.0)
    spread = math.log1p(hand_spread) / COVERS_95
    uneven = 1 + spread / np.sqrt(strokes) * draws.rng(key).standard_normal(draws.samples)
    beam = metres / setting.travel_speed * uneven / draws["daily_speed"]
    stances = parts * np.ceil(across / reach) * setting.passes * zone.count * draws["stance"]
    return Laid(beam, strokes * draws["stroke_turn"], stances, strokes)


def _sure(zone: Zone, draws: Draws, key: str) -> Floats:
    """The true area over the measured one."""
    found = np.ones(draws.samples)
    if zone.area_spread:
        own = np.exp(zone.area_spread * draws.rng(f"{key} area").standard_normal(draws.samples))
        found = found * draws.keep(f"area of {zone.name}" if zone.name else "area", own)
    if zone.shared_spread:
        read = UNREAD.get(zone.instrument, f"reading the {zone.instrument}")
        noise = draws.keep(read, draws.rng(zone.instrument).standard_normal(draws.samples))
        found = found * np.exp(zone.shared_spread * noise)
    return found
