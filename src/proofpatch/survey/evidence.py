"""What the owner saw, tried and knows of a piece, as plain readings; the words they may use."""

from __future__ import annotations

import datetime
import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from proofpatch.errors import InputError
from proofpatch.materials import coating_ids, find_coating, find_substrate, substrate_ids
from proofpatch.survey.stop import never_pass
from proofpatch.units import parse

EARLIEST = 1000
MOST_LAYERS_SEEN = 60
MOST_READINGS = 60
MOST_SPOTS = 12
LONGEST = 80
LONGEST_SPOT = 30
LETTERS = {"uv": "UV"}  # names that are letters, not words
STRENGTHS = (2, 4, 10, 20)  # weak, moderate, strong, decisive


@dataclass(frozen=True)
class Test:
    """One thing to look at or try: an entry of tests.toml. Times in s and minutes as named there."""

    __test__ = False  # no test of ours

    id: str
    ask: str
    values: tuple[str, ...]
    strength: float
    minutes: float
    rank: int
    how: str
    share: float = 1.0
    touch: bool = False
    solvent: bool = False
    dust: bool = False
    wait: float | None = None
    quick: float | None = None
    slow: float | None = None
    stronger: Mapping[str, float] = field(default_factory=dict)
    marks: int = 0

    @property
    def title(self) -> str:
        """Its name at the head of a sentence."""
        return LETTERS.get(self.id) or self.id.replace("-", " ").capitalize()


def _tests() -> Mapping[str, Test]:
    table = tomllib.loads(Path(__file__).with_name("tests.toml").read_text(encoding="utf-8"))
    found = {key: Test(key, **{**entry, "values": tuple(entry["values"])}) for key, entry in table.items()}
    for test in found.values():
        if test.strength not in STRENGTHS:
            raise ValueError(f"tests.toml: the strength of {test.id} is none of {STRENGTHS}.")
    return MappingProxyType(found)


TESTS = _tests()
# What is said of the piece beside the tests -> what it is.
HISTORY = {
    "year": "year it was coated, the earliest it may be, or unknown",
    "built": "year the piece or building is from, the earliest it may be, or unknown",
    "substrate": "what lies under the coating: an id, an everyday name, or wood, metal, stone, paper, unknown",
    "use": "what it is or was used for",
    "refinished": "whether it was coated anew later: yes, no or unknown",
    "cleaned": "whether the tested places were cleaned of dirt and wax first: yes or no",
    "condition": "of the coating: fresh, aged, tinted, dirty or unknown",
    "substrate-condition": "of wood: new, aged, stained or unknown",
    "layers": "how many layers a notch or chip shows",
    "thickness": "of the coating, by gauge, like '80 µm'",
    "moisture": "of wood or masonry, by meter, like '9 %'",
    "texture": "smooth or textured",
    "primer": "colour of a primer seen at a chip",
    "beside": "what lies beside the work, like 'brass, gilding'",
    "suspect": "another material suspected in the coating",
    "aired": "whether solvent, vapour and rags of the tests are gone: yes or no",
}  # fmt: skip
REPEATED = ("use", "suspect", "beside")
# What people write -> the value meant.
SAYINGS = {
    "dissolved": "dissolves", "transfers": "dissolves", "comes off": "dissolves", "melts": "dissolves",
    "tacky": "gummy", "soft": "gummy", "softens": "gummy", "sticky": "gummy", "gel": "gummy", "gels": "gummy",
    "wrinkled": "wrinkles", "lifts": "wrinkles", "swells": "wrinkles",
    "nothing": "none", "no change": "none", "nil": "none", "no": "none", "no effect": "none",
    "colour": "colour on cloth", "color on cloth": "colour on cloth", "color": "colour on cloth",
    "soaks": "soaks in", "soak": "soaks in", "darkened": "darkens", "blush": "whitens", "whitened": "whitens",
    "bead": "beads", "matt": "flat", "matte": "flat", "dead matte": "dead matt", "glossy": "gloss", "satin": "silky",
    "clear": "clear film", "film": "clear film", "varnish": "clear film", "bare": "none", "pulls hard": "pulls",
    "yellow green": "yellow-green", "greenish-yellow": "greenish yellow", "sticks": "pulls", "holds": "pulls",
}  # fmt: skip
STONES = ("stone", "masonry", "mineral")
YES = {"yes": True, "no": False, "unknown": None}


@dataclass(frozen=True)
class Reading:
    """One answer of one test. spot: the place on the piece, "" where only one was tried; seconds to the first change,
    or waited if there was none."""

    test: str
    value: str
    spot: str = ""
    seconds: float | None = None

    @property
    def words(self) -> str:
        """As it is named in a sentence."""
        where = f" at the {self.spot}" if self.spot else ""
        return f"{TESTS[self.test].id.replace('-', ' ')}{where} ({self.value})"


@dataclass(frozen=True)
class Survey:
    """Everything that was said of a piece. Lengths in m, moisture a share of dry mass."""

    readings: tuple[Reading, ...] = ()
    year: int | None = None
    built: int | None = None
    ground: str = ""
    uses: tuple[str, ...] = ()
    refinished: bool | None = None
    cleaned: bool | None = None
    condition: str = ""
    ground_condition: str = "unknown"
    layers: int | None = None
    thickness: float | None = None
    moisture: float | None = None
    textured: bool | None = None
    primer: str = ""
    beside: tuple[str, ...] = ()
    suspects: tuple[str, ...] = ()
    aired: bool | None = None
    raw: tuple[tuple[str, str], ...] = field(default=(), compare=False)

    def said(self, test: str) -> list[str]:
        """What this test answered, each answer once."""
        return list(dict.fromkeys(r.value for r in self.readings if r.test == test))

    def spots(self) -> list[str]:
        """The places named, or the one that was not."""
        return list(dict.fromkeys(r.spot for r in self.readings if r.spot)) or [""]

    def ground_shares(self) -> dict[str, float]:
        """Chances of the substrates before any reading: one where it is named."""
        from proofpatch.survey.finishes import FAMILY_SHARES, family_of

        if self.ground in substrate_ids():
            return {self.ground: 1.0}
        families = FAMILY_SHARES if not self.ground else {self.ground: 1.0}
        found: dict[str, float] = {}
        for family, share in families.items():
            members = [key for key in substrate_ids() if family_of(key) == family]
            found |= {key: share / len(members) for key in members}
        return found

    def mentions(self, *words: str, but: Sequence[str] = ()) -> str:
        """The first use that holds one of these words and none of `but`, or ""."""
        return next((use for use in self.uses if _holds(use, words) and not _holds(use, but)), "")

    @property
    def under_year(self) -> int | None:
        """The year from which nothing older lies below: of the piece, or of a coating that was never renewed."""
        return self.built if self.built is not None else self.year if self.refinished is False else None

    def with_reading(self, reading: Reading) -> Survey:
        """This and one more reading."""
        return replace(self, readings=(*self.readings, reading))


EMPTY = Survey()


def _holds(text: str, words: Sequence[str]) -> bool:
    """True if one of the words, or its plural, stands in the text."""
    plain = f" {' '.join(re.findall(r'[a-z]+', text.casefold()))} "
    return any(f" {word}{plural} " in plain for word in words for plural in ("", "s", "es"))


def read_survey(items: Iterable[tuple[str, Any]], place: str = "evidence") -> Survey:
    """The survey of (name, value) pairs as an owner writes them.

    Args:
        items: names of tests or history; `name@spot` names the place. A value may end in a time, like "none, 3 min".
        place: what to call the field in an error.

    Raises:
        InputError: an unknown name or value (the nearest is named), or one that is given twice.
    """
    found: dict[str, Any] = {"readings": [], "uses": [], "beside": [], "suspects": [], "raw": []}
    given: set[str] = set()
    for name, value in items:
        name = str(name).strip().casefold().replace("_", "-").replace("color", "colour")
        text = _plain(value, name, place)
        key, _, spot = (part.strip() for part in name.partition("@"))
        name = f"{key}@{spot}" if spot else key
        if len(spot) > LONGEST_SPOT or not spot.isprintable():
            raise InputError(place, f"The place {_short(spot)} is not a few words.", "Write it like alcohol@leg.")
        if len(found["raw"]) >= MOST_READINGS:
            raise InputError(place, f"More than {MOST_READINGS} findings are given.", "Leave out what repeats.")
        if name in given and key not in REPEATED:
            remedy = f"Name the second place, like {key}@leg=…." if key in TESTS else "Give it once."
            raise InputError(place, f"{name} is given twice.", remedy)
        given.add(name)
        found["raw"].append((name, text))
        if key == "laboratory" and never_pass(text):
            found["suspects"].append(text)  # what a laboratory found is suspected at the least
        elif key in TESTS:
            found["readings"].append(_reading(key, text, spot, place))
        elif key in HISTORY:
            if spot:
                raise InputError(place, f"{key} holds for the whole piece and takes no place.", f"Write {key}=….")
            _take(found, key, text, place)
        else:
            raise InputError(place, f"The finding {_short(key)} is not known.", _nearest(key, (*TESTS, *HISTORY)))
    if len({r.spot for r in found["readings"]} - {""}) > MOST_SPOTS:
        raise InputError(place, f"More than {MOST_SPOTS} places are named.", "Survey them as separate pieces.")
    said: dict[str, Any] = {key: tuple(value) if isinstance(value, list) else value for key, value in found.items()}
    return Survey(**said)


def split_item(text: str, place: str = "evidence") -> tuple[str, str]:
    """(name, value) of one `name=value`.

    Raises:
        InputError: there is no name or no value.
    """
    name, sign, value = text.partition("=")
    if not sign or not name.strip() or not value.strip():
        raise InputError(place, f"{_short(text)} is not a name, an equals sign and a value.", "Write alcohol=none.")
    return name.strip(), value.strip()


def _plain(value: Any, name: str, place: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not isinstance(value, (str, int)):
        raise InputError(place, f"{_short(name)} is not text.", "Write it in quotes.")
    text = " ".join(str(value).split())
    if not text or len(text) > LONGEST or not text.isprintable():
        raise InputError(place, f"{_short(name)} is not a few words.", f"Write at most {LONGEST} letters.")
    return text


def _reading(test: str, text: str, spot: str, place: str) -> Reading:
    about = TESTS[test]
    value, seconds = _timed(text.casefold(), test, place)
    if test in ("laboratory", "told"):
        from proofpatch.survey.finishes import finishes

        known: Sequence[str] = tuple(dict.fromkeys([*finishes(), *coating_ids()]))
        if value not in known:
            try:
                value = find_coating(value)
            except InputError:
                raise InputError(
                    place, f"{test}: {_short(value)} is no finish known here.", _nearest(value, known)
                ) from None
        return Reading(test, value, spot, seconds)
    value = value if value in about.values else SAYINGS.get(value, value)
    if value not in about.values:
        raise InputError(place, f"{test}: {_short(value)} is no answer to this test.", _nearest(value, about.values))
    return Reading(test, value, spot, seconds)


def _timed(text: str, test: str, place: str) -> tuple[str, float | None]:
    """(value, seconds) of "gummy in 8 s", "none, 3 min"."""
    found = re.fullmatch(r"(.+?)(?:\s*[,;]|\s+in|\s+after|\s+for)\s+(?:about\s+)?(\d[\d.]*\s*[a-z]+)", text)
    if not found:
        return text, None
    seconds = parse(found[2], "duration", f"{place} {test}", low=0.0, high=86400.0)
    return found[1].strip(), float(seconds)


def _take(found: dict[str, Any], key: str, text: str, place: str) -> None:
    """One item of the history into the fields of a Survey."""
    low = text.casefold()
    if key in ("year", "built"):
        found[key] = _year(key, low, place)
    elif key == "substrate":
        found["ground"] = _ground(low, place)
    elif key in ("use", "suspect"):
        parts = [part.strip() for part in text.split(",") if part.strip()]
        if not parts or any(part.casefold() in ("no", "none", "nothing", "unknown") for part in parts):
            raise InputError(place, f"{key}: {_short(text)} names nothing.", "Leave it out where there is none.")
        found["uses" if key == "use" else "suspects"] += parts
    elif key == "beside":
        found["beside"] += [part.strip() for part in text.split(",") if part.strip()]
    elif key in ("refinished", "cleaned", "aired"):
        if low not in YES:
            raise InputError(place, f"{key}: {_short(text)} is neither yes nor no.", "Write yes, no or unknown.")
        found[key] = YES[low]
    elif key == "texture":
        found["textured"] = {"textured": True, "smooth": False, "unknown": None}[
            _one_of(key, low, ("smooth", "textured", "unknown"), place)
        ]
    elif key == "primer":
        found["primer"] = low
    elif key == "condition":
        known = _one_of(key, low, ("fresh", "aged", "tinted", "dirty", "unknown"), place)
        found["condition"] = "" if known == "unknown" else known
    elif key == "substrate-condition":
        found["ground_condition"] = _one_of(key, low, ("new", "aged", "stained", "unknown"), place)
    elif key == "layers":
        if not low.isdecimal() or len(low) > 2 or not 1 <= int(low) <= MOST_LAYERS_SEEN:
            raise InputError(
                place, f"layers: {_short(text)} is not a whole number from 1 to {MOST_LAYERS_SEEN}.", "Write layers=2."
            )
        found["layers"] = int(low)
    elif key == "thickness":
        found["thickness"] = parse(text, "length", f"{place} {key}", low=1e-7, high=2e-2)
    else:
        found["moisture"] = parse(text, "share", f"{place} {key}", low=0.0, high=1.0)


def _year(key: str, text: str, place: str) -> int | None:
    if text in ("unknown", "undated"):
        return None
    most = datetime.date.today().year
    if not text.isdecimal() or len(text) != 4 or not EARLIEST <= int(text) <= most:
        said = f"{key}: {_short(text)} is not a year from {EARLIEST} to {most}."
        raise InputError(place, said, "Write the earliest year it may be from, or unknown.")
    return int(text)


def _ground(text: str, place: str) -> str:
    from proofpatch.survey.finishes import FAMILY_SHARES

    if text == "unknown":
        return ""
    if text in STONES:
        return "mineral"
    if text in FAMILY_SHARES:
        return text
    try:
        return find_substrate(text)
    except InputError as error:
        raise InputError(place, f"In {place}: {error.problem}", error.remedy) from None


def _one_of(key: str, text: str, known: Sequence[str], place: str) -> str:
    if text not in known:
        raise InputError(place, f"{key}: {_short(text)} is not known.", _nearest(text, known))
    return text


def _nearest(word: str, known: Iterable[str]) -> str:
    options = list(known)
    close = difflib.get_close_matches(word[:100], options, n=1, cutoff=0.6)
    return f"Did you mean {close[0]}?" if close else f"Known here: {', '.join(options)}."


def _short(text: str) -> str:
    line = "".join(c if c.isprintable() else " " for c in text)
    return repr(line if len(line) <= 40 else line[:37] + "...")
