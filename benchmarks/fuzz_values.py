"""What the fuzz sends as words and numbers: made of a schema, or of something valid with a few places changed."""

from __future__ import annotations

import copy
import json
import math
import random
from collections.abc import Mapping
from typing import Any

WORDS = (
    "", " ", "x", "\x00", "a\x00b", "\n", "a\r\nSet-Cookie: a=b", "\ud800", "\u202e", "\ufeff", "e\u0301" * 40,
    "😀",
    "\x1b[31mred\x1b[0m", "<script>alert(1)</script>", "\"'><img src=x onerror=alert(1)>", "{{ 7*7 }}", "{% raw %}",
    "${7*7}", "%s%n%d", "#let x = 1", '#read("/etc/passwd")', "$ sum $", "@label", "*b* _i_ `c`", "../../etc/passwd",
    "..\\..\\x", "/etc/passwd", "C:\\x", "CON", "' OR 1=1 --", "%", "_", "\\", '" NEAR(a b) *', "=1+1", "+1", "-1",
    "@x",
    "javascript:alert(1)", "//elsewhere", "0", "-0", "1e400", "NaN", "inf", "١٢", "²", "1,5", "1.000", "0x10", "1_000",
    "true", "null", "500 W", "20 kHz", "1 mm", "-5 mm", "1e308 m", "1e-320 m", "2 ft²", "0 m", "99999999999999999999",
    "2026-02-30", "0001-01-01", "9999-12-31", "2025-03-11", "2026-11-26T10:00:00+99:00", "a" * 600, "ä" * 70_000,
    "oak", "wax", "lead-white-paint", "pulsed-500", "cast-iron",
)  # fmt: skip
NUMBERS = (
    0, -0.0, 1, -1, 2, 0.5, 1e-9, 1e9, 1e-320, 1e308, -1e308, 2**31, 2**53 + 1, 2**63, -(2**63) - 1, 10**30, math.nan,
    math.inf, -math.inf, True,
)  # fmt: skip
KEYS = ("", "__proto__", "id", "version", "tables", "job", "data", "x" * 300, "a.b", "a[0]", "\x00")
DEEP = 3000  # brackets around nothing
FORGOTTEN = 0.4  # chance that what may be left out is left out


def nasty(rng: random.Random) -> Any:
    """Something that does not belong where it is put."""
    kind = rng.random()
    if kind < 0.55:
        return rng.choice(WORDS)
    if kind < 0.85:
        return rng.choice(NUMBERS)
    return rng.choice((None, False, [], {}, [[]], [None] * 200, {"": {}}, [1, "a", None], {"a": [{}]}))


def made(schema: Mapping[str, Any], known: Mapping[str, Any], rng: random.Random, depth: int = 0) -> Any:
    """A value a schema of OpenAPI allows, its patterns aside.

    Args:
        known: the named schemas. depth: how far in; deep ones are left short.
    """
    if "$ref" in schema:
        return made(known[schema["$ref"].rpartition("/")[2]], known, rng, depth + 1)
    if "const" in schema or "enum" in schema:
        return rng.choice([schema["const"]] if "const" in schema else schema["enum"])
    several = schema.get("anyOf") or schema.get("oneOf")
    if several:
        return made(rng.choice(several), known, rng, depth + 1)
    kind = schema.get("type")
    if isinstance(kind, list):
        kind = rng.choice(kind)
    if kind == "object" or "properties" in schema:
        needed = schema.get("required", ())
        found = {
            name: made(one, known, rng, depth + 1)
            for name, one in schema.get("properties", {}).items()
            if name in needed or (depth < 8 and rng.random() > FORGOTTEN)
        }
        more = schema.get("additionalProperties")
        if isinstance(more, Mapping):
            found |= {
                rng.choice(("oak", "wax", "a")): made(more, known, rng, depth + 1) for _ in range(rng.randint(0, 2))
            }
        return found
    if kind == "array":
        least, most = schema.get("minItems", 0), min(schema.get("maxItems", 3), 3)
        return [
            made(schema.get("items", {}), known, rng, depth + 1) for _ in range(rng.randint(least, max(least, most)))
        ]
    if kind in ("integer", "number"):
        low, high = schema.get("minimum", schema.get("exclusiveMinimum", -10)), schema.get("maximum", 1e4)
        found = rng.choice((low, high, low + (high - low) * rng.random() ** 4))
        return int(found) if kind == "integer" else found
    if kind == "boolean":
        return rng.random() < 0.5
    if kind == "null":
        return None
    return rng.choice(("oak", "wax", "12 mm", "20 kHz", "2025-03-11", "0.5", "some words", "pulsed-500"))


def changed(value: Any, rng: random.Random, most: int = 3) -> Any:
    """The same with up to so many places changed: taken out, put in, or with something else there."""
    value = copy.deepcopy(value)
    for _ in range(rng.randint(0, most)):
        places = list(_places(value))
        if not places:
            return nasty(rng)
        holder, key = rng.choice(places)
        way = rng.random()
        if way < 0.2:
            del holder[key]
        elif way < 0.3 and isinstance(holder, dict):
            holder[rng.choice(KEYS)] = nasty(rng)
        elif way < 0.35 and isinstance(holder, list):
            holder.extend(copy.deepcopy(holder[key]) for _ in range(rng.choice((1, 2, 300))))
        else:
            holder[key] = nasty(rng)
    return value


def _places(value: Any) -> Any:
    """(what holds, key) of every place in it."""
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in pairs:
        yield value, key
        yield from _places(one)


def as_json(value: Any, rng: random.Random) -> tuple[bytes, str]:
    """(the bytes, their type) of a JSON body; one in eight is none, or says that it is something else."""
    text = json.dumps(value)
    raw, kind = text.encode("utf-8", "surrogatepass"), "application/json"
    way = rng.randrange(64)
    if way == 0:
        raw = raw[: rng.randint(0, len(raw))]
    elif way == 1:
        raw = b"\xef\xbb\xbf" + raw
    elif way == 2:
        raw = text.encode(rng.choice(("utf-16", "utf-32")))
    elif way == 3:
        at = rng.randint(0, len(raw))
        raw = raw[:at] + bytes(rng.randrange(256) for _ in range(4)) + raw[at:]
    elif way == 4:
        raw = rng.choice((b"[" * DEEP, b"[" * DEEP + b"]" * DEEP, b'{"a":' * DEEP + b"1" + b"}" * DEEP))
    elif way == 5 and text.startswith("{") and len(text) > 2:
        raw = (text[:-1] + "," + text[1:]).encode()  # every key twice
    elif way == 6:
        kind = rng.choice(("text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "", "a/b; c=\xff"))
    elif way == 7:
        raw = json.dumps(value, ensure_ascii=False).encode("utf-8", "surrogatepass")
    return raw, kind


def damaged(content: bytes, rng: random.Random) -> bytes:
    """A file with some bytes changed, cut off, doubled or moved."""
    if not content:
        return content
    raw = bytearray(content)
    way = rng.random()
    if way < 0.5:
        # The head says how the rest is read, so half of the changes go there.
        end = len(raw) if rng.random() < 0.5 else min(len(raw), 300)
        for _ in range(rng.choice((1, 1, 2, 8, 64))):
            raw[rng.randrange(end)] = rng.choice((0, 1, 0x7F, 0x80, 0xFF, rng.randrange(256)))
    elif way < 0.65:
        del raw[rng.randrange(len(raw)) :]
    elif way < 0.75:
        at = rng.randrange(len(raw))
        del raw[at : at + rng.choice((1, 4, 100))]
    elif way < 0.85:
        at, size = rng.randrange(len(raw)), rng.choice((1, 4, 100, 4000))
        raw[at:at] = raw[at : at + size] * rng.choice((1, 2, 50))
    elif way < 0.95:
        at = rng.randrange(max(len(raw) - 4, 1))
        raw[at : at + 4] = rng.choice((b"\xff\xff\xff\xff", b"\xff\xff\xff\x7f", b"\0\0\0\0", b"\0\0\0\x80"))
    else:
        raw += bytes(rng.randrange(256) for _ in range(rng.choice((1, 100, 5000))))
    return bytes(raw)
