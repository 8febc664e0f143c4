"""A job file in TOML. docs/job-file.md says what each key means; the patch log beside it is `shop.log`."""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from proofpatch.errors import InputError
from proofpatch.hazards.fume import ROOM_VOLUME
from proofpatch.hazards.power import Circuit, read_circuit
from proofpatch.hazards.room import Opening, Room, Thing
from proofpatch.lasers import Laser, laser_from_toml
from proofpatch.lasers import laser as find_laser
from proofpatch.learn.limits import PRESETS, Hand, Limits
from proofpatch.learn.surface import Layer, Surface
from proofpatch.materials import coating, find_substrate
from proofpatch.measure.zones import MOST_ZONES, Zone, pairs
from proofpatch.offer.hours import Correction
from proofpatch.physics.setting import finite_number
from proofpatch.shop.job_tables import EVIDENCE, KEYS, inside, read_file, read_tables
from proofpatch.shop.laser_log import as_measured
from proofpatch.shop.values import nearest
from proofpatch.shop.zones import zone_from
from proofpatch.survey.clear import Clearance
from proofpatch.survey.described import surface_of
from proofpatch.survey.evidence import Reading, Survey, read_survey
from proofpatch.survey.identify import identify
from proofpatch.survey.stop import Lead
from proofpatch.units import quoted

DEFAULT_LASER = "pulsed-500"
HEIGHT = 2.5  # m, of a room whose height was not said


@dataclass(frozen=True)
class Job:
    """A job as its file says it. measured: its zones; zones: of them (area under the beam [m²], effort factor).

    correction: of its hours by the shop's finished jobs; none of a job file.
    offer: what its tables of zones, offer, prices and letterhead say, read; `shop.offered` makes things of it.
    survey: its findings, None without any. surveyed: the layers are what the survey makes of them.
    """

    title: str
    surface: Surface
    laser: Laser
    limits: Limits = field(default_factory=Limits)
    hand: Hand = field(default_factory=Hand)
    year: int | None = None
    lead: Lead = field(default_factory=Lead)
    suspects: tuple[str, ...] = ()
    survey: Survey | None = None
    surveyed: bool = False
    cleared: tuple[Clearance, ...] = ()
    measured: tuple[Zone, ...] = ()
    rates: Mapping[str, float] = field(default_factory=dict)
    offer: Mapping[str, Any] = field(default_factory=dict)
    correction: Correction = field(default_factory=Correction)
    room: Room | None = None
    height: float = HEIGHT
    capture: float = 0.0
    air: float = 0.0
    circuits: tuple[Circuit, ...] = ()
    loads: tuple[tuple[str, float], ...] = ()
    seed: int = 0
    path: Path | None = None
    laser_file: Path | None = None

    def laser_on(self, day: datetime.date) -> Laser:
        """The laser as its readings had it on that day.

        Raises:
            InputError: its file or its readings can no longer be believed.
        """
        if self.laser_file is None:
            return self.laser
        return find_any_laser(str(self.laser_file), None, "job.laser", on=day)

    @property
    def zones(self) -> tuple[tuple[float, float], ...]:
        """(area under the beam [m²], effort factor) of each zone the beam goes to."""
        return pairs(self.measured) if self.measured else ()

    @property
    def log_path(self) -> Path:
        """The patch log beside the job file."""
        assert self.path is not None
        return self.path.with_suffix(".patches.jsonl")


def read_job(path: str | Path) -> Job:
    """The job of a TOML file.

    Raises:
        InputError: no such file, no TOML, an unknown key (the nearest known one is named), a value that is none.
        HardStop: a coating that no beam touches.
    """
    path = Path(path)
    raw = read_file(path, "job file", "job file")
    try:
        table = tomllib.loads(raw.decode("utf-8"))
    # Besides its own error tomllib lets through what a number of a thousand digits or a deep nest raises.
    except (ValueError, RecursionError) as trouble:
        said = " ".join(str(trouble).split())[:80] if not isinstance(trouble, UnicodeDecodeError) else "it is not text"
        raise InputError(
            "job file", f"The job file {quoted(path)} is not TOML ({said}).", "See docs/job-file.md for an example."
        ) from None
    return job_from(table, path)


def job_from(
    table: Mapping[str, Any], path: Path | None = None, lasers: Mapping[str, Laser] | None = None
) -> Job:  # fmt: skip
    """The job of a table as TOML gives it.

    lasers: of the shop by id, beside the built-in ones; with them no file is looked for.

    Raises:
        InputError, HardStop: as `read_job`.
    """
    read = read_tables(table)
    head = read["job"]
    survey = survey_from(table.get(EVIDENCE), head, read["surface"].get("substrate"))
    cleared = []
    for i, entry in enumerate(read["cleared"]):
        with inside(f"cleared[{i}]", {f"cleared.{key}": key for key in KEYS["cleared"]}):
            cleared.append(Clearance(**entry))
    twice = [one.hazard for one in cleared if sum(one.hazard == other.hazard for other in cleared) > 1]
    if twice:
        raise InputError("cleared", f"The hazard {twice[0]} is on record twice.", "Keep the newer record.")
    layers = []
    for i, entry in enumerate(read["layers"]):
        with inside(f"layers[{i}]"):
            layers.append(Layer(**entry))
    under = read["surface"]
    if not layers:
        if survey is None:
            raise InputError("layers", "The job has no layers.", "Add [[layers]] with a coating, or [evidence].")
        surface = surface_of(survey, identify(survey), under.get("thickness"))
    else:
        survey = with_layers(survey, layers) if survey else None
        with inside("surface", {"substrate_thickness": "thickness"}):
            surface = Surface(
                layers,
                under.get("substrate") or (identify(survey).ground if survey else ""),
                under.get("condition", "unknown"),
                under.get("thickness"),
                under.get("moisture"),
            )
    limits = dict(read["limits"])
    preset = limits.pop("preset", "ordinary")
    if preset not in PRESETS:
        raise InputError("limits.preset", f"limits.preset {quoted(preset)} is not known.", nearest(preset, PRESETS))
    with inside("limits"):
        bounds = Limits(**{**asdict(PRESETS[preset]), **limits})
    with inside("hand"):
        hand = Hand(**read["hand"])
    name = head.get("laser", DEFAULT_LASER)
    return Job(
        title=head.get("title", "Untitled job"),
        surface=surface,
        laser=find_any_laser(name, path.parent if path else None, "job.laser", shop=lasers),
        laser_file=_own_laser(name, path) if lasers is None else None,
        limits=bounds,
        hand=hand,
        year=survey.year if survey else head.get("year"),
        lead=Lead(**read["lead"]),
        suspects=survey.suspects if survey else tuple(head.get("suspects", ())),
        survey=survey,
        surveyed=not layers,
        cleared=tuple(cleared),
        measured=_zones(read["zones"]),
        rates=read["rates"],
        offer={name: read[name] for name in ("zones", "offer", "prices", "letterhead")},
        room=_room(read),
        height=read["room"].get("height", HEIGHT),
        capture=read["air"].get("capture", 0.0),
        air=read["air"].get("flow", 0.0),
        circuits=tuple(read_circuit(text, "power.circuits") for text in read["power"].get("circuits", ())),
        loads=tuple((name, read["power"][name]) for name in ("chiller", "extractor") if name in read["power"]),
        seed=head.get("seed", 0),
        path=path,
    )


def _zones(given: Sequence[Mapping[str, Any]]) -> tuple[Zone, ...]:
    if len(given) > MOST_ZONES:
        raise InputError("zones", f"There are {len(given)} zones.", f"Give at most {MOST_ZONES}.")
    found = []
    for i, entry in enumerate(given):
        with inside(f"zones[{i}]"):
            found.append(zone_from(entry, i + 1))
    return tuple(found)


def _room(read: Mapping[str, Any]) -> Room | None:
    """The room of [room] and the lists beside it."""
    about = read["room"]
    if not about:
        named = next((name for name in ("openings", "shiny", "people") if read[name]), None)
        if named:
            raise InputError(named, f"{named} stand in no room.", "Add [room] with length, width and work.")
        return None
    for key in ("length", "width", "work"):
        if key not in about:
            raise InputError(f"room.{key}", f"room.{key} is missing.", "Add it.")
    with inside("room", {"openings": "openings", "shiny": "shiny", "people": "people"}):
        room = Room(
            about["length"],
            about["width"],
            about["work"],
            tuple(Opening(**entry) for entry in read["openings"]),
            tuple(Thing(entry["name"], *entry["at"]) for entry in read["shiny"]),
            tuple(Thing(entry["name"], *entry["at"]) for entry in read["people"]),
        )
        volume = room.length * room.width * about.get("height", HEIGHT)
        finite_number("height", "Room volume", volume, *ROOM_VOLUME, "m³")
        return room


def survey_from(given: Any, head: Mapping[str, Any], ground: str | None) -> Survey | None:
    """The survey of [evidence], with year, suspects and substrate of the job where it names none.

    Raises:
        InputError: as `read_survey`; or it names another year or substrate than the job.
    """
    if given is None:
        return None
    if not isinstance(given, Mapping):
        raise InputError(EVIDENCE, "evidence is not a table.", "Head it with [evidence].")
    items: list[tuple[str, Any]] = []
    for name, value in given.items():
        items += [(name, one) for one in value] if isinstance(value, list) else [(name, value)]
    named_there = {str(name).strip().casefold() for name, _ in items}
    if head.get("year") is not None:
        if "year" in {name.partition("@")[0].strip() for name in named_there}:
            raise InputError("evidence.year", "The year is said twice.", "Leave it out of [evidence] or of [job].")
        items.append(("year", head["year"]))
    items += [("suspect", one) for one in head.get("suspects", ())]
    if ground is not None:
        with inside("surface"):
            known = find_substrate(ground)
        if "substrate" in named_there:
            found = read_survey(items, EVIDENCE)
            if found.ground != known:
                said = "The substrate of [surface] is not the one of [evidence]."
                raise InputError("evidence.substrate", said, "Say it once.")
            return found
        items.append(("substrate", known))
    return read_survey(items, EVIDENCE)


def with_layers(survey: Survey, layers: Sequence[Layer]) -> Survey:
    """The survey with what the job itself says of its layers: paint, colours, how many."""
    kinds = {coating(key).kind for coat in layers for key in coat.shares}
    readings = survey.readings
    if "paint" in kinds and not survey.said("kind"):
        readings = (*readings, Reading("kind", "paint"))
    colours = [coat.colour for coat in layers if coat.colour not in ("unknown", "clear")]
    return replace(
        survey,
        readings=readings,
        primer=", ".join(filter(None, (survey.primer, *colours))),
        layers=survey.layers or (len(layers) if len(layers) > 1 else None),
    )


def find_any_laser(
    name: str, folder: Path | None = None, field: str = "laser", measured: bool = True, on: datetime.date | None = None,
    shop: Mapping[str, Laser] | None = None,
) -> Laser:  # fmt: skip
    """A built-in laser by id, or one of the owner's: of the shop by id, or from a TOML file (beside the job file).

    shop: the lasers of the shop, in place of files.
    measured: with the newest readings beside that file; else as the file says. on: the newest up to that day.

    Raises:
        InputError: there is none, the file makes none, or its readings cannot be believed; its field is `field`.
    """
    try:
        if shop and name in shop:
            return shop[name]
        if shop is not None or not name.endswith(".toml"):
            return find_laser(name)
        path = (folder or Path()) / name
        laser = laser_from_toml(path)
        if not measured:
            return laser
        return as_measured(laser, path, on)
    except InputError as error:
        raise InputError(field, f"In {field}: {error.problem}", error.remedy) from None
    except (ValueError, RecursionError):  # what tomllib lets through: a number of a thousand digits, a deep nest
        raise InputError(
            field, f"In {field}: the laser file {quoted(name)} is not TOML.", "Copy a built-in one and change it."
        ) from None


def _own_laser(name: str, path: Path | None) -> Path | None:
    """The file of a laser of the owner's own."""
    return (path.parent if path else Path()) / name if name.endswith(".toml") else None
