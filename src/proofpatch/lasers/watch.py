"""What is read again and again: the power, and marks on one kind of card."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from proofpatch.lasers.estimate import NORMAL_90
from proofpatch.lasers.findings import SAME, Finding, cards_of, power_of
from proofpatch.lasers.readings import REPEATABILITY, Reading
from proofpatch.lasers.trend import Trend, trend
from proofpatch.units import show

SAME_POWER = 1.25  # power readings within this factor of the newest's setting are compared with it


@dataclass(frozen=True)
class Watched:
    """The trend of one thing that is read again and again. what: power, or card with its material and energy."""

    what: str
    material: str
    trend: Trend


def watched(readings: Iterable[Reading]) -> list[Watched]:
    """The trend of the power and of each burn card that was read more than once."""
    ordered = sorted(readings, key=lambda r: r.date)
    found = []
    powers = [(r.date, float(np.mean([p for p, _ in r.power])), power_of(r)) for r in ordered if r.power]
    if powers:
        newest = powers[-1][1]
        like = [(d, f) for d, dialled, f in powers if max(dialled / newest, newest / dialled) <= SAME_POWER]
        values = [f.figures["power_factor"].value for _, f in like]
        course = trend([d for d, _ in like], values, REPEATABILITY / NORMAL_90)
        if course:
            found.append(Watched("power", "", course))
    cards = [(r, f) for r in ordered for f in cards_of(r)]
    while cards:
        reading, first = cards[-1]
        energy = first.figures["pulse_energy"].value

        def same(entry: tuple[Reading, Finding], energy: float = energy, material: str = reading.material) -> bool:
            return entry[0].material == material and abs(entry[1].figures["pulse_energy"].value / energy - 1) <= SAME

        group = [entry for entry in cards if same(entry)]
        cards = [entry for entry in cards if not same(entry)]
        diameters = [f.figures["mark_diameter"].value for _, f in group]
        error = max(r.reading_error for r, _ in group) / NORMAL_90 / min(diameters)
        course = trend([r.date for r, _ in group], diameters, error)
        if course:
            found.append(Watched("card", f"{reading.material} at {show(energy, 'energy')}", course))
    return found
