"""Shapes as plain records and back, and the table of all shapes that form, command line and API are made from."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import MISSING, fields
from typing import Any

from proofpatch.errors import InputError
from proofpatch.measure.figure import LISTS, Figure, Shape, figure_of
from proofpatch.measure.shapes import SHAPES
from proofpatch.units import parse

LONGEST = 20_000  # characters of a list written as text
_NOUGHT = re.compile(r"-?0+([.,]0*)? ?[a-zA-Z\"']*")
# The one figure whose field may not be called what it is: `area` is what every shape answers.
_NAMES = {"area_given": "area"}


def catalogue() -> list[dict[str, Any]]:
    """Every shape with its figures: what a form, the command line and the API ask for; values are SI."""
    return [
        {
            "shape": name,
            "title": kind.title,
            "figures": [
                {
                    "name": key, "kind": known.kind, "words": known.words, "help": known.help,
                    "needed": default is MISSING, "default": None if default is MISSING else default,
                    "low": known.low, "high": known.high, "choices": list(known.choices),
                }
                for key, known, default in figures(name)
            ],
        }
        for name, kind in SHAPES.items()
    ]  # fmt: skip


def figures(shape: str) -> list[tuple[str, Figure, Any]]:
    """(name, figure, default or MISSING) of a shape, how it was measured last."""
    found = [(_NAMES.get(one.name, one.name), figure_of(one), one.default) for one in fields(SHAPES[shape])]
    return sorted(found, key=lambda one: one[0] == "how")


def shape_from(record: Any) -> Shape:
    """The shape of a plain record: {"shape": "cylinder", "diameter": 0.06, "length": "700 mm"}.

    A number is SI, a text carries its unit; a list may be one text, its entries parted by | and their numbers by x.

    Raises:
        InputError: no such shape or figure (the nearest one is named), one that is missing, or a value that is none.
    """
    if not isinstance(record, Mapping):
        raise InputError("shape", "A shape is not a table.", 'Give {"shape": "panel", …}.')
    name = record.get("shape")
    if not isinstance(name, str) or name not in SHAPES:
        raise InputError("shape", f"The shape {str(name)[:40]!r} is not known.", _nearest(str(name), SHAPES))
    known = {key: (one, default) for key, one, default in figures(name)}
    for key in record:
        if key != "shape" and key not in known:
            said = f"A {SHAPES[name].title} has no figure {str(key)[:40]!r}."
            raise InputError(str(key)[:40] or "shape", said, _nearest(str(key), known))
    given = {}
    inner = {outside: inside for inside, outside in _NAMES.items()}
    for key, (one, default) in known.items():
        if key in record:
            given[inner.get(key, key)] = one.checked(key, _read(key, one, record[key]))
        elif default is MISSING:
            raise InputError(key, f"{one.words} of the {SHAPES[name].title} is missing.", one.help)
    return SHAPES[name](**given)


def record_of(shape: Shape) -> dict[str, Any]:
    """The record `shape_from` reads back; SI numbers, lists for tuples."""
    values = {_NAMES.get(one.name, one.name): getattr(shape, one.name) for one in fields(shape)}
    plain = {key: [list(entry) for entry in v] if isinstance(v, tuple) else v for key, v in values.items()}
    return {"shape": shape.name, **plain}


def shape_from_text(text: str) -> Shape:
    """The shape of one line: "cylinder; diameter=60 mm; length=700 mm".

    Raises:
        InputError: as `shape_from`; or it is not such a line.
    """
    name, *rest = (part.strip() for part in text.split(";"))
    record: dict[str, Any] = {"shape": name}
    for part in filter(None, rest):
        key, equals, value = (side.strip() for side in part.partition("="))
        if not equals or not value:
            raise InputError("shape", f"{part[:40]!r} is not FIGURE=VALUE.", f"Write {name[:20]}; length=1 m; ….")
        if key in record:
            raise InputError(key[:40], f"{key[:40]!r} is given twice.", "Give it once.")
        record[key] = value
    return shape_from(record)


def _read(key: str, one: Figure, value: Any) -> Any:
    """A text as SI; anything else as it is."""
    if one.kind in LISTS:
        if isinstance(value, str):
            if len(value) > LONGEST:
                raise InputError(key, f"{one.words}: a list of {len(value)} characters.", "Check what was pasted.")
            value = [re.split(r"\s+x\s+", part.strip()) for part in value.split("|")]
        if isinstance(value, (list, tuple)):
            return [
                [read_number(key, part, "count" if i == 2 else "length", one.words) for i, part in enumerate(entry)]
                if isinstance(entry, (list, tuple)) else entry
                for entry in value
            ]  # fmt: skip
        return value
    return value if one.kind == "choice" else read_number(key, value, one.kind, one.words)


def read_number(key: str, value: Any, kind: str, words: str) -> Any:
    """A text with its unit as SI, or a whole number; what is no text as it is.

    Raises:
        InputError: the text is none.
    """
    if not isinstance(value, str):
        return value
    text = value.strip()
    if kind == "count":
        if text.isascii() and text.isdigit() and len(text) < 10:
            return int(text)
        raise InputError(key, f"{words}: {text[:40]!r} is not a whole number.", "Write for example 2.")
    if kind == "length":
        if _NOUGHT.fullmatch(text):
            return 0.0
        if text.startswith("-"):
            return -float(parse(text[1:], kind, key))
    return parse(text, kind, key)


def _nearest(word: str, known: Any) -> str:
    close = difflib.get_close_matches(word[:60], list(known), n=1, cutoff=0.5)
    return f"Did you mean {close[0]}?" if close else f"Known here: {', '.join(known)}."
