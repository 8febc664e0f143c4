"""One setting of a pulsed laser with a swept line, as dialled in and as the hand moves it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from proofpatch.errors import InputError

# field: (words, unit, lowest, highest). Bounds no cleaning head exceeds; they keep 5e-324 and 1e308 out of the physics.
# Common practice, no source.
BOUNDS = {
    "average_power": ("Average power", "W", 1e-2, 1e5),
    "repetition_rate": ("Repetition rate", "Hz", 1.0, 1e8),
    "pulse_width": ("Pulse width", "s", 1e-13, 1e-2),
    "spot_radius": ("Spot radius", "m", 1e-6, 5e-2),
    "sweep_width": ("Sweep width", "m", 1e-4, 2.0),
    "sweep_speed": ("Sweep speed", "m/s", 1e-3, 1e3),
    "travel_speed": ("Travel speed", "m/s", 1e-5, 10.0),
}
PATTERNS = ("line", "sine", "zigzag", "circle", "spiral")
MOST_PASSES = 1000


def finite_number(field: str, words: str, value: Any, low: float, high: float, unit: str) -> float:
    """`value` as a float within [low, high], or one clear sentence.

    Raises:
        InputError: not a number, not finite, or outside the bounds; `field` names it.
    """
    if isinstance(value, bool) or (not isinstance(value, (int, float)) and not hasattr(value, "__float__")):
        raise InputError(field, f"{words} is not a number.", f"Give it in {unit}." if unit else "Give a plain number.")
    try:
        number = float(value)
    except (OverflowError, ValueError, TypeError):
        number = math.inf
    # A limit itself is allowed however it was rounded on the way in.
    if not math.isfinite(number) or not low * (1 - 1e-9) <= number <= high * (1 + 1e-9):
        raise InputError(
            field,
            f"{words} of {number:g} {unit}".rstrip() + f" is outside {low:g} to {high:g} {unit}.".replace(" .", "."),
            "Check the value and its unit.",
        )
    return number


@dataclass(frozen=True)
class Setting:
    """What is dialled in and how the head moves; SI throughout.

    Args:
        average_power: P [W].
        repetition_rate: f [Hz]; 20 kHz is 20 000 pulses a second.
        pulse_width: τ, full width at half maximum [s].
        spot_radius: w, 1/e² radius at the work [m].
        sweep_width: W, length of the swept line, diameter of a circle or spiral [m].
        sweep_speed: v, mean speed along the traced figure [m/s]; a line takes W/v, a turn of the circle πW/v.
        travel_speed: u, speed of the hand across the line [m/s].
        passes: how often the whole area is gone over; each pass at the same setting.
        pattern: "line" (beam off in the turn-round), "zigzag" (to and fro, constant speed), "sine" (beam on in a
            sinusoidal turn: hot edges), "circle" (hot edges too) or "spiral" (out and in: hot middle).

    Raises:
        InputError: a value that no such head can have.
    """

    average_power: float
    repetition_rate: float
    pulse_width: float
    spot_radius: float
    sweep_width: float
    sweep_speed: float
    travel_speed: float
    passes: int = 1
    pattern: str = "line"

    def __post_init__(self) -> None:
        for field, (words, unit, low, high) in BOUNDS.items():
            object.__setattr__(self, field, finite_number(field, words, getattr(self, field), low, high, unit))
        passes = finite_number("passes", "The number of passes", self.passes, 1, MOST_PASSES, "")
        if passes != int(passes):
            raise InputError("passes", f"The number of passes is {passes:g}.", "Give a whole number.")
        object.__setattr__(self, "passes", int(passes))
        if not isinstance(self.pattern, str) or self.pattern not in PATTERNS:
            raise InputError(
                "pattern", f"The pattern {self.pattern!r} is not known.", f"Use one of: {', '.join(PATTERNS)}."
            )

    @property
    def pulse_energy(self) -> float:
        """E = P/f [J]."""
        return self.average_power / self.repetition_rate

    def with_(self, **changes: Any) -> Setting:
        """The same setting with some knobs changed."""
        return replace(self, **changes)
