"""What the commands are given: every option is text until the reader of the job file has read it.

So a wrong unit or an absurd number gets the same sentence in both places, and the sentence names the option.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from proofpatch.errors import InputError
from proofpatch.lasers import Laser
from proofpatch.lasers import laser as find_laser
from proofpatch.physics.setting import MOST_PASSES, Setting
from proofpatch.shop.job import DEFAULT_LASER, Job, find_any_laser, job_from, read_job
from proofpatch.survey.clear import Clearance
from proofpatch.units import parse, quoted

MOST_TEXT = 4096  # characters; longer than any name, number or path
TRAVEL_SPEED = 0.05  # m/s, a hand at its usual pace, where none is given (common practice, no source)
MOST_STEPS = 12
CLEARED_FORM = "Write 'HAZARD; negative; METHOD; DATE' or 'HAZARD; accepted; NAME; CONTROLS; REASON'."
LEAD_FORM = "Write 'negative; METHOD; DATE' or 'accepted; NAME; CONTROLS; REASON'."

# name -> (option, help)
OPTIONS = {
    "laser": ("--laser", "built-in laser, or a TOML file of your own"),
    "coating": ("--coating", "coating, by id or everyday name"),
    "colour": ("--colour", "white, pale, red-brown, blue-green, black, clear or unknown"),
    "coating_condition": ("--coating-condition", "fresh, aged, tinted, dirty or unknown"),
    "thickness": ("--thickness", "dry thickness of the coating, like '90 µm'"),
    "substrate": ("--substrate", "substrate, by id or everyday name"),
    "substrate_condition": ("--substrate-condition", "for wood new, aged, stained or unknown"),
    "year": ("--year", "year of the coating; before 1978 or undated asks for the lead status"),
    "lead": ("--lead", "'negative; METHOD; DATE' or 'accepted; NAME; CONTROLS; REASON'"),
    "suspect": ("--suspect", "other material suspected in the coating; may be repeated"),
    "power": ("--power", "average power, like '500 W'"),
    "rate": ("--rate", "repetition rate, like '20 kHz'"),
    "width": ("--width", "pulse width, like '200 ns'"),
    "spot_diameter": ("--spot-diameter", "1/e² spot diameter at the work, like '0.9 mm'"),
    "top_hat_share": ("--top-hat-share", "0 Gaussian, 1 top-hat"),
    "sweep_width": ("--sweep-width", "length of the swept line, like '100 mm'"),
    "sweep_speed": ("--sweep-speed", "mean speed along the line, like '10 m/s'"),
    "travel_speed": ("--travel-speed", "speed of the hand, like '50 mm/s'"),
    "passes": ("--passes", "how often the area is gone over"),
    "pattern": (
        "--pattern",
        "line (beam off in the turn; if left out), sine (on: hot edges), zigzag, circle or spiral",
    ),
    "count": ("--count", f"steps of the strip, 1 to {MOST_STEPS}"),
    "place": ("--place", "where the strip lies: scrap, hidden (if left out) or face"),
    "residue": ("--residue", "'no effect', trace, partial, nearly or clean, dust wiped off"),
    "harm": ("--harm", "none, tint, marked or burnt"),
    "fraction_left": ("--fraction-left", "share of the area still covered, measured"),
    "fraction_error": ("--fraction-error", "standard error of that share"),
    "layer": ("--layer", "layer judged, 0 the top one"),
    "seconds": ("--seconds", "time one stroke really took, like '4 s'"),
    "length": ("--length", "its length, like '100 mm'"),
    "grader": ("--grader", "who judged"),
    "waited": ("--waited", "time between laying and judging, like '16 h'; as advised if left out"),
    "against": ("--against", "knobs a second setting has otherwise, like 'power=270 W; sweep-speed=14 m/s'"),
    "picture": ("--picture", "file to draw into, ending in .svg or .png"),
    "seed": ("--seed", "another simulated piece"),
    "evidence": ("--evidence", "'NAME=VALUE' of what was seen, tried or is known, like alcohol=none; repeat"),
    "cleared": ("--cleared", "'HAZARD; negative; METHOD; DATE' or 'HAZARD; accepted; NAME; CONTROLS; REASON'; repeat"),
    "pdf": ("--pdf", "file for the page to print, ending in .pdf"),
    "wavelength": ("--wavelength", "of the laser, like '1064 nm'"),
    "beam_diameter": ("--beam-diameter", "1/e² diameter at the exit or on the last lens, like '10 mm'"),
    "divergence": ("--divergence", "1/e² full angle of a beam that is not focused, like '1 mrad'"),
    "focal_length": ("--focal-length", "of the last lens, like '160 mm'"),
    "exposure": ("--exposure", "how long somebody may be in the beam, like '10 s'"),
    "reflectance": ("--reflectance", "share a cleaned surface throws back, like '90 %'; all of it if left out"),
    "area_rate": ("--area-rate", "finished area, like '1 m²/h'; of the likeliest setting if left out"),
    "capture": ("--capture", "share of the fume caught at the spot, like '90 %'; none if left out"),
    "air_flow": ("--air-flow", "fresh or filtered air of the room, like '300 m³/h'; none if left out"),
    "mark": ("--mark", "'PULSE ENERGY, DIAMETER' or 'POWER/RATE, DIAMETER' of one mark in focus; repeat"),
    "lift": ("--lift", "'LIFT, PULSE ENERGY, DIAMETER' of one mark, the head moved, away positive; repeat"),
    "power_reading": ("--power-reading", "'SET, MEASURED', like '150 W, 141 W'; repeat"),
    "burn_card": ("--burn-card", "'PULSE ENERGY, DIAMETER' of the mark you make each time; repeat"),
    "material": ("--material", "what was marked, by the same name each time"),
    "reading_error": ("--reading-error", "diameters are read to ± this, 9 times in 10; 0.03 mm if left out"),
    "meter_error": ("--meter-error", "the same of the power meter; 5 % if left out"),
    "until_idle": ("--until-idle", "close when no page was asked for so long, like '5 min'; never if left out"),
    "chance": ("--chance", "how often the price is to hold, like '75 %'; as the job file says if left out"),
    "price": ("--price", "your own price, looked at; without tax, or with it where prices are with tax"),
    "shape": ("--shape", "'SHAPE; FIGURE=VALUE; …' like 'cylinder; diameter=60 mm; length=700 mm'; repeat"),
    "outline": ("--outline", "JSON file of an outline tapped in a photo"),
    "mesh": ("--mesh", "file of a scan, ending in .obj, .stl, .ply or .glb"),
    "unit": ("--unit", "of the scan's numbers: m, cm, mm, in or ft; GLB has metres"),
    "longest": ("--longest", "longest side of the scan by tape, like '0.92 m', in place of its unit"),
    "pick_at": ("--pick-at", "'X x Y x Z' of a face of the scan; with it all one reaches without crossing an edge"),
    "pick_box": ("--pick-box", "'X x Y x Z | X x Y x Z', two corners of a box; what of the scan lies in it"),
    "incidence": ("--incidence", "steepest the beam may fall on a face, like '45°'"),
    "focus_depth": ("--focus-depth", "along the beam within which the spot works, like '20 mm'"),
    "zone": ("--zone", "what the zone is called"),
    "pieces": ("--pieces", "equal pieces; one if left out"),
    "effort": ("--effort", "time beside an open flat face, like 1.5, or kinds of work like 'carving overhead'"),
    "hand_finish": ("--hand-finish", "share finished by hand, like '10 %'"),
    "sheet": ("--sheet", "file for the sheet of this strip, ending in .pdf; the strip is kept beside the job"),
    "photo": ("--photo", "JPEG or PNG of a strip in its sheet, graded in place of an eye; repeat for more photos"),
    "strip": ("--strip", "the strip in the photo, like A; the last one laid out if left out"),
    "eye": ("--eye", "'STEP=RESIDUE, HARM' where an eye decides, like 'A2=partial, none' or 'A3=not laid'; repeat"),
    "date": ("--date", "day it was read, like 2026-03-02; today if left out"),
}
SURFACE = ("laser", "coating", "colour", "coating_condition", "thickness", "substrate", "substrate_condition")
BEAM = (
    "power", "rate", "width", "wavelength", "beam_diameter", "divergence", "focal_length", "exposure", "reflectance",
)  # fmt: skip
FUME = ("area_rate", "capture", "air_flow")
STOP = ("year", "lead", "suspect", "cleared")
KNOBS = ("power", "rate", "width", "spot_diameter", "sweep_width", "sweep_speed", "travel_speed", "passes")
MEASURE = (
    "mark", "lift", "power_reading", "burn_card", "material", "top_hat_share", "reading_error", "meter_error", "date",
)  # fmt: skip
AREA = (
    "shape", "outline", "mesh", "unit", "longest", "pick_at", "pick_box", "incidence", "focus_depth", "sweep_width",
    "zone", "pieces", "effort", "hand_finish",
)  # fmt: skip
REPEATED = (
    "shape", "suspect", "photo", "eye", "evidence", "cleared", "mark", "lift", "power_reading", "burn_card",
)  # fmt: skip

# Field of an InputError from the core -> the option it came from.
SETTING_OPTIONS = {
    "average_power": "--power", "repetition_rate": "--rate", "pulse_width": "--width",
    "spot_radius": "--spot-diameter", "sweep_width": "--sweep-width", "sweep_speed": "--sweep-speed",
    "travel_speed": "--travel-speed", "passes": "--passes", "pattern": "--pattern",
}  # fmt: skip
GRADE_OPTIONS = {
    name: OPTIONS[name][0]
    for name in ("residue", "harm", "fraction_left", "fraction_error", "layer", "seconds", "length", "grader", "waited")
}
# A field of a reading, or of the fit behind it.
MEASURE_OPTIONS = {
    "marks": "--mark", "lifts": "--lift", "power": "--power-reading", "cards": "--burn-card", "material": "--material",
    "top_hat_share": "--top-hat-share", "reading_error": "--reading-error", "meter_error": "--meter-error",
    "date": "--date",
}  # fmt: skip
SURFACE_OPTIONS = {
    "layers[0].coating": "--coating", "layers[0].colour": "--colour", "layers[0].condition": "--coating-condition",
    "layers[0].thickness": "--thickness", "surface.substrate": "--substrate",
    "surface.condition": "--substrate-condition", "job.laser": "--laser", "job.year": "--year",
    "job.suspects": "--suspect", "lead.status": "--lead", "lead.method": "--lead", "lead.date": "--lead",
    "lead.name": "--lead", "lead.controls": "--lead", "lead.reason": "--lead",
}  # fmt: skip


class Words(click.ParamType[str]):
    """One short line of text."""

    name = "text"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """The line without its margins.

        Raises:
            InputError: empty, too long, or not to be shown.
        """
        flag = "argument" if param is None else param.opts[0] if param.opts[0][0] == "-" else param.human_readable_name
        if not value.strip():
            raise InputError(flag, f"{flag} is empty.", "Give a value, or leave it out.")
        if len(value) > MOST_TEXT:
            raise InputError(flag, f"{flag} has {len(value)} characters.", "Check what was pasted.")
        if not value.isprintable():
            raise InputError(flag, f"{flag} holds characters that cannot be shown.", "Type it anew.")
        return str(value.strip())


def options(*names: str) -> Callable[[Any], Any]:
    """The options of these names, in this order."""

    def add(function: Any) -> Any:
        for name in reversed(names):
            flag, words = OPTIONS[name]
            function = click.option(
                flag, name, metavar="TEXT", help=words, type=Words(), multiple=name in REPEATED
            )(function)  # fmt: skip
        return function

    return add


def argument(name: str, *, required: bool) -> Callable[[Any], Any]:
    """A positional argument of text."""
    return click.argument(name, required=required, type=Words())


@contextmanager
def at_options(names: Mapping[str, str]) -> Iterator[None]:
    """Names the option, not the key behind it, in an InputError raised inside."""
    try:
        yield
    except InputError as error:
        flag = names.get(error.field)
        if flag is None:
            raise
        problem = error.problem.removeprefix(f"In {error.field}: ").replace(error.field, flag)
        if flag not in problem:
            problem = f"{flag}: {problem}"
        raise InputError(flag, problem, error.remedy.replace(error.field, flag)) from None


def number(name: str, kind: str, given: Mapping[str, Any]) -> float | None:
    """A quantity option in SI, or None where it was not given."""
    text = given.get(name)
    return None if text is None else parse(text, kind, OPTIONS[name][0])


def whole(name: str, given: Mapping[str, Any], default: int, low: int, high: int) -> int:
    """A whole number of an option, or its default.

    Raises:
        InputError: it is none, or lies outside.
    """
    text, flag = given.get(name), OPTIONS[name][0]
    if text is None:
        return default
    if text.isascii() and text.isdigit() and len(text) <= 10 and low <= int(text) <= high:
        return int(text)
    raise InputError(
        flag, f"{flag} {quoted(text)} is not a whole number from {low} to {high}.", f"Give for example {max(low, 1)}."
    )


def read_laser(given: Mapping[str, Any]) -> Laser | None:
    """The laser of --laser, if given."""
    return None if given.get("laser") is None else find_any_laser(given["laser"], field="--laser")


def read_setting(given: Mapping[str, Any], laser: Laser | None) -> tuple[Setting, list[str]]:
    """(the setting of the knob options, what of it was assumed); a laser gives its spot, and binds.

    Raises:
        InputError: a knob is missing, is no quantity, or the laser cannot do it.
    """
    head = (laser or find_laser(DEFAULT_LASER)).handpiece
    diameter = 2 * laser.spot_radius if laser else None
    knobs = (
        ("average_power", "power", "power", None),
        ("repetition_rate", "rate", "frequency", None),
        ("pulse_width", "width", "time", None),
        ("spot_radius", "spot_diameter", "length", diameter),
        ("sweep_width", "sweep_width", "length", head.sweep_width_default),
        ("sweep_speed", "sweep_speed", "speed", head.sweep_speed_default),
        ("travel_speed", "travel_speed", "speed", TRAVEL_SPEED),
    )
    values: dict[str, Any] = {}
    assumed: list[str] = []
    for field, name, kind, default in knobs:
        value = number(name, kind, given)
        if value is None:
            flag = OPTIONS[name][0]
            if default is None:
                raise InputError(flag, f"{flag} is missing.", "Give it, " + OPTIONS[name][1].split(", ")[-1] + ".")
            value = default
            assumed.append(field)
        values[field] = value
    values["spot_radius"] /= 2
    with at_options(SETTING_OPTIONS):
        passes = whole("passes", given, 1, 1, MOST_PASSES)
        setting = Setting(**values, passes=passes, pattern=given.get("pattern") or "line")
        if laser:
            laser.check(setting)
    return setting, assumed


def read_against(text: str | None, given: Mapping[str, Any], laser: Laser | None) -> Setting | None:
    """The second setting: the first with the knobs that --against names; None where it was not given.

    Raises:
        InputError: it is no list of knobs, or makes no setting.
    """
    if text is None:
        return None
    flags = {OPTIONS[name][0].removeprefix("--"): name for name in (*KNOBS, "pattern")}
    changed: dict[str, Any] = {}
    for part in filter(None, (part.strip() for part in text.split(";"))):
        knob, _, value = part.partition("=")
        if knob.strip() not in flags or not value.strip():
            raise InputError(
                "--against", f"--against: {part[:40]!r} is no knob with a value.", f"Known: {', '.join(flags)}."
            )
        changed[flags[knob.strip()]] = value.strip()
    if not changed:
        raise InputError("--against", "--against names no knob.", "Write for example 'power=270 W'.")
    try:
        return read_setting({**given, **changed}, laser)[0]
    except InputError as error:
        raise InputError("--against", f"In --against: {error.problem}", error.remedy) from None


def surface_of(given: Mapping[str, Any]) -> dict[str, Any]:
    """The surface options alone."""
    return {name: given.get(name) for name in SURFACE[1:]}


def check_picture(path: str | None) -> str | None:
    """The file to draw into, refused before anything is computed.

    Raises:
        InputError: another ending, or no such folder.
    """
    if path is not None and not path.lower().endswith((".svg", ".png")):
        raise InputError(
            "--picture", f"--picture: {path[-40:]!r} is neither .svg nor .png.", "End it in one of the two."
        )
    if path is not None and not Path(path).resolve().parent.is_dir():
        raise InputError("--picture", f"--picture: there is no folder for {path[-40:]!r}.", "Name a place that exists.")
    return path


def read_job_or_options(path: str | None, given: Mapping[str, Any]) -> Job:
    """The job of a file, or one made of the surface options; never both.

    Raises:
        InputError: both or neither, or a value that is none.
        HardStop: a coating that no beam touches.
    """
    used = [OPTIONS[name][0] for name in (*SURFACE, *STOP) if given.get(name)]
    if path is not None:
        if used:
            said = f"{used[0]} was given beside a job file."
            raise InputError(used[0], said, "Write it into the file, or leave the file out.")
        return read_job(path)
    for name in ("coating", "substrate"):
        if given.get(name) is None:
            flag = OPTIONS[name][0]
            raise InputError(flag, f"There is no job file and no {flag}.", "Name a job file, or describe the surface.")
    with at_options(SURFACE_OPTIONS):
        return job_from(_table(given))


def _table(given: Mapping[str, Any]) -> dict[str, Any]:
    """The options as a job file would say them."""

    def chosen(**names: str) -> dict[str, Any]:
        return {key: given[name] for key, name in names.items() if given.get(name) is not None}

    head = chosen(laser="laser")
    if given.get("year") is not None:
        year = given["year"]
        head["year"] = int(year) if year.isascii() and year.isdigit() and len(year) <= 9 else year
    if given.get("suspect"):
        head["suspects"] = list(given["suspect"])
    table: dict[str, Any] = {
        "job": head,
        "layers": [chosen(coating="coating", colour="colour", condition="coating_condition", thickness="thickness")],
        "surface": chosen(substrate="substrate", condition="substrate_condition"),
    }
    if given.get("lead") is not None:
        table["lead"] = read_record(given["lead"], "--lead")
    if given.get("cleared"):
        table["cleared"] = [{key: said for key, said in asdict(one).items() if said} for one in read_clearances(given)]
    return table


def read_clearances(given: Mapping[str, Any]) -> list[Clearance]:
    """What is on record about other hazards than lead.

    Raises:
        InputError: a hazard that is not known or named twice, or no record.
    """
    keys = ("hazard", "status", "method", "date", "name", "controls", "reason")
    found = []
    with at_options({f"cleared.{key}": "--cleared" for key in keys}):
        for text in given.get("cleared") or ():
            hazard, _, rest = text.partition(";")
            found.append(Clearance(hazard=hazard.strip(), **read_record(rest, "--cleared", CLEARED_FORM)))
    if len({one.hazard for one in found}) < len(found):
        raise InputError("--cleared", "--cleared names a hazard twice.", "Keep the newer record.")
    return found


def read_record(text: str, flag: str, form: str = LEAD_FORM) -> dict[str, str]:
    """What is on record about a hazard, by its parts between semicolons.

    Raises:
        InputError: no status, or more parts than it can have.
    """
    status, *parts = (part.strip() for part in text.split(";"))
    keys = ("name", "controls", "reason") if status.casefold() == "accepted" else ("method", "date")
    if len(parts) > len(keys):
        raise InputError(flag, f"{flag} has more than {len(keys) + 1} parts after the hazard.", form)
    if not status:
        raise InputError(flag, f"{flag} has no status.", form)
    return {"status": status} | {key: part for key, part in zip(keys, parts, strict=False) if part}
