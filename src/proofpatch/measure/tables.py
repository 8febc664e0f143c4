"""Numbers of the measuring trade with their sources: instruments, factors of shape, factors of effort."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from scipy.special import ndtri

from proofpatch.sources import Datum, read_table

HERE = Path(__file__).parent
NINE_OF_TEN = 2 * float(ndtri(0.95))  # standard deviations between the ends of a 90 % range
INSTRUMENTS = {
    "tape": "tape or rule", "calliper": "calliper", "strip": "flexible strip round the profile",
    "drawing": "drawing", "pace": "paces", "eye": "judged by eye", "told": "told by the customer",
}  # fmt: skip


@lru_cache(maxsize=1)
def instruments() -> dict[tuple[str, str], Datum]:
    """{(how, property): what it is wrong by}: `reading` of each figure, `scale` of all alike."""
    return {(row.keys["how"], row.keys["property"]): row.datum for row in read_table(HERE / "instruments.csv")}


@lru_cache(maxsize=1)
def factors() -> dict[tuple[str, str], Datum]:
    """{(shape, item): factor on the flat area}, and (shape, "form"): how far such a factor may be off [1]."""
    return {(row.keys["shape"], row.keys["item"]): row.datum for row in read_table(HERE / "factors.csv")}


def items(shape: str) -> tuple[str, ...]:
    """What a shape has factors for."""
    return tuple(item for name, item in factors() if name == shape and item not in ("form", "rule"))


@lru_cache(maxsize=1)
def efforts() -> dict[str, Datum]:
    """{kind of work: time beside an open flat face}."""
    return {row.keys["effort"]: row.datum for row in read_table(HERE / "efforts.csv")}


def half_width(datum: Datum) -> float:
    """One standard deviation over the value, of the range; 0 where there is none."""
    if datum.low is None or datum.high is None:
        return 0.0
    return (datum.high - datum.low) / NINE_OF_TEN / datum.value
