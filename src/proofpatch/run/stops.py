"""Stop rules: what is seen, smelt, heard or felt at the work, what it means, and what to do then."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from proofpatch.errors import InputError
from proofpatch.run.piece import Piece, cited, holds, table

SENSES = ("see", "smell", "hear", "feel")
STOP, PAUSE = "stop", "pause"


@dataclass(frozen=True)
class Sign:
    """One sign. level: "stop" (beam off at once) or "pause" (finish the stroke off the piece, then look)."""

    name: str
    sense: str
    level: str
    title: str
    text: str
    then: str
    source: str


def signs_of(piece: Piece) -> tuple[Sign, ...]:
    """The signs that can come on this piece: what stops first, then what asks for a pause."""
    found = [_sign(name, row) for name, row in table("stops.toml").items() if holds(row, piece)]
    return tuple(sorted(found, key=lambda one: one.level != STOP))


def sign(name: str) -> Sign:
    """One sign by name.

    Raises:
        InputError: there is none.
    """
    row = table("stops.toml").get(name) if isinstance(name, str) else None
    if row is None:
        raise InputError("sign", f"The sign {str(name)[:40]!r} is not known.", "Take one of the list.")
    return _sign(name, row)


def _sign(name: str, row: Mapping[str, Any]) -> Sign:
    return Sign(name, row["sense"], row["level"], row["title"], row["text"], row["then"], cited(row))
