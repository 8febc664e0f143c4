"""Zones in a sensible order: least visible first, what lies in one set-up together, cooled down where the bulk asks.

What a mistake costs falls on the place that shows least; what the first zones teach serves the ones that show most.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from proofpatch.errors import InputError
from proofpatch.run.cooling import Cooling
from proofpatch.sources import read_table
from proofpatch.units import show

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


def in_order(places: Iterable[Place], cooling: Cooling | None = None) -> tuple[Turn, ...]:
    """The zones in order, those not to be touched left out.

    A set-up comes as a whole, at the turn of the zone in it that shows least; zones that show alike keep the job's
    own order. cooling: what the bulk of the piece asks between passes.
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
            turns.append(_turn(one, group, n, not turns, cooling, len(worked)))
    return tuple(turns)


def _seen(one: Place) -> float:
    if one.seen is not None:
        return one.seen
    by_name = seen_by_name(one.name)
    return UNSAID if by_name is None else by_name


def _turn(one: Place, group: Sequence[Place], n: int, first: bool, cooling: Cooling | None, zones: int) -> Turn:
    said = []
    if first:
        said.append("It shows least: what it teaches serves the rest." if zones > 1 else "It is the only zone.")
    elif n:
        said.append(f"Same set-up as {group[0].name}: no new clamping.")
    elif _seen(one) >= 0.9:
        said.append("It shows most: it comes when the hand is in.")
    elif one.seen is None and seen_by_name(one.name) is None:
        said.append("Nothing says how much it shows: in the job's own order.")
    else:
        said.append("It shows more than the zones before it.")
    wait = cooling.wait if cooling is not None else 0.0
    if wait > 0:
        elsewhere = ", working on another zone meanwhile" if zones > 1 else ""
        said.append(f"Let it cool {show(wait, 'duration')} between passes{elsewhere}.")
    return Turn(one.number, one.name, wait, " ".join(said))
