"""Hazards on the command line: a beam is read, the answers and figures shown."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from proofpatch.cli_read import FUME, OPTIONS, at_options, number, read_laser
from proofpatch.cli_show import listed, wrapped
from proofpatch.errors import InputError
from proofpatch.hazards.beam import EXPOSURE, Beam, BeamHazards, beam_hazards
from proofpatch.hazards.plan import CIRCUITS_UNKNOWN, Plan, plan
from proofpatch.lasers import Laser
from proofpatch.learn.forecast import Window
from proofpatch.physics.sweep import mean_dose
from proofpatch.records_hazards import rounded_up, times_over
from proofpatch.shop.job import Job
from proofpatch.survey.stop import SURE
from proofpatch.units import show

BEAM_OPTIONS = {
    "power": "--power", "rate": "--rate", "width": "--width", "wavelength": "--wavelength",
    "diameter": "--beam-diameter", "divergence": "--divergence", "focal_length": "--focal-length",
    "exposure": "--exposure", "reflectance": "--reflectance", "duration": "--exposure",
}  # fmt: skip
WAVELENGTH = 1064e-9
VOLUME = 30.0  # m³, of a room that was not described


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
    for field, flag in (("power", "--power"), ("diameter", "--beam-diameter")):
        if field not in values and given.get({"diameter": "beam_diameter"}.get(field, field)) is None:
            raise InputError(flag, f"{flag} is missing.", "Give it, or name a --laser.")
    beam, more = read_values(given, values)
    return beam_hazards(beam), [*assumed, *more]


def read_values(given: Mapping[str, Any], values: dict[str, Any]) -> tuple[Beam, list[str]]:
    """(the beam of these values and the options over them, what was assumed)."""
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
    assumed = []
    for field, value, words in (
        ("wavelength", WAVELENGTH, f"A wavelength of {show(WAVELENGTH, 'length')}."),
        ("exposure", EXPOSURE, f"An exposure of {show(EXPOSURE, 'duration')}: nobody blinks at an invisible beam."),
    ):
        if field not in values:
            values[field] = value
            assumed.append(words)
    with at_options(BEAM_OPTIONS):
        return Beam(**values), assumed


def of_job(work: Job, given: Mapping[str, Any], window: Window) -> tuple[Plan, list[str]]:
    """(the plan, what was assumed beyond it) of a job; the beam and the air may be told by options too.

    Raises:
        InputError: a figure that is none.
    """
    values = beam_of_laser(work.laser) | {"wavelength": work.laser.wavelength, "exposure": EXPOSURE}
    beam, _ = read_values(given, values)
    best = window.settings[window.best]
    rate = number("area_rate", "area rate", given)
    coats = work.surface.coats
    thick = [coat.thickness for coat in coats]
    known = all(max(coat.shares.values()) >= SURE for coat in coats)
    names = list(dict.fromkeys(key for coat in coats for key in coat.shares)) if known else None
    capture, air = number("capture", "share", given), number("air_flow", "air flow", given)
    with at_options({"area_rate": "--area-rate", "capture": "--capture", "air": "--air-flow"}):
        found = plan(
            beam,
            rate if rate is not None else float(window.area_rate[window.best]),
            names,
            work.surface.substrate,
            dose=float(mean_dose(best.average_power, best.sweep_width, best.travel_speed, best.passes)),
            thickness=sum(t for t in thick if t is not None) if all(t is not None for t in thick) else None,
            sheet=work.surface.substrate_thickness,
            capture=work.capture if capture is None else capture,
            air=work.air if air is None else air,
            volume=work.room.length * work.room.width * work.height if work.room else VOLUME,
            lead_cleared=work.lead.negative,
            room=work.room,
            nearby=work.survey.beside if work.survey else (),
            loads=(("laser", work.laser.electrical_power), *work.loads),
            circuits=work.circuits,
        )
    assumed = [f"The beam of {work.laser.title} at its worst: full power, its own head."]
    if rate is None:
        assumed.append("Area and dose are those of the likeliest setting of the forecast.")
    if work.room is None:
        assumed.append(f"A closed room of {VOLUME:.0f} m³, as none was described.")
    if not work.circuits:
        assumed.append(CIRCUITS_UNKNOWN)
    return found, assumed


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
    lines = lines[:-1]
    if "fire" in record:
        lines += ["", *wrapped(record["fire"]["answer"])]
    lines += listed("The beam:", rows)
    lines += ["", *wrapped(record["screens"])]
    if "fire" in record:
        lines += plan_lines(record)
    lines += listed("Computed with:", record["formulas"])
    lines += listed("Assumed:", record["assumptions"])
    lines += listed("What it rests on:", record["sources"])
    lines += listed("Cautions:", record["cautions"])
    return [*lines, "", *wrapped(record["always"])]


def plan_lines(record: Mapping[str, Any]) -> list[str]:
    """Air, fire, room, power and the checklist of a job."""
    air = record["air"]
    lines = listed(
        "The air, near the operator, after an hour:",
        [
            f"{one['name']}: {concentration_words(one['near_kg_m3'])}, {times_over(one['ratio'])} "
            f"({concentration_words(one['limit_kg_m3'])}; {one['authority']})"
            for one in air["agents"]
        ],
    )
    if air["filter_s"] is not None:
        lines += wrapped(
            f"A filter of half a kilogram is full after {show(air['filter_s'], 'duration')} of beam.", "  "
        )
    lines += [*wrapped(air["filters"], "  "), *wrapped(air["waste"], "  ")]
    lines += listed("Fire:", record["fire"]["notes"])
    lines += [
        line for one in record["fire"]["fuels"] for line in wrapped(f"- {one['material']}: {one['note']}", "  ", "  ")
    ]
    if record["room"]:
        reached = [f"{one['who']}: {one['how']}" for one in record["room"]["reached"]]
        lines += listed("The room:", [*reached, *record["room"]["notes"]])
    if record["power"]:
        placed = [f"{one['load']}: circuit {one['circuit']}" for one in record["power"]["placed"]]
        left = [f"{name}: no circuit has room for it" for name in record["power"]["left_out"]]
        lines += listed("Power:", [*placed, *left])
    items = [f"{one['moment']}, {one['role']}: {one['text']}" for one in record["checklist"] if one["gate"]]
    return lines + listed("Signed before the next step:", items)


def concentration_words(value: float) -> str:
    """kg/m³ as people write it, rounded up."""
    up = rounded_up(value)
    return f"{up * 1e9:.3g} µg/m³" if up < 1e-6 else f"{up * 1e6:.3g} mg/m³" if up < 1e-3 else f"{up * 1e3:.3g} g/m³"


def check_job_only(given: Mapping[str, Any]) -> None:
    """Air, picture and statement speak of a job.

    Raises:
        InputError: one of them was asked without.
    """
    for name in (*FUME, "picture", "pdf"):
        if given.get(name):
            flag = OPTIONS[name][0]
            raise InputError(flag, f"{flag} speaks of a job, and none was named.", "Name a job file.")


def write_pages(found: Plan, record: Mapping[str, Any], pdf: Path | None, picture: str | None) -> None:
    """The method statement and the plan of the room, where they were asked for.

    Raises:
        InputError: there is no room to draw, or a file cannot be written.
    """
    if picture:
        if found.zone is None:
            raise InputError(
                "--picture", "--picture: the job has no [room] to draw.", "Add [room] with length, width and work."
            )
        from proofpatch.pictures.room import write_room

        with at_options({"picture": "--picture"}):
            write_room(found.zone, picture)
    if pdf:
        from proofpatch.documents.method import write_method

        with at_options({"page": "--pdf"}):
            write_method(record, found.zone, pdf)
