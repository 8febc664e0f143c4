"""Hazards on the command line: a beam is read, the answers and figures shown."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from proofpatch.cli_read import at_options, number, read_laser
from proofpatch.cli_show import listed, wrapped
from proofpatch.errors import InputError
from proofpatch.hazards.beam import EXPOSURE, Beam, BeamHazards, beam_hazards
from proofpatch.lasers import Laser
from proofpatch.units import show

BEAM_OPTIONS = {
    "power": "--power", "rate": "--rate", "width": "--width", "wavelength": "--wavelength",
    "diameter": "--beam-diameter", "divergence": "--divergence", "focal_length": "--focal-length",
    "exposure": "--exposure", "reflectance": "--reflectance", "duration": "--exposure",
}  # fmt: skip
WAVELENGTH = 1064e-9


def beam_of_laser(laser: Laser) -> dict[str, Any]:
    """The worst beam of a laser: full power at its lowest rate for it, its head's focus at its stand-off."""
    width, energy = max(laser.energy_limits, key=lambda point: point[1])
    rayleigh = math.pi * laser.spot_radius**2 / (laser.m2 * laser.wavelength)
    away = laser.handpiece.stand_off
    return {
        "power": laser.max_power, "rate": max(laser.max_power / energy, laser.min_rate), "width": width,
        "wavelength": laser.wavelength, "focal_length": away,
        "diameter": 2.0 * laser.spot_radius * math.sqrt(1.0 + (away / rayleigh) ** 2),
    }  # fmt: skip


def read_beam(given: Mapping[str, Any]) -> tuple[BeamHazards, list[str]]:
    """(the hazards, what was assumed beyond them) of the options.

    Raises:
        InputError: a figure is missing, or is none.
    """
    laser = read_laser(given)
    values: dict[str, Any] = beam_of_laser(laser) if laser else {}
    assumed = [f"The beam of {laser.title} at its worst: full power, its own head."] if laser else []
    kinds = {
        "power": ("power", "power"), "rate": ("rate", "frequency"), "width": ("width", "time"),
        "wavelength": ("wavelength", "length"), "diameter": ("beam_diameter", "length"),
        "divergence": ("divergence", "angle"), "focal_length": ("focal_length", "length"),
        "exposure": ("exposure", "duration"), "reflectance": ("reflectance", "share"),
    }  # fmt: skip
    for field, (name, kind) in kinds.items():
        value = number(name, kind, given)
        if value is not None:
            values[field] = value
    for field in ("power", "diameter"):
        if field not in values:
            flag = BEAM_OPTIONS[field]
            raise InputError(flag, f"{flag} is missing.", "Give it, or name a --laser.")
    for field, value, words in (
        ("wavelength", WAVELENGTH, f"A wavelength of {show(WAVELENGTH, 'length')}."),
        ("exposure", EXPOSURE, f"An exposure of {show(EXPOSURE, 'duration')}: nobody blinks at an invisible beam."),
    ):
        if field not in values:
            values[field] = value
            assumed.append(words)
    with at_options(BEAM_OPTIONS):
        return beam_hazards(Beam(**values)), assumed


def hazards_lines(record: Mapping[str, Any]) -> list[str]:
    """The answers first, then the numbers, what was assumed, and what they rest on."""
    lines = [line for answer in record["answers"] for line in [*wrapped(answer), ""]]
    pulse = record["eye_limit_J_m2_per_pulse"]
    limit = f"{record['eye_limit_W_m2']:.3g} W/m²" + (f", {pulse:.3g} J/m² a pulse" if pulse is not None else "")
    other = record["other_rules"]
    rows = [
        f"Limit of the eye: {limit}; governed by: {record['governing_rule']}",
        f"By the other rules ({other['rules']}, {other['governing_rule']}): {other['eye_limit_W_m2']:.3g} W/m²",
        f"Limit of the skin: {record['skin_limit_W_m2']:.3g} W/m²",
        f"Direct, beyond the focus, sweep stopped: {show(record['hazard_distance_m'], 'length')}",
        f"Off a flat shiny surface, along the whole way: {show(record['mirrored_distance_m'], 'length')}",
        f"Off a matt surface: {show(record['diffuse_distance_m'], 'length')}",
        f"Skin, direct: {show(record['skin_distance_m'], 'length')}",
        f"At windows, doors and for the public, 100 s: {show(record['distance_at_windows_m'], 'length')}",
        f"Optical density: {record['optical_density']:.2f}",
        f"Scale numbers of eyewear: D LB{record['scale_number_D']}"
        + (f", {record['scale_letter']} LB{record['scale_number_R']}" if record["scale_number_R"] is not None else ""),
    ]
    if record["lens_missing_distance_m"] is not None:
        rows.append(f"Should the lens be missing: {show(record['lens_missing_distance_m'], 'length')}")
    lines = lines[:-1] + listed("The figures behind it:", rows)
    lines += ["", *wrapped(record["screens"])]
    lines += listed("Assumed:", record["assumptions"])
    lines += listed("What it rests on:", record["sources"])
    lines += listed("Cautions:", record["cautions"])
    return [*lines, "", *wrapped(record["always"])]
