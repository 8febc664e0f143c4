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
from proofpatch.shop.job import quoted
from proofpatch.shop.laser_log import FITTED, read_date
from proofpatch.units import parse

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


def _parts(flag: str, text: str, count: tuple[int, ...], form: str) -> list[str]:
    """The parts of an option, apart by a semicolon or by a comma that is no decimal one."""
    parts = [part.strip() for part in re.split(r";|,(?=\s)|(?<=[^\d\s]),", text)]
    if len(parts) not in count or not all(parts):
        raise InputError(flag, f"{flag} {quoted(text)} cannot be taken apart.", f"Write it like '{form}'.")
    return parts


def _energy(flag: str, text: str) -> float:
    """A pulse energy, or the average power over the repetition rate it was made with [J]."""
    over = re.fullmatch(r"(.*[A-Za-z])\s*(?:/|at)\s*(.+)", text)
    if over is None:
        return parse(text, "energy", flag)
    return parse(over[1], "power", flag) / parse(over[2], "frequency", flag)


def _mark(flag: str, text: str) -> tuple[float, float]:
    energy, diameter = _parts(flag, text, (2,), "5 mJ, 0.62 mm")
    if diameter.casefold() == NO_MARK and flag == "--mark":
        return _energy(flag, energy), 0.0
    return _energy(flag, energy), parse(diameter, "length", flag)


def _lift(text: str, energies: set[float]) -> tuple[float, float, float]:
    """Lift, pulse energy and diameter; the energy may be left out where all marks in focus have one."""
    lift, *energy, diameter = _parts("--lift", text, (2, 3), "5 mm, 12 mJ, 0.84 mm")
    if not energy and len(energies) != 1:
        said = f"--lift {quoted(text)} does not say its pulse energy."
        raise InputError("--lift", said, "Write it like '5 mm, 12 mJ, 0.84 mm'.")
    found = re.fullmatch(r"([+\-−–]?)\s*(.+)", lift)
    if found is None:
        raise InputError("--lift", f"--lift {quoted(text)} has no lift.", "Write it like '5 mm, 12 mJ, 0.84 mm'.")
    nothing = re.fullmatch(r"0+(?:[.,]0*)?\s*[a-zA-Zµ\"']+", found[2])
    away = 0.0 if nothing else parse(found[2], "length", "--lift")
    sign = -1.0 if found[1] in ("-", "−", "–") else 1.0
    pulse = _energy("--lift", energy[0]) if energy else next(iter(energies))
    return sign * away, pulse, parse(diameter, "length", "--lift")


def _power(text: str) -> tuple[float, float]:
    dialled, measured = (parse(p, "power", "--power-reading")
                         for p in _parts("--power-reading", text, (2,), "150 W, 141 W"))  # fmt: skip
    return dialled, measured
