"""How the records of a job are built, so that one that another shop sent is refused before a page stumbles over it."""

from __future__ import annotations

import base64
import binascii
import datetime
import json
import re
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import asdict
from typing import Any

from proofpatch.errors import InputError
from proofpatch.measure.mesh_file import KINDS as SCAN_KINDS
from proofpatch.measure.scanned import is_kept
from proofpatch.offer.money import amount
from proofpatch.photos.corrections import Grader
from proofpatch.photos.reading import KINDS as PHOTO_KINDS
from proofpatch.photos.reading import MOST_PIXELS
from proofpatch.shop.confirmed import confirmed_from
from proofpatch.shop.job_tables import EVIDENCE, KEYS, LISTS, read_tables
from proofpatch.shop.lasers import _own
from proofpatch.shop.log import UNIT_KEYS, setting_from
from proofpatch.shop.papers import signed_from
from proofpatch.shop.sites import site_from
from proofpatch.shop.starts import recalled_from

Shape = Any  # a type; [shape] a list of it; {"key": shape} a table; {str: shape}; Maybe(shape); what says so of a value
NAME = re.compile(r"[A-Z]{1,3}")
PDF = b"%PDF"


class Maybe:
    """A value that may be None, or a key that may be missing."""

    def __init__(self, shape: Shape) -> None:
        self.shape = shape


def fits(value: Any, shape: Shape) -> bool:
    """Whether a value is built like that; a table may hold more."""
    if isinstance(shape, Maybe):
        return value is None or fits(value, shape.shape)
    if isinstance(shape, type):
        return isinstance(value, shape) and (shape is bool or not isinstance(value, bool))
    if isinstance(shape, list):
        return isinstance(value, list) and all(fits(one, shape[0]) for one in value)
    if isinstance(shape, Mapping):
        if not isinstance(value, dict):
            return False
        if str in shape:
            return all(fits(one, shape[str]) for one in value.values())
        return all(
            fits(value[key], one) if key in value else isinstance(one, Maybe) for key, one in shape.items()
        )  # fmt: skip
    try:
        return bool(shape(value))
    except (InputError, KeyError, TypeError, ValueError, AttributeError, ArithmeticError):
        return False


def number(value: Any) -> bool:
    """A number that is no truth."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def side(value: Any) -> bool:
    """Pixels of a photo."""
    return fits(value, int) and 0 < value <= MOST_PIXELS


def day(value: Any) -> bool:
    """A day as a record has it."""
    return bool(datetime.date.fromisoformat(value).isoformat() == value)


def moment(value: Any) -> bool:
    """A time with its zone."""
    return datetime.datetime.fromisoformat(value).tzinfo is not None


def setting(value: Any) -> bool:
    """A setting with every key: pages read all of them."""
    return setting_from(value) is not None and set(value) == set(UNIT_KEYS.values())


def money(value: Any) -> bool:
    """A sum as text."""
    return isinstance(value, str) and amount(value, "sum", low=-(10**9)) is not None


def pdf(value: Any) -> bool:
    """The text of the bytes of a PDF."""
    try:
        return base64.b64decode(value, validate=True).startswith(PDF)
    except binascii.Error:
        return False


def tables(value: Any) -> bool:
    """The tables of a job, whatever they say: one that cannot be worked out is told so and mended in the shop."""
    for name, one in value.items():
        shape: Shape = [dict] if name in LISTS else dict if name in KEYS or name == EVIDENCE else object
        if not fits(one, shape):
            return False
    head = value.get("job", {})
    if not all(isinstance(head.get(name, ""), str) for name in ("title", "laser")):
        return False
    with suppress(InputError):
        read_tables(value)
    return True


def _about(title: str) -> bool:
    """What the list says of a job, kept as the title of what it came to."""
    shape = {"version": int, "laser": int, "next": str, "at": str, "states": [str], "found": str}
    return fits(json.loads(title), shape) if title else True


def _signed(value: Any) -> bool:
    return signed_from(value) is not None


def _laser(value: Any) -> bool:
    return fits(value, {"laser": {str: dict}, "readings": [dict]}) and _own(value) is not None


LEVEL = {"p5": Maybe(number), "p50": Maybe(number), "p95": Maybe(number)}
TAP = {"step": str, "photo": int, "x": number, "y": number}
STEP = {"setting": setting, "dialled": {str: str}, "p_clean": number, "p_harm": number, "because": str}
PAPER = {"pdf": str, "fingerprint": str}
SHAPES: Mapping[str, Shape] = {
    "job": tables,
    "customer": {"contact": Maybe(str)},
    "item": {"customer": Maybe(str), "wanted": Maybe(str)},
    "laser": _laser,
    "belief": {
        "patches": [str], "chance": number, "reference": setting, "effective_draws": number,
        "levels": {"dose_to_clean_J_m2": LEVEL, "dose_to_tint_J_m2": LEVEL},
    },
    "site": lambda data: isinstance(data["stamp"], str) and site_from(data) is not None,
    "start": lambda data: (
        fits(data, {"of": str, "name": Maybe(str), "value": str, "shape": [int]}) and bool([recalled_from(data)])
    ),
    "foretold": {"said": {str: {"clean": number, "harm": number, "after": int, "late": bool, "start": Maybe(str)}}},
    "took": {"took_s": number, "predicted_s": number, "zones": int},
    "confirmed": lambda data: bool(asdict(confirmed_from(data)) == data),
    "strip": {"name": lambda said: NAME.fullmatch(said), "steps": [STEP], "ended": Maybe(bool)},
    "patch": {"setting": setting},
    "photo": {"digest": is_kept, "kind": lambda kind: kind in PHOTO_KINDS, "width": side, "height": side, "about": str},
    "note": {"text": str, "written": Maybe(moment)},
    "seen": {
        "strip": str, "photos": [{"digest": is_kept, "corners": Maybe([[number]])}], "kept": dict,
        "taps": lambda taps: fits(taps, [TAP]) and Grader.of_plain(taps) is not None,
    },
    "paper": {"pdf": pdf},
    "acceptance": lambda data: fits(data, {**PAPER, "quote": str}) and _signed(data),
    "approval": lambda data: _signed(data) and fits(data, {
        "patch": str, "patch_id": str, "approved": bool, "reason": str, "sample": [[str]], "seen": [str],
        "number": str, "photo": str, "pdf": str,
    }),
    "invoice": {
        "number": str, "day": day, "due": day, "extra": [lambda one: [str(one[0]), money(one[1])][1]], "notes": [str],
        "quote": str, "pdf": str, "owed": money,
    },
    "payment": {"day": day, "amount": money, "how": str},
    "scan": {
        "digest": is_kept, "kind": lambda kind: kind in SCAN_KINDS, "name": str, "about": str, "size": int,
        "faces": int, "sides": lambda sides: len(sides) == 3 and fits(sides, [number]),
    },
    "quote": {"fingerprint": str, "day": day, "at": moment, "paper": str, "photo": str, "pdf": str},
    "recipe": {"record": {"setting": setting}, "patches": [str]},
    "record": {"pdf": str},
}  # fmt: skip
TITLES: Mapping[str, Callable[[str], bool]] = dict.fromkeys(("survey", "forecast", "hazards", "belief"), _about)


def built(kind: str, title: str, data: Any) -> bool:
    """Whether a record of a kind is built as this program builds it; what has no shape here is read by nothing."""
    return fits(data, SHAPES.get(kind, dict)) and fits(title, TITLES.get(kind, str))
