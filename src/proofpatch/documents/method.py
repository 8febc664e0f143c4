"""The method statement of a job, with the room to scale and a sign for the door."""

from __future__ import annotations

import datetime
import json
import math
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import typst

from proofpatch.cli_hazards import concentration_words, rounded_down
from proofpatch.documents.survey import FONTS, breakable
from proofpatch.documents.whole import write_whole
from proofpatch.errors import InputError
from proofpatch.hazards.beam import VISIBLE
from proofpatch.hazards.distance import MOST_NUMBER
from proofpatch.hazards.room import Zone
from proofpatch.records_hazards import ALWAYS, UNCOVERED, metres, times_over
from proofpatch.shop.settings import PAPERS
from proofpatch.units import show

TEMPLATE = Path(__file__).with_name("method.typ")


def method_pdf(
    record: Mapping[str, Any], zone: Zone | None = None, paper: str = "a4", day: datetime.date | None = None,
    stops: Sequence[str] = (),
) -> bytes:  # fmt: skip
    """The statement as PDF.

    Args:
        record: of `records_hazards.plan_record`. zone: to draw the room, None without one.
        paper: a4 or us-letter. day: on it; None: today.
        stops: open hazards, each in its own sentence; with one, or not covered, the page says first not to start.

    Raises:
        InputError: another paper.
    """
    if paper not in PAPERS:
        raise InputError("paper", f"The paper {paper!r} is not known.", f"Use one of: {', '.join(PAPERS)}.")
    data = breakable(_page(record, paper, day or datetime.date.today(), stops))
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        (place / "method.typ").write_bytes(TEMPLATE.read_bytes())
        if zone is not None:
            from proofpatch.pictures.room import room_svg, words

            (place / "room.svg").write_text(room_svg(zone), encoding="utf-8")
            data["room"]["alt"] = words(zone)
        return bytes(
            typst.compile(str(place / "method.typ"), format="pdf", sys_inputs={"data": json.dumps(data)}, **FONTS)
        )


def write_method(record: Mapping[str, Any], zone: Zone | None, path: Path, stops: Sequence[str] = ()) -> None:
    """The statement into a file, whole or not at all; `stops` as of `method_pdf`.

    Raises:
        InputError: the file cannot be written.
    """
    write_whole(path, method_pdf(record, zone, stops=stops), "page")


def _page(record: Mapping[str, Any], paper: str, day: datetime.date, stops: Sequence[str]) -> dict[str, Any]:
    """What the template shows, as words."""
    air, fire, beam = record["air"], record["fire"], record["beam"]
    pulsed = record["scale_number_R"]
    scale = f"D LB{record['scale_number_D']}"
    if pulsed is not None:
        scale += f" and {record['scale_letter']} LB{pulsed}"
    nanometres = round(beam["wavelength_m"] * 1e9)
    density = math.ceil(record["optical_density"] * 10 - 1e-9) / 10
    worn = f"optical density at least {density:.1f}, {scale}"
    if max(record["scale_number_D"], pulsed or 0) > MOST_NUMBER:
        worn = f"none is made for {scale}: enclose the beam"
    seen = "invisible, " if beam["wavelength_m"] > VISIBLE else ""
    watts = {one["load"]: show(one["power_W"], "power") for one in record["power"]["loads"]} if record["power"] else {}
    return {
        "paper": paper,
        "title": record["title"],
        "day": day.isoformat(),
        "date": [day.year, day.month, day.day],
        "stops": [*([] if record["covered"] else [UNCOVERED]), *stops],
        "headline": record["headline"],
        "answers": [*record["answers"], fire["answer"], *record["on_record"]],
        "beam": [
            ["Laser", f"class 4, {nanometres} nm, up to {show(beam['power_W'], 'power')}"],
            ["Eye limit", f"{rounded_down(record['eye_limit_W_m2'])} W/m², governed by: {record['governing_rule']}"],
            ["By the other rules", f"{rounded_down(record['other_rules']['eye_limit_W_m2'])} W/m²"],
            ["Skin limit", f"{rounded_down(record['skin_limit_W_m2'])} W/m²"],
            ["Direct, sweep stopped", metres(record["hazard_distance_m"])],
            ["Off a flat shiny surface", f"{metres(record['mirrored_distance_m'])} along the whole way"],
            ["Off a matt surface", metres(record["diffuse_distance_m"])],
            ["Skin, direct", metres(record["skin_distance_m"])],
            ["Windows, doors, public (100 s)", metres(record["distance_at_windows_m"])],
            ["Eyewear", worn],
        ],
        "screens": record["screens"],
        "agents": [
            [one["name"], concentration_words(one["near_kg_m3"]), concentration_words(one["limit_kg_m3"]),
             times_over(one["ratio"]).removesuffix(" times its limit")]
            for one in air["agents"]
        ],
        "fire": [*fire["notes"], *(f"{one['material'].capitalize()}: {one['note']}." for one in fire["fuels"])],
        "room": {
            "notes": [*(f"{one['who']}: {one['how']}." for one in record["room"]["reached"]), *record["room"]["notes"]],
            "alt": "",
        } if record["room"] else None,
        "power": [
            *(f"{one['load']}, {watts[one['load']]}: circuit {one['circuit']}" for one in record["power"]["placed"]),
            *(f"{name}, {watts[name]}: no circuit has so much left" for name in record["power"]["left_out"]),
        ] if record["power"] else [],
        "checklist": [[one["moment"], one["role"], one["text"], one["gate"]] for one in record["checklist"]],
        "air_notes": [air["filters"], air["waste"]],
        "formulas": record["formulas"],
        "assumptions": record["assumptions"],
        "sources": record["sources"],
        "always": ALWAYS,
        "sign": [
            f"Class 4 laser, {nanometres} nm, {seen}up to {show(beam['power_W'], 'power')}",
            f"Eyewear inside: {worn}",
        ],
    }  # fmt: skip
