"""Measuring on the command line: zones of a job file, and one made of shapes, an outline and a scan."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from proofpatch import cli_work
from proofpatch.cli_answer import NO, Answer, as_json, say
from proofpatch.cli_read import AREA, OPTIONS, argument, at_options, number, options
from proofpatch.errors import InputError
from proofpatch.units import show

PARTS = ("shape", "outline", "mesh")
OF_SCAN = ("unit", "longest", "pick_at", "pick_box")
OF_REACH = ("incidence", "focus_depth", "sweep_width")
OF_ZONE = {
    "name": "--zone", "count": "--pieces", "effort": "--effort", "hand_finish": "--hand-finish", "areas": "--shape",
}  # fmt: skip
SCAN = {"mesh": "--mesh", "unit": "--unit", "longest": "--longest", "picked": "--mesh", "low": "--pick-box"}


@click.command()
@argument("job", required=False)
@options(*AREA)
@click.option(
    "--reach", is_flag=True, help="of the scan: from where the beam gets to it, and what is left for the hand"
)
@click.option("--list", "list_", is_flag=True, help="every shape with its figures, and the kinds of work")
@as_json
def measure(job: str | None, json_: bool, reach: bool, list_: bool, **given: Any) -> None:
    """How much is there? Area, how sure it is, and effort apart, from a job's zones, shapes, a photo or a scan.

    Example: proofpatch measure --shape "cylinder; diameter=60 mm; length=700 mm" --pieces 4 --effort turnings
    """
    from proofpatch.records_measure import measure_record, shapes_record

    if list_:
        record = shapes_record()
        say(record, json_, lambda: shapes_lines(record))
        return
    check_partners(given, reach)
    zones = list(cli_work.read_work("measure", job, {}, json_).measured) if job else []
    found: dict[str, Any] = {}
    if any(given.get(name) for name in PARTS):
        zone, reached = read_zone(given, reach)
        zones.append(zone)
        found = {zone.name: reached} if reached else {}
    if not zones:
        if job:
            raise InputError("zones", "The job has no zones.", "Add [[zones]] with an area or shapes.")
        raise InputError("--shape", "--shape: nothing is to be measured.", "Give a shape, an outline, a mesh or a job.")
    record = measure_record(zones, found)
    say(record, json_, lambda: measure_lines(record))
    if not record["beam_m2"]:
        raise Answer(NO)


def check_partners(given: Mapping[str, Any], reach: bool) -> None:
    """Options that speak of a part that is not there.

    Raises:
        InputError: at the first of them.
    """
    for names, needed in (
        (OF_SCAN, ("mesh",)),
        (OF_REACH, ("mesh",)),
        (("zone", "pieces", "effort", "hand_finish"), PARTS),
    ):
        for name in names:
            if given.get(name) and not any(given.get(one) for one in needed):
                flag = OPTIONS[name][0]
                said = " or ".join(OPTIONS[one][0] for one in needed)
                raise InputError(flag, f"{flag} is given without {said}.", "Give it too, or leave this out.")
    if reach and not given.get("mesh"):
        raise InputError(
            "--reach", "--reach is given without --mesh.", "Only of a scan is it known what is in the way."
        )
    for name in OF_REACH:
        if given.get(name) and not reach:
            flag = OPTIONS[name][0]
            raise InputError(flag, f"{flag} is given without --reach.", "Give it too, or leave this out.")


def read_zone(given: Mapping[str, Any], reach: bool) -> tuple[Any, Any]:
    """(the zone of the options, what the head reaches of its scan or None).

    Raises:
        InputError: an option that is none.
    """
    from proofpatch.measure.registry import shape_from_text
    from proofpatch.measure.zones import Zone

    areas: list[Any] = []
    for text in given["shape"]:
        with at_option("--shape"):
            areas.append(shape_from_text(text))
    if given.get("outline"):
        with at_option("--outline"):
            areas.append(read_outline(given["outline"]))
    found = None
    if given.get("mesh"):
        region = read_region(given)
        areas.append(region)
        found = read_reach(region, given) if reach else None
    more: dict[str, Any] = {}
    if given.get("pieces"):
        more["count"] = whole_number(given["pieces"], "--pieces")
    if given.get("effort"):
        more["effort"] = factor(given["effort"])
    by_hand = number("hand_finish", "share", given)
    if by_hand is not None:
        more["hand_finish"] = by_hand
    elif found and len(areas) == 1:
        more["hand_finish"] = found.by_hand
    with at_options(OF_ZONE):
        return Zone(name=given.get("zone") or "piece", areas=tuple(areas), **more), found


class at_option:
    """Names one option in an InputError raised inside, whatever its field."""

    def __init__(self, flag: str) -> None:
        self.flag = flag

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: Any, error: BaseException | None, trace: Any) -> None:
        if isinstance(error, InputError):
            raise InputError(self.flag, f"{self.flag}: {error.problem}", error.remedy) from None


def whole_number(text: str, flag: str) -> int:
    """A whole number of an option.

    Raises:
        InputError: it is none.
    """
    if text.isascii() and text.isdigit() and 0 < len(text) <= 9:
        return int(text)
    raise InputError(flag, f"{flag} is not a whole number.", "Give for example 4.")


def factor(text: str) -> float | str:
    """A plain number, or words for the zone to read."""
    return float(text) if re.fullmatch(r"[0-9]+([.][0-9]*)?", text) and len(text) < 20 else text


def read_outline(path: str) -> Any:
    """The outline of a JSON file.

    Raises:
        InputError: no such file, or none in it.
    """
    from proofpatch.measure.outline import outline_from
    from proofpatch.shop.job_tables import read_file

    raw = read_file(Path(path), "--outline", "outline")
    try:
        record = json.loads(raw)
    except (ValueError, RecursionError):
        raise InputError(
            "--outline", "The outline's file is not JSON.", "See docs/measure.md for an example."
        ) from None
    return outline_from(record)


def read_region(given: Mapping[str, Any]) -> Any:
    """What is picked of the scan of --mesh, or all of it.

    Raises:
        InputError: an option that is none.
    """
    from proofpatch.measure.mesh import Region
    from proofpatch.measure.mesh_file import MOST_BYTES, read_mesh
    from proofpatch.measure.registry import read_number

    if given.get("pick_at") and given.get("pick_box"):
        raise InputError("--pick-box", "--pick-box is given beside --pick-at.", "Give one of them.")
    path = Path(given["mesh"])
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (OSError, ValueError):
        raise InputError("--mesh", "--mesh: the file cannot be read.", "Check its name.") from None
    with at_options(SCAN):
        mesh = read_mesh(data, path.suffix[:20], given.get("unit"), number("longest", "length", given))

    def points(name: str, count: int) -> list[list[float]]:
        flag, parts = OPTIONS[name][0], [re.split(r"\s+x\s+", part.strip()) for part in given[name].split("|")]
        if len(parts) != count or any(len(part) != 3 for part in parts):
            raise InputError(flag, f"{flag} is not {OPTIONS[name][1].split(' of ')[0].split(',')[0]}.", "Give lengths.")
        with at_option(flag):
            return [[read_number(flag, text, "length", "A length") for text in part] for part in parts]

    picked, title = None, "whole mesh"
    if given.get("pick_at"):
        (point,) = points("pick_at", 1)
        picked, title = mesh.grown(mesh.nearest(point)), "face"
    elif given.get("pick_box"):
        low, high = points("pick_box", 2)
        with at_options(SCAN):
            picked, title = mesh.boxed(low, high), "part"
    with at_options(SCAN):
        return Region(mesh=mesh, picked=picked, title=title)


def read_reach(region: Any, given: Mapping[str, Any]) -> Any:
    """What the head reaches of it, by the options.

    Raises:
        InputError: an option that is none.
    """
    from proofpatch.measure.reach import reach

    with at_options({name: OPTIONS[name][0] for name in OF_REACH}):
        return reach(
            region,
            incidence=number("incidence", "angle", given),
            focus_depth=number("focus_depth", "length", given),
            sweep_width=number("sweep_width", "length", given),
        )


def measure_lines(record: Mapping[str, Any]) -> list[str]:
    """The area and how sure it is, then zone by zone, then what it rests on."""
    from proofpatch.cli_show import listed, wrapped

    low, high = (show(record[end], "area", like=record["area_m2"]) for end in ("area_low_m2", "area_high_m2"))
    span = f"{low} to {high} nine times in ten"
    head = f"{show(record['area_m2'], 'area')} to clean, {span}."
    if not record["beam_m2"]:
        head = "Nothing here is for the beam."
    lines = wrapped(head)
    if record["by_hand_m2"] > 0:
        lines += wrapped(f"Of it {show(record['by_hand_m2'], 'area')} by hand.")
    if record["untouched_m2"]:
        lines += wrapped(f"Not to be touched, to be masked: {show(record['untouched_m2'], 'area')}.")
    if record["beam_m2"]:
        lines += wrapped(f"Beam time as for {show(record['effective_m2'], 'area')} of open flat face, effort counted.")
    for zone in record["zones"]:
        lines += ["", *wrapped(zone_words(zone))]
        lines += [line for one in zone["areas"] for line in wrapped(f"- {one['words']}", "  ", "  ")]
        lines += [line for note in zone["notes"] for line in wrapped(f"- {note}", "  ", "  ")]
        lines += reach_lines(zone["reach"])
    lines += listed("Mind:", record["notes"]) + listed("What it rests on:", record["sources"])
    return lines


def zone_words(zone: Mapping[str, Any]) -> str:
    """One zone in a line."""
    pieces = f", {zone['count']} pieces of {show(zone['one_m2'], 'area')}" if zone["count"] > 1 else ""
    low, high = (show(zone[end], "area", like=zone["area_m2"]) for end in ("area_low_m2", "area_high_m2"))
    span = f"{low} to {high}"
    if zone["untouched"]:
        return f"{zone['name']}: {show(zone['area_m2'], 'area')}{pieces} ({span}); do not touch."
    hand = f", {show(zone['hand_finish'], 'share')} by hand" if zone["hand_finish"] else ""
    more = "".join(f"; {zone[key]}" for key in ("coating", "limits") if zone[key])
    return f"{zone['name']}: {show(zone['area_m2'], 'area')}{pieces} ({span}); effort {zone['effort']:.3g}{hand}{more}."


def reach_lines(found: Mapping[str, Any] | None) -> list[str]:
    """The set-ups of a scan."""
    from proofpatch.cli_show import wrapped

    if found is None:
        return []
    steep = show(found["incidence_rad"], "angle")
    count = len(found["setups"])
    head = (
        f"The beam gets to {show(found['reached_m2'], 'area')} of {show(found['area_m2'], 'area')} in {count} "
        f"set-up{'' if count == 1 else 's'}, at most {steep} off the normal; hollows count as out of reach."
    )
    rows = [f"{one['words']}: {show(one['gained_m2'], 'area')}" for one in found["setups"]]
    return [*wrapped(f"- {head}", "  ", "  "), *(line for row in rows for line in wrapped(f"- {row}", "    ", "  "))]


def shapes_lines(record: Mapping[str, Any]) -> list[str]:
    """Every shape with its figures, a line each; what may be left out stands in brackets."""
    from proofpatch.cli_show import listed, wrapped

    lines = []
    for one in record["shapes"]:
        lines += ["", f"{one['shape']}: {one['title']}"]
        for figure in one["figures"]:
            words = f" One of: {', '.join(figure['choices'])}." if figure["choices"] else ""
            name = figure["name"] if figure["needed"] else f"[{figure['name']}]"
            lines += wrapped(f"{name:<12} {figure['help']}{words}", "  ", " " * 13)
    rows = [f"{one['name']}: {one['factor']:g}, {one['words']} ({one['source']})" for one in record["efforts"]]
    return [*lines[1:], *listed("Kinds of work, for effort:", rows)]
