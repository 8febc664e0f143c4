"""The zones of a job file: a known area, shapes, outlines tapped in photos, scans; docs/job-file.md has the keys."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from proofpatch.errors import InputError
from proofpatch.measure.figure import MOST_PARTS, Area
from proofpatch.measure.outline import outline_from
from proofpatch.measure.registry import shape_from
from proofpatch.measure.scanned import scanned_from
from proofpatch.measure.shapes import SHAPES
from proofpatch.measure.zones import EFFORT, MOST_AREAS, Zone, effort_of

READERS: dict[str, Callable[[Any], Area]] = {"shapes": shape_from, "outlines": outline_from, "scans": scanned_from}


def read_areas(place: str, kind: str, value: Any) -> tuple[Area, ...]:
    """The shapes, outlines or scans of a list of tables; what is wrong is named by its number and figure.

    Raises:
        InputError: no such list, or one of it is none.
    """
    if (
        not isinstance(value, list)
        or not 1 <= len(value) <= MOST_AREAS
        or not all(isinstance(v, Mapping) for v in value)
    ):
        raise InputError(
            place, f"{place} is not a list of 1 to {MOST_AREAS} tables.", 'Write [{ shape = "panel", … }].'
        )
    found = []
    for i, entry in enumerate(value):
        try:
            found.append(READERS[kind](entry))
        except InputError as error:
            where = f"{place}[{i}].{error.field}"
            raise InputError(where, f"In {where}: {error.problem}", error.remedy) from None
    return tuple(found)


def read_effort(place: str, value: Any) -> float:
    """A factor, or kinds of work by name.

    Raises:
        InputError: neither.
    """
    if isinstance(value, str):
        try:
            value = effort_of(value)
        except InputError as error:
            raise InputError(place, f"In {place}: {error.problem}", error.remedy) from None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not EFFORT[0] <= value <= EFFORT[1]:
        raise InputError(
            place, f"{place} is not a number from {EFFORT[0]:g} to {EFFORT[1]:g}.", "Write for example 1.5."
        )
    return float(value)


def read_pieces(place: str, value: Any) -> int:
    """How many equal pieces.

    Raises:
        InputError: no whole number.
    """
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= MOST_PARTS:
        raise InputError(place, f"{place} is not a whole number from 1 to {MOST_PARTS}.", "Write it without quotes.")
    return value


def zone_from(entry: Mapping[str, Any], number: int) -> Zone:
    """The zone of a table whose values are read; the number names one without a name.

    Raises:
        InputError: it has no area.
    """
    areas: list[Area] = []
    if "area" in entry:
        how = {"how": entry["how"]} if "how" in entry else {}
        areas.append(shape_from({"shape": SHAPES["area"].name, "area": entry["area"], **how}))
    elif "how" in entry:
        raise InputError(
            "how", "It says how an area was measured, and there is no area.", "A shape has a how of its own."
        )
    areas += [one for kind in READERS for one in entry.get(kind, ())]
    if not areas:
        raise InputError("area", "The zone has no area.", "Add area, shapes, outlines or scans.")
    given = {
        key: entry[key] for key in ("count", "effort", "hand_finish", "coating", "limits", "untouched") if key in entry
    }
    return Zone(name=entry.get("name", f"zone {number}"), areas=tuple(areas), **given)
