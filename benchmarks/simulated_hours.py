"""Jobs walked through stroke by stroke, to see whether the stated range of hours holds: none of offer's own code.

The shop of each job is drawn from the ranges of rates.csv, read here anew; then lanes, reaches and strokes are laid one
after another by a clock.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

RATES = Path(__file__).parents[1] / "src" / "proofpatch" / "offer" / "rates.csv"
NINETY = 2 * 1.6448536269514722  # standard deviations between the ends of a 90 % range


@dataclass(frozen=True)
class Piece:
    """A flat piece with one setting; SI. width: across the strokes. clean: chance that it comes clean at once."""

    width: float
    length: float
    sweep: float
    travel: float
    passes: int
    clean: float
    hand: float = 0.25  # ± share of the speed that covers 95 % of strokes
    masked: float = 0.0
    clamps: int = 0
    by_hand: float = 0.0  # m² scraped
    strips: int = 0


def made_piece(rng: np.random.Generator) -> Piece:
    """Some job of a shop."""
    return Piece(
        width=float(rng.uniform(0.03, 0.9)), length=float(rng.uniform(0.3, 2.2)), sweep=float(rng.uniform(0.04, 0.12)),
        travel=float(rng.uniform(0.005, 0.06)), passes=int(rng.integers(1, 6)), clean=float(rng.uniform(0.6, 0.98)),
        masked=float(rng.choice([0.0, rng.uniform(0.2, 6.0)])), clamps=int(rng.integers(0, 4)),
        by_hand=float(rng.choice([0.0, rng.uniform(0.0, 0.2)])), strips=int(rng.integers(0, 4)),
    )  # fmt: skip


def made_shop(rng: np.random.Generator) -> dict[str, float]:
    """One shop's true rates, log-normal within the 90 % ranges of the table."""
    with RATES.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {
        row["property"]: float(row["value"])
        * math.exp(math.log(float(row["high"]) / float(row["low"])) / NINETY * rng.standard_normal())
        for row in rows
    }


def strokes_of(piece: Piece, shop: dict[str, float]) -> list[tuple[float, bool]]:
    """(length laid, whether one steps before it) of every stroke of one pass."""
    found: list[tuple[float, bool]] = []
    reached = 0.0
    covered, stepped = 0.0, -1
    while covered < piece.width - 1e-9:
        covered = piece.sweep if not found else reached + piece.sweep * (1 - shop["lane_overlap"])
        reached = covered
        row = int(min(covered, piece.width) / shop["stroke_reach"] - 1e-9)
        parts = math.ceil(piece.length / shop["stroke_reach"])
        for _ in range(parts):
            found.append((piece.length / parts + shop["stroke_run"], row != stepped))
        stepped = row
    return found


def simulated(piece: Piece, shop: dict[str, float], rng: np.random.Generator, slower: float = 1.0) -> float:
    """Seconds the job really took; `slower` times the stated stroke time, to see a wrong forecast found out."""
    clock, today, days = 0.0, 0.0, 1
    day_of_work = shop["day"] * (1 - shop["breaks"])

    def pass_time(seconds: float) -> None:
        nonlocal clock, today, days
        clock += seconds
        today += seconds
        while today > day_of_work:
            today -= day_of_work
            days += 1

    pass_time(shop["set_up"])
    for _ in range(piece.strips):
        pass_time(shop["strip"])
    for _ in range(piece.clamps):
        pass_time(shop["clamping"])
    pass_time(piece.masked * shop["masking"])
    beam = _lay(piece, shop, rng, slower, pass_time)
    pass_time(beam / shop["lens_every"] * shop["lens_clean"])
    pass_time(piece.by_hand * shop["hand_finish"])
    pass_time(piece.width * piece.length * shop["wiping"])
    return clock / (1 - shop["breaks"]) + (days - 1) * shop["day_start"]


def _lay(
    piece: Piece, shop: dict[str, float], rng: np.random.Generator, slower: float, pass_time: Callable[[float], None]
) -> float:
    """Beam-on seconds of all passes and of what is gone over again."""
    spread = math.log(1 + piece.hand) / 1.96
    day_speed = piece.travel * shop["daily_speed"]
    beam = 0.0

    def stroke(length: float) -> None:
        nonlocal beam
        took = slower * length / (day_speed * math.exp(spread * rng.standard_normal() + spread**2 / 2))
        beam += took
        pass_time(took * (1 + shop["looking"]) + shop["stroke_turn"])

    plan = strokes_of(piece, shop) * piece.passes
    for length, steps in plan:
        if steps:
            pass_time(shop["stance"])
        stroke(length)
    share = shop["touching_up"] if rng.random() < piece.clean else min(shop["islands"], 0.9)
    first = beam
    for k in rng.permutation(len(plan))[: math.floor(share * len(plan) + rng.random())]:
        stroke(plan[k][0])
    return first
