"""Who sees to what, and when; gate items are signed with name and time first. From memory, unverified."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from proofpatch.sources import STATUS, sources

MOMENTS = ("before", "set up", "run", "after")


@dataclass(frozen=True)
class Item:
    """One thing to see to. gate: nothing goes on before it is signed."""

    moment: str
    role: str
    gate: bool
    text: str
    status: str


@lru_cache(maxsize=1)
def checklist() -> tuple[Item, ...]:
    """Every item in order."""
    found = []
    with Path(__file__).with_name("checklist.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file, strict=True):
            if row["moment"] not in MOMENTS or row["source"] not in sources() or row["status"] not in STATUS:
                raise ValueError(f"checklist.csv: {row['text'][:30]} has no known moment, source or status.")
            found.append(Item(row["moment"], row["role"], row["gate"] == "yes", row["text"], row["status"]))
    return tuple(found)
