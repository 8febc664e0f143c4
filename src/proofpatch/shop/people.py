"""Whose piece it is, what they asked for, and what was noted: beside the tables of a job, never in them."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from proofpatch.errors import InputError
from proofpatch.shop.store import Entry, Store

LONGEST_NAME, LONGEST_LINE, LONGEST_NOTE = 80, 200, 2000
MOST_NAMES = 300  # that a page offers while one is typed; a customer of any name is found


@dataclass(frozen=True)
class Item:
    """A piece as its customer handed it in. customer, contact, wanted: as they were said, empty where nobody did."""

    customer: str = ""
    contact: str = ""
    wanted: str = ""
    entry: Entry | None = None


def customers(store: Store) -> list[str]:
    """The names of who handed in a piece lately, in their order."""
    return sorted((name for _, _, name in store.names("customer", most=MOST_NAMES)), key=str.casefold)


def item_of(store: Store, job: str) -> Item:
    """Whose piece a job is about."""
    entry = next(iter(store.all("item", job, most=1)), None)
    if entry is None:
        return Item()
    who = store.get("customer", entry.data["customer"]) if entry.data.get("customer") else None
    return Item(
        who.title if who else "", str(who.data.get("contact", "")) if who else "", str(entry.data.get("wanted", "")),
        entry,
    )  # fmt: skip


def keep_item(store: Store, job: str, version: int, customer: str, contact: str, wanted: str) -> Entry:
    """Whose piece it is, on disk. A customer of that name is the same one; a new contact is theirs from now on.

    Args:
        version: of the item the change was made on; 0: nothing was kept yet.

    Raises:
        InputError: a field is too long.
        Overtaken: somebody changed it meanwhile; both are kept.
    """
    for field, said, most in (("customer", customer, LONGEST_NAME), ("contact", contact, LONGEST_LINE),
                              ("wanted", wanted, LONGEST_NOTE)):  # fmt: skip
        if len(said) > most:
            raise InputError(field, f"This is longer than {most} characters.", "Shorten it, or write a note.")
    if contact and not customer:
        raise InputError("customer", "A contact without a name finds nobody.", "Give the name too.")
    with store.together():  # who looked first writes first: no second item of a job, no customer twice
        now = next(iter(store.all("item", job, most=1)), None)
        if now is not None and now.version != version:
            # Kept aside and told; the customer's own record stays as it is.
            return store.change("item", now.id, version, {**now.data, "wanted": wanted}, customer)
        data = {"customer": _customer(store, customer, contact) if customer else None, "wanted": wanted}
        if now is None:
            return store.add("item", data, job, customer)
        return store.change("item", now.id, version, data, customer)


def _customer(store: Store, name: str, contact: str) -> str:
    """The id of a customer by name, made if there is none."""
    rows = sorted(store.names("customer"), key=lambda row: row[2].casefold())
    key = next((id for id, _, title in rows if title.casefold() == name.casefold()), None)
    if key is None:
        return store.add("customer", {"contact": contact}, title=name).id
    known = store.get("customer", key)
    if contact and contact != known.data.get("contact"):
        store.change("customer", known.id, known.version, {**known.data, "contact": contact})
    return known.id


def jobs_of(store: Store, words: str, most: int | None = None) -> list[str]:
    """Jobs whose customer's name says all of these words. most: so many of them."""
    return [job for _, job, _ in store.names("item", words, most) if job] if words.split() else []


def add_note(store: Store, job: str, said: str, by: str = "", written: str = "") -> Entry:
    """A note on a job, on disk.

    Args:
        written: when, as a log has it, where that was before it came here.

    Raises:
        InputError: it says nothing, or too much.
    """
    if not said.strip():
        raise InputError("note", "The note is empty.", "Write a line.")
    if len(said) > LONGEST_NOTE:
        raise InputError("note", f"The note is longer than {LONGEST_NOTE} characters.", "Write two.")
    return store.add("note", {"text": said} | ({"written": written} if written else {}), job, said[:80], by)


def written_at(note: Entry) -> datetime.datetime:
    """When a note was written, here or on a phone that was away."""
    return datetime.datetime.fromisoformat(note.data["written"]) if note.data.get("written") else note.created


def notes_of(store: Store, job: str) -> Sequence[Entry]:
    """The notes of a job, the newest first."""
    return store.all("note", job)
