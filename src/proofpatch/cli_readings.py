"""What `proofpatch measure-laser` is given: readings as people write them, each error at its option."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from proofpatch.cli_read import MEASURE_OPTIONS, OPTIONS, number
from proofpatch.errors import InputError
from proofpatch.lasers.readings import Reading
from proofpatch.shop.laser_log import FITTED, read_date
from proofpatch.units import parse, quoted

NO_MARK = "none"


@contextmanager
def at_flag() -> Iterator[None]:
    """Names the option of the list that an InputError raised inside is about; its words stay as they are."""
    try:
        yield
    except InputError as error:
        flag = MEASURE_OPTIONS.get(error.field)
        if flag is None:
            raise
        raise InputError(flag, f"{flag}: {error.problem}", error.remedy) from None


def read_measurement(given: Mapping[str, Any]) -> Reading | None:
    """The reading of the options; None where nothing was read.

    Raises:
        InputError: an option that cannot be read.
    """
    marks = [_mark("--mark", text) for text in given["mark"]]
    values: dict[str, Any] = {
        "marks": marks,
        "lifts": [_lift(text, {energy for energy, _ in marks}) for text in given["lift"]],
        "power": [_power(text) for text in given["power_reading"]],
        "cards": [_mark("--burn-card", text) for text in given["burn_card"]],
        "date": read_date("--date", given["date"]) if given["date"] else datetime.date.today(),
        "material": given["material"] or "",
    }
    share = given["top_hat_share"]
    if share == FITTED:
        values["fit_share"] = True
    elif share is not None:
        values["top_hat_share"] = number("top_hat_share", "share", given)
    for name, kind in (("reading_error", "length"), ("meter_error", "share")):
        value = number(name, kind, given)
        if value is not None:
            values[name] = value
    with at_flag():
        if not (values["marks"] or values["lifts"] or values["power"] or values["cards"]):
            for name in ("material", "top_hat_share", "reading_error", "meter_error", "date"):
                if given[name] is not None:
                    flag = OPTIONS[name][0]
                    raise InputError(flag, f"{flag} is given, but nothing that was read.", "Add what you read.")
            return None
        return Reading(**values)


def apart(text: str) -> list[str]:
    """What stands apart by a semicolon, or by a comma that is no decimal one."""
    return [part.strip() for part in re.split(r";|,(?=\s)|(?<=[^\d\s]),", text)]


def _parts(flag: str, text: str, count: tuple[int, ...], form: str) -> list[str]:
    """The parts of an option."""
    parts = apart(text)
    if len(parts) not in count or not all(parts):
        raise InputError(flag, f"{flag} {quoted(text)} cannot be read.", f"Write it like '{form}'.")
    return parts


def read_energy(field: str, text: str) -> float:
    """A pulse energy, or the average power over the repetition rate it was made with [J].

    Raises:
        InputError: it is neither.
    """
    over = re.fullmatch(r"(.*[A-Za-z])\s*(?:/|at)\s*(.+)", text)
    if over is None:
        return parse(text, "energy", field)
    return parse(over[1], "power", field) / parse(over[2], "frequency", field)


def read_diameter(field: str, text: str) -> float:
    """Of a mark in focus [m]; 0 where none was left.

    Raises:
        InputError: it is no length.
    """
    return 0.0 if text.casefold() == NO_MARK else parse(text, "length", field)


def read_lift(field: str, text: str) -> float:
    """A lift with its sign, nought too [m].

    Raises:
        InputError: it is no length.
    """
    found = re.fullmatch(r"([+\-−–]?)\s*(.+)", text)
    if found is None:
        raise InputError(field, f"{field} {quoted(text)} has no lift.", "Write it like '5 mm, 12 mJ, 0.84 mm'.")
    nothing = re.fullmatch(r"0+(?:[.,]0*)?\s*[a-zA-Zµ\"']+", found[2])
    away = 0.0 if nothing else parse(found[2], "length", field)
    return -away if found[1] in ("-", "−", "–") else away


def _mark(flag: str, text: str) -> tuple[float, float]:
    energy, diameter = _parts(flag, text, (2,), "5 mJ, 0.62 mm")
    wide = read_diameter(flag, diameter) if flag == "--mark" else parse(diameter, "length", flag)
    return read_energy(flag, energy), wide


def _lift(text: str, energies: set[float]) -> tuple[float, float, float]:
    """Lift, pulse energy and diameter; the energy may be left out where all marks in focus have one."""
    lift, *energy, diameter = _parts("--lift", text, (2, 3), "5 mm, 12 mJ, 0.84 mm")
    if not energy and len(energies) != 1:
        said = f"--lift {quoted(text)} does not say its pulse energy."
        raise InputError("--lift", said, "Write it like '5 mm, 12 mJ, 0.84 mm'.")
    pulse = read_energy("--lift", energy[0]) if energy else next(iter(energies))
    return read_lift("--lift", lift), pulse, parse(diameter, "length", "--lift")


def _power(text: str) -> tuple[float, float]:
    dialled, measured = (parse(p, "power", "--power-reading")
                         for p in _parts("--power-reading", text, (2,), "150 W, 141 W"))  # fmt: skip
    return dialled, measured
