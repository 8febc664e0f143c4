"""What a published case does not print, drawn from `cases_fill.toml`: a case becomes many concrete settings."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from cases_read import Case, Span, fill
from numpy.typing import NDArray

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.lasers import Laser
from proofpatch.learn.rows import setting_row

Floats = NDArray[np.float64]
FILL_INS = 128
SAMPLE = 4096  # Latin square the usual fill-ins are taken from
FILLED = {  # name in the fill file -> (name here, factor to SI)
    "spot_diameter_mm": ("spot_diameter", 1e-3), "pulse_width_ns": ("pulse_width", 1e-9),
    "repetition_rate_kHz": ("repetition_rate", 1e3), "pulse_overlap": ("pulse_overlap", 1.0),
    "line_overlap": ("line_overlap", 1.0), "sweep_width_mm": ("sweep_width", 1e-3), "passes": ("passes", 1.0),
    "top_hat_share": ("top_hat_share", 1.0), "m2": ("m2", 1.0), "peak_or_mean": ("peak_or_mean", 1.0),
}  # fmt: skip
USUAL = {
    "pulse_energy_mJ": ("energy", 1e-3), "average_power_W": ("power", 1.0), "mean_fluence_J_cm2": ("mean", 1e4),
    "pulse_overlap": ("overlap", None),
}  # fmt: skip
VARIABLES = (
    *(name for name, _ in FILLED.values()), "fluence", "pulse_energy", "average_power", "sweep_speed", "travel_speed",
    "line_pitch", "hits", "thickness 0", "thickness 1",
)  # fmt: skip


def _latin_square(points: int, unknowns: int, rng: np.random.Generator) -> Floats:
    """(points, unknowns) in the unit cube, each slice of every unknown met once (McKay, Beckman & Conover 1979)."""
    slices = rng.permuted(np.tile(np.arange(points), (unknowns, 1)), axis=1).T
    return np.asarray((slices + rng.random((points, unknowns))) / points)


def _spread(span: Span, u: Floats) -> Floats:
    """Values of a span at shares u of it."""
    if span.scale == "either":
        values = np.array(span.values or (span.low, span.high))
        return np.asarray(values[np.minimum((u * len(values)).astype(int), len(values) - 1)])
    if span.scale == "even":
        return np.asarray(span.low + (span.high - span.low) * u)
    return np.asarray(span.low * (span.high / span.low) ** u)


def fill_ins(case: Case, count: int = FILL_INS, seed: int = 0) -> dict[str, Floats]:
    """Everything a setting needs, `count` times: printed where printed, else drawn; (count,) arrays, SI.

    Of a Latin square the ones nearest to usual are kept: those that make a source and an overlap somebody uses.
    """
    table = fill()[case.laser_class]
    spans = {
        name: Span(row["low"], row["high"], row["scale"]).times(factor)
        for key, (name, factor) in FILLED.items()
        for row in (table["fill"][key],)
    }
    # A whole number: passes from 1 to 5 are five slices of the log scale from 1 to 6.
    spans["passes"] = Span(spans["passes"].low, spans["passes"].high + 1 - 1e-9)
    printed = dict(case.printed)
    if "passes" in printed and not printed["passes"].values:
        printed["passes"] = Span(printed["passes"].low, printed["passes"].high + 1 - 1e-9)
    printed |= {f"thickness {i}": span for i, span in enumerate(case.thickness) if span}
    u = _latin_square(SAMPLE, len(VARIABLES), np.random.default_rng(seed))
    told = {n: _spread(printed[n], u[:, j]) for j, n in enumerate(VARIABLES) if n in printed}
    drawn = {n: _spread(spans[n], u[:, j]) for j, n in enumerate(VARIABLES) if n in spans}
    # A cell no laser has (5e-324 kHz) gives numbers that no Setting takes; rows_of says so.
    with np.errstate(all="ignore"):
        found = _settled(told, drawn)
        off = np.zeros(SAMPLE)
        for key, (name, scale) in USUAL.items():
            low, high = table["usual"][key]
            value = found[name]
            if np.ptp(value) <= 1e-9 * np.max(np.abs(value)) or (name == "mean" and "fluence" in told):
                continue  # the paper decides it
            if scale is None:
                off += np.maximum(low - value, 0.0) + np.maximum(value - high, 0.0)
            else:
                ratio = np.log(value / scale)
                off += np.maximum(np.log(low) - ratio, 0.0) + np.maximum(ratio - np.log(high), 0.0)
    nearest = np.argsort(np.where(np.isfinite(off), off, np.inf), kind="stable")[:count]
    return {name: np.broadcast_to(value, (SAMPLE,))[nearest] for name, value in found.items()}


def _settled(told: dict[str, Floats], drawn: dict[str, Floats]) -> dict[str, Floats]:
    """Every number of a setting from what is printed, then from what follows, then from what is drawn.

        mean fluence = E/(π w²),  printed as it is or as the Gaussian peak, twice that      (1)
        p = (1 − O) d = v/f,   h = (1 − O_line) d = u W/v                                    (2)

    Pulses per place n at an even grid: p = h = w √(π/n).
    """

    def known(name: str) -> Floats:
        return told[name] if name in told else drawn[name]

    peak, rate = known("peak_or_mean"), told.get("repetition_rate")
    energy = told.get("pulse_energy")
    if energy is None and rate is not None and "average_power" in told:
        energy = told["average_power"] / rate
    spot = known("spot_diameter")
    if "fluence" in told:
        mean = told["fluence"] / peak
        if energy is not None and "spot_diameter" not in told:
            spot = 2.0 * np.sqrt(energy / (math.pi * mean))  # (1)
        energy = mean * math.pi * spot**2 / 4.0  # (1)
    overlap = known("pulse_overlap")
    if "hits" in told:
        overlap = 1.0 - 0.5 * np.sqrt(math.pi / told["hits"])
    if rate is None:
        if energy is not None and "average_power" in told:
            rate = told["average_power"] / energy
        elif "sweep_speed" in told and ("pulse_overlap" in told or "hits" in told):
            rate = told["sweep_speed"] / ((1.0 - overlap) * spot)  # (2)
        else:
            rate = drawn["repetition_rate"]
    if energy is None:
        energy = told["average_power"] / rate
    speed = told.get("sweep_speed", (1.0 - overlap) * spot * rate)  # (2)
    across = overlap if "hits" in told else known("line_overlap")
    width = known("sweep_width")
    if "line_pitch" not in told and "travel_speed" in told:
        travel = told["travel_speed"]
    else:
        travel = told.get("line_pitch", (1.0 - across) * spot) * speed / width  # (2)
    found = {
        "power": energy * rate, "rate": rate, "pulse_width": known("pulse_width"), "spot": spot / 2.0,
        "sweep_width": width, "speed": speed, "travel": travel, "energy": energy,
        "passes": np.floor(known("passes")), "top_hat_share": known("top_hat_share"), "m2": known("m2"),
        "mean": energy / (math.pi * spot**2 / 4.0), "overlap": 1.0 - speed / (rate * spot),
    }  # fmt: skip
    return found | {name: value for name, value in told.items() if name.startswith("thickness")}


def _laser(values: dict[str, float]) -> Laser:
    """A laboratory's laser: only its wavelength, profile and M² reach the physics."""
    return replace(
        pp.laser("pulsed-500"),
        id="case", title="as published, else filled in", source="benchmarks/cases_fill.toml",
        max_power=values["power"] * 1.01, min_rate=values["rate"] * 0.99, max_rate=values["rate"] * 1.01,
        energy_limits=((values["pulse_width"], values["energy"] * 1.01),), spot_radius=values["spot"],
        m2=values["m2"], top_hat_share=values["top_hat_share"],
    )  # fmt: skip


def rows_of(values: dict[str, Floats]) -> tuple[list[int], Floats]:
    """(which fill-ins make a setting at all, their setting rows).

    Raises:
        InputError: none does; it says what is wrong with the last.
    """
    rows, kept, trouble = [], [], InputError("setting", "Nothing was filled in.")
    for i in range(len(values["power"])):
        one = {name: float(value[i]) for name, value in values.items()}
        try:
            setting = pp.Setting(
                one["power"], one["rate"], one["pulse_width"], one["spot"], one["sweep_width"], one["speed"],
                one["travel"], int(one["passes"]) if math.isfinite(one["passes"]) else 1,
            )  # fmt: skip
            rows.append(setting_row(setting, _laser(one)))
            kept.append(i)
        except InputError as found:
            trouble = found
    if not rows:
        raise trouble
    return kept, np.array(rows)
