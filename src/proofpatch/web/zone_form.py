"""Between the forms of measuring and the zones of a job's tables; what was typed is kept as it was typed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from proofpatch.errors import InputError
from proofpatch.measure.figure import LISTS, WIDTHS
from proofpatch.measure.registry import figures, shape_from
from proofpatch.measure.shapes import SHAPES
from proofpatch.measure.tables import efforts
from proofpatch.shop.zones import READERS, read_effort
from proofpatch.units import parse
from proofpatch.web.shell import Form, text, whole

OWN = ("name", "count", "effort", "hand_finish", "coating", "limits", "untouched")  # of a zone, on the form
SPARE, MORE, MOST_ROWS = 3, 6, 200  # empty rows of a list that are offered; those another press adds
LIKE = {"metric": "700 mm or 1.2 m", "us": "28 in or 4 ft"}
PLAIN = re.compile(r"[0-9]+(?:[.,][0-9]*)?")


def put_zone(entry: dict[str, Any], form: Form) -> None:
    """What the form says of a zone into its table; what is empty is taken out.

    Raises:
        InputError: a value that is none; its field is the form's.
    """
    for name in OWN:
        entry.pop(name, None)
    for name in ("name", "coating", "limits"):
        if said := text(form, name):
            entry[name] = said
    if said := text(form, "count"):
        count = whole(said, 10**8 - 1)
        if count is None:
            raise InputError("count", f"{said[:40]!r} is not a whole number of pieces.", "Write for example 4.")
        entry["count"] = count
    if said := text(form, "hand_finish"):
        parse(said, "share", "hand_finish")
        entry["hand_finish"] = said
    if form.get("untouched"):
        entry["untouched"] = True
    effort = _effort(form)
    if effort is not None:
        entry["effort"] = effort


def _effort(form: Form) -> str | float | None:
    """Kinds of work that are ticked, or a number that was written."""
    ticked = [name for name in efforts() if form.get(f"effort-{name}")]
    said = text(form, "effort")
    if not said:
        return " ".join(ticked) or None
    if ticked:
        raise InputError("effort", "Kinds of work are ticked and a factor is written.", "Keep one of them.")
    if not PLAIN.fullmatch(said):
        raise InputError("effort", f"The factor {said[:40]!r} is not a number.", "Write for example 1.5.")
    factor = float(said.replace(",", "."))
    try:
        return read_effort("effort", factor)
    except InputError as error:
        raise InputError("effort", f"A factor of {said[:40]} cannot be.", error.problem) from None


def zone_said(entry: Mapping[str, Any]) -> dict[str, str]:
    """A zone's table as its form shows it."""
    found = {name: written(entry[name], "") for name in OWN if name in entry and name != "untouched"}
    effort = entry.get("effort")
    if isinstance(effort, str):
        found |= {f"effort-{name}": "yes" for name in effort.split()}
        del found["effort"]
    if isinstance(entry.get("hand_finish"), (int, float)):
        found["hand_finish"] = f"{100 * entry['hand_finish']:.12g} %"
    if entry.get("untouched"):
        found["untouched"] = "yes"
    return found


def shape_entry(name: str, form: Form) -> dict[str, Any]:
    """The record of a shape as it was typed, once it makes one.

    Raises:
        InputError: it makes none; the field is the figure's name.
    """
    if name not in SHAPES:
        raise InputError("shape", "This shape is not known.", "Choose one of the list.")
    record: dict[str, Any] = {"shape": name}
    for key, one, default in figures(name):
        if one.kind in LISTS:
            if rows := _rows(form, key, max(WIDTHS[one.kind])):
                record[key] = rows
        elif (said := text(form, key)) and said != default:
            record[key] = said
    shape_from(record)
    return record


def _rows(form: Form, key: str, width: int) -> list[list[str]]:
    """The rows of a list that hold something, without the empty cells at their ends."""
    found = []
    for number in range(MOST_ROWS):
        cells = [text(form, f"{key}-{number}-{place}") for place in range(width)]
        while cells and not cells[-1]:
            cells.pop()
        if cells:
            found.append(cells)
    return found


def shape_said(record: Mapping[str, Any]) -> dict[str, str]:
    """A shape's record as its form shows it."""
    found: dict[str, str] = {}
    for key, one, _ in figures(str(record["shape"])):
        if key not in record:
            continue
        value = record[key]
        if one.kind not in LISTS:
            found[key] = written(value, one.kind)
            continue
        if isinstance(value, str):
            value = [re.split(r"\s+x\s+", part.strip()) for part in value.split("|")]
        for number, row in enumerate(value):
            for place, part in enumerate(row):
                found[f"{key}-{number}-{place}"] = written(part, "count" if place == 2 else "length")
    return found


def written(value: Any, kind: str) -> str:
    """A value as it is typed; a number of a program keeps all its digits."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return ""
    return f"{value:.12g}{ {'length': ' m', 'area': ' m²'}.get(kind, '') }"


def rows_of(name: str, form: Form) -> dict[str, int]:
    """How many rows each list of a shape shows: those that say something, and a few to write into."""
    counts = {}
    for key, one, _ in figures(name):
        if one.kind in LISTS:
            used = [n for n in range(MOST_ROWS) if any(text(form, f"{key}-{n}-{p}") for p in range(3))]
            spare = MORE if form.get("more") else SPARE
            counts[key] = min(max(used, default=-1) + 1 + spare, MOST_ROWS)
    return counts


def at_field(error: InputError) -> InputError:
    """An error of the job's tables, at the field of the form: "zones[0].shapes[1].length" is the length."""
    if not re.match(r"zones\b", error.field):
        return error
    field = error.field.rpartition(".")[2]
    problem = re.sub(r"^In zones\[[^ :]*: ", "", error.problem)
    return InputError(field, re.sub(r"^zones\[\d+\]\.", "The ", problem), error.remedy)


def zone_of(data: Mapping[str, Any], number: int | str) -> dict[str, Any]:
    """A zone of a job's tables.

    Raises:
        InputError: there is none of this number.
    """
    zones = data.get("zones", ())
    place = whole(str(number), len(zones) - 1)
    if place is None:
        raise InputError("zone", "There is no such zone.", "Look at the list of zones.")
    found: dict[str, Any] = zones[place]
    return found


def area_of(entry: Mapping[str, Any], kind: str, at: str) -> Any:
    """A shape, an outline or a scan of a zone, as `zone_of`."""
    place = whole(at, len(entry.get(kind, ())) - 1) if kind in READERS else None
    if place is None:
        raise InputError("zone", "The zone has no such area.", "Look at the list of zones.")
    return entry[kind][place]


def zone_name(entry: Mapping[str, Any], number: int) -> str:
    """What a zone is called."""
    return str(entry.get("name", f"zone {number + 1}"))
