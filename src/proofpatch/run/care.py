"""What comes after the work: what is done first, what the next finish needs, and how to live with the piece."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

from proofpatch.run.day import figures
from proofpatch.run.piece import Piece, cited, holds, table
from proofpatch.sources import Datum, cite, read_table
from proofpatch.units import show, system

PARTS = {"first": "First", "next": "Before a coat or a finish", "keep": "Later"}
DAY = 86400.0  # s
HELD = ("humidity", "above_dew")  # of the day's own table


@dataclass(frozen=True)
class Care:
    """One sentence. part: of PARTS. sources: where it and its figures come from, as the interface says it."""

    name: str
    part: str
    text: str
    sources: tuple[str, ...]


def care_of(piece: Piece) -> tuple[Care, ...]:
    """What its owner is told, what comes first first."""
    found = [_care(name, row) for name, row in table("care.toml").items() if holds(row, piece)]
    return tuple(sorted(found, key=lambda one: list(PARTS).index(one.part)))


@lru_cache(maxsize=1)
def care_figures() -> Mapping[str, Datum]:
    """The figures of these sentences by name; what a day is held against stands in its table alone."""
    own = {row.keys["property"]: row.datum for row in read_table(Path(__file__).with_name("care.csv"))}
    return MappingProxyType({**own, **{name: figures()[name] for name in HELD}})


def _care(name: str, row: Mapping[str, str]) -> Care:
    known = {key: datum for key, datum in care_figures().items() if f"{{{key}}}" in row["text"]}
    said = row["text"].format(**{key: shown(datum) for key, datum in known.items()})
    return Care(name, row["part"], said, tuple(dict.fromkeys([cited(row), *(cite(one) for one in known.values())])))


def shown(datum: Datum) -> str:
    """A figure with its range where it has one: "4 h", "2 weeks", "6 to 8 %"."""
    if datum.low is None or datum.high is None:
        return _said(datum.value, datum.unit)
    ends = [_said(value, datum.unit) for value in (datum.low, datum.high)]
    number, _, unit = ends[0].partition(" ")
    same = unit.rstrip("s") == ends[1].partition(" ")[2].rstrip("s")
    return f"{number} to {ends[1]}" if same else " to ".join(ends)


def _said(value: float, unit: str) -> str:
    if unit == "s":
        days = value / DAY
        if days < 1 or days != round(days):
            return show(value, "duration")
        count, name = (round(days / 7), "week") if days >= 7 and days % 7 == 0 else (round(days), "day")
        return f"{count} {name}{'' if count == 1 else 's'}"
    if unit == "K":  # a difference, which no zero shifts
        return f"{value * 9 / 5:g} °F" if system() == "us" else f"{value:g} °C"
    return show(value, "share") if value < 1 else f"{value:g}"
