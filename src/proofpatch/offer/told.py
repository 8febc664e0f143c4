"""What a customer is told in a quote, in plain words: method, finish, what stays, what to mind, and the terms."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Required, TypedDict

from proofpatch.materials import coating, substrate
from proofpatch.sources import STATUS, sources

ANY = "any"
LISTS = ("unchanged", "cautions", "excluded", "assumed")
# What the words of the answer mean (design §8).
FINISH = (
    "Clean means: coating to be seen on at most 1 in 100 parts of the open surface, at arm's length in daylight.",
    "Pores, pits, joints and quirks are looked at apart; traces stay in them.",
    "The surface under it is to look as it does at the signed sample.",
)


class Told(TypedDict, total=False):
    """A row of told.toml: grounds of a sentence that holds for some, name of a term."""

    text: Required[str]
    source: Required[str]
    status: Required[str]
    grounds: list[str]
    name: str


@lru_cache(maxsize=1)
def told() -> Mapping[str, tuple[Told, ...]]:
    """The sentences of told.toml by list.

    Raises:
        ValueError: a slip in the data.
    """
    with Path(__file__).with_name("told.toml").open("rb") as file:
        table = tomllib.load(file)
    for name, rows in table.items():
        for row in rows:
            if row["source"] not in sources() or row["status"] not in STATUS or not row["text"].strip():
                raise ValueError(f"told.toml, {name}: a row has no text, source or status.")
    return MappingProxyType({name: tuple(rows) for name, rows in table.items()})


def said_of(name: str, ground: str) -> tuple[str, ...]:
    """The sentences of a list that hold for a substrate."""
    known = {ANY, ground, *substrate(ground).families}
    return tuple(row["text"] for row in told()[name] if known & set(row["grounds"]))


def terms(extra: Iterable[tuple[str, str]] = ()) -> tuple[tuple[str, str], ...]:
    """Every job's terms, the shop's own behind them."""
    return (*((row["name"], row["text"]) for row in told()["terms"]), *extra)


def method_words(
    coatings: Iterable[str], ground: str, passes: int, kept: str = "", proven: bool = True
) -> tuple[str, ...]:
    """How the work is done, for somebody who has never seen it.

    Args:
        coatings: ids, the top one first. ground: substrate id. passes: of the recipe.
        kept: the layer at which it stops, in words; empty: down to the substrate.
        proven: a patch was laid at the setting.
    """
    names = " and ".join(coating(key).title.lower() for key in coatings)
    down = f"down to {kept}" if kept else f"down to the {substrate(ground).title.lower()}"
    when = "was" if proven else "has yet to be"
    times = "once" if passes == 1 else f"{passes} times"
    return (
        f"We take the {names} off {down} with short pulses of light from a hand-held laser. No blasting medium, no "
        "water and no solvent touches the piece.",
        f"The light is led over the surface in strokes, {times} at the setting that {when} proven on the sample.",
        "What comes off is drawn away at the spot and filtered. Parts not to be touched are covered.",
        "At the end the surface is dusted down, looked at with you beside the sample, and photographed.",
    )


def if_sample_fails(fee: Decimal, money: str) -> str:
    """What happens when the sample says no; money: the fee as it is written."""
    cost = f"you pay the test patches, {money}, and nothing more" if fee else "you owe us nothing"
    return (
        "If the sample does not come out as described here, or you do not approve it, either of us may end this job: "
        f"{cost}. Where another method may serve, we say which."
    )
