"""Which hazards a piece may hold: each as hazards.toml has it, and a rule that looks at what was said and at what
`identify` makes of it.

An unknown counts as present: a rule is quiet only where the piece cannot hold the hazard. Each returns why it suspects,
or "". Sources: hazards.toml.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from proofpatch.errors import InputError
from proofpatch.materials import coating, find_coating, substrate
from proofpatch.phrases import in_100
from proofpatch.sources import sources
from proofpatch.survey.evidence import TESTS, Survey
from proofpatch.survey.finishes import UNLISTED, family_of, finishes, words_of
from proofpatch.survey.identify import Identity
from proofpatch.survey.stop import LEAD_YEAR, never_pass, plain_words

RULED_OUT = 0.05  # what is less likely than this counts as not there; common practice, no source
SURELY = 0.5  # more likely than this, it is taken as present; common practice, no source
RARE = 0.01  # the same for what an object is worth; common practice, no source
ASBESTOS_YEAR = 1980  # presumed where installed no later than this (29 CFR 1926.1101)
MASTIC_YEAR = 1996  # mastics with asbestos were made to this year (trade text); taken for putty and gaskets too
CCA_YEAR = 2003  # last year of CCA for most residential uses (US EPA)
MERCURY_YEAR = 1990  # US interior latex with mercury was made until August of it; from memory, unverified
CELLULOSE = ("nitrocellulose", "precatalysed")
SOILS = (
    "rust",
    "scale",
    "oxide",
    "grease",
    "char",
    "soot",
    "graffiti",
    "mould",
)  # they came later than what lies below
HEAVY_USES = (
    "aircraft", "airplane", "aeroplane", "plane", "fuselage", "helicopter", "military", "machine", "vehicle", "car",
    "truck", "lorry", "tractor", "motorcycle", "train", "wheel", "industrial", "bridge", "tank",
)  # fmt: skip
OUTDOOR_USES = (
    "outdoor", "outdoors", "outside", "deck", "decking", "fence", "playground", "playset", "play set", "swing set",
    "climbing frame", "post", "garden", "gate", "pergola", "park bench", "garden bench", "cladding", "dock",
    "picnic table", "planter", "raised bed", "shed", "veranda", "porch",
)  # fmt: skip
POLES = (
    "telegraph pole", "utility pole", "sleeper", "railway tie", "fence post", "barn beam", "farm timber", "jetty",
    "pier post",
)  # fmt: skip
# Presumed to 1980; then those for which no end is known, taken as the mastics.
SURFACING = (
    "ceiling", "insulation", "lagging", "vinyl floor", "asphalt floor", "floor tile", "interior wall", "wall", "boiler",
    "pipe covering", "duct", "soffit",
)  # fmt: skip
SEALS = (
    "mastic", "floor adhesive", "tile adhesive", "gasket", "putty", "caulk", "glazing", "window", "spackling", "filler",
    "fire door", "firedoor", "rope seal", "stove", "brake", "clutch", "fibre cement", "cement board", "corrugated roof",
    "siding", "switchboard",
)  # fmt: skip
FURNITURE = ("clock", "cupboard", "cabinet", "wardrobe", "chest", "shelf", "mirror", "furniture")
LININGS = (
    "cookware", "bakeware", "frying pan", "saucepan", "skillet", "wok", "griddle", "baking tray", "cooking pot",
    "waffle iron", "mould release", "tank lining", "pipe lining",
)  # fmt: skip
HULLS = (
    "boat", "sailboat", "hull", "marine", "ship", "yacht", "dinghy", "canoe", "keel", "propeller", "rudder", "buoy",
)  # fmt: skip
WORTHY = (
    "museum", "listed", "church", "icon", "altar", "gilding", "gilded", "gilt", "gold leaf", "urushi", "lacquerware",
    "japanned", "memorial", "gravestone",
)  # fmt: skip
VESSELS = (
    "drum", "fuel tank", "petrol tank", "gas tank", "tank", "petrol can", "fuel can", "jerry can", "gas cylinder",
    "cylinder", "pressure vessel", "vessel", "boiler", "fuel line", "gas line", "shell casing",
)  # fmt: skip


@dataclass(frozen=True)
class Hazard:
    """An entry of hazards.toml.

    contradicted_by: finishes that a negative record cannot be true of. coatings, grounds: that carry it themselves.
    primed: substrates that are often primed with it.
    """

    id: str
    name: str
    settles: str
    refused: str
    methods: tuple[str, ...]
    accept: bool
    source: str
    locator: str
    status: str
    contradicted_by: tuple[str, ...] = ()
    coatings: tuple[str, ...] = ()
    grounds: tuple[str, ...] = ()
    primed: tuple[str, ...] = ()


@lru_cache(maxsize=1)
def hazards() -> Mapping[str, Hazard]:
    """Every hazard by id, in the order they are shown."""
    table = tomllib.loads(Path(__file__).with_name("hazards.toml").read_text(encoding="utf-8"))
    for key, entry in table.items():
        if entry["source"] not in sources():
            raise ValueError(f"hazards.toml: the source of {key} is not in sources.toml.")
    found = {}
    for key, entry in table.items():
        said: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in entry.items()}
        found[key] = Hazard(key, **said)
        for name in (*found[key].grounds, *found[key].primed):
            substrate(name)  # an id that is there, or fails here
        for name in found[key].coatings:
            coating(name)
    return found


def chance_of(identity: Identity, *names: str) -> float:
    """That it is one of these finishes."""
    return sum(identity.finishes.get(name, 0.0) for name in names)


def named_as(survey: Survey, *ids: str) -> str:
    """Words for the first of these finishes that a laboratory or somebody named, however little else speaks for it."""
    for test in ("laboratory", "told"):
        for value in survey.said(test):
            if value in ids or any(value == finishes()[key].coating for key in ids if key in finishes()):
                name = words_of(value) if value in finishes() else coating(value).title
                return f"a laboratory found {name}" if test == "laboratory" else f"it was called {name}"
    return ""


def painted(survey: Survey, identity: Identity) -> float:
    """Chance that it is paint, or nothing listed. Paint that was seen, named, or found by a laboratory, is paint.

    What may be clear or paint counts as paint unless it was seen to be a clear film of no colour of its own.
    """
    named = [finishes()[key].coating for key in finishes() if key in survey.said("laboratory")]
    named += [key for key in (*survey.said("laboratory"), *survey.said("told")) if key not in finishes()]
    if "paint" in survey.said("kind") or any(coating(key).kind == "paint" for key in named if key):
        return 1.0
    clear = survey.said("kind") == ["clear film"] and set(survey.said("colour")) <= {"clear", "brown", "red-brown"}
    found = [UNLISTED]
    for key, finish in finishes().items():
        data = coating(finish.coating) if finish.coating else None
        if data is None or (data.kind == "paint" and not (clear and "clear-film" in data.families)):
            found.append(key)
    return 1.0 if named_as(survey, *found) else chance_of(identity, *found)


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
    if any("lead" in plain_words(text).split() for text in (*survey.suspects, *survey.uses, survey.primer)):
        reasons.append("lead is suspected")
    if any(_is_known(text) and coating(find_coating(text)).kind == "paint" for text in survey.suspects):
        reasons.append("paint is suspected in it")
    below = survey.under_year
    if survey.year is None and below is None:
        reasons.append("it is undated")
    elif survey.year is not None and survey.year < LEAD_YEAR:
        reasons.append(f"it is from {survey.year}, before {LEAD_YEAR}")
    if below is not None and below < LEAD_YEAR and (survey.year is None or survey.year >= LEAD_YEAR):
        reasons.append(f"what lies below is from {below}, before {LEAD_YEAR}")
    if below is None and (survey.refinished or set(survey.said("kind")) & set(SOILS)) and survey.year is not None:
        reasons.append("older coats may lie below it and are not dated")
    if ((survey.layers or 1) > 1 or survey.primer) and (below is None or below < LEAD_YEAR):
        reasons.append("lower layers may be older")
    return " and ".join(dict.fromkeys(reasons))


def _chromate(survey: Survey, identity: Identity) -> str:
    metal = _ground(identity, "metal")
    about = hazards()["chromate"]
    if sum(identity.substrates.get(key, 0.0) for key in about.grounds) > SURELY:
        return "zinc is often rinsed or primed with chromate"
    if painted(survey, identity) < RULED_OUT:
        return ""
    colour = _coloured(survey, "yellow", "green", "orange")
    if colour:
        return f"a {colour} paint or primer may be a chromate"
    # The colour on top says nothing of the primer.
    use = survey.mentions(*HEAVY_USES)
    if metal > RULED_OUT and use:
        return f"primers are often chromates on what is used so: {use}"
    light = sum(identity.substrates.get(key, 0.0) for key in about.primed)
    if metal > SURELY and light > RULED_OUT:
        return "paint on aluminium or zinc often lies on a chromate primer"
    return ""


def _cadmium(survey: Survey, identity: Identity) -> str:
    use = survey.mentions("fastener", "bolt", "plated", "plating", "machine screw")
    if use and _ground(identity, "metal") > RULED_OUT:
        return f"such parts may be cadmium plated: {use}"
    colour = _coloured(survey, "red", "orange", "yellow")
    if colour and "lead" not in colour and colour != "red-brown" and painted(survey, identity) > RULED_OUT:
        return f"a bright {colour} may be a cadmium pigment"
    return ""


def _dated(year: int | None, last: int) -> str:
    """Words for a year no later than `last`, or none known; "" if it is later."""
    if year is None:
        return "undated"
    return f"from {year}, not after {last}" if year <= last else ""


def _treated(survey: Survey, identity: Identity) -> str:
    if _ground(identity, "wood") < RULED_OUT:
        return ""
    use = survey.mentions(*POLES)
    if use:
        return f"such timber is usually treated, whatever its year: {use}"
    outdoors = survey.mentions(*OUTDOOR_USES)
    dated = _dated(survey.under_year, CCA_YEAR)
    return f"timber outdoors ({outdoors}), {dated}" if outdoors and dated else ""


def _asbestos(survey: Survey, identity: Identity) -> str:
    year = survey.under_year
    sealed = survey.mentions(*SEALS, but=FURNITURE)
    if sealed and _dated(year, MASTIC_YEAR):
        return f"{sealed}, {_dated(year, MASTIC_YEAR)}"
    dated = _dated(year, ASBESTOS_YEAR)
    if not dated:
        return ""
    if survey.textured:
        return f"a textured coating, {dated}"
    use = survey.mentions(*SURFACING, but=FURNITURE)
    plain = use and survey.textured is False and survey.mentions("wall", "interior wall", but=FURNITURE) == use
    return f"{use}, {dated}" if use and not plain else ""


def _halogens(survey: Survey, identity: Identity) -> str:
    use = survey.mentions(*LININGS)
    if use:
        return f"it may be lined with a fluoropolymer: {use}"
    named, foil = named_as(survey, "plastic-foil"), chance_of(identity, "plastic-foil")
    if named:
        return named
    return f"it may be a vinyl or plastic foil ({in_100(foil)})" if foil > RULED_OUT else ""


def _nitrocellulose(survey: Survey, identity: Identity) -> str:
    chance = chance_of(identity, *CELLULOSE)
    if any("nitrocellulose" in plain_words(text) for text in (*survey.suspects, *survey.uses)):
        return "nitrocellulose is suspected, which burns fast"
    if named_as(survey, *CELLULOSE):
        return f"{named_as(survey, *CELLULOSE)}, which burns fast"
    return f"it may be nitrocellulose lacquer ({in_100(chance)}), which burns fast" if chance > RULED_OUT else ""


def _char(survey: Survey, identity: Identity) -> str:
    if "char" in survey.said("kind"):
        return "it is charred and what burned is not known"
    burnt = survey.mentions("fire damage", "burnt", "burned", "house fire", "after a fire")
    return f"what burned is not known ({burnt})" if burnt else ""


def _antifouling(survey: Survey, identity: Identity) -> str:
    use = survey.mentions(*HULLS)
    paint = use and painted(survey, identity) > RULED_OUT
    return f"such paint may be antifouling: {use}" if paint else ""


def _heritage(survey: Survey, identity: Identity) -> str:
    if named_as(survey, "urushi"):
        return named_as(survey, "urushi")
    if chance_of(identity, "urushi") > RARE:
        return f"it may be Asian lacquer ({in_100(chance_of(identity, 'urushi'))})"
    use = survey.mentions(*WORTHY)
    return f"of what it is: {use}" if use else ""


def _mercury(survey: Survey, identity: Identity) -> str:
    use = survey.mentions("mirror", "mirror back", "ormolu", "fire gilt", "fire gilding")
    if use:
        return f"mirror backs and fire-gilding hold it: {use}"
    indoors = survey.mentions(
        "interior", "interior wall", "wall", "ceiling", "room", "kitchen", "bathroom", but=FURNITURE
    )
    dated = _dated(survey.year, MERCURY_YEAR)
    held = hazards()["mercury"].coatings
    latex = named_as(survey, *held) or chance_of(identity, *held) > RULED_OUT
    return f"latex paint indoors ({indoors}), {dated}" if indoors and dated and latex else ""


def _tar(survey: Survey, identity: Identity) -> str:
    said = " ".join((*survey.suspects, *survey.uses))
    words = [word for word in ("bitumen", "coal tar", "creosote", "tar paint", "asphalt") if word in plain_words(said)]
    return f"{words[0]} was named" if words else ""


def _vessel(survey: Survey, identity: Identity) -> str:
    use = survey.mentions(*VESSELS)
    return f"it may hold pressure, fuel or vapour: {use}" if use else ""


def _is_known(text: str) -> bool:
    try:
        find_coating(text)
    except InputError:
        return False
    return True


LEAD_WORDS = frozenset(("lead", "paint", "white", "red", "primer", "based", "old"))


def unknown_suspects(survey: Survey) -> list[str]:
    """Suspects that are neither known here, nor never pass, nor plain lead."""
    return [
        text
        for text in survey.suspects
        if not never_pass(text) and not _is_known(text) and not set(plain_words(text).split()) <= LEAD_WORDS
    ]


def _suspect(survey: Survey, identity: Identity) -> str:
    unknown = unknown_suspects(survey)
    return f"{' '.join(unknown[0].split())[:40]!r} is suspected and is not known here" if unknown else ""


def _solvent(survey: Survey, identity: Identity) -> str:
    used = [r.test for r in survey.readings if TESTS[r.test].solvent or r.test == "linseed-drop"]
    if not used or survey.aired:
        return ""
    names = list(dict.fromkeys(name.replace("-", " ") for name in used))
    return f"of what was used on it: {', '.join(names)}"


RULES: Mapping[str, Callable[[Survey, Identity], str]] = {
    "lead": _lead, "asbestos": _asbestos, "chromate": _chromate, "cadmium": _cadmium, "treated-wood": _treated,
    "halogens": _halogens, "antifouling": _antifouling, "mercury": _mercury, "tar": _tar, "vessel": _vessel,
    "unknown-char": _char, "nitrocellulose": _nitrocellulose, "heritage": _heritage, "suspect": _suspect,
    "solvent": _solvent,
}  # fmt: skip
