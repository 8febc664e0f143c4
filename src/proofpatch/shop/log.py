"""The patch log beside a job file: one JSON object a line, only ever appended to."""

from __future__ import annotations

import datetime
import json
import os
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from proofpatch.errors import InputError
from proofpatch.lasers import Laser
from proofpatch.learn.evidence import RESIDUES, Graded
from proofpatch.learn.grading import CLEAN_EDGE, NEARLY_EDGE, PARTIAL_EDGE
from proofpatch.learn.surface import MOST_LAYERS
from proofpatch.physics.elementwise import normal_cdf
from proofpatch.physics.setting import Setting
from proofpatch.shop.values import nearest, plain_number, read_value
from proofpatch.units import quoted

LOG_KEYS = (
    "setting", "residue", "harm", "fraction_left", "fraction_error", "layer", "seconds", "length", "wiped", "grader",
    "waited", "when",
)  # fmt: skip
REQUIRED = ("setting", "residue", "harm")
LARGEST_LOG = 20_000_000  # bytes; some 40 000 patches
UNIT_KEYS = {
    "average_power": "average_power_W", "repetition_rate": "repetition_rate_Hz", "pulse_width": "pulse_width_s",
    "spot_radius": "spot_radius_m", "sweep_width": "sweep_width_m", "sweep_speed": "sweep_speed_m_s",
    "travel_speed": "travel_speed_m_s", "passes": "passes", "pattern": "pattern",
}  # fmt: skip
# Largest share still covered of each grade, dirtiest first.
SHARES_LEFT = (1.0, 1.0, *(float(normal_cdf(edge)) + 1e-9 for edge in (PARTIAL_EDGE, NEARLY_EDGE, CLEAN_EDGE)))


def setting_to(setting: Setting) -> dict[str, Any]:
    """A setting with the contract's unit-suffixed keys."""
    return {key: getattr(setting, name) for name, key in UNIT_KEYS.items()}


def setting_from(entry: Any) -> Setting:
    """A setting of unit-suffixed keys.

    Raises:
        InputError: a key is unknown or missing, or its value is none; `field` is the key.
    """
    if not isinstance(entry, dict):
        raise InputError("setting", "The setting is not a table.", "Give its nine values.")
    for key in entry:
        if key not in UNIT_KEYS.values():
            said = f"The setting has an unknown key {quoted(key)}."
            raise InputError(quoted(key)[1:-1], said, nearest(key, UNIT_KEYS.values()))
    values: dict[str, Any] = {}
    for name, key in UNIT_KEYS.items():
        if key in entry:
            value = entry[key]
            values[name] = value if name == "pattern" else plain_number(key, value, f"The value of {key}")
        elif name not in ("passes", "pattern"):
            raise InputError(key, f"The setting lacks {key}.", "Add it.")
    if not isinstance(values.get("pattern", ""), str):
        raise InputError("pattern", "The pattern is not text.", "Write it in quotes.")
    try:
        return Setting(**values)
    except InputError as error:
        raise InputError(UNIT_KEYS[error.field], error.problem, error.remedy) from None


def read_log(
    path: Path, layers: int = MOST_LAYERS, laser_on: Callable[[datetime.date], Laser] | None = None
) -> tuple[list[Graded], list[str]]:
    """(graded patches, complaints) of a patch log; a line torn in writing is complained of and passed over.

    Args:
        path: of the log; one that is not there is empty.
        layers: how many the surface has.
        laser_on: the laser as it was on a day; patches with a date are read with it.

    Raises:
        InputError: a whole line that describes no patch; nothing after it is believed either.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_LOG + 1)
    except FileNotFoundError:
        return [], []
    except OSError as trouble:
        said = f"The patch log {quoted(path)} cannot be read: {trouble.strerror}."
        raise InputError("patch log", said, "Check what it is.") from None
    if len(raw) > LARGEST_LOG:
        raise InputError("patch log", f"The patch log {quoted(path)} is too large to be one.", "Check what it is.")
    found: list[Graded] = []
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
            found.append(graded_on_its_day(entry, layers, laser_on))
        except InputError as error:
            where = f"line {number} of {path.name}, {error.field}"
            raise InputError(where, f"In {where}: {error.problem}", error.remedy) from None
    return found, complaints


def graded_on_its_day(
    entry: Any, layers: int = MOST_LAYERS, laser_on: Callable[[datetime.date], Laser] | None = None
) -> Graded:
    """A graded patch of one line, with the laser as it was on the day of that line. Errors as `graded_from`."""
    graded, day = graded_from(entry, layers), _day(entry.get("when"))
    return replace(graded, laser=laser_on(day)) if laser_on and day else graded


def _day(when: str | None) -> datetime.date | None:
    """The day of a patch, where its line has one a machine can read."""
    try:
        return datetime.datetime.fromisoformat(when).date() if when else None
    except ValueError:
        return None


def graded_from(entry: Any, layers: int = MOST_LAYERS) -> Graded:
    """A graded patch of one line of the log.

    Raises:
        InputError: the line describes no patch of a surface with so many layers.
    """
    if not isinstance(entry, dict):
        raise InputError("entry", "It is not a patch.", "Each line is one JSON object.")
    for key in entry:
        if key not in LOG_KEYS:
            raise InputError(quoted(key)[1:-1], f"The key {quoted(key)} is not known.", nearest(key, LOG_KEYS))
    for key in REQUIRED:
        if entry.get(key) is None:
            raise InputError(key, f"It lacks {key}.", "Add it.")
    values = {key: value for key, value in entry.items() if key not in ("setting", "when") and value is not None}
    for key in ("residue", "harm", "grader", "when"):
        if entry.get(key) is not None:
            read_value(key, "text", entry[key])
    if not isinstance(values.get("wiped", True), bool):
        raise InputError("wiped", "wiped is neither true nor false.", "Write true or false.")
    for key in ("fraction_left", "fraction_error", "seconds", "length", "waited"):
        if key in values:
            values[key] = plain_number(key, values[key], f"The value of {key}")
    return checked_graded(setting_from(entry["setting"]), values, layers)


def checked_graded(setting: Setting, values: Mapping[str, Any], layers: int) -> Graded:
    """A graded patch that also fits its surface and does not contradict itself.

    Raises:
        InputError: it does not.
    """
    try:
        graded = Graded(setting, **values)
    except InputError as error:
        if error.field != "travel_speed":
            raise
        # The speed really moved is what the two make together.
        raise InputError("seconds", f"With these seconds and length: {error.problem}", error.remedy) from None
    if graded.layer >= layers:
        said = f"Layer {quoted(graded.layer)[1:-1]} was judged, but the surface has {layers}."
        raise InputError("layer", said, "Count layers from the top, 0 first.")
    if graded.fraction_left is not None:
        _check_fraction(graded)
    return graded


def _check_fraction(graded: Graded) -> None:
    """An eye may be one grade off a measurement; more is a slip of the pen."""
    assert graded.fraction_left is not None
    measured = max(i for i, most in enumerate(SHARES_LEFT) if graded.fraction_left <= most)
    eye = RESIDUES.index(graded.residue)
    # Over 90 % covered reads as trace or as no effect, which differ in thickness only.
    if abs(max(measured, 1) - max(eye, 1)) > 1:
        raise InputError(
            "fraction_left",
            f"A fraction left of {graded.fraction_left:.3g} contradicts the residue grade {graded.residue!r}.",
            f"By the measurement it is {RESIDUES[measured]!r}; correct one of the two.",
        )


def stamp() -> str:
    """Date and time of now, as a line of a log has them."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")


def graded_to(graded: Graded, when: str) -> dict[str, Any]:
    """A graded patch as a line of the log holds it."""
    entry: dict[str, Any] = {"setting": setting_to(graded.setting), "residue": graded.residue, "harm": graded.harm}
    for key in ("fraction_left", "fraction_error", "seconds", "length", "grader", "waited"):
        if getattr(graded, key) is not None:
            entry[key] = getattr(graded, key)
    return entry | {"layer": graded.layer, "wiped": graded.wiped, "when": when}


def append_log(path: Path, graded: Graded, when: str) -> None:
    """Add one patch, on disk before this returns.

    Raises:
        InputError: it cannot be written.
    """
    try:
        append_line(path, graded_to(graded, when))
    except OSError as trouble:
        said = f"The patch log {quoted(path)} cannot be written: {trouble.strerror}."
        raise InputError("patch log", said, "Check the folder and its free space; the patch is not kept yet.") from None


def append_line(path: Path, entry: Mapping[str, Any]) -> None:
    """Add one line to a file of JSON lines, on disk before this returns; earlier bytes are never touched."""
    line = json.dumps(entry, ensure_ascii=False, allow_nan=False).encode() + b"\n"
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o644)
    try:
        size = os.fstat(handle).st_size
        # After a torn line, start a new one: the torn bytes stay for whoever wants to read them.
        if size > 0 and os.pread(handle, 1, size - 1) != b"\n":
            line = b"\n" + line
        while line:
            line = line[os.write(handle, line) :]
        os.fsync(handle)
    finally:
        os.close(handle)
