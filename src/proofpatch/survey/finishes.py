"""What finishes there are, and how often each answers a test so: the rows of finishes, reactions and grounds.

How sure a table cell is (S by itself; H, M, L) sets the share of answers it stands for; these shares are ours, from
memory, unverified, as are the chances of grounds and the age of an old film. What a shop's confirmed pieces make of the
shares, and what they may never do, is in `refit`.
"""

from __future__ import annotations

import csv
import datetime
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from proofpatch.materials import coating, substrate, substrate_ids
from proofpatch.sources import sources
from proofpatch.survey.evidence import TESTS
from proofpatch.survey.refit import NONE, Counts, shrunk

Floats = NDArray[np.float64]
HERE = Path(__file__).parent
SHARES = {"S": 0.98, "H": 0.9, "M-H": 0.8, "M": 0.7, "L": 0.5}  # of answers that are as the table has them
UNLISTED = "unlisted"
# Grounds before any reading, where none is named.
FAMILY_SHARES = {"wood": 0.7, "metal": 0.15, "mineral": 0.1, "paper": 0.05}
OLD_FILM = 80  # years from which alcohol that does nothing hardly speaks against shellac
FAST_BURNING = "nitrocellulose"  # in the name of a coating that burns fast


@dataclass(frozen=True)
class Finish:
    """A row of finishes.csv. coating: id of the physical data that stand for it, or "" where there are none.

    rare_before: made earlier, but seldom. usual: years in which it was the usual one on furniture. only_on: substrates
    it needs, where its family is not enough. old_refuses: a test that an old film may not answer, or "".
    """

    id: str
    name: str
    coating: str
    since: int | None
    until: int | None
    rare_before: int | None
    usual: tuple[int, int] | None
    only_on: tuple[str, ...]
    old_refuses: str
    often: Mapping[str, float]
    source: str
    locator: str
    status: str


@dataclass(frozen=True)
class Cell:
    """How one finish or ground answers one test: {reading: share of answers}, and where that is from."""

    shares: Mapping[str, float]
    source: str
    locator: str
    status: str


def _rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file, strict=True))
    for row in rows:
        if row["source"] not in sources():
            raise ValueError(f"{name}: the source {row['source']!r} is not in sources.toml.")
    return rows


@lru_cache(maxsize=1)
def finishes() -> dict[str, Finish]:
    """Every finish by id."""
    found = {}
    for row in _rows("finishes.csv"):
        often = {family: float(row[family]) for family in FAMILY_SHARES}
        ends = ("since", "until", "rare_before", "usual_from", "usual_to")
        since, until, rare, first, last = (int(row[end]) if row[end] else None for end in ends)
        usual = (first, last) if first is not None and last is not None else None
        only_on = tuple(row["only_on"].split())
        for key in only_on:
            substrate(key)  # an id that is there, or fails here
        if row["coating"]:
            coating(row["coating"])  # names an id that is there, or fails here
        found[row["finish"]] = Finish(
            row["finish"], row["name"], row["coating"], since, until, rare, usual, only_on, row["old_refuses"], often,
            row["source"], row["locator"], row["status"],
        )  # fmt: skip
    return found


@lru_cache(maxsize=2)
def cells(name: str) -> dict[tuple[str, str], Cell]:
    """(finish or substrate, test) -> its cell, of reactions.csv or grounds.csv."""
    table: dict[tuple[str, str], list[dict[str, str]]] = {}
    for row in _rows(name):
        table.setdefault((row[next(iter(row))], row["test"]), []).append(row)
    return {key: _cell(key[1], rows) for key, rows in table.items()}


def _cell(test: str, rows: Sequence[Mapping[str, str]]) -> Cell:
    """The rows of one cell as shares of all readings; what they leave is spread over the readings not named."""
    known = TESTS[test].values
    named = [row["reading"] for row in rows]
    if len(set(named)) < len(named):
        raise ValueError(f"{test}: a reading of one cell stands there twice.")
    for reading in named:
        if reading not in known:
            raise ValueError(f"{test}: the reading {reading!r} is none of its values.")
    total = max(SHARES[row["sureness"]] for row in rows)
    rest = [value for value in known if value not in named]
    if not rest:
        total = 1.0
    parts = [float(row["part"]) for row in rows]
    shares = {value: total * part / sum(parts) for value, part in zip(named, parts, strict=True)}
    shares |= {value: (1.0 - total) / len(rest) for value in rest}
    first = rows[0]
    return Cell(shares, first["source"], first["locator"], first["status"])


def names() -> tuple[str, ...]:
    """Finish ids in the order of the table, "unlisted" last."""
    return (*finishes(), UNLISTED)


@lru_cache(maxsize=1)
def hazardous() -> NDArray[np.bool_]:
    """(finishes + 1,): what a confirmed piece may never make less likely: paint, what burns fast, what is unknown here
    or has no physical data."""
    return np.array([
        not one.coating or coating(one.coating).kind == "paint" or FAST_BURNING in one.coating
        for one in finishes().values()
    ] + [True])  # fmt: skip


def likelihood(test: str, value: str, year: int | None = None, seen: Counts = NONE) -> Floats:
    """(substrates, finishes + 1): how well each answers so, 1 at best and not under 1/strength [1]."""
    about = TESTS[test]
    grounds = substrate_ids()
    flat = 1.0 / max(len(about.values), 1)
    if test in ("laboratory", "told"):
        of_finish = np.array([1.0 if value in (f.id, f.coating) else 1e-3 for f in finishes().values()] + [1e-3])
    else:
        of_finish = np.array([answers(name, test, value, seen) for name in finishes()] + [flat], dtype=float)
    of_ground = np.array([_share("grounds.csv", (key, "other"), test, value, flat) for key in grounds])
    if value == "none" and year is not None and survey_age(year) > OLD_FILM:
        for at, finish in enumerate(finishes().values()):
            if finish.old_refuses == test:
                of_finish[at] = max(of_finish[at], 0.5 * of_finish.max())
    both = of_ground[:, None] * of_finish
    return np.asarray(np.maximum(both / both.max(), 1.0 / about.stronger.get(value, about.strength)))


def survey_age(year: int) -> int:
    """Years since."""
    return datetime.date.today().year - year


def _share(table: str, keys: Iterable[str], test: str, value: str, flat: float) -> float:
    """The share of answers that are `value`; `flat` where the table does not say."""
    for key in keys:
        cell = cells(table).get((key, test))
        if cell is not None:
            return cell.shares[value]
    return flat


def answers(finish: str, test: str, value: str, seen: Counts = NONE) -> float:
    """The share of pieces of this finish that answer a test so: the table's, moved by confirmed pieces."""
    share = _share("reactions.csv", (finish,), test, value, 1.0 / max(len(TESTS[test].values), 1))
    counted = seen.of(finish, test)
    return shrunk(share, counted.get(value, 0.0), math.fsum(counted.values())) if counted else share


def words_of(finish: str) -> str:
    """The name of a finish in words."""
    return finishes()[finish].name if finish in finishes() else "something not listed"


def family_of(key: str) -> str:
    """wood, metal, mineral or paper."""
    families = substrate(key).families
    return next((family for family in FAMILY_SHARES if family in families or key == family), "wood")
