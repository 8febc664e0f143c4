"""What a figure of the day's checks may be, as data a phone out of reach looks up: it works nothing out itself.

Where the phone cannot be sure the figure is on the safe side of the limit, the day stays shut until the laptop has it.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from proofpatch.lasers.readings import FACTOR_BOUNDS, Reading
from proofpatch.run.day import READS, Check, Morning, bounds_of, dew_point, figures, power_falls
from proofpatch.run.piece import Piece
from proofpatch.sources import cite
from proofpatch.units import KINDS, ZERO_CELSIUS, show, spelt

# Spellings of a speed that a phone reads; there are hundreds. Another one waits for the laptop.
SPEEDS = ("m/s", "km/h", "cm/s", "mm/s", "ft/s", "ft/min", "fpm", "in/s", "in/min")
AIR = tuple(ZERO_CELSIUS + t for t in range(-20, 60, 10))  # K, edges
STEP = 0.025  # of humidity
GATES = "gates"
HALVINGS = 40  # of a factor of 10⁷: to a few millionths


@dataclass(frozen=True)
class Limit:
    """What a figure may be. least, most: [SI], both fit. words: said of one beyond them."""

    least: float
    most: float
    words: str


def limit_of(
    check: Check, piece: Piece, readings: Iterable[Reading] = (), on: datetime.date | None = None
) -> Limit | None:  # fmt: skip
    """What the figure of a check may be; None of one that reads nothing.

    Args:
        readings: of the laser, all of them. on: the day; both as `day.morning` takes them.
    """
    if check.reads is None:
        return None
    low, high = bounds_of(check, check.reads)
    then = f"{check.stop} {check.cause}".strip()
    if check.most is not None:
        most = check.most.value
        return Limit(low, most, f"{check.title}: {show(most, check.reads)} is the most ({cite(check.most)}). {then}")
    if check.name == "power" and piece.power is not None:
        most = FACTOR_BOUNDS[1] * piece.power
        least = _least_power(piece, most, list(readings), on)
        said = f"{show(least, 'power')} is the least today, and {show(most, 'power')} the most"
        return Limit(least, most, f"{check.title}: {said}. {then}")
    between = f"{show(low, check.reads)} to {show(high, check.reads)}"
    return Limit(low, high, f"{check.title}: what can be read lies in {between}. {then}")


def _least_power(piece: Piece, most: float, readings: list[Reading], on: datetime.date | None) -> float:
    """The least power at the work that stops nothing [W], to three digits upwards; the most where all do."""
    low, high = READS["power"][0], most * (1 - 1e-9)
    if power_falls(piece, high, readings, on):
        return most
    if not power_falls(piece, low, readings, on):
        return low
    for _ in range(HALVINGS):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if power_falls(piece, middle, readings, on) else (low, middle)
    digit = 10.0 ** (math.floor(math.log10(high)) - 2)
    return math.ceil(high / digit * (1 - 1e-6)) * digit


def unsettled(found: Morning, piece: Piece, limits: Mapping[str, Limit | None]) -> tuple[str, ...]:
    """Names of the checks that stop the day, for a phone that answers them anew; GATES: what no tick settles."""
    power = limits.get("power")
    fixed = bool(piece.open_gates) or (power is not None and power.least >= power.most)
    return (*dict.fromkeys(one.name for one in found.stops), *((GATES,) if fixed else ()))


def damp_table() -> dict[str, list[float] | list[list[float]]]:
    """How warm bare steel has to be at least, by air and humidity.

    Returns:
        {"air": edges [K], "humidity": edges [1], "least": metal less air [K]}, least[i][j] of air from air[i] to
        air[i + 1] and humidity above humidity[j - 1] up to humidity[j]: the strictest of that field, rounded up.

    The dew point lies the less below the air the colder it is and the damper, so the field's cold, damp corner is it.
    """
    humid = np.arange(1, round(1 / STEP) + 1) * STEP
    above = figures()["above_dew"].value
    least = [[math.ceil(20 * (dew_point(air, float(h)) - air + above)) / 20 for h in humid] for air in AIR[:-1]]
    return {"air": list(AIR), "humidity": [round(float(h), 3) for h in humid], "least": least}


def spellings(reads: str) -> dict[str, tuple[float, float]]:
    """{unit as it is typed: (its size in SI, what is added)} of what a phone reads."""
    kind = KINDS[reads]
    names = SPEEDS if reads == "speed" else tuple(kind.units)
    found = {name: spelt(name, reads) for name in names}
    return found | ({"": (1.0, 0.0)} if reads == "share" else {})
