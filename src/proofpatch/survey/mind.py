"""What to mind about the substrate and about what lies beside the work (cautions.toml)."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from proofpatch.materials import substrate
from proofpatch.sources import STATUS, sources
from proofpatch.survey.evidence import Survey
from proofpatch.survey.finishes import family_of
from proofpatch.survey.identify import Identity
from proofpatch.survey.stop import plain_words
from proofpatch.units import show

WORTH_SAYING = 0.1  # chance of a substrate from which its cautions are said; common practice, no source


@dataclass(frozen=True)
class Caution:
    """One thing to mind. keep_off: what lies beside is not to be touched. source, locator, status: of the text."""

    id: str
    text: str
    source: str
    locator: str
    status: str
    grounds: tuple[str, ...] = ()
    condition: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()
    keep_off: bool = False
    moisture: bool = False
    limit: float | None = None
    thinner_than: float | None = None


@lru_cache(maxsize=1)
def cautions() -> Mapping[str, Caution]:
    """Every caution by id."""
    table = tomllib.loads(Path(__file__).with_name("cautions.toml").read_text(encoding="utf-8"))
    found = {}
    for key, entry in table.items():
        if entry["source"] not in sources() or entry["status"] not in STATUS:
            raise ValueError(f"cautions.toml: {key} has no known source or status.")
        said: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in entry.items()}
        found[key] = Caution(key, **said)
    for one in found.values():
        for name in one.grounds:
            if name not in ("wood", "metal", "mineral", "paper"):
                substrate(name)  # an id that is there, or fails here
    return found


def to_mind(survey: Survey, identity: Identity, sheet: float | None = None) -> tuple[Caution, ...]:
    """The cautions of this piece, those of what lies beside it last.

    Args:
        sheet: thickness of the substrate [m], None where it was not measured: then it counts as thin.
    """
    return tuple(one for one in cautions().values() if _applies(one, survey, identity, sheet))


def _applies(one: Caution, survey: Survey, identity: Identity, sheet: float | None) -> bool:
    if one.beside:
        said = f" {plain_words(' '.join((*survey.beside, *survey.uses)))} "
        return any(f" {word}" in said for word in one.beside)
    share = sum(p for key, p in identity.substrates.items() if key in one.grounds or family_of(key) in one.grounds)
    if share < WORTH_SAYING:
        return False
    if one.condition and survey.ground_condition not in (*one.condition, "unknown"):
        return False
    if one.moisture and one.limit is not None:
        return survey.moisture is None or survey.moisture > one.limit
    return one.thinner_than is None or sheet is None or sheet < one.thinner_than


def words(one: Caution, survey: Survey) -> str:
    """The caution in a sentence, with the reading beside its limit."""
    if not one.moisture or one.limit is None:
        return one.text
    limit = show(one.limit, "share")
    if survey.moisture is None:
        return f"{one.text} Moisture was not measured: dry it to {limit} at most first."
    return f"{one.text} It read {show(survey.moisture, 'share')}, over {limit}: let it dry first."
