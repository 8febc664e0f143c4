"""Numbers of the learning itself, with what is known of them; none has been measured yet."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from proofpatch.sources import Datum, read_table


@lru_cache(maxsize=1)
def assumptions() -> dict[str, Datum]:
    """Every row of assumptions.csv by property."""
    return {row.keys["property"]: row.datum for row in read_table(Path(__file__).with_name("assumptions.csv"))}


def assumption(name: str) -> Datum:
    """One row; a KeyError is a bug."""
    return assumptions()[name]
