"""What the shop says of itself once: units, currency, paper, the name on documents, limits a new job starts with."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from proofpatch.errors import InputError
from proofpatch.learn.limits import PRESETS
from proofpatch.shop.single import keep_only, only
from proofpatch.shop.store import Entry, Store
from proofpatch.units import SYSTEMS

KIND = "shop"
# Codes of ISO 4217, which no two currencies share.
CURRENCIES = ("USD", "CAD", "EUR", "GBP", "CHF", "AUD", "NZD", "SEK", "NOK", "DKK", "PLN", "CZK", "JPY")
PAPERS = ("a4", "us-letter")
LONGEST_NAME = 80


@dataclass(frozen=True)
class Settings:
    """Of one shop. units: metric or us. currency: its ISO 4217 code. preset: of the limits a new job starts with.

    memory: whether a job starts from what the shop's other jobs taught; no, unless the owner says so.
    """

    name: str = ""
    units: str = "metric"
    currency: str = "EUR"
    paper: str = "a4"
    preset: str = "ordinary"
    memory: bool = False

    def __post_init__(self) -> None:
        for field, known in (
            ("units", SYSTEMS), ("currency", CURRENCIES), ("paper", PAPERS), ("preset", tuple(PRESETS)),
        ):  # fmt: skip
            value = getattr(self, field)
            if not isinstance(value, str) or value not in known:
                said = f"The {field} {str(value)[:20]!r} is not known."
                raise InputError(field, said, f"Choose one of: {', '.join(known)}.")
        if not isinstance(self.memory, bool):
            raise InputError("memory", "It is not said whether memory is used.", "Say true or false.")
        if len(self.name) > LONGEST_NAME or not self.name.isprintable():
            raise InputError("name", "The name cannot stand on a document.", f"Use at most {LONGEST_NAME} characters.")

    def headed(self, title: str) -> str:
        """The title of a document with the shop's name, if it has one."""
        return f"{title}, {self.name}" if self.name else title


def settings_of(store: Store) -> tuple[Settings, Entry | None]:
    """(what the shop says of itself, where that is kept; None: nowhere yet)."""
    entry = only(store, KIND)
    if entry is None:
        return Settings(), None
    known = {key: entry.data[key] for key in asdict(Settings()) if key in entry.data}
    # One choice that a newer program knows must not close the shop.
    with contextlib.suppress(InputError):
        return Settings(**known), entry
    return Settings(name=str(known.get("name", ""))), entry


def keep_settings(store: Store, given: Mapping[str, Any], version: int) -> Settings:
    """The shop's settings with these changed, on disk.

    Args:
        version: the change was made on; 0: nothing was kept yet.

    Raises:
        InputError: a choice that is none.
        Overtaken: somebody changed them meanwhile.
    """
    changed = Settings(**{**asdict(settings_of(store)[0]), **given})
    keep_only(store, KIND, asdict(changed), version, changed.name)
    return changed
