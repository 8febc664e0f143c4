"""What was measured of a scan, as a job keeps it: the area and how it came about; the scan itself stays in the shop."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from proofpatch.errors import InputError
from proofpatch.measure.figure import LEAST_AREA, MOST_AREA, Area
from proofpatch.measure.mesh import Region, oddity_words, scale_spread, scan_data
from proofpatch.measure.mesh_file import LARGEST, SMALLEST, UNITS
from proofpatch.measure.registry import read_number
from proofpatch.measure.tables import instruments
from proofpatch.physics.setting import finite_number
from proofpatch.sources import Datum
from proofpatch.units import show

KEYS = ("scan", "area", "unit", "longest", "title", "faces", "odd", "picks")
MOST_COUNT = 10_000_000
LONGEST_TEXT = 700  # characters; as long as the picks of `picking` may be


@dataclass(frozen=True, kw_only=True)
class Scanned(Area):
    """Picked parts of a scan, measured before.

    Args:
        scan: its name, or what its file is kept under; areas of one scan share the error of its scale.
        developed: one side of each face [m²].
        unit: what its numbers were taken to be in; longest: in place of it, the longest side by tape [m].
        title: what was picked. faces: how many. odd: as of `Mesh.oddities`. picks: as of `picking`, to go on from.

    Raises:
        InputError: a value that is none, or both or none of unit and longest.
    """

    scan: str
    developed: float
    unit: str | None = None
    longest: float | None = None
    title: str = "whole mesh"
    faces: int = 0
    odd: tuple[int, ...] = (0, 0, 0, 0, 0)
    picks: str = ""

    def __post_init__(self) -> None:
        finite_number("area", "The area", self.developed, LEAST_AREA, MOST_AREA, "m²")
        for name in ("scan", "title", "picks"):
            value = getattr(self, name)
            if not isinstance(value, str) or not value.isprintable() or len(value) > LONGEST_TEXT:
                raise InputError(name, f"The scan's {name} is not a short line.", "Shorten it.")
        if (self.unit is None) == (self.longest is None):
            raise InputError("unit", "The scan has no unit, or two scales.", "Give unit or longest, one of them.")
        if self.unit is not None and self.unit not in UNITS:
            raise InputError("unit", f"The unit {str(self.unit)[:20]!r} is not known.", f"Use: {', '.join(UNITS)}.")
        if self.longest is not None:
            finite_number("longest", "The longest side", self.longest, SMALLEST, LARGEST, "m")
        for count in (self.faces, *self.odd):
            if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= MOST_COUNT:
                raise InputError("faces", "A count of the scan is not a whole number.", "Measure it again.")
        if len(self.odd) != 5:
            raise InputError("odd", "What is odd about the scan is not five counts.", "Measure it again.")

    @property
    def area(self) -> float:
        return self.developed

    @property
    def own(self) -> float:
        return instruments()["scan", "roughness"].value

    @property
    def shared(self) -> float:
        return scale_spread(self.longest)

    @property
    def instrument(self) -> str:
        return f"scan:{self.scan}"

    @property
    def by_tape(self) -> bool:
        """Whether its scale is that of a taped side."""
        return self.longest is not None

    @property
    def words(self) -> str:
        return f"{self.title} of a scan: {self.faces} faces, {show(self.area, 'area')}"

    @property
    def notes(self) -> tuple[str, ...]:
        """What was odd about it, in plain words."""
        return oddity_words(self.odd)

    @property
    def data(self) -> tuple[Datum, ...]:
        return scan_data(self.by_tape)


def scanned_from(record: Any) -> Scanned:
    """What was measured of a scan from a plain record; area and longest are SI or texts with their unit.

    Raises:
        InputError: a key that is not known, no area, or as `Scanned`.
    """
    if not isinstance(record, Mapping):
        raise InputError("scan", "A scan is not a table.", "Give scan, area and unit.")
    for key in record:
        if key not in KEYS:
            raise InputError("scan", f"A scan has no {str(key)[:40]!r}.", f"Use: {', '.join(KEYS)}.")
    for key in ("scan", "area"):
        if key not in record:
            raise InputError(key, f"The scan lacks {key}.", "Measure it again.")
    more = {key: record[key] for key in ("unit", "title", "faces", "picks") if key in record}
    if "longest" in record:
        more["longest"] = read_number("longest", record["longest"], "length", "The longest side")
    odd = record.get("odd", (0, 0, 0, 0, 0))
    if not isinstance(odd, (list, tuple)):
        raise InputError("odd", "What is odd about the scan is not five counts.", "Measure it again.")
    area = read_number("area", record["area"], "area", "The area")
    return Scanned(scan=record["scan"], developed=area, odd=tuple(odd), **more)


def scanned_record(region: Region, scan: str, unit: str | None, longest: str, picks: str) -> dict[str, Any]:
    """A region as `scanned_from` reads it.

    Args:
        scan: what its file is kept under. unit: None where `longest`, as typed, sets the scale. picks: as of `picking`.
    """
    scale = {"longest": longest} if unit is None else {"unit": unit}
    record = {
        "scan": scan, "area": f"{region.area:.9g} m²", **scale, "title": region.title,
        "faces": int(region.faces.sum()), "odd": list(region.mesh.oddities), "picks": picks,
    }  # fmt: skip
    scanned_from(record)
    return record


def is_kept(scan: str) -> bool:
    """Whether a scan is named as the shop keeps its files."""
    return re.fullmatch(r"[0-9a-f]{64}", scan) is not None
