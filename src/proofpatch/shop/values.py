"""One value of a job file, a log or an option, read by its kind."""

from __future__ import annotations

import datetime
import difflib
import math
import re
from collections.abc import Iterable
from typing import Any

from proofpatch.errors import InputError
from proofpatch.hazards.fume import MOST_CAUGHT
from proofpatch.measure.zones import EFFORT
from proofpatch.offer.hours import BOUNDS
from proofpatch.offer.money import amount
from proofpatch.shop.offer_keys import OFFER_BOUNDED, OFFER_FACTORS, WHOLES
from proofpatch.shop.zones import READERS, read_areas, read_effort, read_pieces
from proofpatch.survey.stop import HardStop, never_pass
from proofpatch.units import parse, quoted

# kind -> (kind of quantity, smallest, largest [SI]), and of plain numbers (smallest, largest)
BOUNDED: dict[str, tuple[str, float | None, float | None]] = {
    "zone": ("area", 1e-6, 1e5),
    "set-up": ("duration", *BOUNDS["set_up"][:2]),
    "captured": ("share", 0.0, MOST_CAUGHT),
    **OFFER_BOUNDED,
}
FACTORS = {"effort": EFFORT, "hand factor": BOUNDS["hand_factor"][:2], **OFFER_FACTORS}
LONGEST_TEXT = 500
EARLIEST_YEAR = 1000
FARTHEST = 1000.0  # m, of somebody outside a room


def nearest(word: str, known: Iterable[str]) -> str:
    """`Did you mean …?` or the list of what is known."""
    options = list(known)
    close = difflib.get_close_matches(word[:100], options, n=1, cutoff=0.5)
    return f"Did you mean {close[0]}?" if close else f"Known here: {', '.join(options)}."


def read_value(place: str, kind: str, value: Any) -> Any:
    """One value of a job file or an option, by its kind.

    Raises:
        InputError: it is not of that kind.
        HardStop: it names a coating that no beam touches.
    """
    if kind in ("text", "date"):
        # TOML has dates of its own.
        if kind == "date" and isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
            return value.isoformat()
        if not isinstance(value, str) or not value.strip() or len(value) > LONGEST_TEXT or not value.isprintable():
            raise InputError(place, f"{place} is not a short line of text.", "Write it in quotes.")
        return value.strip()
    if kind == "texts":
        if not isinstance(value, list):
            raise InputError(place, f"{place} is not a list of texts.", 'Write it like ["a", "b"].')
        return [read_value(place, "text", entry) for entry in value]
    if kind == "flag":
        if not isinstance(value, bool):
            raise InputError(place, f"{place} is neither true nor false.", "Write true or false without quotes.")
        return value
    if kind == "point":
        if not isinstance(value, list) or len(value) != 2:
            raise InputError(place, f"{place} is not two distances.", 'Write it like ["2 m", "1.5 m"].')
        return tuple(_distance(place, part) for part in value)
    if kind == "distance":
        return _distance(place, value)
    if kind == "coating":
        return _read_coating(place, value)
    if kind == "money":
        return amount(value, place, place)
    if kind in ("year", "seed", *WHOLES):
        low, high = WHOLES.get(kind, (0, 2**31))
        if kind == "year":
            low, high = EARLIEST_YEAR, datetime.date.today().year
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise InputError(place, f"{place} is not a whole number from {low} to {high}.", "Write it without quotes.")
        return value
    if kind in READERS:
        return read_areas(place, kind, value)
    if kind == "pieces":
        return read_pieces(place, value)
    if kind == "effort":
        return read_effort(place, value)
    if kind in FACTORS:
        least, most = FACTORS[kind]
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not least <= value <= most:
            raise InputError(place, f"{place} is not a number from {least:g} to {most:g}.", "Write for example 1.5.")
        return float(value)
    quantity, lowest, highest = BOUNDED.get(kind, (kind, None, None))
    try:
        return parse(value, quantity, place, low=lowest, high=highest)
    except InputError as error:
        label = place.replace("_", " ")
        raise InputError(place, error.problem.replace(label, place), error.remedy) from None


def _distance(place: str, value: Any) -> float:
    """A length that may be nought or lie the other way."""
    text = value.strip() if isinstance(value, str) else value
    back = isinstance(text, str) and text.startswith("-")
    if isinstance(text, str) and re.fullmatch(r"-?0+([.,]0*)?\s*(m|mm|cm|ft|in)", text):
        return 0.0
    found = parse(text[1:].lstrip() if back else text, "length", place, high=FARTHEST)
    return -found if back else found


def _read_coating(place: str, value: Any) -> str | dict[str, float]:
    names = list(value) if isinstance(value, dict) else [read_value(place, "text", value)]
    for name in names:
        why = never_pass(name)
        if why:
            raise HardStop(why)
    if not isinstance(value, dict):
        return str(names[0])
    return {
        name: plain_number(place, share, f"The chance of {quoted(name)} in {place}") for name, share in value.items()
    }


def plain_number(field: str, value: Any, words: str) -> float:
    """A finite number that is no text, truth or list.

    Raises:
        InputError: it is none.
    """
    if not isinstance(value, bool) and isinstance(value, (int, float)):
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if math.isfinite(number):
            return number
    raise InputError(field, f"{words} is not a finite number.", "Give a plain number.")
