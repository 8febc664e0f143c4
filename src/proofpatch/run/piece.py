"""What the day needs to know of a job, and the tables that speak of it: rows with grounds, text and source."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from proofpatch.learn.surface import Surface
from proofpatch.materials import coating, substrate
from proofpatch.sources import STATUS, sources

ANY = "any"
THIN_FACED = ("veneer-on-core",)


@dataclass(frozen=True)
class Piece:
    """What is worked on, and where.

    Args:
        substrate: its id. coatings: ids of every coating it may be.
        outdoors: the work is done under the sky.
        focus_cue: how this head shows that it is in focus, as its owner wrote it.
        power: average power of the recipe [W]; None without one.
        open_gates: what of the survey and the hazards is still to be settled or covered, each in a sentence.
    """

    substrate: str
    coatings: tuple[str, ...] = ()
    outdoors: bool = False
    focus_cue: str = ""
    power: float | None = None
    open_gates: tuple[str, ...] = ()

    @property
    def tags(self) -> frozenset[str]:
        """What the grounds of a row may name of it: ids, families, ferrous, porous, outdoors or indoors."""
        under = substrate(self.substrate)
        found = {ANY, under.id, *under.families, "outdoors" if self.outdoors else "indoors"}
        found |= {name for name in ("ferrous", "porous") if getattr(under, name)}
        return frozenset(found | {name for key in self.coatings for name in (key, *coating(key).families)})


def piece_of(
    surface: Surface, outdoors: bool = False, focus_cue: str = "", power: float | None = None,
    open_gates: tuple[str, ...] = (),
) -> Piece:  # fmt: skip
    """The piece of a surface; every coating it may be counts."""
    may_be = tuple(dict.fromkeys(key for coat in surface.coats for key in coat.shares))
    return Piece(surface.substrate, may_be, outdoors, focus_cue, power, open_gates)


@lru_cache(maxsize=8)
def table(name: str) -> Mapping[str, Mapping[str, Any]]:
    """The rows of a TOML table of this room by name.

    Raises:
        ValueError: a slip in the data.
    """
    with Path(__file__).with_name(name).open("rb") as file:
        rows: dict[str, dict[str, Any]] = tomllib.load(file)
    for key, row in rows.items():
        if row.get("source") not in sources() or row.get("status") not in STATUS or not row.get("locator", "").strip():
            raise ValueError(f"{name}, {key}: the row has no source, locator or status that is known.")
    return rows


def holds(row: Mapping[str, Any], piece: Piece) -> bool:
    """Whether a row speaks of this piece: one of its grounds, and all that its `only` names."""
    return bool(piece.tags & set(row.get("grounds", (ANY,)))) and set(row.get("only", ())) <= piece.tags


def cited(row: Mapping[str, Any]) -> str:
    """Where a row comes from, as the interface says it."""
    if row["status"] == "memory":
        return "from memory, unverified"
    if row["status"] == "common practice":
        return "common practice, no source"
    return sources()[row["source"]].cite
