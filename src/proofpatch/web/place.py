"""Where the work is done, between a form and the tables of a job: room, openings, shiny things, people, air."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from proofpatch.web.shell import Form, text

# Field of the form -> where it stands in the job's tables.
FIELDS = {
    "length": ("room", "length"), "width": ("room", "width"), "height": ("room", "height"),
    "capture": ("air", "capture"), "flow": ("air", "flow"),
}  # fmt: skip
# List of the job -> the fields of an entry; `across` and `up` make one point.
LISTS = {
    "openings": ("name", "wall", "start", "end", "closed"), "shiny": ("name", "across", "up"),
    "people": ("name", "across", "up"),
}  # fmt: skip
MOST, SPARE = 200, 2  # rows of a list, and empty ones that are offered


def put_place(data: dict[str, Any], form: Form) -> None:
    """Room, lists and air of a form into the job's tables; what is empty is taken out."""
    for name, (table, key) in FIELDS.items():
        data.setdefault(table, {}).pop(key, None)
        if text(form, name):
            data[table][key] = text(form, name)
    work = [part for part in (text(form, "across"), text(form, "up")) if part]
    data["room"].pop("work", None)
    if work:
        data["room"]["work"] = work
    for table in ("room", "air"):
        if not data[table]:
            del data[table]
    for name, keys in LISTS.items():
        data.pop(name, None)
        rows = [row for number in range(MOST) if (row := _row(form, f"{name}-{number}", keys))]
        if rows:
            data[name] = rows


def _row(form: Form, where: str, keys: tuple[str, ...]) -> dict[str, Any]:
    """One entry of a list; empty where nothing was written."""
    said = {key: text(form, f"{where}-{key}") for key in keys if text(form, f"{where}-{key}")}
    if not set(said) - {"wall", "closed"}:
        return {}
    entry: dict[str, Any] = {key: value for key, value in said.items() if key not in ("across", "up", "closed")}
    if "closed" in said:
        entry["closed"] = True
    if "across" in said or "up" in said:
        entry["at"] = [said.get("across", ""), said.get("up", "")]
    return entry


def placed(data: Mapping[str, Any]) -> dict[str, str]:
    """Room, lists and air of a job as the form shows them."""
    found = {name: str(data.get(table, {}).get(key, "")) for name, (table, key) in FIELDS.items()}
    found["across"], found["up"] = data.get("room", {}).get("work", ["", ""])
    for name, keys in LISTS.items():
        for number, entry in enumerate(data.get(name, [])):
            point = dict(zip(("across", "up"), entry.get("at", ()), strict=False))
            for key in keys:
                value = entry.get(key, point.get(key, ""))
                found[f"{name}-{number}-{key}"] = ("yes" if value else "") if key == "closed" else str(value)
    return found


def rows_of(form: Form) -> dict[str, int]:
    """How many rows of each list the form shows: those that say something, and a few to write into."""
    counts = {}
    for name in LISTS:
        used = [number for number in range(MOST) if text(form, f"{name}-{number}-name")]
        counts[name] = min(max(used, default=-1) + 1 + SPARE, MOST)
    return counts
