"""Coatings and substrates: their names, their published and remembered data, and what "unknown" stands for."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from proofpatch.errors import InputError
from proofpatch.sources import Datum, read_table

__all__ = [
    "COLOURS",
    "CONDITIONS",
    "KINDS",
    "SUBSTRATE_CONDITIONS",
    "Coating",
    "Substrate",
    "coating",
    "coating_data",
    "coating_ids",
    "coating_mixture",
    "find_coating",
    "find_substrate",
    "substrate",
    "substrate_data",
    "substrate_ids",
    "substrate_mixture",
]

COLOURS = ("white", "pale", "red-brown", "blue-green", "black", "clear")
CONDITIONS = ("fresh", "aged", "tinted", "dirty")
SUBSTRATE_CONDITIONS = ("new", "aged", "stained")
KINDS = ("clear film", "paint", "stain", "corrosion", "soil")
UNKNOWN = "unknown"
ANY = "any"
_HERE = Path(__file__).parent
_SHARES = ("colour_share", "condition_share")


@dataclass(frozen=True)
class Coating:
    """What a coating is called and which colours and conditions it can have."""

    id: str
    title: str
    kind: str
    families: tuple[str, ...]
    colours: tuple[str, ...]
    conditions: tuple[str, ...]
    names: tuple[str, ...]
    note: str

    def __post_init__(self) -> None:
        _check_words(self.id, (self.kind,), KINDS)
        _check_words(self.id, self.colours, COLOURS)
        _check_words(self.id, self.conditions, CONDITIONS)

    @property
    def family(self) -> str:
        """The nearest family, whose rows serve first where the coating has none of its own."""
        return self.families[0]


@dataclass(frozen=True)
class Substrate:
    """What a substrate is called; `conditions` is empty where its age makes no known difference."""

    id: str
    title: str
    families: tuple[str, ...]
    conditions: tuple[str, ...]
    porous: bool
    ferrous: bool
    names: tuple[str, ...]

    def __post_init__(self) -> None:
        _check_words(self.id, self.conditions, SUBSTRATE_CONDITIONS)

    @property
    def family(self) -> str:
        """What it is made of."""
        return self.families[0]


def _check_words(owner: str, words: Iterable[str], allowed: Iterable[str]) -> None:
    wrong = sorted(set(words) - set(allowed))
    if wrong:
        raise ValueError(f"{owner}: {', '.join(wrong)} is none of: {', '.join(allowed)}.")


@lru_cache(maxsize=1)
def _coatings() -> Mapping[str, Coating]:
    table = _read_toml("coatings.toml")
    return MappingProxyType({key: Coating(id=key, **entry) for key, entry in table.items()})


@lru_cache(maxsize=1)
def _substrates() -> Mapping[str, Substrate]:
    table = _read_toml("substrates.toml")
    return MappingProxyType({key: Substrate(id=key, **entry) for key, entry in table.items()})


def _read_toml(name: str) -> dict[str, dict[str, Any]]:
    with (_HERE / name).open("rb") as file:
        table = tomllib.load(file)
    for entry in table.values():
        entry["families"] = entry.pop("family")
        for key, value in entry.items():
            if isinstance(value, list):
                entry[key] = tuple(value)
    return table


def coating_ids() -> tuple[str, ...]:
    """The ids of all coatings, in the order of the data file."""
    return tuple(_coatings())


def substrate_ids() -> tuple[str, ...]:
    """The ids of all substrates, in the order of the data file."""
    return tuple(_substrates())


def coating(id: str, field: str = "coating") -> Coating:
    """The coating of that id.

    Raises:
        InputError: there is none; the message names the nearest.
    """
    if isinstance(id, str) and id in _coatings():
        return _coatings()[id]
    raise _unknown_word(id, _coatings(), field, "coating")


def substrate(id: str, field: str = "substrate") -> Substrate:
    """The substrate of that id.

    Raises:
        InputError: there is none; the message names the nearest.
    """
    if isinstance(id, str) and id in _substrates():
        return _substrates()[id]
    raise _unknown_word(id, _substrates(), field, "substrate")


def find_coating(text: str, field: str = "coating") -> str:
    """The id of the coating that people call `text`, whatever its capitals, hyphens and spaces.

    Raises:
        InputError: no coating is called so; the message names the nearest.
    """
    return _find(text, _coating_names(), field, "coating")


def find_substrate(text: str, field: str = "substrate") -> str:
    """The id of the substrate that people call `text`, whatever its capitals, hyphens and spaces.

    Raises:
        InputError: no substrate is called so; the message names the nearest.
    """
    return _find(text, _substrate_names(), field, "substrate")


@lru_cache(maxsize=1)
def _coating_names() -> Mapping[str, str]:
    return _names((entry.id, entry.title, entry.names) for entry in _coatings().values())


@lru_cache(maxsize=1)
def _substrate_names() -> Mapping[str, str]:
    return _names((entry.id, entry.title, entry.names) for entry in _substrates().values())


def _names(entries: Iterable[tuple[str, str, tuple[str, ...]]]) -> Mapping[str, str]:
    found: dict[str, str] = {}
    for id, title, names in entries:
        for name in (id, title, *names):
            if found.setdefault(_squeezed(name), id) != id:
                raise ValueError(f"{name!r} is a name of both {found[_squeezed(name)]} and {id}.")
    return MappingProxyType(found)


def _squeezed(text: str) -> str:
    return re.sub(r"[\s_\-–]+", " ", text.casefold().replace("'", "")).strip()


def _find(text: str, names: Mapping[str, str], field: str, what: str) -> str:
    if isinstance(text, str):
        squeezed = _squeezed(text)
        if squeezed in names:
            return names[squeezed]
        joined = {name.replace(" ", ""): id for name, id in names.items()}
        if squeezed.replace(" ", "") in joined:
            return joined[squeezed.replace(" ", "")]
    raise _unknown_word(text, names, field, what)


def _unknown_word(text: object, names: Iterable[str], field: str, what: str) -> InputError:
    names = list(names)
    if not isinstance(text, str) or not text.strip():
        return InputError(field, f"The {what} is missing.", f"Name one, for example {names[0].replace(' ', '-')}.")
    near = difflib.get_close_matches(_squeezed(text), names, n=3, cutoff=0.5)
    near += [name for name in names if _squeezed(text) in name and name not in near][: 3 - len(near)]
    said = " ".join(text.split())[:40]
    remedy = f"The nearest known: {', '.join(near)}." if near else f"Known are, for example: {', '.join(names[:4])}."
    return InputError(field, f"No {what} is called {said!r}.", remedy)


_Key = tuple[str, str, str, str]


@lru_cache(maxsize=1)
def _coating_rows() -> Mapping[_Key, Datum]:
    rows = read_table(_HERE / "coatings.csv")
    return _by_key(
        (r.keys["coating"], r.keys["colour"], r.keys["condition"], r.keys["property"], r.datum) for r in rows
    )


@lru_cache(maxsize=1)
def _substrate_rows() -> Mapping[_Key, Datum]:
    rows = read_table(_HERE / "substrates.csv")
    return _by_key((r.keys["substrate"], ANY, r.keys["condition"], r.keys["property"], r.datum) for r in rows)


def _by_key(rows: Iterable[tuple[str, str, str, str, Datum]]) -> Mapping[_Key, Datum]:
    found: dict[_Key, Datum] = {}
    for *key, datum in rows:
        owner, colour, condition, name = key
        if (owner, colour, condition, name) in found:
            raise ValueError(f"Two rows for {owner}, {colour}, {condition}, {name}.")
        found[owner, colour, condition, name] = datum
    return MappingProxyType(found)


def _resolve(rows: Mapping[_Key, Datum], owners: Iterable[str], colour: str, condition: str) -> dict[str, Datum]:
    """Every property by its most specific row: own before family, then condition before colour before any."""
    cases = ((colour, condition), (ANY, condition), (colour, ANY), (ANY, ANY))
    found: dict[str, Datum] = {}
    for owner in owners:
        for case in cases:
            for (row_owner, row_colour, row_condition, name), datum in rows.items():
                if row_owner == owner and (row_colour, row_condition) == case and name not in _SHARES:
                    found.setdefault(name, datum)
    return found


@lru_cache(maxsize=1024)
def _coating_data(id: str, colour: str, condition: str) -> Mapping[str, Datum]:
    return MappingProxyType(_resolve(_coating_rows(), _owners(id, _coatings()[id].families), colour, condition))


@lru_cache(maxsize=256)
def _substrate_data(id: str, condition: str) -> Mapping[str, Datum]:
    return MappingProxyType(_resolve(_substrate_rows(), _owners(id, _substrates()[id].families), ANY, condition))


def _owners(id: str, families: tuple[str, ...]) -> tuple[str, ...]:
    return (id, *(f"family:{family}" for family in families))


def coating_data(id: str, colour: str, condition: str) -> dict[str, Datum]:
    """Every known property of a coating in one colour and one condition; what is not known is not in the dict.

    Raises:
        InputError: the id, the colour or the condition is not one this coating can have.
    """
    entry = coating(id)
    _check_choice(colour, entry.colours, COLOURS, "colour", entry.title)
    _check_choice(condition, entry.conditions, CONDITIONS, "condition", entry.title)
    return dict(_coating_data(id, colour, condition))


def substrate_data(id: str, condition: str) -> dict[str, Datum]:
    """Every known property of a substrate in one condition; what is not known is not in the dict.

    Where a substrate has no conditions, any word for one is accepted and makes no difference.

    Raises:
        InputError: the id or the condition is not known.
    """
    entry = substrate(id)
    if not entry.conditions:
        _check_choice(condition, (ANY, UNKNOWN, *SUBSTRATE_CONDITIONS), SUBSTRATE_CONDITIONS, "condition", entry.title)
        return dict(_substrate_data(id, ANY))
    _check_choice(condition, entry.conditions, SUBSTRATE_CONDITIONS, "condition", entry.title)
    return dict(_substrate_data(id, condition))


def coating_mixture(id: str, colour: str = UNKNOWN, condition: str = UNKNOWN) -> list[tuple[float, str, str]]:
    """What a coating may be when its colour or condition is unknown: (weight, colour, condition), weights sum to 1.

    Raises:
        InputError: the id is unknown, or this coating cannot have that colour or condition.
    """
    entry = coating(id)
    if colour != UNKNOWN:
        _check_choice(colour, entry.colours, COLOURS, "colour", entry.title)
    if condition != UNKNOWN:
        _check_choice(condition, entry.conditions, CONDITIONS, "condition", entry.title)
    colours = _shares(id, "colour_share") if colour == UNKNOWN else {colour: 1.0}
    conditions = _shares(id, "condition_share") if condition == UNKNOWN else {condition: 1.0}
    return [(p * q, shade, state) for shade, p in colours.items() for state, q in conditions.items()]


def substrate_mixture(id: str, condition: str = UNKNOWN) -> list[tuple[float, str]]:
    """What a substrate may be when its condition is unknown: (weight, condition), weights sum to 1.

    A substrate without conditions gives the one entry (1, "any").

    Raises:
        InputError: the id or the condition is not known.
    """
    entry = substrate(id)
    if not entry.conditions:
        substrate_data(id, condition)
        return [(1.0, ANY)]
    if condition != UNKNOWN:
        _check_choice(condition, entry.conditions, SUBSTRATE_CONDITIONS, "condition", entry.title)
        return [(1.0, condition)]
    rows, owners = _substrate_rows(), _owners(id, entry.families)
    weights = {state: _share(rows, owners, (ANY, state), "condition_share") for state in entry.conditions}
    total = sum(weights.values())
    return [(weight / total, state) for state, weight in weights.items()]


def _shares(id: str, name: str) -> dict[str, float]:
    entry = _coatings()[id]
    rows, owners = _coating_rows(), _owners(id, entry.families)
    if name == "colour_share":
        cases = {colour: (colour, ANY) for colour in entry.colours}
        if len(cases) == 1:
            return dict.fromkeys(cases, 1.0)
    else:
        cases = {condition: (ANY, condition) for condition in entry.conditions}
    weights = {word: _share(rows, owners, case, name) for word, case in cases.items()}
    total = sum(weights.values())
    return {word: weight / total for word, weight in weights.items()}


def _share(rows: Mapping[_Key, Datum], owners: Iterable[str], case: tuple[str, str], name: str) -> float:
    for owner in owners:
        if (owner, *case, name) in rows:
            return rows[owner, *case, name].value
    raise ValueError(f"No {name} row for {'/'.join(case)} of {next(iter(owners))}.")


def _check_choice(word: object, choices: tuple[str, ...], known: tuple[str, ...], what: str, title: str) -> None:
    if word in choices:
        return
    said = repr(" ".join(str(word).split())[:40])
    remedy = f"Choose one of: {', '.join(choices)}."
    if word in known:
        raise InputError(what, f"{title} cannot have the {what} {said}.", remedy)
    raise InputError(what, f"The {what} {said} is not known.", remedy)
