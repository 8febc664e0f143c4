"""Writes docs/reference/ from the docstrings and from the HTTP interface's own document: make reference

A test fails while a page there is not what this makes.
"""

from __future__ import annotations

import contextlib
import dataclasses
import functools
import inspect
import re
import tempfile
from collections.abc import Callable, Iterator, Mapping
from importlib import import_module
from pathlib import Path
from typing import Any

import proofpatch as pp
from proofpatch.shop.store import Store
from proofpatch.web.api import create_api
from proofpatch.web.desk import Desk

HERE = Path(__file__).resolve().parent / "reference"
MADE = "<!-- Made by `make reference`; what is wrong here is put right in the docstring. -->\n"
SIX = ("prior", "forecast", "next_patch", "update", "recipe", "hours")
# What the pages of docs/ show beside the six calls, by module.
MORE = {
    "proofpatch.measure.registry": ("shape_from",),
    "proofpatch.measure.zones": ("Zone", "totals", "draw_areas", "pairs"),
    "proofpatch.offer.margin": ("priced_by_margin", "priced_by_mark_up", "mark_up_of"),
    "proofpatch.offer.quote": ("Quote", "Line", "Party"),
    "proofpatch.offer.revision": ("send", "revise", "changes"),
    "proofpatch.documents.quote": ("quote_pdf",),
    "proofpatch.documents.sheet": ("sheet_pdf",),
    "proofpatch.photos.find": ("read", "find"),
    "proofpatch.photos.flatten": ("flatten",),
}
SECTION = re.compile(r"^(Args|Returns|Raises|Yields):$")
COMMON = ("401", "403", "413", "421", "422", "503")  # of every call; docs/api.md says what they mean


def python_page() -> str:
    """Every public call: its signature, what it does, shapes, units, errors."""
    things = [name for name in pp.__all__ if name not in SIX]
    given = [name for name in things if not callable(getattr(pp, name))]
    parts = [
        "# Python: every public call\n", MADE,
        "`import proofpatch as pp`. SI floats throughout; [nomenclature.md](../nomenclature.md) has symbols and units, "
        "[model.md](../model.md) what is computed. A value that cannot be used raises `InputError`.\n",
        "## The six calls\n", *(_entry("pp.", getattr(pp, name)) for name in SIX),
        "## What goes in and comes out\n",
        *(_entry("pp.", getattr(pp, name)) for name in things if name not in given),
        "## Words and presets\n", *(f"- `pp.{name}`: {_words(getattr(pp, name))}" for name in given), "",
        "## Beside the six\n",
    ]  # fmt: skip
    for module, names in MORE.items():
        parts += [f"From `{module}`:\n", *(_entry("", getattr(import_module(module), name)) for name in names)]
    return "\n".join(parts).rstrip() + "\n"


def http_page() -> str:
    """Every address with what it takes and answers."""
    with tempfile.TemporaryDirectory() as place, contextlib.closing(Store.open(place)) as store:
        told = create_api(store, Desk(store)).openapi()
    rows = [_row(path, way, call) for path, ways in told["paths"].items() for way, call in ways.items()]
    schemas = told["components"]["schemas"]
    records = [f"- **{name}**: {_fields(schema)}" for name, schema in sorted(schemas.items()) if _fields(schema)]
    return "\n".join([
        "# HTTP: every address\n", MADE,
        "Under `/api` of an open shop; [api.md](../api.md) begins with examples. Beside the answers named, any call\n"
        f"may answer {', '.join(COMMON)}, as told [there](../api.md#errors). `/api/openapi.json` has all of it for a\n"
        "machine, with every bound.\n",
        "| call | does | takes | answers |", "|---|---|---|---|", *rows,
        "\n## Records\n", "Fields, with * where they have to be given. `[]` is a list, `{}` a record.\n", *records,
    ]) + "\n"  # fmt: skip


def _entry(before: str, thing: Any) -> str:
    """One call or class."""
    said = inspect.getdoc(thing) or ""
    parts = [f"### `{before}{thing.__name__}`\n", f"`{thing.__name__}{_signature(thing)}`\n", _doc(said)]
    if inspect.isclass(thing):
        methods = [f"- {line}" for line in _methods(thing)]
        parts += ["With it:\n", *methods, ""] if methods else []
    return "\n".join(parts)


def _signature(thing: Callable[..., Any]) -> str:
    said = re.sub(r"(: |-> )'([^']*)'", r"\1\2", str(inspect.signature(thing))).replace(" -> None", "")
    return said.replace("<factory>", "…").replace("Floats", "array")


def _methods(thing: type) -> Iterator[str]:
    """Public methods and what is worked out when it is asked for, with the first line of what they say."""
    fields = {one.name for one in dataclasses.fields(thing)} if dataclasses.is_dataclass(thing) else set()
    for name, value in vars(thing).items():
        if name.startswith("_") or name in fields:
            continue
        inner = value.__func__ if isinstance(value, (classmethod, staticmethod)) else value
        said = (inspect.getdoc(inner) or "").partition("\n")[0]
        if inspect.isfunction(inner) and said:
            sign = re.sub(r"\(self(?:, )?", "(", _signature(inner))
            yield f"`{name}{sign}`: {said}"
        elif isinstance(inner, (property, functools.cached_property)):
            yield f"`{name}`: {said}"


def _doc(said: str) -> str:
    """A docstring as Markdown: its sections in bold, each of their entries a line of a list, formulas as they stand."""
    found, listed = [], False
    for line in said.splitlines():
        inside = line.startswith("    ")
        if named := SECTION.match(line):
            found += ["", f"**{named[1]}**", ""]
            listed = named[1] in ("Args", "Raises")
        elif inside and listed:
            text = line[4:]
            found.append(f"  {text.strip()}" if text.startswith(" ") else f"- {text}")
        elif inside:
            found.append(line if "=" in line else line[4:])
        else:
            listed = listed and not line
            found.append(line)
    return re.sub(r"\n{3,}", "\n\n", "\n".join(found)).strip() + "\n"


def _words(value: Any) -> str:
    if isinstance(value, Mapping):
        return "; ".join(f"`{key}`: `{one}`" for key, one in value.items())
    return ", ".join(f"`{one}`" for one in value)


def _row(path: str, way: str, call: Mapping[str, Any]) -> str:
    takes = [f"`{one['name']}`" for one in call.get("parameters", ()) if one["in"] == "query"]
    for kind, body in call.get("requestBody", {}).get("content", {}).items():
        name = _named(body["schema"])
        takes.append("a form with a file" if kind.startswith("multipart") else name)
    answers = [
        f"{code}{' ' + _named(next(iter(one['content'].values()))['schema']) if code < '300' else ''}"
        for code, one in sorted(call["responses"].items())
        if code not in COMMON
    ]
    does = " ".join(call.get("description", "").split())
    return f"| `{way.upper()} {path}` | {does} | {', '.join(takes)} | {', '.join(answers)} |"


def _named(schema: Mapping[str, Any]) -> str:
    """What a schema is, in few words."""
    if "$ref" in schema:
        return str(schema["$ref"]).rsplit("/", 1)[1]
    for key in ("anyOf", "oneOf"):
        if key in schema:
            return " or ".join(dict.fromkeys(_named(one) for one in schema[key]))
    kind = schema.get("type", "any")
    if kind == "array":
        return f"{_named(schema.get('items', {}))}[]"
    if schema.get("format") == "binary":
        return "a file"
    if "const" in schema:
        return f"`{schema['const']}`"
    if "enum" in schema:
        return " ".join(f"`{one}`" for one in schema["enum"]) if len(schema["enum"]) < 8 else "a word"
    return {"object": "{}", "string": "text", "integer": "whole", "number": "number", "boolean": "true/false"}.get(
        kind, str(kind)
    )


def _fields(schema: Mapping[str, Any]) -> str:
    needed = set(schema.get("required", ()))
    return ", ".join(
        f"`{name}`{'*' if name in needed else ''} {_named(one)}" for name, one in schema.get("properties", {}).items()
    )


PAGES = {"python.md": python_page, "http.md": http_page}

if __name__ == "__main__":
    HERE.mkdir(exist_ok=True)
    for name, page in PAGES.items():
        (HERE / name).write_text(page(), encoding="utf-8")
