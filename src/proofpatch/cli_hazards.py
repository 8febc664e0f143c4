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
from proofpatch.records_hazards import UNCOVERED, metres, rounded_up, times_over
from proofpatch.shop.job import Job
from proofpatch.survey.clear import settles
from proofpatch.survey.suspicions import RULED_OUT
from proofpatch.units import show

BEAM_OPTIONS = {
    "power": "--power", "rate": "--rate", "width": "--width", "wavelength": "--wavelength",
    "diameter": "--beam-diameter", "divergence": "--divergence", "focal_length": "--focal-length",
    "exposure": "--exposure", "reflectance": "--reflectance", "duration": "--exposure",
}  # fmt: skip
# Figure of a beam -> (its option, kind of quantity).
FIGURES = {
    "power": ("power", "power"), "rate": ("rate", "frequency"), "width": ("width", "time"),
    "wavelength": ("wavelength", "length"), "diameter": ("beam_diameter", "length"),
    "divergence": ("divergence", "angle"), "focal_length": ("focal_length", "length"),
    "exposure": ("exposure", "duration"), "reflectance": ("reflectance", "share"),
}  # fmt: skip
WAVELENGTH = 1064e-9
MOST_IN_AIR = 0.1  # kg/m³ that is said in figures; more says only that no air moves (common practice, no source)
VOLUME = 30.0  # m³, of a room that was not described


def beam_of_laser(laser: Laser, away: float | None = None) -> dict[str, Any]:
    """The worst beam of a laser: full power at its lowest rate for it, its focus at its stand-off, or `away` [m].

    The diameter is the one that spreads as the beam does far beyond the focus: f 2 w₀/z_R.
    """
    width, energy = max(laser.energy_limits, key=lambda point: point[1])
    rayleigh = math.pi * laser.spot_radius**2 / (laser.m2 * laser.wavelength)
    away = laser.handpiece.stand_off if away is None else away
    return {
        "power": laser.max_power, "rate": max(laser.max_power / energy, laser.min_rate), "width": width,
        "wavelength": laser.wavelength, "focal_length": away,
        "diameter": away * 2.0 * laser.spot_radius / rayleigh,
    }  # fmt: skip


def read_beam(given: Mapping[str, Any]) -> tuple[BeamHazards, list[str]]:
    """(the hazards, what was assumed beyond them) of the options.

    Raises:
        InputError: a figure is missing, or is none.
    """
    laser = read_laser(given)
    away = number("focal_length", "length", given)
    values: dict[str, Any] = beam_of_laser(laser, away) if laser else {}
    assumed = [f"The beam of {laser.title} at its worst: full power, its own head."] if laser else []
    for field, flag in (("power", "--power"), ("diameter", "--beam-diameter")):
        if field not in values and given.get({"diameter": "beam_diameter"}.get(field, field)) is None:
            raise InputError(flag, f"{flag} is missing.", "Give it, or name a --laser.")
    beam, more = read_values(given, values)
    return beam_hazards(beam), [*assumed, *more]


def read_values(given: Mapping[str, Any], values: dict[str, Any]) -> tuple[Beam, list[str]]:
    """(the beam of these values and the options over them, what was assumed)."""
    for field, (name, kind) in FIGURES.items():
        value = number(name, kind, given)
        if value is not None:
            values[field] = value
    assumed = []
    for field, value, words in (
        ("wavelength", WAVELENGTH, f"A wavelength of {WAVELENGTH * 1e9:.0f} nm."),
        ("exposure", EXPOSURE, f"An exposure of {show(EXPOSURE, 'duration')}."),
    ):
        if field not in values:
            values[field] = value
            assumed.append(words)
    with at_options(BEAM_OPTIONS):
        return Beam(**values), assumed


# Agents of the air that a record of the survey may show absent.
SHOWN_ABSENT = {"lead": "lead", "chromate": "chromium-6", "cadmium": "cadmium"}


def absent(work: Job) -> frozenset[str]:
    """Agents that are on record as not there."""
    found = {SHOWN_ABSENT[one.hazard] for one in work.cleared if one.hazard in SHOWN_ABSENT and settles(one)}
    return frozenset(found | ({"lead"} if work.lead.negative else set()))


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
    layers = [(tuple(key for key, p in coat.shares.items() if p >= RULED_OUT), coat.thickness) for coat in coats]
    capture, air = number("capture", "share", given), number("air_flow", "air flow", given)
    with at_options({"area_rate": "--area-rate", "capture": "--capture", "air": "--air-flow"}):
        found = plan(
            beam,
            rate if rate is not None else float(window.area_rate[window.best]),
            layers[0][0],
            work.surface.substrate,
            dose=float(mean_dose(best.average_power, best.sweep_width, best.travel_speed, best.passes)),
            thickness=layers[0][1],
            below=layers[1:],
            may_be=[key for coat in coats for key in coat.shares],
            sheet=work.surface.substrate_thickness,
            capture=work.capture if capture is None else capture,
            air=work.air if air is None else air,
            volume=work.room.length * work.room.width * work.height if work.room else VOLUME,
            absent=absent(work),
            room=work.room,
            nearby=(*work.suspects, *(work.survey.beside if work.survey else ())),
            loads=(
                ("laser", work.laser.electrical_power, work.laser.supply_voltage),
                *((name, watts, None) for name, watts in work.loads),
            ),
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
    # Of a beam alone there is neither a headline nor anything to cover.
    first = [
        *([] if record.get("covered", True) else [UNCOVERED]),
        *([record["headline"]] if "headline" in record else []),
    ]
    lines = [line for answer in [*first, *record["answers"]] for line in [*wrapped(answer), ""]]
    pulse = record["eye_limit_J_m2_per_pulse"]
    limit = f"{rounded_down(record['eye_limit_W_m2'])} W/m²" + (
        f", {rounded_down(pulse)} J/m² a pulse" if pulse is not None else ""
    )
    other = record["other_rules"]
    milder = f"{rounded_down(other['eye_limit_W_m2'])} W/m²"
    rows = [
        f"Limit of the eye: {limit}; governed by: {record['governing_rule']}",
        f"By the other rules ({other['rules']}, {other['governing_rule']}): {milder}",
        f"Limit of the skin: {rounded_down(record['skin_limit_W_m2'])} W/m²",
        f"Direct, sweep stopped: {metres(record['hazard_distance_m'])}",
        f"Off a flat shiny surface, along the whole way: {metres(record['mirrored_distance_m'])}",
        f"Off a matt surface: {metres(record['diffuse_distance_m'])}",
        f"Skin, direct: {metres(record['skin_distance_m'])}",
        f"At windows, doors and for the public, 100 s: {metres(record['distance_at_windows_m'])}",
        f"Optical density: {math.ceil(record['optical_density'] * 10 - 1e-9) / 10:.1f}",
        f"Scale numbers of eyewear: D LB{record['scale_number_D']}"
        + (f", {record['scale_letter']} LB{record['scale_number_R']}" if record["scale_number_R"] is not None else ""),
    ]
    if record["lens_missing_distance_m"] is not None:
        rows.append(f"Should the lens be missing: {metres(record['lens_missing_distance_m'])}")
    lines = lines[:-1]
    lines += [line for said in record.get("on_record", ()) for line in ["", *wrapped(said)]]
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
        "The air, near the operator, over eight hours:",
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
        watts = {one["load"]: show(one["power_W"], "power") for one in record["power"]["loads"]}
        placed = [f"{one['load']}, {watts[one['load']]}: circuit {one['circuit']}" for one in record["power"]["placed"]]
        left = [
            f"{name}, {watts[name]}: no circuit of its voltage has so much left; use another circuit"
            for name in record["power"]["left_out"]
        ]
        lines += listed("Power:", [*placed, *left])
    items = [f"{one['moment']}, {one['role']}: {one['text']}" for one in record["checklist"] if one["gate"]]
    return lines + listed("Signed before the next step:", items)


def rounded_down(value: float) -> str:
    """A limit with three digits, never more than it is."""
    if value <= 0:
        return "0"
    step = 10.0 ** (math.floor(math.log10(value)) - 2)
    low = math.floor(value / step * (1 + 1e-12)) * step
    return f"{low:.0f}" if low >= 100 else f"{low:.3g}"


def concentration_words(value: float) -> str:
    """kg/m³ as people write it, rounded up."""
    up = rounded_up(value)
    if up > MOST_IN_AIR:
        return f"more than {MOST_IN_AIR * 1e3:.0f} g/m³"
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


def write_pages(
    found: Plan, record: Mapping[str, Any], pdf: Path | None, picture: str | None, stop: str | None
) -> None:
    """The method statement and the plan of the room, where they were asked for. stop: the job's open hazard.

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
            write_method(record, found.zone, pdf, [stop] if stop else [])
