"""The record and the text of `proofpatch materials`: names, and every value with its range and its source."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from typing import Any

from proofpatch.cli_show import listed, wrapped
from proofpatch.errors import InputError
from proofpatch.materials import (
    Coating,
    Substrate,
    coating,
    coating_data,
    coating_ids,
    find_coating,
    find_substrate,
    substrate,
    substrate_data,
    substrate_ids,
)
from proofpatch.records import datum_record
from proofpatch.sources import STATUS, Datum
from proofpatch.units import quoted, show

# SI unit of the data files -> kind of quantity people read; the others are shown in SI.
KINDS = {"m": "length", "1/m": "coefficient", "s": "time", "K": "temperature"}
LARGER = {"J/m³": ("MJ/m³", 1e6), "J/kg": ("MJ/kg", 1e6), "J/mol": ("kJ/mol", 1e3)}
STATUS_WORDS = {"published": "published", "computed": "computed from published ones",
                "common practice": "common practice, no source", "memory": "from memory, unverified"}  # fmt: skip
FLUENCES = ("fluence", "flash_limit", "flash_check", "char_threshold", "plume_saturation")


def materials_record(name: str | None) -> dict[str, Any]:
    """Every coating and substrate by name, or every value of one.

    Raises:
        InputError: nothing is called so; the nearest names are given.
    """
    if name is None:
        return {
            "coatings": [_head(coating(key)) for key in coating_ids()],
            "substrates": [_head(substrate(key)) for key in substrate_ids()],
        }
    found = _found(name)
    values = [
        {"property": property_, "when": whens, **datum_record(datum)} for property_, whens, datum in _values(found)
    ]
    counts = {status: sum(value["status"] == status for value in values) for status in STATUS}
    return {**_head(found), "counts": counts, "values": values}


def _head(entry: Coating | Substrate) -> dict[str, Any]:
    head: dict[str, Any] = {"id": entry.id, "title": entry.title, "family": entry.family, "names": list(entry.names)}
    head["conditions"] = list(entry.conditions)
    if isinstance(entry, Coating):
        head |= {"kind": entry.kind, "colours": list(entry.colours), "note": entry.note}
    return head


def _found(name: str) -> Coating | Substrate:
    try:
        return coating(find_coating(name))
    except InputError:
        pass
    try:
        return substrate(find_substrate(name))
    except InputError:
        entries: list[Coating | Substrate] = [coating(key) for key in coating_ids()]
        entries += [substrate(key) for key in substrate_ids()]
        known = [word for entry in entries for word in (entry.id, entry.title.lower(), *entry.names)]
        near = difflib.get_close_matches(name.lower()[:100], list(dict.fromkeys(known)), n=3, cutoff=0.5)
        remedy = f"The nearest known: {', '.join(near)}." if near else "See proofpatch materials for all of them."
        raise InputError("NAME", f"NAME: no coating and no substrate is called {quoted(name)}.", remedy) from None


def _values(entry: Coating | Substrate) -> Iterable[tuple[str, list[str], Datum]]:
    """(property, when it holds, datum), a datum once however many colours and conditions share it."""
    cases: dict[str, dict[str, Datum]] = {}
    if isinstance(entry, Coating):
        for colour in entry.colours:
            for condition in entry.conditions:
                cases[f"{colour}, {condition}"] = coating_data(entry.id, colour, condition)
    else:
        for condition in entry.conditions or ("any",):
            cases[condition] = substrate_data(entry.id, condition)
    found: dict[tuple[str, Datum], list[str]] = {}
    for case, data in cases.items():
        for name, datum in data.items():
            found.setdefault((name, datum), []).append(case)
    for (name, datum), whens in sorted(found.items(), key=lambda item: item[0][0]):
        yield name, ["any"] if len(whens) == len(cases) else whens, datum


def value_words(value: Mapping[str, Any]) -> str:
    """A value with its range in the unit people read."""
    fluence = value["unit"] == "J/m²" and any(value["property"].endswith(word) for word in FLUENCES)
    kind = "fluence" if fluence else KINDS.get(value["unit"])

    unit, size = value["unit"], 1.0
    if unit in LARGER and abs(value["value"]) >= 0.1 * LARGER[unit][1]:
        unit, size = LARGER[unit]

    def said(number: float) -> str:
        if kind:
            return show(number, kind)
        number /= size
        digits = f"{float(f'{number:.3g}'):.15g}" if 1e-4 <= abs(number) < 1e6 else f"{number:.3g}"
        return digits if unit == "1" else f"{digits} {unit}"

    if value["low"] is None:
        return f"{said(value['value'])} (no range stated)"
    return f"{said(value['value'])} ({said(value['low'])} to {said(value['high'])})"


def counted(record: Mapping[str, Any]) -> str:
    """How many of the values come from where: "Of 14 values 9 are published, 5 from memory, unverified"."""
    many = sum(record["counts"].values())
    parts = [(count, STATUS_WORDS[status]) for status, count in record["counts"].items() if count]
    if len(parts) == 1:
        return f"All {many} values are {parts[0][1]}"
    (first, words), *others = parts
    verb = "is" if first == 1 else "are"
    return ", ".join([f"Of {many} values {first} {verb} {words}", *(f"{count} {words}" for count, words in others)])


def material_lines(record: Mapping[str, Any]) -> list[str]:
    """One coating or substrate with every value."""
    values, memory = record["values"], record["counts"]["memory"]
    what = record.get("kind") or f"substrate, {record['family']}"
    lines = wrapped(
        f"{record['title']} ({record['id']}), {what}: {len(values)} values, {memory} of them from memory, unverified."
    )
    if record.get("note"):
        lines += wrapped(record["note"])
    lines += wrapped(f"Also called: {', '.join(record['names'])}.", "", "  ")
    entries = []
    for value in values:
        when = "" if value["when"] == ["any"] else f" [{' | '.join(value['when'])}]"
        entries.append(
            f"{value['property'].replace('_', ' ')}{when}: {value_words(value)}; {value['source']}; {value['locator']}"
        )
    return lines + listed("Values, with the middle 90 % of what is thinkable:", entries)


def materials_lines(record: Mapping[str, Any]) -> list[str]:
    """All names, one a line."""
    count = {key: len(record[key]) for key in ("coatings", "substrates")}
    lines = wrapped(
        f"{count['coatings']} coatings and {count['substrates']} substrates are known; "
        "proofpatch materials NAME shows every value of one."
    )
    for key in ("coatings", "substrates"):
        lines += ["", f"{key.capitalize()}:"]
        for entry in record[key]:
            lines += wrapped(f"{entry['id']:<24}{entry['title']}; {', '.join(entry['names'][:4])}", "  ", " " * 24)
    return lines
