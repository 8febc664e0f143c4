"""Published cleaning cases as questions: what a row prints, what `cases_fill.toml` fills in, and why a row is left out.

A row is a line of a CSV file with the columns of `cases.csv`. Its cells are read as people write them: "20-1020",
"8 and 100", ">3", "~1 um fibre". A row that cannot be asked is given back with the reason, never raised.
"""

from __future__ import annotations

import csv
import hashlib
import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.materials import coating, substrate

HERE = Path(__file__).parent
CASES, FILL = HERE / "cases.csv", HERE / "cases_fill.toml"
OUTCOMES = ("clean", "clean_marked", "partial", "no_effect", "damaged")
_NUMBER = r"\d+(?:\.\d+)?(?:[eE][+-]?\d+)?"
_RANGE = re.compile(rf"({_NUMBER})\s*(?:-|–|—|\bto\b|\.\.)\s*({_NUMBER})")
_OTHER_LASER = re.compile(r"\bco2\b|co₂|excimer|er:yag|\bfemtosecond|\bpicosecond|\bdiode laser|\bkrf\b|\barf\b")
_NEAR_ONE_MICRON = re.compile(r"fibre|fiber|nd:|nd-|\byb|yag|yvo|ylf|\bir\b|infrared")
_SCALES = {"J/cm2": ("fluence", 1e4), "mJ/cm2": ("fluence", 10.0), "J/m2": ("fluence", 1.0), "J/mm2": ("fluence", 1e6),
           "mJ": ("pulse_energy", 1e-3), "uJ": ("pulse_energy", 1e-6), "J": ("pulse_energy", 1.0),
           "W": ("average_power", 1.0), "kW": ("average_power", 1e3)}  # fmt: skip
_INTENSITY = {"W/cm2": 1e4, "kW/cm2": 1e7, "MW/cm2": 1e10, "GW/cm2": 1e13}


@dataclass(frozen=True)
class Span:
    """A number as far as it is known: low to high, on a log or an even scale, or one of several values."""

    low: float
    high: float
    scale: str = "log"
    values: tuple[float, ...] = ()

    def times(self, factor: float) -> Span:
        """In another unit."""
        return Span(self.low * factor, self.high * factor, self.scale, tuple(v * factor for v in self.values))


@dataclass(frozen=True)
class Case:
    """One row that can be asked.

    laser_class: a table of the fill file. printed: what the row gives, SI by name. thickness: per layer, None where the
    model's own range stands.
    """

    id: str
    outcome: str
    surface: pp.Surface
    laser_class: str
    printed: Mapping[str, Span]
    thickness: tuple[Span | None, ...]
    source: str
    words: str = field(default="")


@dataclass(frozen=True)
class LeftOut:
    """One row that cannot be asked, and why."""

    id: str
    reason: str


@lru_cache(maxsize=1)
def fill() -> dict[str, Any]:
    """The frozen fill file."""
    return tomllib.loads(FILL.read_text(encoding="utf-8"))


def fill_digest() -> str:
    """sha256 of the fill file."""
    return hashlib.sha256(FILL.read_bytes()).hexdigest()


def span(text: str) -> Span | None:
    """What a cell says, or None where it says no number above zero.

    A bound alone ("> 3") is taken to within a factor of two.
    """
    text = re.sub(r"(?<=\d),(?=\d{3}\b)", "", text.strip())
    if re.match(r"[-−–]\s*\d", text):
        return None
    numbers = [float(n) for n in re.findall(_NUMBER, text)]
    if not numbers or not all(0 < n < math.inf for n in numbers):
        return None
    first = numbers[0]
    if "±" in text and len(numbers) == 2 and numbers[1] < first:
        return Span(first - numbers[1], first + numbers[1], "even")
    if found := _RANGE.search(text):
        low, high = sorted(float(n) for n in found.groups())
        return Span(low, high)
    if len(numbers) > 1:
        return Span(min(numbers), max(numbers), "either", tuple(numbers))
    if re.match(r">|≥|over|above|at least", text):
        return Span(first, 2 * first)
    if re.match(r"<|≤|under|below|up to", text):
        return Span(first / 2, first)
    return Span(first, first)


def _begins(words: Iterable[str], text: str) -> bool:
    return any(re.search(rf"(?<![a-z0-9]){re.escape(w)}", text) for w in words)


def _match(table: str, text: str, substrate_id: str = "") -> dict[str, Any] | None:
    for entry in fill()[table]:
        if _begins(entry["words"], text) and entry.get("needs", substrate_id) == substrate_id:
            return dict(entry)
    return None


def _unit(text: str) -> str:
    return re.sub(r"[\s^·]", "", text).replace("²", "2").replace("µ", "u").replace("μ", "u")


def _time_ns(text: str) -> Span | None:
    found = span(text)
    for word, factor in (("fs", 1e-6), ("ps", 1e-3), ("us", 1e3), ("µs", 1e3), ("ms", 1e6)):
        if found and re.search(rf"\d\s*{word}\b", text):
            return found.times(factor)
    return found


def _printed(row: Mapping[str, str]) -> dict[str, Span]:
    """Every number of a row, SI by name; notes count where they say what a column has no place for."""
    notes = row["notes"].lower()
    found: dict[str, Span | None] = {
        "repetition_rate": _scaled(span(row["rep_rate_khz"]), 1e3),
        "spot_diameter": _scaled(span(row["spot_um"]), 1e-6),
        "average_power": _scaled(span(row["average_power_w"]), 1.0),
        "sweep_speed": _scaled(span(row["scan_speed_mm_s"]), 1e-3),
        "line_pitch": _scaled(span(row["line_spacing_um"]), 1e-6),
        "passes": span(row["passes"]),
        "pulse_width": _scaled(_time_ns(row["pulse_width_ns"]), 1e-9),
    }
    if row["value"] or row["low"] or row["high"]:
        ends = f"{row['low']}-{row['high']}" if row["low"] and row["high"] else row["low"] or row["high"]
        value, unit = span(row["value"] or ends), _unit(row["unit"])
        if unit in _SCALES:
            name, factor = _SCALES[unit]
            found[name] = _scaled(value, factor)
        elif unit in _INTENSITY and value and (width := found["pulse_width"]):
            middle = math.sqrt(width.low * width.high)
            found["fluence"] = _scaled(value, _INTENSITY[unit] * middle)
    for name, pattern, factor in (
        ("pulse_energy", rf"({_NUMBER})\s*mj(?!\s*/)", 1e-3),
        ("line_overlap", rf"line overlap\D{{0,6}}({_NUMBER})\s*%", 1e-2),
        ("pulse_overlap", rf"(?<!line )overlap\D{{0,6}}({_NUMBER})\s*%", 1e-2),
        ("travel_speed", rf"(?:carriage|travel speed)\D{{0,4}}({_NUMBER})\s*mm/s", 1e-3),
        ("travel_speed", rf"(?:carriage|travel speed)\D{{0,4}}({_NUMBER})\s*mm/min", 1e-3 / 60),
        ("sweep_width", rf"line width\D{{0,4}}({_NUMBER})\s*mm", 1e-3),
    ):
        if said := re.search(pattern, notes):
            found[name] = _scaled(span(said[1]), factor)
    if re.search(r"mm/s is (the )?travel", notes):
        found["travel_speed"] = found.pop("sweep_speed")
    if found["passes"] and "pulses per place" in notes:
        found["hits"] = found.pop("passes")
    return {name: value for name, value in found.items() if value is not None}


def _scaled(value: Span | None, factor: float) -> Span | None:
    """In SI, or None where that is no number a computer keeps."""
    found = value.times(factor) if value else None
    return found if found and found.low > 0 and found.high < math.inf else None


def _wavelength_trouble(row: Mapping[str, str]) -> str | None:
    low, high = fill()["asked"]["wavelength_nm"]
    text = row["wavelength_nm"].lower()
    about = f"{text} {row['notes']} {row['source']}".lower()
    if found := _OTHER_LASER.search(about):
        return f"another laser ({found[0]})"
    numbers = [n * 1e3 if n < 20 else n for n in (float(n) for n in re.findall(_NUMBER, text))]
    about_one = bool(_NEAR_ONE_MICRON.search(text)) or "~1 " in text
    outside = [n for n in numbers if not (low <= n <= high or (about_one and 950 <= n <= 1100))]
    if outside:
        return f"{outside[0]:g} nm is not near 1 µm"
    if text and not numbers and not about_one:
        return f"the wavelength {text[:20]!r} is not read"
    if not text and (said := re.search(r"\b(532|355|266|248|10600)\s*nm", about)):
        return f"{said[1]} nm is not near 1 µm"
    return None


def _laser_class(row: Mapping[str, str], printed: Mapping[str, Span], substrate_id: str) -> str:
    """`bench` or `scanned`, by the rule the fill file states."""
    bench = fill()["bench"]
    rate, width = printed.get("repetition_rate"), printed.get("pulse_width")
    if "average_power" in printed or "sweep_speed" in printed or (rate and rate.high > bench["rate_below_Hz"]):
        return "scanned"
    short = width.high <= bench["width_up_to_ns"] * 1e-9 * (1 + 1e-9) if width else False
    soft = not width and substrate(substrate_id).family in ("wood", "paper", "mineral")
    return "bench" if short or soft else "scanned"


def _surface(row: Mapping[str, str]) -> tuple[pp.Surface, tuple[Span | None, ...]] | str:
    """The surface and the thickness of its layers, or why there is none."""
    coat_text, base_text = row["coating"].lower(), row["substrate"].lower()
    base = _match("substrate", base_text)
    if base is None or "none" in base:
        return f"the model has no substrate like {row['substrate'][:40]!r}"
    found = _match("coating", coat_text, base["substrate"])
    if found is None or "none" in found:
        return f"the model has no coating like {row['coating'][:40]!r}"
    printed = re.search(rf"((?:>=|≥|>|~|<)?\s*{_NUMBER}(?:\s*[-–]\s*{_NUMBER})?)\s*(um|µm|μm|micron|mm)\b", coat_text)
    metal = substrate(base["substrate"]).family == "metal"
    layers, thickness = [], []
    for index, entry in enumerate(found["layers"]):
        given = entry["coating"]
        ids = [given] if isinstance(given, str) else list(given)
        entries = [coating(i) for i in ids]
        said = [c for c, words in fill()["colours"].items() if re.search(rf"\b(?:{'|'.join(words)})\b", coat_text)]
        colour = next((c for c in said if all(c in e.colours for e in entries)), "unknown") if index == 0 else "unknown"
        states = [c for c, words in fill()["conditions"].items() if _begins(words, f"{coat_text} {base_text}")]
        if not states and metal and all(e.kind in ("paint", "clear film") for e in entries):
            states = ["fresh"]
        state = next((c for c in states if all(c in e.conditions for e in entries)), "unknown")
        layers.append(pp.Layer(given, colour=colour, condition=state))
        own = entry.get("thickness_um")
        own = Span(own[0] * 1e-6, own[1] * 1e-6) if own else None
        if index == 0 and printed and (said_span := span(printed[1].replace(">=", ">"))):
            own = _scaled(said_span, 1e-3 if printed[2] == "mm" else 1e-6)
        thickness.append(own)
    return pp.Surface(layers, base["substrate"]), tuple(thickness)


def read_row(row: Mapping[str, str]) -> Case | LeftOut:
    """One row as a question, or why not."""
    id = row["id"] or "(no id)"
    outcome = re.sub(r"[\s-]+", "_", row["outcome"].strip().lower())
    if row["quantity"] and row["quantity"] != "cleaning_case":
        return LeftOut(id, f"it is no cleaning case but {row['quantity'][:30]!r}")
    if outcome not in OUTCOMES:
        return LeftOut(
            id, f"the outcome {outcome[:30]!r} is none of {', '.join(OUTCOMES)}" if outcome else "no outcome"
        )
    if trouble := _wavelength_trouble(row):
        return LeftOut(id, trouble)
    try:
        surface = _surface(row)
    except InputError as trouble_found:
        return LeftOut(id, str(trouble_found))
    if isinstance(surface, str):
        return LeftOut(id, surface)
    printed = _printed(row)
    low, high = (1e-9 * w for w in fill()["asked"]["pulse_width_ns"])
    width = printed.get("pulse_width")
    if width and not (low * (1 - 1e-9) <= width.low and width.high <= high * (1 + 1e-9)):
        return LeftOut(
            id, f"a pulse of {width.low * 1e9:g} to {width.high * 1e9:g} ns is outside what the model is for"
        )
    if not {"fluence", "pulse_energy", "average_power"} & set(printed):
        return LeftOut(id, "neither fluence, pulse energy nor average power is printed: all would be filled in")
    words = f"{row['coating']} on {row['substrate']}"
    kind = _laser_class(row, printed, surface[0].substrate)
    return Case(id, outcome, surface[0], kind, printed, surface[1], row["source"], words)


COLUMNS = ("id", "coating", "substrate", "quantity", "value", "unit", "low", "high", "wavelength_nm", "pulse_width_ns",
           "rep_rate_khz", "spot_um", "notes", "source", "average_power_w", "scan_speed_mm_s", "line_spacing_um",
           "passes", "outcome")  # fmt: skip


def read_cases(path: Path) -> tuple[list[Case], list[LeftOut]]:
    """Every row of a file, as a question or with the reason why not."""
    asked: list[Case] = []
    left: list[LeftOut] = []
    with path.open(newline="", encoding="utf-8-sig", errors="replace") as file:
        for number, cells in enumerate(csv.DictReader(file), 2):
            plain = {str(k).strip().lower(): v.strip() for k, v in cells.items() if isinstance(v, str)}
            row = {column: plain.get(column, "") for column in COLUMNS}
            row["id"] = row["id"] or f"line {number}"
            found = read_row(row)
            asked.append(found) if isinstance(found, Case) else left.append(found)
    return asked, left
