"""Zones in a sensible order: least visible first, what lies in one set-up together, cooled down where the bulk asks.

What a mistake costs falls on the place that shows least; what the first zones teach serves the ones that show most.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from proofpatch.errors import InputError
from proofpatch.measure.zones import Zone
from proofpatch.run.cooling import Cooling
from proofpatch.sources import read_table
from proofpatch.units import show

MOST_SEEN = 0.9  # from here on a zone is a face (common practice, no source)
UNSAID = 0.5  # how much a zone shows that nothing is said of; between hidden and face (common practice, no source)


@dataclass(frozen=True)
class Place:
    """One zone as the order needs it.

    Args:
        number: as the job counts it, from 1. name: as the shop calls it.
        seen: how much it shows, 0 hidden to 1 face; None: by its name, or unsaid.
        set_up: what it shares with zones that are reached from one clamping or standing; None: its own.
        untouched: not to be touched.
    """

    number: int
    name: str
    seen: float | None = None
    set_up: str | None = None
    untouched: bool = False

    def __post_init__(self) -> None:
        if self.seen is not None and not 0.0 <= self.seen <= 1.0:
            raise InputError("seen", f"How much zone {self.number} shows is not from 0 to 1.", "0 hidden, 1 face.")


@dataclass(frozen=True)
class Turn:
    """One zone in its turn. wait: before each further pass [s]; because: in words."""

    number: int
    name: str
    wait: float
    because: str


@lru_cache(maxsize=1)
def _shown() -> dict[str, float]:
    return {row.keys["word"]: row.datum.value for row in read_table(Path(__file__).with_name("order.csv"))}


def seen_by_name(name: str) -> float | None:
    """How much a zone of that name shows, by the last word of it that says so; None: none does."""
    said = [_shown()[word] for word in re.findall(r"\w+", name.casefold()) if word in _shown()]
    return said[-1] if said else None


def places_of(zones: Sequence[Zone], more: Sequence[Mapping[str, Any]] = ()) -> tuple[Place, ...]:
    """The places of a job's measured zones.

    Args:
        zones: as measured, numbered from 1. more: what the job says of each beside its measures: "front" (it is the
            face) and "set_ups" (times the piece is turned for it).

    A zone that is turned for begins a set-up; those after it that need no turning lie in it. Where nobody counted
    turnings nothing is grouped.
    """
    said = [more[i] if i < len(more) else {} for i in range(len(zones))]
    counted = any(one.get("set_ups") for one in said)
    found, group = [], 0
    for i, (zone, one) in enumerate(zip(zones, said, strict=True)):
        group += bool(one.get("set_ups"))
        seen = 1.0 if one.get("front") else None
        found.append(Place(i + 1, zone.name, seen, str(group) if counted else None, zone.untouched))
    return tuple(found)


def in_order(places: Iterable[Place], cooling: Mapping[int, Cooling] | None = None) -> tuple[Turn, ...]:
    """The zones in order, those not to be touched left out.

    A set-up comes as a whole, at the turn of the zone in it that shows least; zones that show alike keep the job's
    own order.

    Args:
        cooling: {number of the zone: what the bulk asks between its passes}; None: not asked.
    """
    worked = [one for one in places if not one.untouched]
    groups: dict[str, list[Place]] = {}
    for one in worked:
        groups.setdefault(f"zone {one.number}" if one.set_up is None else f"set-up {one.set_up}", []).append(one)
    for group in groups.values():
        group.sort(key=lambda one: (_seen(one), one.number))
    ordered = sorted(groups.values(), key=lambda group: (_seen(group[0]), group[0].number))
    turns: list[Turn] = []
    for group in ordered:
        for n, one in enumerate(group):
            cool = (cooling or {}).get(one.number)
            said = [_why(one, group, n, not turns, len(worked)), *_wait(cool, len(worked))]
            turns.append(Turn(one.number, one.name, cool.wait if cool else 0.0, " ".join(said)))
    return tuple(turns)


def _seen(one: Place) -> float:
    if one.seen is not None:
        return one.seen
    by_name = seen_by_name(one.name)
    return UNSAID if by_name is None else by_name


def _why(one: Place, group: Sequence[Place], n: int, first: bool, zones: int) -> str:
    if first:
        return "It shows least: what it teaches serves the rest." if zones > 1 else "It is the only zone."
    if n:
        return f"Same set-up as {group[0].name}: no new clamping."
    if len(group) > 1 and _seen(group[-1]) > _seen(one):
        return "It shows least of its set-up, and the set-up is done in one."
    if _seen(one) >= MOST_SEEN:
        return "It shows most: it comes when the hand is in."
    if one.seen is None and seen_by_name(one.name) is None:
        return "Nothing says how much it shows: in the job's own order."
    return "It shows more than the zones before it."


def _wait(cool: Cooling | None, zones: int) -> list[str]:
    if cool is None or cool.wait <= 0:
        return []
    if math.isinf(cool.wait):
        return ["One pass is too much for its bulk: not by this setting."]
    elsewhere = ", work on another zone meanwhile" if zones > 1 else ""
    return [f"Let it cool {show(cool.wait, 'duration')} between passes{elsewhere}."]
