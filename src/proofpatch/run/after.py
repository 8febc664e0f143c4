"""After a scorch: what to do now, what can be done by substrate, what to tell the customer. It stays with the run."""

from __future__ import annotations

from dataclasses import dataclass

from proofpatch.run.piece import Piece, cited, holds, table

PARTS = ("now", "can", "tell")


@dataclass(frozen=True)
class Line:
    """One sentence with where it comes from."""

    text: str
    source: str


@dataclass(frozen=True)
class After:
    """now: to do at once, in this order. can: what can be done on this substrate. tell: the customer."""

    now: tuple[Line, ...]
    can: tuple[Line, ...]
    tell: tuple[Line, ...]


def after_harm(piece: Piece) -> After:
    """What follows a scorch on this piece."""
    rows = [row for row in table("after.toml").values() if holds(row, piece)]
    return After(*(tuple(Line(row["text"], cited(row)) for row in rows if row["part"] == part) for part in PARTS))
