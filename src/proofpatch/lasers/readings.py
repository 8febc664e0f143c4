"""What an owner read off the laser on one day, as it was read; `history` says what it means."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

from proofpatch.errors import InputError, expect
from proofpatch.lasers.caustic import FARTHEST
from proofpatch.lasers.marks import DIAMETER_BOUNDS, ENERGY_BOUNDS
from proofpatch.physics.setting import finite_number

# Half the 90 % width. A loupe with a scale of a tenth of a millimetre; a thermal power meter against the truth, and
# against itself the next time. Common practice, no source.
READING_ERROR = 30e-6  # m
METER_ERROR = 0.05
REPEATABILITY = 0.02
READING_ERRORS = (1e-6, 2e-3)  # m, least and most that can be stated
METER_ERRORS = (0.001, 0.5)
POWER_BOUNDS = (1e-2, 1e5)  # W
FACTOR_BOUNDS = (0.2, 1.3)  # measured over dialled; outside, the beam missed the meter
MOST = 200  # of one kind on one day
LONGEST_NAME = 80
EARLIEST = datetime.date(2000, 1, 1)

_ENERGY = ("A pulse energy", *ENERGY_BOUNDS, "J")
_MARK = ("A diameter", *DIAMETER_BOUNDS, "m")
_POWER = ("A power", *POWER_BOUNDS, "W")
_LIFT = ("A lift", -FARTHEST, FARTHEST, "m")
# What each entry of a list is made of.
_PARTS = {
    "marks": (_ENERGY, _MARK),
    "lifts": (_LIFT, _ENERGY, _MARK),
    "power": (_POWER, _POWER),
    "cards": (_ENERGY, _MARK),
}


@dataclass(frozen=True)
class Reading:
    """One day's readings of a laser.

    Args:
        date: when it was read.
        marks: (pulse energy as dialled [J], diameter of its mark [m]), in focus, one pulse each; 0 where none was left.
        lifts: (lift [m], pulse energy as dialled [J], diameter [m]): the same with the head moved from where the focus
            cue shows, away from the work positive.
        power: (set at the panel [W], measured at the work [W]).
        cards: (pulse energy as dialled [J], diameter [m]): one mark in focus, made the same way each time.
        material: what was marked; lists of different days belong together where it is the same.
        top_hat_share: the marks are read with [1], and the laser has from then on; None: the one it had.
        fit_share: fit it from the marks instead, to the same end.
        reading_error: half the 90 % width of how finely a diameter was read [m].
        meter_error: the same of the power meter, over the power [1].

    Raises:
        InputError: nothing was read, or a value that none can be.
    """

    date: datetime.date
    marks: tuple[tuple[float, float], ...] = ()
    lifts: tuple[tuple[float, float, float], ...] = ()
    power: tuple[tuple[float, float], ...] = ()
    cards: tuple[tuple[float, float], ...] = ()
    material: str = ""
    top_hat_share: float | None = None
    fit_share: bool = False
    reading_error: float = READING_ERROR
    meter_error: float = METER_ERROR

    def __post_init__(self) -> None:
        if not isinstance(self.date, datetime.date) or isinstance(self.date, datetime.datetime):
            raise InputError("date", "The date is not a day.", "Write it like 2026-03-02.")
        if self.date < EARLIEST:
            raise InputError("date", f"The date {self.date.isoformat()} is long ago.", "Write it like 2026-03-02.")
        for field, parts in _PARTS.items():
            object.__setattr__(self, field, _entries(field, getattr(self, field), parts))
        if not (self.marks or self.lifts or self.power or self.cards):
            raise InputError("marks", "Nothing was read.", "Give marks, lifts, burn cards or power readings.")
        expect("material", self.material, str, "Give its name.")
        if len(self.material) > LONGEST_NAME or not (self.material.isprintable() or not self.material):
            raise InputError("material", "The material is not a short line of text.", "Give its name.")
        if self.cards and not self.material:
            raise InputError("material", "The burn card has no name.", "Name it; only one kind of card compares.")
        expect("fit_share", self.fit_share, bool, "Say true or false.")
        if self.top_hat_share is not None:
            finite_number("top_hat_share", "The top-hat share", self.top_hat_share, 0.0, 1.0, "")
        for field, words, bounds, unit in (
            ("reading_error", "The reading error", READING_ERRORS, "m"),
            ("meter_error", "The error of the meter", METER_ERRORS, ""),
        ):
            object.__setattr__(self, field, finite_number(field, words, getattr(self, field), *bounds, unit))


def _entries(field: str, given: Any, parts: tuple[tuple[str, float, float, str], ...]) -> tuple[tuple[float, ...], ...]:
    """The numbers of each entry of a list; a last one of 0 is a mark that was not left."""
    if not isinstance(given, (list, tuple)) or len(given) > MOST:
        raise InputError(field, f"The {field} are not a list of at most {MOST}.", "Give one entry for each.")
    found = []
    for entry in given:
        if not isinstance(entry, (list, tuple)) or len(entry) != len(parts):
            words = ", ".join(part[0].split(" ", 1)[1] for part in parts)
            raise InputError(field, f"An entry of the {field} is not {len(parts)} numbers.", f"Give {words}.")
        none_left = field in ("marks", "lifts") and entry[-1] == 0 and not isinstance(entry[-1], bool)
        found.append(
            tuple(
                0.0 if none_left and part is _MARK else finite_number(field, part[0], value, part[1], part[2], part[3])
                for part, value in zip(parts, entry, strict=True)
            )
        )
    if field == "power":
        for dialled, measured in found:
            if not FACTOR_BOUNDS[0] <= measured / dialled <= FACTOR_BOUNDS[1]:
                raise InputError(
                    field,
                    f"{measured:g} W measured of {dialled:g} W set cannot be the whole beam.",
                    "Check the units, and that all of it falls on the meter.",
                )
    return tuple(found)
