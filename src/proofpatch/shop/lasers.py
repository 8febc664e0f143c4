"""The lasers of the shop. Each is one thing of the store: what an own-laser file would say, and the lines of its log.

    {"laser": {"ours-300": {the keys of docs/own-laser.toml}}, "readings": [lines as `laser_log` writes them]}

A job names one by its id, `laser = "ours-300"`.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from proofpatch.errors import InputError
from proofpatch.lasers import Laser, laser_from_table, laser_ids
from proofpatch.lasers.history import follow, laser_as_measured
from proofpatch.lasers.readings import Reading
from proofpatch.shop.job import DEFAULT_LASER
from proofpatch.shop.job_tables import inside
from proofpatch.shop.laser_log import Own, reading_from, reading_to
from proofpatch.shop.store import Entry, Store
from proofpatch.units import quoted

KIND = "laser"
HELD = 64  # lasers whose readings are held in memory as followed


def entries_of(store: Store, away: bool = False) -> dict[str, Entry]:
    """Each laser of the shop by its id, the first made first; away: those put away instead."""
    found: dict[str, Entry] = {}
    for entry in store.in_order(KIND, deleted=away):
        found.setdefault(id_of(entry), entry)
    return found


def every_of(store: Store) -> dict[str, Entry]:
    """The same with those put away: jobs still name them."""
    return entries_of(store, away=True) | entries_of(store)


def entry_of(store: Store, id: str) -> Entry:
    """The laser of that id, put away or not.

    Raises:
        InputError: the shop has none.
    """
    found = every_of(store)
    if id not in found:
        raise InputError(KIND, f"The shop has no laser {quoted(id)}.", "Look it up in the list.")
    return found[id]


def id_of(entry: Entry) -> str:
    """The id a laser of the store goes by."""
    table = entry.data.get("laser")
    return str(next(iter(table), entry.id)) if isinstance(table, Mapping) else entry.id


@lru_cache(maxsize=HELD)
def own_of(entry: Entry) -> Own:
    """A laser of the store as the command line has it from a file with the same content.

    Raises:
        InputError: what is kept makes no laser, or a reading of it cannot be believed; `field` says where.
    """
    with inside(f"laser {id_of(entry)}"):
        return _own(entry.data)


def _own(data: Mapping[str, Any]) -> Own:
    file = laser_from_table(data.get("laser"))
    lines = data.get("readings", [])
    if not isinstance(lines, list):
        raise InputError("readings", "The readings are not a list.", "Take back the last change.")
    readings = []
    for number, line in enumerate(lines):
        with inside(f"readings[{number}]"):
            readings.append(reading_from(line))
    return Own(file, follow(file, readings), tuple(readings))


def lasers_of(store: Store) -> dict[str, Laser]:
    """Every laser of the shop by its id as its newest readings have it, those put away too.

    Raises:
        InputError: as `own_of`.
    """
    return {id: own_of(entry).course.laser for id, entry in every_of(store).items()}


def entry_named(store: Store, job: Mapping[str, Any]) -> Entry | None:
    """The laser of the shop that the tables of a job name; None of a built-in one, or one that is not known."""
    head = job.get("job")
    name = head.get("laser", DEFAULT_LASER) if isinstance(head, Mapping) else DEFAULT_LASER
    if not isinstance(name, str) or name in laser_ids():
        return None
    return every_of(store).get(name)


def known(entry: Entry | None) -> dict[str, Laser]:
    """A laser of the shop by its id, as `job_from` takes it."""
    return {} if entry is None else {id_of(entry): own_of(entry).course.laser}


def laser_on(entry: Entry, day: datetime.date) -> Laser:
    """The laser as its readings had it on that day."""
    own = own_of(entry)
    return laser_as_measured(own.file, own.readings, day)


def add_laser(store: Store, table: Mapping[str, Any], by: str = "") -> Entry:
    """A new laser of the shop, on disk.

    Args:
        table: as a file of one has it, {id: {keys}}.

    Raises:
        InputError: it makes no laser, or its id is taken.
    """
    laser = laser_from_table(table)
    if laser.id in laser_ids():
        raise InputError("id", f"A built-in laser is called {quoted(laser.id)}.", "Choose another short name.")
    if laser.id in every_of(store):
        said = f"The shop already has a laser called {quoted(laser.id)}."
        raise InputError("id", said, "Choose another short name, or bring that one back.")
    return store.add(KIND, {"laser": table, "readings": []}, title=laser.title, by=by)


def correct_laser(store: Store, id: str, version: int, table: Mapping[str, Any], by: str = "") -> Entry:
    """The same laser with other keys; its readings are read anew with them.

    Raises:
        InputError: it makes no laser, or the readings do not fit it.
        Overtaken: somebody changed it meanwhile; both are kept.
    """
    if set(table) != {id}:
        raise InputError("id", "The short name of a laser stays.", "Jobs know it by that name; add a new laser.")
    return _changed(store, id, version, {**entry_of(store, id).data, "laser": table}, by)


def add_reading(store: Store, id: str, version: int, reading: Reading, when: str, by: str = "") -> Entry:
    """One more reading of a laser, on disk.

    Args:
        version: of the laser it was read from. when: date and time of writing.

    Raises:
        InputError: it contradicts the laser or its other readings; `field` is the list it stands in.
        Overtaken: somebody changed it meanwhile; both are kept.
    """
    entry = entry_of(store, id)
    return _changed(store, id, version, {**entry.data, "readings": [*_lines(entry), reading_to(reading, when)]}, by)


def take_back(store: Store, id: str, version: int, number: int, by: str = "") -> Entry:
    """A laser without the reading of that number; undoing brings it back.

    Raises:
        InputError: there is none, or a later reading rests on it.
        Overtaken: somebody changed it meanwhile; both are kept.
    """
    entry = entry_of(store, id)
    lines = _lines(entry)
    if not 0 <= number < len(lines):
        raise InputError("reading", "There is no such reading.", "Look at the list again.")
    left = [line for i, line in enumerate(lines) if i != number]
    return _changed(store, id, version, {**entry.data, "readings": left}, by)


def _lines(entry: Entry) -> list[Any]:
    lines = entry.data.get("readings", [])
    return list(lines) if isinstance(lines, list) else []


def _changed(store: Store, id: str, version: int, data: Mapping[str, Any], by: str) -> Entry:
    own = _own(data)
    return store.change(KIND, entry_of(store, id).id, version, data, title=own.file.title, by=by)
