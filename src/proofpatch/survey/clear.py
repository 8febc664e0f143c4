"""What has to be cleared before any beam: who it bites, what settles it, what is refused until then.

Rules look at what was said and at the chances of `identify`. An unknown counts as present: a rule is quiet only where
the piece cannot hold the hazard, or a record shows it absent. Sources of each: hazards.toml.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from proofpatch.errors import InputError
from proofpatch.materials import coating, find_coating
from proofpatch.sources import sources
from proofpatch.survey.evidence import TESTS, Survey
from proofpatch.survey.identify import UNLISTED, Identity, family_of, finishes, identify, in_100
from proofpatch.survey.stop import LEAD_YEAR, Lead, Record, never_pass, plain_words

RULED_OUT = 0.05  # what is less likely than this counts as not there; common practice, no source
SURELY = 0.5  # more likely than this, it is taken as present
ASBESTOS_YEAR = 1980  # presumed where installed no later than this (29 CFR 1926.1101)
MASTIC_YEAR = 1996  # mastics with asbestos were made to this year (trade text)
CCA_YEAR = 2003  # last year of CCA for most residential uses (US EPA)
CELLULOSE = ("nitrocellulose", "precatalysed")
HEAVY_USES = ("aircraft", "aeroplane", "military", "machine", "vehicle", "industrial", "bridge", "tank")
OUTDOOR_USES = ("outdoor", "outside", "deck", "fence", "playground", "post", "garden", "gate", "pergola", "bench")
POLES = ("pole", "sleeper", "farm", "barn", "tie", "jetty", "pier")
BUILT_IN = ("ceiling", "gasket", "door", "putty", "caulk", "glazing", "vinyl floor", "floor tile", "insulation", "wall")
NOT_A_FIRE_DOOR = ("furniture", "cupboard", "cabinet", "wardrobe", "chest")


@dataclass(frozen=True)
class Hazard:
    """An entry of hazards.toml."""

    id: str
    name: str
    settles: str
    refused: str
    methods: tuple[str, ...]
    accept: bool
    source: str
    locator: str
    status: str


@dataclass(frozen=True)
class Clearance(Record):
    """What is on record about one hazard by its id.

    Raises:
        InputError: an unknown hazard; as `Record`.
    """

    hazard: str = ""

    @property
    def place(self) -> str:
        """What to call it in an error."""
        return "cleared"

    def __post_init__(self) -> None:
        if self.hazard not in hazards() or self.hazard in ("lead", "solvent"):
            known = ", ".join(key for key in hazards() if key not in ("lead", "solvent"))
            raise InputError("cleared.hazard", f"cleared.hazard {self.hazard[:40]!r} is not known.", f"Known: {known}.")
        super().__post_init__()


@dataclass(frozen=True)
class Stop:
    """One hard stop. open: nothing on record clears it. never: nothing can. before_beam: it binds the beam only, the
    job may be taken."""

    hazard: str
    reason: str
    settles: str
    refused: str
    open: bool = True
    never: bool = False
    before_beam: bool = False
    cleared_by: str = ""

    @property
    def because(self) -> str:
        """The sentence to show, beginning with Stop and ending with the way out."""
        if self.never:
            return self.reason
        name = hazards()[self.hazard].name
        if not self.open:
            return f"Cleared: {name} ({self.reason}): {self.cleared_by}."
        until = f"Until that is settled: {self.refused}"
        return f"Stop: {name}, because {self.reason}. {until}. It is settled by {self.settles}."


@lru_cache(maxsize=1)
def hazards() -> Mapping[str, Hazard]:
    """Every hazard by id, in the order they are shown."""
    table = tomllib.loads(Path(__file__).with_name("hazards.toml").read_text(encoding="utf-8"))
    for key, entry in table.items():
        if entry["source"] not in sources():
            raise ValueError(f"hazards.toml: the source of {key} is not in sources.toml.")
    return {key: Hazard(key, **{**entry, "methods": tuple(entry["methods"])}) for key, entry in table.items()}


def stops(
    survey: Survey, identity: Identity, lead: Lead | None = None, cleared: Sequence[Clearance] = ()
) -> tuple[Stop, ...]:
    """Every hard stop of a piece, the open ones first.

    Args:
        survey: what was said. identity: what it comes to.
        lead, cleared: what is on record.
    """
    found: list[Stop] = []
    for text in (*survey.suspects, *survey.uses):
        why = never_pass(text)
        if why:
            found.append(Stop("suspect", why, "", "no beam", never=True))
    if _chance(identity, "plastic-foil") > SURELY:
        why = never_pass("pvc") or ""
        found.append(Stop("halogens", why, "", "no beam", never=True))
    records = {one.hazard: one for one in cleared}
    for key, rule in RULES.items():
        reason = rule(survey, identity)
        if reason:
            found.append(_stop(key, reason, lead if key == "lead" else records.get(key)))
    return tuple(sorted(found, key=lambda stop: (not stop.open, not stop.never)))


def open_stop(survey: Survey, lead: Lead | None = None, cleared: Sequence[Clearance] = ()) -> str | None:
    """The sentence of the first stop that nothing on record clears, or None: no beam before it is None."""
    return next((stop.because for stop in stops(survey, identify(survey), lead, cleared) if stop.open), None)


def _stop(key: str, reason: str, record: Record | None) -> Stop:
    about = hazards()[key]
    told = ""
    if record is not None and record.negative and _named(record, about):
        told = f"shown absent by {record.method} on {record.date}"
    elif record is not None and about.accept and record.accepted:
        told = f"taken on by {record.name}, controls: {record.controls}, reason: {record.reason}"
    return Stop(key, reason, about.settles, about.refused, not told, before_beam=key == "solvent", cleared_by=told)


def _named(record: Record, about: Hazard) -> bool:
    """True if the method of a negative result is one that can show it."""
    words = f" {plain_words(record.method)} "
    return not about.methods or any(f" {word} " in words for word in about.methods)


def _chance(identity: Identity, *names: str) -> float:
    return sum(identity.finishes.get(name, 0.0) for name in names)


def painted(survey: Survey, identity: Identity) -> float:
    """Chance that it is paint, or nothing listed. What may be either counts as paint unless it was seen to be clear."""
    clear = survey.said("kind") == ["clear film"]
    found = [UNLISTED]
    for key, finish in finishes().items():
        data = coating(finish.coating) if finish.coating else None
        if data is None or (data.kind == "paint" and not (clear and "clear-film" in data.families)):
            found.append(key)
    return _chance(identity, *found)


def _ground(identity: Identity, family: str) -> float:
    return sum(p for key, p in identity.substrates.items() if family_of(key) == family)


def _coloured(survey: Survey, *words: str) -> str:
    """A colour said of the coat or of its primer that is one of these, or ""."""
    said = [*survey.said("colour"), survey.primer]
    return next((colour for colour in said if any(word in colour for word in words)), "")


def _lead(survey: Survey, identity: Identity) -> str:
    reasons = []
    if painted(survey, identity) > RULED_OUT:
        reasons.append(f"it may be paint or something unknown ({in_100(painted(survey, identity))})")
    if any("lead" in plain_words(text).split() for text in survey.suspects):
        reasons.append("lead is suspected")
    if survey.year is None:
        reasons.append("it is undated")
    elif survey.year < LEAD_YEAR:
        reasons.append(f"it is from {survey.year}, before {LEAD_YEAR}")
    if (survey.layers or 1) > 1:
        reasons.append("lower layers may be older")
    return " and ".join(reasons)


def _chromate(survey: Survey, identity: Identity) -> str:
    if painted(survey, identity) < RULED_OUT:
        return ""
    colour = _coloured(survey, "yellow", "green", "orange")
    metal = _ground(identity, "metal")
    if colour:
        return f"a {colour} paint or primer may be a chromate"
    use = survey.mentions(*HEAVY_USES)
    if metal > RULED_OUT and use:
        return f"primers on {use} are often chromates"
    if metal > SURELY and not survey.said("colour") and not survey.primer:
        for key in ("aluminium", "galvanised-steel"):
            if identity.substrates.get(key, 0.0) > SURELY:
                return f"paint on {key.replace('-', ' ')} often lies on a chromate primer and no colour was said"
    return ""


def _cadmium(survey: Survey, identity: Identity) -> str:
    use = survey.mentions("fastener", "bolt", "screw", "plated", "plating")
    if use and _ground(identity, "metal") > RULED_OUT:
        return f"{use} may be cadmium plated"
    colour = _coloured(survey, "red", "orange", "yellow")
    if colour and colour != "red-brown" and painted(survey, identity) > RULED_OUT:
        return f"a bright {colour} may be a cadmium pigment"
    return ""


def _treated(survey: Survey, identity: Identity) -> str:
    if _ground(identity, "wood") < RULED_OUT:
        return ""
    use = survey.mentions(*POLES)
    if use:
        return f"timber of a {use} is usually treated, whatever its year"
    outdoors = survey.mentions(*OUTDOOR_USES)
    if outdoors and (survey.year is None or survey.year <= CCA_YEAR):
        dated = "undated" if survey.year is None else f"from {survey.year}, not after {CCA_YEAR}"
        return f"outdoor timber ({outdoors}) {dated}"
    return ""


def _asbestos(survey: Survey, identity: Identity) -> str:
    if survey.mentions("mastic") and (survey.year is None or survey.year <= MASTIC_YEAR):
        return f"mastics up to {MASTIC_YEAR} may hold it"
    if survey.year is not None and survey.year > ASBESTOS_YEAR:
        return ""
    dated = "undated" if survey.year is None else f"from {survey.year}, not after {ASBESTOS_YEAR}"
    if survey.textured:
        return f"a textured coating, {dated}"
    use = "" if survey.mentions(*NOT_A_FIRE_DOOR) else survey.mentions(*BUILT_IN)
    if use and survey.textured is None:
        return f"{use}, {dated}, and it was not said whether the coating is textured"
    always = survey.mentions("gasket", "putty", "caulk", "vinyl floor", "floor tile", "insulation", "fire door")
    return f"{always}, {dated}" if always else ""


def _halogens(survey: Survey, identity: Identity) -> str:
    use = survey.mentions("cookware", "pan", "pot", "bakeware", "mould release", "lining", "non stick")
    if use:
        return f"{use} may be lined with a fluoropolymer"
    foil = _chance(identity, "plastic-foil")
    return f"it may be a vinyl or plastic foil ({in_100(foil)})" if foil > RULED_OUT else ""


def _nitrocellulose(survey: Survey, identity: Identity) -> str:
    chance = _chance(identity, *CELLULOSE)
    return f"it may be nitrocellulose lacquer ({in_100(chance)}), which burns fast" if chance > RULED_OUT else ""


def _char(survey: Survey, identity: Identity) -> str:
    burnt = survey.mentions("fire damage", "burnt", "burned", "fire")
    if "char" in survey.said("kind"):
        return "it is charred and what burned is not known"
    if burnt and not survey.mentions("fireplace", "fire door", "fire place"):
        return f"{burnt}: what burned is not known"
    return ""


def _antifouling(survey: Survey, identity: Identity) -> str:
    use = survey.mentions("boat", "hull", "marine", "ship", "yacht", "keel")
    return f"paint of a {use} may be antifouling" if use and painted(survey, identity) > RULED_OUT else ""


def _heritage(survey: Survey, identity: Identity) -> str:
    if _chance(identity, "urushi") > RULED_OUT:
        return f"it may be Asian lacquer ({in_100(_chance(identity, 'urushi'))})"
    use = survey.mentions("museum", "listed", "church", "icon", "altar", "gilding", "gilded")
    return f"it is {use}" if use else ""


def _suspect(survey: Survey, identity: Identity) -> str:
    for text in survey.suspects:
        if never_pass(text) or "lead" in plain_words(text).split():
            continue
        try:
            find_coating(text)
        except InputError:
            return f"{' '.join(text.split())[:40]!r} is suspected and is not known here"
    return ""


def _solvent(survey: Survey, identity: Identity) -> str:
    used = [reading.test for reading in survey.readings if TESTS[reading.test].solvent]
    if not used or survey.aired:
        return ""
    names = list(dict.fromkeys(name.replace("-", " ") for name in used))
    return f"{' and '.join(names)} {'was' if len(names) == 1 else 'were'} used on it"


RULES: Mapping[str, Callable[[Survey, Identity], str]] = {
    "lead": _lead, "asbestos": _asbestos, "chromate": _chromate, "cadmium": _cadmium, "treated-wood": _treated,
    "halogens": _halogens, "antifouling": _antifouling, "unknown-char": _char, "nitrocellulose": _nitrocellulose,
    "heritage": _heritage, "suspect": _suspect, "solvent": _solvent,
}  # fmt: skip
