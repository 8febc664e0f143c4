"""Power: what laser, chiller and extractor draw against the circuits at hand.

A circuit carries 80 % of its rating when it runs for hours (common practice, no source; local code decides).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from proofpatch.errors import InputError

CONTINUOUS = 0.8  # of its rating a circuit carries for hours; common practice, no source
SAME_VOLTAGE = 0.15  # of a load's own; common practice, no source
VOLTS, AMPERES = (50.0, 1000.0), (1.0, 400.0)


@dataclass(frozen=True)
class Circuit:
    """One circuit by its rating."""

    volts: float
    amperes: float

    @property
    def carries(self) -> float:
        """Power it carries for hours [W]."""
        return CONTINUOUS * self.volts * self.amperes


@dataclass(frozen=True)
class Supply:
    """Which loads go on which circuit; one not placed has no room. placed: (load, circuit number) in order."""

    placed: tuple[tuple[str, int], ...]
    left_out: tuple[str, ...]
    drawn: float
    loads: tuple[tuple[str, float], ...] = ()


def read_circuit(text: str, field: str = "circuit") -> Circuit:
    """A circuit of "230 V, 16 A".

    Raises:
        InputError: it is none.
    """
    found = re.fullmatch(r"\s*([\d.]+)\s*[vV]\w*\s*[,;x ]\s*([\d.]+)\s*[aA]\w*\s*", text)
    numbers = [float(part) for part in found.groups()] if found and all(
        re.fullmatch(r"\d+(\.\d+)?", part) for part in found.groups()
    ) else []  # fmt: skip
    if not numbers or not VOLTS[0] <= numbers[0] <= VOLTS[1] or not AMPERES[0] <= numbers[1] <= AMPERES[1]:
        raise InputError(field, f"{field}: {text[:40]!r} is no circuit.", "Write it like '230 V, 16 A'.")
    return Circuit(*numbers)


def supply(loads: Sequence[tuple[str, float, float | None]], circuits: Sequence[Circuit]) -> Supply:
    """Places the largest load first, each on the circuit with most room left.

    Args:
        loads: (name, W, its voltage or None). circuits: at hand.
    """
    room = [one.carries for one in circuits]
    placed: list[tuple[str, int]] = []
    left: list[str] = []
    for name, watts, volts in sorted(loads, key=lambda load: -load[1]):
        fits = [
            n for n, free in enumerate(room)
            if free >= watts and (volts is None or abs(circuits[n].volts / volts - 1.0) <= SAME_VOLTAGE)
        ]  # fmt: skip
        if not fits:
            left.append(name)
            continue
        best = max(fits, key=lambda n: room[n])
        room[best] -= watts
        placed.append((name, best))
    return Supply(
        tuple(placed),
        tuple(left),
        sum(watts for _, watts, _ in loads),
        tuple((name, watts) for name, watts, _ in loads),
    )
