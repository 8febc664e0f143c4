"""Published cases that print enough, as the starter knowledge that is shipped: src/proofpatch/shop/starter.jsonl.

Run: python benchmarks/starter.py [--write]

Enough is what decides whether a layer comes off and how hot the ground gets: fluence, pulse width, repetition rate and
scan speed, with a wavelength near 1 µm that is printed too and an outcome that speaks of coating and ground. The rest
is filled in with the middle of its range in `cases_fill.toml`, and the line says what was. The citation goes with it.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
from cases_fill import FILLED, _laser, _settled
from cases_read import CASES, Case, fill, read_cases
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

import proofpatch as pp
from proofpatch.learn.memory.exchange import ORIGINS, Exchanged, packed
from proofpatch.shop.starter import FILE

ENOUGH = ("fluence", "pulse_width", "repetition_rate", "sweep_speed")
# "partial" hides the ground and "damaged" says nothing of the coating: neither is a grade.
GRADES = {"clean": ("clean", "none"), "clean_marked": ("clean", "marked")}
MADE = "2026-11-26"  # set by hand when the file is made anew
# Everybody may know it: what it signs is no shop's word.
KEY = Ed25519PrivateKey.from_private_bytes(
    hashlib.sha256(b"proofpatch starter knowledge, a key without a secret").digest()
)
WORDS = {"spot_diameter": "spot", "line_overlap": "line overlap", "sweep_width": "sweep width", "passes": "passes",
         "top_hat_share": "beam profile", "m2": "beam quality",
         "peak_or_mean": "whether the fluence is peak or mean"}  # fmt: skip


def chosen(path: Path = CASES) -> tuple[list[Case], int]:
    """(the cases that print enough and have a source, how many rows there are)."""
    with path.open(newline="", encoding="utf-8") as file:
        rows = {row["id"]: row for row in csv.DictReader(file)}
    return [
        case
        for case in read_cases(path)[0]
        if case.source.strip()
        and case.outcome in GRADES
        and rows[case.id]["wavelength_nm"].strip()
        and all(name in case.printed and not case.printed[name].values for name in ENOUGH)
    ], len(rows)


def job_of(case: Case) -> Exchanged:
    """A case as a job of one patch, what it does not print in the middle of its range."""
    fills = fill()[case.laser_class]["fill"]
    told = {name: _middle(span.low, span.high, span.scale) for name, span in case.printed.items()}
    ranges = {name: (fills[key], factor) for key, (name, factor) in FILLED.items()}
    drawn = {name: _middle(row["low"], row["high"], row["scale"]) * factor for name, (row, factor) in ranges.items()}
    values = {name: float(f"{float(value):.4g}") for name, value in _settled(told, drawn).items()}
    setting = pp.Setting(
        values["power"], values["rate"], values["pulse_width"], values["spot"], values["sweep_width"], values["speed"],
        values["travel"], int(values["passes"]),
    )  # fmt: skip
    laser = replace(_laser(values), id="published", title="laboratory laser of the paper", source=case.source)
    residue, harm = GRADES[case.outcome]
    graded = pp.Graded(setting, residue, harm, layer=len(case.surface.coats) - 1)
    filled = ", ".join(word for name, word in WORDS.items() if name not in told)
    source = (
        f"{case.source.rstrip('.')}. Case {case.id}, {case.words}, {case.outcome.replace('_', ', ')}. Not printed and "
        f"filled in, from memory, unverified: {filled}."
    )
    return Exchanged(case.surface, laser, (graded,), source=source)


def starter_made(path: Path = CASES) -> bytes:
    """The file, the same bytes whoever makes it."""
    cases, rows = chosen(path)
    return packed([job_of(case) for case in cases], KEY, "Published cases", MADE, ORIGINS[1], of=rows)


def _middle(low: float, high: float, scale: str) -> np.ndarray:
    return np.array((low + high) / 2 if scale == "even" else math.sqrt(low * high))


def main() -> None:
    """Says what it holds; --write puts it where it is shipped from."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true")
    data = starter_made()
    if parser.parse_args().write:
        FILE.write_bytes(data)
    cases, rows = chosen()
    print(f"{len(cases)} of {rows} cases: {', '.join(case.id for case in cases)}; {len(data)} bytes")


if __name__ == "__main__":
    main()
