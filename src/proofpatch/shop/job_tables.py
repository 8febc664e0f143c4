"""The tables of a job file: their keys, and each value read by its kind; docs/job-file.md says what they mean."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from proofpatch.errors import InputError
from proofpatch.shop.offer_keys import LETTERHEAD_KEYS, OFFER_KEYS, PRICE_KEYS, RATE_KEYS, ZONE_KEYS
from proofpatch.shop.values import nearest, read_value
from proofpatch.units import quoted

# table -> key -> kind of quantity, or how it is read.
KEYS: dict[str, dict[str, str]] = {
    "job": {"title": "text", "laser": "text", "year": "year", "suspects": "texts", "seed": "seed"},
    "surface": {"substrate": "text", "condition": "text", "thickness": "length", "moisture": "share"},
    "layers": {
        "coating": "coating", "colour": "text", "condition": "text", "thickness": "length", "thickness_spread": "share",
    },
    "limits": {"preset": "text", "p_clean": "share", "p_harm": "share", "p_harm_patch": "share"},
    "hand": {"speed_spread": "share", "stand_off_spread": "length", "starts": "text"},
    "lead": {"status": "text", "method": "text", "date": "date", "name": "text", "controls": "text", "reason": "text"},
    "cleared": {
        "hazard": "text", "status": "text", "method": "text", "date": "date", "name": "text", "controls": "text",
        "reason": "text",
    },
    "room": {"length": "length", "width": "length", "height": "length", "work": "point"},
    "openings": {"name": "text", "wall": "text", "start": "distance", "end": "distance", "closed": "flag"},
    "shiny": {"name": "text", "at": "point"},
    "people": {"name": "text", "at": "point"},
    "air": {"capture": "captured", "flow": "air flow"},
    "power": {"circuits": "texts", "chiller": "power", "extractor": "power"},
    "zones": {
        "name": "text", "area": "zone", "how": "text", "shapes": "shapes", "outlines": "outlines", "scans": "scans",
        "count": "pieces", "effort": "effort", "hand_finish": "share", "coating": "text", "limits": "text",
        "untouched": "flag", **ZONE_KEYS,
    },
    "rates": {"set_up": "set-up", "hand_factor": "hand factor", **RATE_KEYS},
    "offer": OFFER_KEYS, "prices": PRICE_KEYS, "letterhead": LETTERHEAD_KEYS,
}  # fmt: skip
EVIDENCE = "evidence"  # a table whose keys are the survey's own names
LISTS = ("layers", "cleared", "openings", "shiny", "people", "zones")
REQUIRED = {
    "surface": ("substrate",), "layers": ("coating",), "cleared": ("hazard", "status"),
    "openings": ("name", "wall", "start", "end"), "shiny": ("name", "at"), "people": ("name", "at"),
}  # fmt: skip
LARGEST_FILE = 1_000_000  # bytes; a job is a page of text


def named(place: str, key: str) -> str:
    """The field of a key that somebody wrote, never longer than a line."""
    return f"{place}.{quoted(key)[1:-1]}"


def read_file(path: Path, field: str, what: str) -> bytes:
    """The bytes of a file of a page or so.

    Raises:
        InputError: it cannot be read, or is no page of text.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as trouble:
        why = getattr(trouble, "strerror", None) or "not a file name"
        raise InputError(field, f"The {what} {quoted(path)} cannot be read: {why}.", "Check its name.") from None
    if len(raw) > LARGEST_FILE:
        said = f"The {what} {quoted(path)} is larger than {LARGEST_FILE // 1000} kB."
        raise InputError(field, said, "It is a page of text; check its name.")
    return raw


def read_tables(table: Mapping[str, Any]) -> dict[str, Any]:
    """Every table with its values read; a table that is not there is empty."""
    for name in table:
        if name not in KEYS and name != EVIDENCE:
            raise InputError(
                quoted(name)[1:-1],
                f"The job file has an unknown table {quoted(name)}.",
                nearest(name, (*KEYS, EVIDENCE)),
            )
    read: dict[str, Any] = {}
    for name in KEYS:
        given = table.get(name)
        if name in LISTS:
            if given is not None and not (isinstance(given, list) and all(isinstance(entry, dict) for entry in given)):
                raise InputError(name, f"{name} is not a list of tables.", f"Head each entry with [[{name}]].")
            read[name] = [
                _read_table(f"{name}[{i}]", name, entry, REQUIRED.get(name, ())) for i, entry in enumerate(given or ())
            ]
        else:
            if given is not None and not isinstance(given, dict):
                raise InputError(name, f"{name} is not a table.", f"Head it with [{name}].")
            # A survey may speak of the substrate in its own words.
            needed = () if name == "surface" and EVIDENCE in table else REQUIRED.get(name, ())
            read[name] = _read_table(name, name, given or {}, needed)
    return read


def _read_table(place: str, name: str, given: Mapping[str, Any], needed: Iterable[str]) -> dict[str, Any]:
    keys = KEYS[name]
    for key in given:
        if key not in keys:
            raise InputError(named(place, key), f"{place} has an unknown key {quoted(key)}.", nearest(key, keys))
    for key in needed:
        if key not in given:
            raise InputError(f"{place}.{key}", f"{place}.{key} is missing.", "Add it.")
    return {key: read_value(f"{place}.{key}", kind, given[key]) for key, kind in keys.items() if key in given}


@contextmanager
def inside(place: str, names: Mapping[str, str] | None = None) -> Iterator[None]:
    """Names the place in the job file in an InputError raised inside; `names` are keys called otherwise there."""
    try:
        yield
    except InputError as error:
        where = f"{place}.{(names or {}).get(error.field, error.field)}"
        raise InputError(where, f"In {where}: {error.problem}", error.remedy) from None
