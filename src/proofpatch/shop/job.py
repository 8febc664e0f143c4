"""A job file in TOML. docs/job-file.md says what each key means; the patch log beside it is `shop.log`."""

from __future__ import annotations

import datetime
import difflib
import math
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from proofpatch.errors import InputError
from proofpatch.hazards.fume import MOST_CAUGHT, ROOM_VOLUME
from proofpatch.hazards.power import Circuit, read_circuit
from proofpatch.hazards.room import Opening, Room, Thing
from proofpatch.lasers import Laser, laser_from_toml
from proofpatch.lasers import laser as find_laser
from proofpatch.learn.limits import PRESETS, Hand, Limits
from proofpatch.learn.surface import Layer, Surface
from proofpatch.materials import coating, find_substrate
from proofpatch.measure.zones import EFFORT, MOST_ZONES, Zone, pairs
from proofpatch.offer.hours import BOUNDS
from proofpatch.offer.money import amount
from proofpatch.physics.setting import finite_number
from proofpatch.shop.offer_keys import (
    LETTERHEAD_KEYS,
    OFFER_BOUNDED,
    OFFER_FACTORS,
    OFFER_KEYS,
    PRICE_KEYS,
    RATE_KEYS,
    WHOLES,
    ZONE_KEYS,
)
from proofpatch.shop.zones import READERS, read_areas, read_effort, read_pieces, zone_from
from proofpatch.survey.clear import Clearance
from proofpatch.survey.described import surface_of
from proofpatch.survey.evidence import Reading, Survey, read_survey
from proofpatch.survey.identify import identify
from proofpatch.survey.stop import HardStop, Lead, never_pass
from proofpatch.units import parse

# table -> key -> kind of quantity, or how it is read.
KEYS: dict[str, dict[str, str]] = {
    "job": {"title": "text", "laser": "text", "year": "year", "suspects": "texts", "seed": "seed"},
    "surface": {"substrate": "text", "condition": "text", "thickness": "length", "moisture": "share"},
    "layers": {
        "coating": "coating", "colour": "text", "condition": "text", "thickness": "length", "thickness_spread": "share",
    },
    "limits": {"preset": "text", "p_clean": "share", "p_harm": "share", "p_harm_patch": "share"},
    "hand": {"speed_spread": "share", "stand_off_spread": "length", "starts": "text"},
    "lead": {"status": "text", "method": "text", "date": "date", "name": "text", "controls": "text", "reason": "text"},
    "cleared": {
        "hazard": "text", "status": "text", "method": "text", "date": "date", "name": "text", "controls": "text",
        "reason": "text",
    },
    "room": {"length": "length", "width": "length", "height": "length", "work": "point"},
    "openings": {"name": "text", "wall": "text", "start": "distance", "end": "distance", "closed": "flag"},
    "shiny": {"name": "text", "at": "point"},
    "people": {"name": "text", "at": "point"},
    "air": {"capture": "captured", "flow": "air flow"},
    "power": {"circuits": "texts", "chiller": "power", "extractor": "power"},
    "zones": {
        "name": "text", "area": "zone", "how": "text", "shapes": "shapes", "outlines": "outlines", "count": "pieces",
        "effort": "effort", "hand_finish": "share", "coating": "text", "limits": "text", "untouched": "flag",
        **ZONE_KEYS,
    },
    "rates": {"set_up": "set-up", "hand_factor": "hand factor", **RATE_KEYS},
    "offer": OFFER_KEYS, "prices": PRICE_KEYS, "letterhead": LETTERHEAD_KEYS,
}  # fmt: skip
EVIDENCE = "evidence"  # a table whose keys are the survey's own names
LISTS = ("layers", "cleared", "openings", "shiny", "people", "zones")
REQUIRED = {
    "surface": ("substrate",), "layers": ("coating",), "cleared": ("hazard", "status"),
    "openings": ("name", "wall", "start", "end"), "shiny": ("name", "at"), "people": ("name", "at"),
}  # fmt: skip
DEFAULT_LASER = "pulsed-500"
# kind -> (kind of quantity, smallest, largest [SI]), and of plain numbers (smallest, largest)
BOUNDED: dict[str, tuple[str, float | None, float | None]] = {
    "zone": ("area", 1e-6, 1e5),
    "set-up": ("duration", *BOUNDS["set_up"][:2]),
    "captured": ("share", 0.0, MOST_CAUGHT),
    **OFFER_BOUNDED,
}
FACTORS = {"effort": EFFORT, "hand factor": BOUNDS["hand_factor"][:2], **OFFER_FACTORS}
LARGEST_FILE = 1_000_000  # bytes; a job is a page of text
LONGEST_TEXT = 500
EARLIEST_YEAR = 1000
HEIGHT = 2.5  # m, of a room whose height was not said
FARTHEST = 1000.0  # m, of somebody outside a room


@dataclass(frozen=True)
class Job:
    """A job as its file says it. measured: its zones; zones: of them (area under the beam [m²], effort factor).

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


def nearest(word: str, known: Iterable[str]) -> str:
    """`Did you mean …?` or the list of what is known."""
    options = list(known)
    close = difflib.get_close_matches(word[:100], options, n=1, cutoff=0.5)
    return f"Did you mean {close[0]}?" if close else f"Known here: {', '.join(options)}."


def quoted(text: object) -> str:
    """What was written, in quotes, short and on one line."""
    line = "".join(c if c.isprintable() else " " for c in str(text))
    return repr(line if len(line) <= 40 else line[:37] + "...")


def named(place: str, key: str) -> str:
    """The field of a key that somebody wrote, never longer than a line."""
    return f"{place}.{quoted(key)[1:-1]}"


def read_file(path: Path, field: str, what: str) -> bytes:
    """The bytes of a file of a page or so.

    Raises:
        InputError: it cannot be read, or is no page of text.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as trouble:
        why = getattr(trouble, "strerror", None) or "not a file name"
        raise InputError(field, f"The {what} {quoted(path)} cannot be read: {why}.", "Check its name.") from None
    if len(raw) > LARGEST_FILE:
        said = f"The {what} {quoted(path)} is larger than {LARGEST_FILE // 1000} kB."
        raise InputError(field, said, "It is a page of text; check its name.")
    return raw


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
    read = _read_tables(table)
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


def _read_tables(table: Mapping[str, Any]) -> dict[str, Any]:
    """Every table with its values read; a table that is not there is empty."""
    for name in table:
        if name not in KEYS and name != EVIDENCE:
            raise InputError(
                quoted(name)[1:-1],
                f"The job file has an unknown table {quoted(name)}.",
                nearest(name, (*KEYS, EVIDENCE)),
            )
    read: dict[str, Any] = {}
    for name in KEYS:
        given = table.get(name)
        if name in LISTS:
            if given is not None and not (isinstance(given, list) and all(isinstance(entry, dict) for entry in given)):
                raise InputError(name, f"{name} is not a list of tables.", f"Head each entry with [[{name}]].")
            read[name] = [
                _read_table(f"{name}[{i}]", name, entry, REQUIRED.get(name, ())) for i, entry in enumerate(given or ())
            ]
        else:
            if given is not None and not isinstance(given, dict):
                raise InputError(name, f"{name} is not a table.", f"Head it with [{name}].")
            # A survey may speak of the substrate in its own words.
            needed = () if name == "surface" and EVIDENCE in table else REQUIRED.get(name, ())
            read[name] = _read_table(name, name, given or {}, needed)
    return read


def _read_table(place: str, name: str, given: Mapping[str, Any], needed: Iterable[str]) -> dict[str, Any]:
    keys = KEYS[name]
    for key in given:
        if key not in keys:
            raise InputError(named(place, key), f"{place} has an unknown key {quoted(key)}.", nearest(key, keys))
    for key in needed:
        if key not in given:
            raise InputError(f"{place}.{key}", f"{place}.{key} is missing.", "Add it.")
    return {key: read_value(f"{place}.{key}", kind, given[key]) for key, kind in keys.items() if key in given}


@contextmanager
def inside(place: str, names: Mapping[str, str] | None = None) -> Iterator[None]:
    """Names the place in the job file in an InputError raised inside; `names` are keys called otherwise there."""
    try:
        yield
    except InputError as error:
        where = f"{place}.{(names or {}).get(error.field, error.field)}"
        raise InputError(where, f"In {where}: {error.problem}", error.remedy) from None


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
        # The log reads its lines with this module's own readers.
        from proofpatch.shop.laser_log import as_measured

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


def read_value(place: str, kind: str, value: Any) -> Any:
    """One value of a job file or an option, by its kind.

    Raises:
        InputError: it is not of that kind.
        HardStop: it names a coating that no beam touches.
    """
    if kind in ("text", "date"):
        # TOML has dates of its own.
        if kind == "date" and isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
            return value.isoformat()
        if not isinstance(value, str) or not value.strip() or len(value) > LONGEST_TEXT or not value.isprintable():
            raise InputError(place, f"{place} is not a short line of text.", "Write it in quotes.")
        return value.strip()
    if kind == "texts":
        if not isinstance(value, list):
            raise InputError(place, f"{place} is not a list of texts.", 'Write it like ["a", "b"].')
        return [read_value(place, "text", entry) for entry in value]
    if kind == "flag":
        if not isinstance(value, bool):
            raise InputError(place, f"{place} is neither true nor false.", "Write true or false without quotes.")
        return value
    if kind == "point":
        if not isinstance(value, list) or len(value) != 2:
            raise InputError(place, f"{place} is not two distances.", 'Write it like ["2 m", "1.5 m"].')
        return tuple(_distance(place, part) for part in value)
    if kind == "distance":
        return _distance(place, value)
    if kind == "coating":
        return _read_coating(place, value)
    if kind == "money":
        return amount(value, place, place)
    if kind in ("year", "seed", *WHOLES):
        low, high = WHOLES.get(kind, (0, 2**31))
        if kind == "year":
            low, high = EARLIEST_YEAR, datetime.date.today().year
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise InputError(place, f"{place} is not a whole number from {low} to {high}.", "Write it without quotes.")
        return value
    if kind in READERS:
        return read_areas(place, kind, value)
    if kind == "pieces":
        return read_pieces(place, value)
    if kind == "effort":
        return read_effort(place, value)
    if kind in FACTORS:
        least, most = FACTORS[kind]
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not least <= value <= most:
            raise InputError(place, f"{place} is not a number from {least:g} to {most:g}.", "Write for example 1.5.")
        return float(value)
    quantity, lowest, highest = BOUNDED.get(kind, (kind, None, None))
    try:
        return parse(value, quantity, place, low=lowest, high=highest)
    except InputError as error:
        label = place.replace("_", " ")
        raise InputError(place, error.problem.replace(label, place), error.remedy) from None


def _distance(place: str, value: Any) -> float:
    """A length that may be nought or lie the other way."""
    text = value.strip() if isinstance(value, str) else value
    back = isinstance(text, str) and text.startswith("-")
    if isinstance(text, str) and re.fullmatch(r"-?0+([.,]0*)?\s*(m|mm|cm|ft|in)", text):
        return 0.0
    found = parse(text[1:].lstrip() if back else text, "length", place, high=FARTHEST)
    return -found if back else found


def _read_coating(place: str, value: Any) -> str | dict[str, float]:
    names = list(value) if isinstance(value, dict) else [read_value(place, "text", value)]
    for name in names:
        why = never_pass(name)
        if why:
            raise HardStop(why)
    if not isinstance(value, dict):
        return str(names[0])
    return {
        name: plain_number(place, share, f"The chance of {quoted(name)} in {place}") for name, share in value.items()
    }


def plain_number(field: str, value: Any, words: str) -> float:
    """A finite number that is no text, truth or list.

    Raises:
        InputError: it is none.
    """
    if not isinstance(value, bool) and isinstance(value, (int, float)):
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if math.isfinite(number):
            return number
    raise InputError(field, f"{words} is not a finite number.", "Give a plain number.")
