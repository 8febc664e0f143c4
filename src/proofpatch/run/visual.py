"""A finished surface in the words of its owner's trade, by eye: a comparison, and never the grade of a standard."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

from proofpatch.learn.evidence import RESIDUES
from proofpatch.learn.grading import CLEAN_EDGE, NEARLY_EDGE, PARTIAL_EDGE
from proofpatch.materials import substrate
from proofpatch.physics.elementwise import normal_cdf
from proofpatch.run.piece import Piece, cited, holds, table
from proofpatch.sources import Datum, cite, read_table
from proofpatch.units import show

# Largest share still covered of each grade, dirtiest first (design §5).
MOST_LEFT = dict(
    zip(RESIDUES, (1.0, 1.0, *(float(normal_cdf(edge)) for edge in (PARTIAL_EDGE, NEARLY_EDGE, CLEAN_EDGE))),
        strict=True)
)  # fmt: skip
TRADES = {"wood": "wood finishing", "metal": "metalwork", "mineral": "masonry", "paper": "paper"}
BLASTED = ("mild-steel", "tool-steel", "cast-iron")  # what those limits are for; not stainless, not zinc
LIMITS = {"near_white": "near-white blast cleaning", "commercial": "commercial blast cleaning"}


@dataclass(frozen=True)
class Visual:
    """How it looks. trade: whose words these are. left, surface: sentences, empty where nobody looked.

    note: what the comparison is not; it stands wherever the others do. sources: as the interface says them.
    """

    trade: str
    left: str
    surface: str
    note: str
    sources: tuple[str, ...]


def visual_of(piece: Piece, residue: str | None, harm: str | None, fraction_left: float | None = None) -> Visual:
    """A surface as it was graded.

    Args:
        residue, harm: grades; None: nobody looked. fraction_left: share still covered, measured [1]; None: by eye.
    """
    rows = [_first(about, piece, grade) for about, grade in (("left", residue), ("surface", harm), ("note", None))]
    cites = [cited(row) for row in rows if row is not None]
    left, surface, note = ("" if row is None else row["text"] for row in rows)
    if residue is not None:
        most = MOST_LEFT[residue] if fraction_left is None else fraction_left
        left = left.format(most=_parts(most))
        bare = residue in ("clean", "nearly") and harm == "none"  # a tint is a stain that no residue counts
        found = _limit(most) if bare and piece.substrate in BLASTED else None
        if found is not None:
            name, datum = found
            left += (f" That is within the visual limit of {LIMITS[name]}, {show(datum.value, 'share')} of the "
                     "surface stained.")  # fmt: skip
            cites.append(cite(datum))
    trade = next((TRADES[one] for one in substrate(piece.substrate).families if one in TRADES), "surface cleaning")
    return Visual(trade, left, surface, note, tuple(dict.fromkeys(cites)))


@lru_cache(maxsize=1)
def limits() -> Mapping[str, Datum]:
    """Visual limits of blast cleaning by name, the tightest first."""
    rows = read_table(Path(__file__).with_name("visual.csv"))
    return MappingProxyType({row.keys["limit"]: row.datum for row in rows})


def _limit(most: float) -> tuple[str, Datum] | None:
    """The tightest limit that a share left keeps; None: it keeps none."""
    return next(((name, one) for name, one in limits().items() if most <= one.value), None)


def _first(about: str, piece: Piece, grade: str | None) -> Mapping[str, str] | None:
    if grade is None and about != "note":
        return None
    rows = (row for row in table("visual.toml").values() if row["about"] == about and holds(row, piece))
    return next((row for row in rows if grade is None or grade in row["grades"]), None)


def _parts(share: float) -> str:
    """A share as parts of a hundred, never less than the eye can tell."""
    count = share * 100
    return "1 part in 100" if count <= 1.0000001 else f"{count:.2g} parts in 100"
