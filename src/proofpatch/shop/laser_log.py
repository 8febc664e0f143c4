"""The readings of the owner's own laser, beside its file: one JSON object a line, only ever appended to."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from proofpatch.errors import InputError
from proofpatch.lasers import Laser
from proofpatch.lasers.history import Course, follow
from proofpatch.lasers.readings import Reading
from proofpatch.phrases import lowered
from proofpatch.shop.log import append_line
from proofpatch.shop.values import nearest, plain_number, read_value
from proofpatch.units import quoted

# list of a reading -> the keys of its entries, in the order of its numbers
LISTS = {
    "marks": ("pulse_energy_J", "diameter_m"),
    "lifts": ("lift_m", "pulse_energy_J", "diameter_m"),
    "power": ("set_W", "measured_W"),
    "cards": ("pulse_energy_J", "diameter_m"),
}
NUMBERS = {"reading_error_m": "reading_error", "meter_error": "meter_error"}
FITTED = "fitted"
LOG_KEYS = ("date", *LISTS, "material", "top_hat_share", *NUMBERS, "when")
LARGEST_LOG = 5_000_000  # bytes; a reading a day for a working life


@dataclass(frozen=True)
class Own:
    """A laser as its owner keeps it: as its file says, what was read, and what that made of it.

    path: of the log beside its file; None where the shop keeps it, or nobody. kept: False of a built-in one.
    """

    file: Laser
    course: Course
    readings: tuple[Reading, ...] = ()
    path: Path | None = None
    complaints: tuple[str, ...] = ()
    kept: bool = True


def readings_path(laser_file: Path) -> Path:
    """The log beside a laser file."""
    return laser_file.with_suffix(".readings.jsonl")


def read_readings(path: Path) -> tuple[list[Reading], list[str]]:
    """(readings in the order of the file, complaints); a line torn in writing is complained of and passed over.

    Raises:
        InputError: a whole line that describes no reading; nothing after it is believed either.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_LOG + 1)
    except FileNotFoundError:
        return [], []
    except OSError as trouble:
        said = f"The readings {quoted(path.name)} cannot be read: {trouble.strerror}."
        raise InputError("readings", said, "Check what that is.") from None
    if len(raw) > LARGEST_LOG:
        raise InputError("readings", f"The readings {quoted(path.name)} are too large to be some.", "Check the file.")
    found: list[Reading] = []
    complaints: list[str] = []
    for number, line in enumerate(raw.split(b"\n"), 1):
        if not line.strip():
            continue
        try:
            entry = json.loads(line)
        except (ValueError, RecursionError):
            complaints.append(f"Line {number} of {path.name} is torn and was passed over; the rest is kept.")
            continue
        try:
            found.append(reading_from(entry))
        except InputError as error:
            where = f"line {number} of {path.name}, {error.field}"
            raise InputError(where, f"In {where}: {error.problem}", error.remedy) from None
    return found, complaints


def reading_from(entry: Any) -> Reading:
    """A reading of one line.

    Raises:
        InputError: it describes none; `field` is the key.
    """
    if not isinstance(entry, dict):
        raise InputError("entry", "It is not a reading.", "Each line is one JSON object.")
    for key in entry:
        if key not in LOG_KEYS:
            raise InputError(quoted(key)[1:-1], f"The key {quoted(key)} is not known.", nearest(key, LOG_KEYS))
    values: dict[str, Any] = {"date": read_date("date", entry.get("date"))}
    for key, names in LISTS.items():
        if entry.get(key) is not None:
            values[key] = _list_from(key, names, entry[key])
    for key in ("material", "when"):
        if entry.get(key) is not None:
            text = read_value(key, "text", entry[key])
            if key == "material":
                values[key] = text
    for key, name in NUMBERS.items():
        if entry.get(key) is not None:
            values[name] = plain_number(key, entry[key], f"The value of {key}")
    share = entry.get("top_hat_share")
    if share == FITTED:
        values["fit_share"] = True
    elif share is not None:
        values["top_hat_share"] = plain_number("top_hat_share", share, "The top-hat share")
    try:
        return Reading(**values)
    except InputError as error:
        field = {name: key for key, name in NUMBERS.items()}.get(error.field, error.field)
        raise InputError(field, error.problem, error.remedy) from None


def _list_from(key: str, names: tuple[str, ...], given: Any) -> tuple[tuple[float, ...], ...]:
    if not isinstance(given, list):
        raise InputError(key, f"{key} is not a list.", f"Give entries with {', '.join(names)}.")
    found = []
    for entry in given:
        if not isinstance(entry, dict) or set(entry) != set(names):
            raise InputError(key, f"An entry of {key} is not complete.", f"Give {', '.join(names)}.")
        found.append(tuple(plain_number(key, entry[name], f"{name} in {key}") for name in names))
    return tuple(found)


def read_date(field: str, text: Any) -> datetime.date:
    """A day, not ahead.

    Raises:
        InputError: it is none.
    """
    try:
        day = datetime.date.fromisoformat(text) if isinstance(text, str) and len(text) == 10 else None
    except ValueError:
        day = None
    if day is None:
        raise InputError(field, f"The {field.lstrip('-')} {quoted(text)} is not a day.", "Write it like 2026-03-02.")
    if day > datetime.date.today():
        raise InputError(field, f"The {field.lstrip('-')} {day.isoformat()} is still to come.", "Check the year.")
    return day


def reading_to(reading: Reading, when: str) -> dict[str, Any]:
    """The line of a reading as a record."""
    entry: dict[str, Any] = {"date": reading.date.isoformat()}
    for key, names in LISTS.items():
        if getattr(reading, key):
            entry[key] = [dict(zip(names, numbers, strict=True)) for numbers in getattr(reading, key)]
    if reading.material:
        entry["material"] = reading.material
    if reading.fit_share or reading.top_hat_share is not None:
        entry["top_hat_share"] = FITTED if reading.fit_share else reading.top_hat_share
    return entry | {key: getattr(reading, name) for key, name in NUMBERS.items()} | {"when": when}


def append_reading(path: Path, reading: Reading, when: str) -> None:
    """Add one reading, on disk before this returns.

    Raises:
        InputError: it cannot be written.
    """
    try:
        append_line(path, reading_to(reading, when))
    except OSError as trouble:
        said = f"The readings {quoted(path.name)} cannot be written: {trouble.strerror}."
        raise InputError(
            "readings", said, "Check the folder and its free space; the reading is not kept yet."
        ) from None


def course_of(laser: Laser, readings: Iterable[Reading], path: Path) -> Course:
    """Where the readings of a log led.

    Raises:
        InputError: they do not fit this laser, or each other.
    """
    try:
        return follow(laser, readings)
    except InputError as error:
        where = f"{path.name}, {error.field}"
        raise InputError(where, f"In {where}: {error.problem}", error.remedy) from None


def as_measured(laser: Laser, laser_file: Path, on: datetime.date | None = None) -> Laser:
    """The laser of a file with its newest readings; what is torn in their log is one of its `measured` sentences.

    on: the day to look at it from; None: after all readings.

    Raises:
        InputError: the readings cannot be believed.
    """
    path = readings_path(laser_file)
    readings, complaints = read_readings(path)
    if on is not None:
        readings = [reading for reading in readings if reading.date <= on]
    if not readings and not complaints:
        return laser
    now = course_of(laser, readings, path).laser
    lost = (f"a reading is lost: {lowered(line).rstrip('.')}" for line in complaints)
    return replace(now, measured=(*now.measured, *lost))
