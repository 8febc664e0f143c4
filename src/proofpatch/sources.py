"""A value with its range and its source; the only way a constant enters."""

from __future__ import annotations

import csv
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

from proofpatch.units import si_unit, to_si

STATUS = ("published", "computed", "common practice", "memory")
_DATUM_COLUMNS = ("value", "low", "high", "unit", "source", "locator", "status")
_CITATIONS = Path(__file__).with_name("sources.toml")


@dataclass(frozen=True)
class Source:
    """One publication or other origin; `cite` is the line the interface shows."""

    id: str
    cite: str

    def __post_init__(self) -> None:
        if not self.id or not self.cite.strip():
            raise ValueError(f"Source {self.id!r} has no citation.")


@dataclass(frozen=True)
class Datum:
    """A number of the data files, in SI, that knows where it comes from.

    Args:
        value: best single value [unit].
        low, high: 90 % range [unit]; both None where no range is known.
        unit: SI unit of all three.
        source: id of a citation in sources.toml.
        locator: the place in the source, or the reason for the number.
        status: one of `STATUS`.

    Raises:
        ValueError: a slip in the data: it cannot be imported.
    """

    value: float
    low: float | None
    high: float | None
    unit: str
    source: str
    locator: str
    status: str

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise ValueError(f"The value {self.value!r} is not a finite number.")
        if (self.low is None) != (self.high is None):
            raise ValueError("A range needs both its ends, or neither.")
        if self.low is not None and self.high is not None and not self.low <= self.value <= self.high:
            raise ValueError(f"The value {self.value!r} lies outside its range {self.low!r} to {self.high!r}.")
        if self.low is not None and self.high is not None and not math.isfinite(self.high - self.low):
            raise ValueError(f"The range {self.low!r} to {self.high!r} is not finite.")
        if self.status not in STATUS:
            raise ValueError(f"The status {self.status!r} is none of: {', '.join(STATUS)}.")
        if self.source not in sources():
            raise ValueError(f"The source {self.source!r} is not in sources.toml.")
        if not self.locator.strip():
            raise ValueError("The place in the source is missing.")


@dataclass(frozen=True)
class Row:
    """One line of a data table: what it speaks of (`keys`, by column name) and its `datum`."""

    keys: Mapping[str, str]
    datum: Datum


@lru_cache(maxsize=1)
def sources() -> Mapping[str, Source]:
    """All citations by id."""
    with _CITATIONS.open("rb") as file:
        table = tomllib.load(file)
    return MappingProxyType({key: Source(key, entry["cite"]) for key, entry in table.items()})


def cite(datum: Datum) -> str:
    """The sentence the interface shows beside a value."""
    if datum.status == "memory":
        return "from memory, unverified"
    if datum.status == "common practice":
        return "common practice, no source"
    line = sources()[datum.source].cite
    return line if datum.status == "published" else f"computed from {line}"


def read_table(path: str | Path) -> tuple[Row, ...]:
    """The rows of a CSV data table, their numbers in SI.

    The columns value, low, high, unit, source, locator and status make the `Datum`; every other column is a key.

    Raises:
        ValueError: a line cannot be used; the message names the file and the line.
    """
    path = Path(path)
    with path.open(newline="", encoding="utf-8") as file:
        reader = csv.DictReader(file, strict=True)
        header = reader.fieldnames or []
        missing = [column for column in _DATUM_COLUMNS if column not in header]
        if missing:
            raise ValueError(f"{path.name}: the columns {', '.join(missing)} are missing.")
        rows = []
        for cells in reader:
            try:
                rows.append(_row(cells))
            except ValueError as slip:
                raise ValueError(f"{path.name}, line {reader.line_num}: {slip}") from slip
    return tuple(rows)


def _row(cells: dict[str, str]) -> Row:
    if None in cells or None in cells.values():
        raise ValueError("The number of cells differs from the header.")
    cells = {column: cell.strip() for column, cell in cells.items()}
    unit = cells["unit"]
    value = to_si(float(cells["value"]), unit)
    low, high = (to_si(float(cells[end]), unit) if cells[end] else None for end in ("low", "high"))
    datum = Datum(value, low, high, si_unit(unit), cells["source"], cells["locator"], cells["status"])
    return Row(MappingProxyType({c: cells[c] for c in cells if c not in _DATUM_COLUMNS}), datum)
