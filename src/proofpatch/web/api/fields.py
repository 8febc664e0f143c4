"""Kinds of fields of the HTTP interface, with the bounds anything real lies in, as JSON Schema says them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pydantic import Field, WithJsonSchema
from pydantic.fields import FieldInfo

from proofpatch.hazards import beam
from proofpatch.measure.figure import MOST_PARTS
from proofpatch.measure.shapes import SHAPES
from proofpatch.offer.money import MOST
from proofpatch.physics.setting import BOUNDS
from proofpatch.shop.job_tables import EVIDENCE, KEYS, LISTS, REQUIRED
from proofpatch.shop.offer_keys import WHOLES
from proofpatch.shop.values import EARLIEST_YEAR, FACTORS, LONGEST_TEXT
from proofpatch.shop.zones import READERS
from proofpatch.units import kind_named

MOST_ENTRIES = 100  # in a list or a table of a job; a job is a page of text
LONGEST_KEY = 100
DEEPEST = 7  # tables in tables; a tap of an opening of an outline of a zone has as many
MOST_VERSIONS = 10**9
SHOWN, MOST_SHOWN = 50, 200  # jobs or changes in one answer
PRINTABLE = r"^[^\x00-\x1f\x7f-\x9f]*$"
WORD = r"^[a-z0-9][a-z0-9-]{0,40}$"


def bounded(low: float, high: float, about: str) -> FieldInfo:
    """A number within bounds; text is none, nor is what is not finite."""
    found: FieldInfo = Field(ge=low, le=high, allow_inf_nan=False, strict=True, description=about)
    return found


def quantity(kind: str) -> FieldInfo:
    """A quantity in SI within the bounds of its kind."""
    found = kind_named(kind)
    return bounded(found.low, found.high, f"{found.name} [{found.si}]")


def knob(name: str) -> FieldInfo:
    """A knob of a setting within the bounds of the physics."""
    words, unit, low, high = BOUNDS[name]
    return bounded(low, high, f"{words} [{unit}]")


def figure(name: str, kind: str) -> FieldInfo:
    """A figure of a beam within the bounds of its kind, and of the hazards."""
    found, (words, low, high, unit) = kind_named(kind), beam.BOUNDS[name]
    return bounded(max(low, found.low), min(high, found.high), f"{words} [{unit or '1'}]")


def whole(low: int, high: int) -> FieldInfo:
    """A whole number within bounds."""
    found: FieldInfo = Field(ge=low, le=high, strict=True)
    return found


def line(most: int) -> FieldInfo:
    """A line of text."""
    found: FieldInfo = Field(max_length=most, pattern=PRINTABLE)
    return found


def one_of(known: Sequence[str]) -> WithJsonSchema:
    """One of these words; who reads it says so, too."""
    return WithJsonSchema({"type": "string", "enum": list(known)})


def _value_schema(kind: str) -> dict[str, Any]:
    """What a value of a job file may be; whether it can be read the reader of job files says."""
    text: dict[str, Any] = {"type": "string", "minLength": 1, "maxLength": LONGEST_TEXT, "pattern": PRINTABLE}
    if kind in FACTORS:
        factor = {"type": "number", "minimum": FACTORS[kind][0], "maximum": FACTORS[kind][1]}
        return {"anyOf": [factor, text]} if kind == "effort" else factor
    if kind == "pieces":
        return {"type": "integer", "minimum": 1, "maximum": MOST_PARTS}
    if kind in READERS:
        one: dict[str, Any] = {"type": "object", "maxProperties": MOST_ENTRIES}
        if kind == "shapes":
            one |= {"properties": {"shape": {"enum": list(SHAPES)}}, "required": ["shape"]}
        return {"type": "array", "items": one, "minItems": 1, "maxItems": MOST_ENTRIES}
    if kind == "flag":
        return {"type": "boolean"}
    if kind == "money":
        return {"anyOf": [{"type": "number", "minimum": 0, "maximum": float(MOST)}, text]}
    if kind in ("year", "seed", *WHOLES):
        low, high = (EARLIEST_YEAR, 9999) if kind == "year" else WHOLES.get(kind, (0, 2**31))
        return {"type": "integer", "minimum": low, "maximum": high}
    if kind in ("texts", "point"):
        fewest, most = (2, 2) if kind == "point" else (0, MOST_ENTRIES)
        return {"type": "array", "items": text, "minItems": fewest, "maxItems": most}
    share = {"type": "number", "minimum": 0, "maximum": 1}
    if kind in ("share", "captured"):
        return {"anyOf": [share, text]}
    if kind == "coating":
        mixture = {"type": "object", "additionalProperties": share, "minProperties": 1, "maxProperties": MOST_ENTRIES}
        return {"anyOf": [text, mixture]}
    return text


def tables_schema() -> dict[str, Any]:
    """The tables of a job file as JSON Schema, from the same list of keys that reads it."""
    tables: dict[str, Any] = {}
    for name, keys in KEYS.items():
        one: dict[str, Any] = {
            "type": "object", "properties": {key: _value_schema(kind) for key, kind in keys.items()},
            "additionalProperties": False,
        }  # fmt: skip
        # A survey may speak of the substrate in its own words.
        if name in REQUIRED and name != "surface":
            one["required"] = list(REQUIRED[name])
        tables[name] = {"type": "array", "items": one, "maxItems": MOST_ENTRIES} if name in LISTS else one
    said = {"anyOf": [_value_schema("text"), {"type": "integer"}, {"type": "boolean"}]}
    several = {"type": "array", "items": said, "maxItems": MOST_ENTRIES}
    tables[EVIDENCE] = {
        "type": "object", "maxProperties": MOST_ENTRIES, "additionalProperties": {"anyOf": [*said["anyOf"], several]},
    }  # fmt: skip
    return {"type": "object", "properties": tables, "additionalProperties": False,
            "description": "The tables of a job file; docs/job-file.md has every key."}  # fmt: skip
