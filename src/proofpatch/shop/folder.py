"""The folder of one job: every record of it with its history, its photos and papers, out of a shop and into another.

What is the shop's and not the job's stays out, but for the customer and the laser that the job names.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from proofpatch.errors import InputError
from proofpatch.measure.mesh_file import KINDS as SCAN_KINDS
from proofpatch.measure.scanned import is_kept
from proofpatch.shop.lasers import KIND as LASER
from proofpatch.shop.photos import Photo, keep_file, looked_at, photo_path
from proofpatch.shop.scans import keep_scan, scan_path
from proofpatch.shop.store import Entry, Store, entry_from, number
from proofpatch.shop.tables import Change, Picture, Thing

SHARED = ("customer", LASER)  # of the shop, and of several jobs
DIGEST = re.compile(r"\b[0-9a-f]{64}\b")
OF_HISTORY = ("version", "what", "by", "data")
OF_THING = ("id", "kind", "job", "version", "title", "by", "data")
Record = dict[str, Any]


@dataclass(frozen=True)
class Picked:
    """A photo of a folder. kind: JPEG or PNG. added: when it came into the shop."""

    digest: str
    kind: str
    added: str


@dataclass(frozen=True, order=True)
class Scanned:
    """A scan of a folder. kind: as its file's name ends."""

    digest: str
    kind: str


@dataclass(frozen=True)
class Folder:
    """All that a shop keeps of a job.

    things: plain records with their `history`, the first made first. photos, scans: whose files are there.
    missing: digests of those whose files are gone or damaged.
    """

    job: str
    things: tuple[Record, ...]
    photos: tuple[Picked, ...]
    scans: tuple[Scanned, ...] = ()
    missing: tuple[str, ...] = ()

    def of(self, kind: str) -> list[Record]:
        """The things of a kind."""
        return [one for one in self.things if one["kind"] == kind]

    @property
    def title(self) -> str:
        """Of the job."""
        return str(self.of("job")[0]["title"])


@dataclass(frozen=True)
class TakenIn:
    """A job that came in. stayed: what the shop had already and was left as it is, in sentences."""

    entry: Entry
    stayed: tuple[str, ...] = ()


def folder_of(store: Store, job: str) -> Folder:
    """The folder of a job as it stands, put away or not.

    Raises:
        InputError: there is no such job.
    """
    store.get("job", job)
    with store.session(reads=True) as session:
        own = list(session.scalars(sa.select(Thing).where(sa.or_(Thing.id == job, Thing.job == job))))
        named = named_of([_record(session, one) for one in own])
        shared = session.scalars(sa.select(Thing).where(Thing.kind.in_(SHARED)))
        own += [one for one in shared if _names(one) & named]
        things = [_record(session, one) for one in sorted(own, key=lambda one: (one.made, one.id))]
        told = {digest for one in things for digest in DIGEST.findall(json.dumps([one["data"], one["history"]]))}
        rows = {digest: one for digest in told if (one := session.get(Picture, digest)) is not None}
    lost = {one["data"].get("digest") for one in things if one["kind"] == "photo"} - set(rows)
    found = []
    for digest, row in sorted(rows.items()):
        photo = Photo(digest, row.kind, row.width, row.height, row.size)
        if _whole(store, photo):
            found.append(Picked(digest, row.kind, _iso(row.added)))
        else:
            lost.add(digest)
    scans = scans_of(things)
    whole = tuple(one for one in scans if _is(scan_path(store.folder, one.digest, one.kind), one.digest))
    lost |= {one.digest for one in scans} - {one.digest for one in whole}
    return Folder(job, tuple(things), tuple(found), whole, tuple(sorted(filter(None, lost))))


def scans_of(things: Iterable[Record]) -> list[Scanned]:
    """The scans that a job's records name, by digest. What a folder that came in holds is not checked yet here."""
    data = [one.get("data") for one in things if one["kind"] == "scan"]
    named = {Scanned(str(one.get("digest")), str(one.get("kind"))) for one in data if isinstance(one, dict)}
    return sorted(one for one in named if is_kept(one.digest) and one.kind in SCAN_KINDS)


def take_in(store: Store, folder: Folder, content: Callable[[str], bytes]) -> TakenIn:
    """A job into a shop that has not got it, all of it or nothing.

    Args:
        content: bytes of a photo or a scan by its digest.

    Raises:
        InputError: the shop has it already, or one of its photos is none.
    """
    _refuse_known(store, folder)
    rows = [_filed(store, one, content(one.digest)) for one in folder.photos]
    for scan in folder.scans:
        keep_scan(store, scan.digest, scan.kind, content(scan.digest))
    with store.together():
        _refuse_known(store, folder)
        with store.session() as session:
            stayed, new = [], []
            for one in sorted(folder.things, key=lambda one: one["kind"] != "job"):
                why = _stays(session, one)
                if why:
                    stayed.append(why)
                else:
                    new.append((one, _put(session, one)))
            for thing, past in _in_turn(new):
                change = Change(thing=thing.id, at=_time(past["at"]), **{name: past[name] for name in OF_HISTORY})
                session.add(change)
                session.flush()  # their numbers are their order
                number(thing, change)
            for row in rows:
                if session.get(Picture, row["digest"]) is None:
                    session.add(Picture(**row))
    return TakenIn(store.get("job", folder.job), tuple(stayed))


def _refuse_known(store: Store, folder: Folder) -> None:
    own = [one["id"] for one in folder.things if one["kind"] not in SHARED]
    with store.session(reads=True) as session:
        known = session.get(Thing, folder.job) or session.scalars(sa.select(Thing).where(Thing.id.in_(own))).first()
        if known is None:
            return
        away = ", put away" if known.kind == "job" and known.deleted else ""
    if known.kind == "job":
        said = f"The job {folder.title[:60]!r} is in this shop already{away}."
    else:
        said = f"A {known.kind} of this job is in this shop already."
    raise InputError("file", said, "Nothing was made. Open it there.")


def _stays(session: Session, one: Record) -> str:
    """Why a customer or a laser of the folder is left out: the shop has it; empty where it has not."""
    if one["kind"] not in SHARED:
        return ""
    words = f"The {one['kind']} {one['title'][:60]!r} was here already and stays as it is"
    known = session.get(Thing, one["id"])
    if known is not None:
        return f"{words}." if known.version == one["version"] else f"{words}; the folder has another version of it."
    names = names_of(one["id"], one["kind"], one["data"])
    others = session.scalars(sa.select(Thing).where(Thing.kind == one["kind"]))
    if one["kind"] == LASER and any(_names(other) & names for other in others):
        return f"{words}; the folder's own laser of that name was left out."
    return ""


def _put(session: Session, one: Record) -> Thing:
    times = {name: _time(one[name]) for name in ("created", "changed", "deleted")}
    thing = Thing(**{name: one[name] for name in OF_THING}, **times)
    session.add(thing)
    session.flush()
    return thing


def _in_turn(new: Iterable[tuple[Record, Thing]]) -> list[tuple[Thing, Record]]:
    """The changes of all things in the order in which they were made.

    A folder knows the order of the things of a kind, and of the changes of each; between them their times decide, and a
    clock that was put back turns neither round.
    """
    found: list[tuple[str, Thing, Record]] = []
    first: dict[str, str] = {}
    for one, thing in new:
        reached = first.get(one["kind"], "")
        for n, past in enumerate(one["history"]):
            reached = max(reached, _iso(datetime.datetime.fromisoformat(past["at"])))
            if n == 0:
                first[one["kind"]] = reached
            found.append((reached, thing, past))
    return [(thing, past) for _, thing, past in sorted(found, key=lambda row: row[0])]


def _filed(store: Store, picked: Picked, content: bytes) -> Record:
    """The row of a photo, its file on disk before: one that no row names is swept away, the other way it were lost."""
    photo, small = looked_at(content)
    if photo.digest != picked.digest:
        raise InputError("file", "A photo is not the one it is called.", "Take the folder from a copy.")
    keep_file(store, photo, content)
    return {**vars(photo), "thumbnail": small, "added": _time(picked.added)}


def _whole(store: Store, photo: Photo) -> bool:
    """Whether its file is there, and is what it was."""
    return _is(photo_path(store, photo), photo.digest)


def _is(path: Path, digest: str) -> bool:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest() == digest
    except OSError:
        return False


def _record(session: Session, thing: Thing) -> Record:
    entry = entry_from(thing)
    rows = session.scalars(sa.select(Change).where(Change.thing == thing.id).order_by(Change.number))
    return {
        "id": entry.id, "kind": entry.kind, "job": entry.job, "version": entry.version, "title": entry.title,
        "created": _iso(entry.created), "changed": _iso(entry.changed), "by": entry.by,
        "deleted": None if entry.deleted is None else _iso(entry.deleted), "data": dict(entry.data),
        "history": [
            {"version": one.version, "what": one.what, "at": _iso(one.at), "by": one.by, "data": one.data}
            for one in rows
        ],
    }  # fmt: skip


def named_of(things: Iterable[Mapping[str, Any]]) -> set[tuple[str, str]]:
    """(kind, name) of what a job's records name of the shop, now or ever."""
    found = set()
    for one in things:
        for data in (one["data"], *(past["data"] for past in one["history"])):
            head = data.get("job")
            if one["kind"] == "item" and data.get("customer"):
                found.add(("customer", str(data["customer"])))
            if one["kind"] == "job" and isinstance(head, Mapping) and head.get("laser"):
                found.add((LASER, str(head["laser"])))
    return found


def _names(thing: Thing) -> set[tuple[str, str]]:
    return names_of(thing.id, thing.kind, thing.data)


def names_of(id: str, kind: str, data: Mapping[str, Any]) -> set[tuple[str, str]]:
    """The (kind, name) pairs by which jobs know a customer or a laser."""
    table = data.get("laser")
    names = table if kind == LASER and isinstance(table, Mapping) else (id,)
    return {(kind, str(name)) for name in names}


def _iso(time: datetime.datetime) -> str:
    """A time in UTC to the microsecond, as the store keeps it."""
    aware = time if time.tzinfo else time.replace(tzinfo=datetime.UTC)
    return aware.astimezone(datetime.UTC).isoformat(timespec="microseconds")


def _time(said: str | None) -> datetime.datetime | None:
    return None if said is None else datetime.datetime.fromisoformat(said)
