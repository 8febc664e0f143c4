"""What the shop asks and pays: prices, hours of its own, letterhead and terms, kept once for all jobs.

They have the keys of a job file; what a job says itself wins.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from proofpatch.errors import InputError
from proofpatch.offer.money import shown
from proofpatch.shop.job import Job, job_from
from proofpatch.shop.job_tables import KEYS, inside
from proofpatch.shop.lasers import entry_named, known
from proofpatch.shop.offered import paper_from, prices_of
from proofpatch.shop.people import item_of
from proofpatch.shop.settings import Settings, settings_of
from proofpatch.shop.single import keep_only, only
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.took import correction_of
from proofpatch.shop.values import read_value

KIND = "prices"
TABLES = ("prices", "rates", "letterhead")
Tables = Mapping[str, Mapping[str, Any]]


def charges_of(store: Store) -> tuple[Tables, Entry | None]:
    """(tables of the shop, where they are kept; None: nowhere yet)."""
    entry = only(store, KIND)
    return ({} if entry is None else entry.data), entry


def keep_charges(store: Store, tables: Tables, version: int) -> Entry:
    """The shop's tables, on disk.

    Args:
        version: the change was made on; 0: nothing was kept yet.

    Raises:
        InputError: a value that is none; its field is the key, like prices.labour.
        Overtaken: somebody changed them meanwhile; both are kept.
    """
    check_charges(tables)
    return keep_only(store, KIND, tables, version, "Prices of the shop")


def check_charges(tables: Tables) -> None:
    """Refuses what no offer could be made of.

    Raises:
        InputError: as `keep_charges`.
    """
    read: dict[str, dict[str, Any]] = {name: {} for name in KEYS}
    for name, table in tables.items():
        if name not in TABLES:
            raise InputError("prices", f"The shop has no table {name[:20]!r}.", f"Use: {', '.join(TABLES)}.")
        for key, value in table.items():
            if key not in KEYS[name]:
                raise InputError(f"{name}.{key}", f"The key {key[:20]!r} is not known.", "Take it out.")
            read[name][key] = read_value(f"{name}.{key}", KEYS[name][key], value)
    prices = prices_of(read["prices"])
    with inside("letterhead"):
        shown(Decimal(1), prices.currency, read["letterhead"].get("locale", "en"))
    paper_from(read, "the shop")


def with_charges(data: Mapping[str, Any], shop: Tables, settings: Settings, customer: str = "") -> dict[str, Any]:
    """The tables of a job with the shop's behind them, as a job file would have them all.

    customer: named where the job names none.
    """
    defaults: dict[str, dict[str, Any]] = {
        "prices": {"currency": settings.currency}, "rates": {},
        "letterhead": {"paper": settings.paper, **({"name": settings.name} if settings.name else {})},
    }  # fmt: skip
    found = dict(data)
    for name, table in defaults.items():
        own, ours = dict(data.get(name, {})), dict(shop.get(name, {}))
        if own.get("margin") or own.get("mark_up"):  # one of them, and the job's
            ours = {key: value for key, value in ours.items() if key not in ("margin", "mark_up")}
        merged = {**table, **ours, **own}
        if merged:
            found[name] = merged
    if customer and not data.get("offer", {}).get("customer"):
        found["offer"] = {**data.get("offer", {}), "customer": [customer]}
    return found


def tables_of(store: Store, entry: Entry) -> dict[str, Any]:
    """The tables of a job of the store with the shop's behind them."""
    return with_charges(entry.data, charges_of(store)[0], settings_of(store)[0], item_of(store, entry.id).customer)


def priced_job(store: Store, entry: Entry, more: Mapping[str, Any] | None = None) -> Job:
    """The job of a store as an offer takes it.

    Args:
        more: keys of its [offer] where it says nothing.

    Raises:
        InputError, HardStop: as `job_from`.
    """
    tables = tables_of(store, entry)
    tables["offer"] = {**(more or {}), **tables.get("offer", {})}
    found = job_from(tables, lasers=known(entry_named(store, entry.data)))
    return replace(found, correction=correction_of(store, entry.id))
