"""What the faces show of areas and zones, as plain records in SI; keys carry their unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from proofpatch.measure.figure import LISTS, Area, Shape
from proofpatch.measure.mesh import Region
from proofpatch.measure.outline import Outline, outline_record
from proofpatch.measure.reach import Reach
from proofpatch.measure.registry import catalogue, figures, record_of
from proofpatch.measure.scanned import Scanned
from proofpatch.measure.tables import INSTRUMENTS, efforts
from proofpatch.measure.zones import Zone, likely, totals
from proofpatch.sources import Datum, cite
from proofpatch.units import show

MIXED = (
    "Areas are developed: every face as if laid flat. Effort, the time beside an open flat face, is a number of its "
    "own. Factors of the trade mix the two; a girth by strip or a scan does not."
)
TOGETHER = (
    "How sure: separate errors partly cancel; what one tape, eye, photo or scan does to all it measured adds up in "
    "full. Equal pieces are measured once, so their error is one."
)


def measure_record(zones: Sequence[Zone], reached: Mapping[str, Reach] | None = None) -> dict[str, Any]:
    """`zones`, their sums and how sure they are. reached: of the zones by name that came from a scan."""
    sums = totals(zones)
    low, high = likely(sums.area, sums.spread) if sums.area else (0.0, 0.0)
    data = dict.fromkeys(datum for zone in zones for datum in zone.data)
    return {
        "area_m2": sums.area,
        "area_low_m2": low,
        "area_high_m2": high,
        "spread": sums.spread,
        "beam_m2": sums.beam,
        "by_hand_m2": sums.by_hand,
        "untouched_m2": sums.untouched,
        "effective_m2": sums.effective,
        "zones": [zone_record(zone, (reached or {}).get(zone.name)) for zone in zones],
        "notes": [MIXED, TOGETHER],
        "sources": sorted({source_line(datum) for datum in data}),
    }


def zone_record(zone: Zone, reached: Reach | None = None) -> dict[str, Any]:
    """One zone with its areas."""
    low, high = likely(zone.area, zone.spread)
    return {
        "name": zone.name, "area_m2": zone.area, "area_low_m2": low, "area_high_m2": high, "spread": zone.spread,
        "one_m2": zone.one, "count": zone.count, "effort": zone.effort, "hand_finish": zone.hand_finish,
        "coating": zone.coating, "limits": zone.limits, "untouched": zone.untouched,
        "areas": [area_record(area) for area in zone.areas],
        "notes": list(dict.fromkeys(note for area in zone.areas for note in notes_of(area))),
        "reach": reach_record(reached) if reached else None,
    }  # fmt: skip


def area_record(area: Area) -> dict[str, Any]:
    """One area: a shape with its figures, an outline, or a region of a scan."""
    record: dict[str, Any] = {
        "words": area.words, "area_m2": area.area, "spread": area.spread, "own_spread": area.own,
        "shared_spread": area.shared, "measured_with": INSTRUMENTS.get(area.instrument, area.instrument),
    }  # fmt: skip
    if isinstance(area, Shape):
        kinds = {key: known.kind for key, known, _ in figures(area.name)}
        ends = {"length": "_m", "area": "_m2"} | dict.fromkeys(LISTS, "_m")
        given = record_of(area)
        record["shape"] = {key + ends.get(kinds.get(key, ""), ""): value for key, value in given.items()}
    elif isinstance(area, Outline):
        given = outline_record(area)
        ends = dict.fromkeys(("width", "height", "length"), "_m") | dict.fromkeys(
            ("points", "openings", "corners", "start", "end", "tap_error"), "_px"
        )
        record["outline"] = {key + ends.get(key, ""): value for key, value in given.items()}
        record["perimeter_m"] = area.perimeter
    elif isinstance(area, Scanned):
        record["scan"] = {"scan": area.scan, "faces": area.faces, "title": area.title, "unit": area.unit,
                          "longest_m": area.longest}  # fmt: skip
    return record


def notes_of(area: Area) -> tuple[str, ...]:
    """What an area takes for granted, or what is odd about it."""
    if isinstance(area, Region):
        return area.mesh.notes
    if isinstance(area, Scanned):
        return area.notes
    return (area.note,) if isinstance(area, Outline) and area.note else ()


def reach_record(found: Reach) -> dict[str, Any]:
    """The set-ups of a scan and what they leave."""
    return {
        "area_m2": found.area, "reached_m2": found.reached, "by_hand": found.by_hand,
        "incidence_rad": found.incidence,
        "setups": [
            {"words": one.words, "direction": list(one.direction), "gained_m2": one.gained,
             "depth_m": list(one.depth) if one.depth else None}
            for one in found.setups
        ],
    }  # fmt: skip


def shapes_record() -> dict[str, Any]:
    """All shapes with their figures, and the kinds of work with their factors."""
    kinds = [
        {"name": name, "factor": one.value, "low": one.low, "high": one.high, "words": one.locator, "source": cite(one)}
        for name, one in efforts().items()
    ]
    return {"shapes": catalogue(), "efforts": kinds}


def source_line(datum: Datum) -> str:
    """A number of a table with what it is and where it is from."""
    if datum.unit == "m":
        return f"{datum.locator}: {show(datum.value, 'length')} ({cite(datum)})"
    return f"{datum.locator}: {datum.value:g} ({cite(datum)})"
