"""Graded patches from shop to shop: what is given away, what was brought in, and how much each of it counts.

A lot is one file that was brought in. Its lines are kept as they came, so that its signature can be checked again; the
site of each of its jobs is worked out once. The owner sets how much a lot counts; one that is taken out counts no more
and can be brought back. Of one sender no job counts twice: of two that tell of the same patches the fuller one does.

The shop's own key stands in its database, as its passphrase does, and in its backups. No page or address gives it out.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from proofpatch.errors import InputError
from proofpatch.learn.memory import Site
from proofpatch.learn.memory.exchange import (
    MOST_NAME,
    NAMES,
    ORIGINS,
    Exchanged,
    Parcel,
    fingerprint,
    packed,
    parts_of,
    unpacked,
)
from proofpatch.learn.memory.population import counted
from proofpatch.physics.setting import Setting, finite_number
from proofpatch.shop.decided import decided_of
from proofpatch.shop.invented import own_jobs
from proofpatch.shop.lent_photos import expect_photos, keep_photos, photo_of_part, photos_given
from proofpatch.shop.log import setting_from
from proofpatch.shop.people import item_of
from proofpatch.shop.property_words import kind_of
from proofpatch.shop.settings import settings_of
from proofpatch.shop.sites import graded_of, site_from, site_to, work_of
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.tables import Secret

KIND, PART = "lot", "lent"
SIGNING = "signing"
NAMELESS = "a shop without a name"
WEIGHT = 0.5  # that is offered for what others found; common practice, no source
MOST_AT_ONCE = 200  # jobs of one file that are worked out in one go, at a third of a second each
SHOWN = 50  # lines of a preview


@dataclass(frozen=True)
class Lot:
    """A file that was brought in. counts: jobs of it that count; kinds: {kind of work: (jobs, patches)}."""

    entry: Entry
    counts: int
    kinds: Mapping[str, tuple[int, int]]

    @property
    def taken_out(self) -> bool:
        """Whether it counts no more until it is brought back."""
        return self.entry.deleted is not None

    @property
    def published(self) -> bool:
        """Whether it says that it is published data."""
        return bool(self.entry.data["origin"] == ORIGINS[1])

    @property
    def weight(self) -> float:
        """How much it counts."""
        return float(self.entry.data["weight"])


@dataclass(frozen=True)
class Preview:
    """What a file would bring. new: jobs that nothing here tells of; jobs, patches, recipes: in it."""

    parcel: Parcel
    digest: str
    new: int
    kinds: Mapping[str, tuple[int, int]]

    @property
    def jobs(self) -> int:
        """In the file."""
        return len(self.parcel.jobs)

    @property
    def because(self) -> str:
        """Where it comes from, and what of it is new here."""
        known = self.jobs - self.new
        more = f" {counted(known, 'job')} of it you have already." if known else ""
        return self.parcel.because + more


@dataclass(frozen=True)
class Borrowed:
    """A job that others gave. recipe: it came to, if any; photo: of a patch, where photos were taken in with it."""

    lot: Entry
    site: Site
    recipe: Setting | None
    title: str
    customer: str
    source: str
    photo: Entry | None


def given(
    store: Store, jobs: Sequence[str] | None = None, photos: bool = False, names: bool = False,
    kinds: Container[str] | None = None,
) -> list[tuple[Entry, Exchanged]]:  # fmt: skip
    """(job, as it travels) of every job with graded patches, the first made first.

    jobs: ids of those that are wanted; None: all. photos: with small photos of its patches. names: with what the piece
    is called and whose it is. kinds: of work that are wanted, as `kind_of` says them; None: all.

    Raises:
        InputError: a job that there is none of.
    """
    wanted = None if jobs is None else set(jobs)
    found = []
    for entry in own_jobs(store):
        if wanted is not None and entry.id not in wanted:
            continue
        work = work_of(store, entry)
        if work is None or (kinds is not None and kind_of(work.surface) not in kinds):
            continue
        graded = graded_of(store, entry, work)
        if graded:
            decided = decided_of(store, entry.id)
            recipe = setting_from(decided.data["record"]["setting"]) if decided else None
            one = Exchanged(work.surface, work.laser, tuple(graded), recipe)
            if names:
                one = replace(one, title=_line(entry.title), customer=_line(item_of(store, entry.id).customer))
            if photos:
                one = replace(one, photos=photos_given(store, entry.id))
            found.append((entry, one))
    missing = len(wanted - {entry.id for entry, _ in found}) if wanted is not None else 0
    if missing:
        said = f"{counted(missing, 'job')} of those named {'has' if missing == 1 else 'have'} no graded patch here."
        raise InputError("jobs", said, "Look them up in the list.")
    return found


def given_file(
    store: Store, jobs: Sequence[str] | None = None, made: str = "", photos: bool = False, names: bool = False,
    kinds: Container[str] | None = None,
) -> bytes:  # fmt: skip
    """The signed file of the jobs that `given` finds. Errors as there, and as `signed_file`."""
    return signed_file(store, [one for _, one in given(store, jobs, photos, names, kinds)], made)


def signed_file(store: Store, jobs: Sequence[Exchanged], made: str = "") -> bytes:
    """The signed file of these jobs. made: the day, as text; empty: today.

    Raises:
        InputError: there is none.
    """
    if not jobs:
        raise InputError(
            "jobs", "No job of your own has a graded patch yet, so there is nothing to lend.", "Grade a patch first."
        )
    name = settings_of(store)[0].name or NAMELESS
    return packed(jobs, key_of(store), name, made or store.clock().date().isoformat())


def key_of(store: Store) -> Ed25519PrivateKey:
    """The key the shop signs with, made when it is first asked for."""
    with store.session() as session:
        found = session.get(Secret, SIGNING)
        if found is None:
            made = Ed25519PrivateKey.generate()
            session.add(Secret(name=SIGNING, value=made.private_bytes_raw().hex(), changed=store.clock()))
            return made
        return Ed25519PrivateKey.from_private_bytes(bytes.fromhex(found.value))


def own_name(store: Store) -> str:
    """The fingerprint of the shop's own key."""
    return fingerprint(key_of(store).public_key())


def preview(store: Store, data: bytes) -> Preview:
    """What this file holds, before anything is kept.

    Raises:
        InputError: as `unpacked`; or it is this shop's own, or was brought in already; `field` is file.
    """
    try:
        parcel = unpacked(data)
    except InputError as slip:
        raise InputError("file", slip.problem, slip.remedy) from None
    if parcel.key == own_name(store):
        raise InputError("file", "This file is of this very shop: its jobs count already.", "Lend it to another shop.")
    digest = hashlib.sha256(data).hexdigest()
    for gone in (False, True):
        if any(one.data["digest"] == digest for one in store.all(KIND, deleted=gone)):
            said = "This file was taken out again." if gone else "This file was brought in already."
            raise InputError("file", said, "Bring it back in the list." if gone else "Set its weight in the list.")
    expect_photos(parcel.jobs)
    if not any(job.graded for job in parcel.jobs):
        raise InputError("file", "No job in this file has a graded patch.", "Ask its sender for one with patches.")
    mine = _tellings(store, parcel.key)
    new = sum(not any(told <= other for other in mine) for told in map(_telling, parts_of(data)[1]))
    return Preview(parcel, digest, new, kinds_of((kind_of(job.surface), len(job.graded)) for job in parcel.jobs))


def bring_in(
    store: Store, data: bytes, weight: float = WEIGHT, by: str = "", most: int | None = MOST_AT_ONCE,
    photos: bool = False,
) -> Entry:  # fmt: skip
    """The file as a lot that counts so much, on disk, its jobs worked out.

    most: jobs that are worked out in one go; None: all. photos: whether its photos are taken too.

    Raises:
        InputError: as `preview`, a weight outside 0 to 1, or more jobs than are worked out at once.
    """
    weight = checked_weight(weight)
    seen = preview(store, data)
    parcel, (head, lines, signature, _) = seen.parcel, parts_of(data)
    if most is not None and len(parcel.jobs) > most:
        said = f"This file has {len(parcel.jobs)} jobs; {most} are worked out in one go."
        raise InputError("file", said, "Bring it in at the command line: proofpatch borrow.")
    sites: list[Site | None] = []
    for number, job in enumerate(parcel.jobs, start=2):
        try:
            found = Parcel(parcel.shop, parcel.key, parcel.made, parcel.origin, (job,)).sites(weight=1.0)
        except (TypeError, ValueError, ArithmeticError):  # a list for a name, a number no machine holds
            said = f"Line {number} of the file holds something else than a job."
            raise InputError("file", said, "Ask its sender for a new file.") from None
        sites.append(found[0] if found else None)
    about = {
        "shop": parcel.shop, "key": parcel.key, "made": parcel.made, "origin": parcel.origin, "weight": weight,
        "jobs": len(parcel.jobs), "patches": sum(len(job.graded) for job in parcel.jobs),
        "recipes": sum(job.recipe is not None for job in parcel.jobs), "digest": seen.digest,
        "head": head.decode(), "signature": signature.decode(), "photos": parcel.photos if photos else 0,
        "sources": list(dict.fromkeys(job.source for job in parcel.jobs if job.source))[:SHOWN],
    }  # fmt: skip
    with store.together():
        lot = store.add(KIND, about, title=parcel.shop, by=by)
        for n, (line, job, one) in enumerate(zip(lines, parcel.jobs, sites, strict=True)):
            part = {
                "lot": lot.id, "number": n, "line": line.decode(), "said": sorted(_telling(line)),
                "name": kind_of(job.surface), "site": site_to(one) if one else None,
            }  # fmt: skip
            if photos and (kept := keep_photos(store, job, lot.id, by)):
                part["photos"] = kept
            store.add(PART, part, title=f"{lot.id} {n:05d}", by=by)
    return lot


def lots_of(store: Store, taken_out: bool = False) -> list[Lot]:
    """What was brought in, the first first; what was taken out, or what was not."""
    return [one for one in every_lot(store) if one.taken_out == taken_out]


def every_lot(store: Store) -> list[Lot]:
    """All that was brought in, the first first, behind it what was taken out."""
    parts = _parts(store)
    counting = {one.id for one in _counting(store, parts)}
    of_lot: dict[str, list[Entry]] = {}
    for one in parts:
        of_lot.setdefault(one.data["lot"], []).append(one)
    found = []
    for lot in [*store.in_order(KIND), *store.in_order(KIND, deleted=True)]:
        mine = of_lot.get(lot.id, [])
        kinds = kinds_of((one.data["name"], one.data["site"]["patches"]) for one in mine if one.data["site"])
        found.append(Lot(lot, sum(one.id in counting for one in mine), kinds))
    return found


def weigh(store: Store, key: str, version: int, weight: float) -> Entry:
    """A lot that counts otherwise; 0: not at all.

    Raises:
        InputError: a weight outside 0 to 1, no such lot, or one that was taken out.
        Overtaken: somebody changed it meanwhile.
    """
    lot = standing_lot(store, key)
    return store.change(KIND, key, version, {**lot.data, "weight": checked_weight(weight)})


def standing_lot(store: Store, key: str) -> Entry:
    """A lot that may be changed.

    Raises:
        InputError: there is none, or it was taken out.
    """
    lot = store.get(KIND, key)
    if lot.deleted:
        raise InputError(KIND, "The lot was taken out.", "Bring it back first.")
    return lot


def checked_weight(weight: float) -> float:
    """How much a lot counts.

    Raises:
        InputError: outside 0 to 1.
    """
    return finite_number("weight", "The weight", weight, 0.0, 1.0, "")


def file_of(store: Store, lot: Entry) -> bytes:
    """The file of a lot, byte for byte as it came but for its photos; its signature holds."""
    lines = [one.data["line"] for one in _parts(store) if one.data["lot"] == lot.id]
    return "\n".join([lot.data["head"], *lines, lot.data["signature"], ""]).encode()


def lent_sites(store: Store) -> list[tuple[Entry, Site]]:
    """(lot, site) of every job that others gave and that counts, each by the weight of its lot."""
    if not store.count(KIND):
        return []
    lots = {one.id: one for one in store.all(KIND)}
    return [
        (lots[one.data["lot"]], site_from(one.data["site"]).weighed(lots[one.data["lot"]].data["weight"]))
        for one in _counting(store, _parts(store))
        if one.data["site"]
    ]


def borrowed(store: Store) -> list[Borrowed]:
    """Every job that others gave and that counts."""
    lots = {one.id: one for one in store.all(KIND)}
    found = []
    for one in _counting(store, _parts(store)) if lots else ():
        lot = lots[one.data["lot"]]
        if one.data["site"] and lot.data["weight"] > 0:
            line = json.loads(one.data["line"])
            recipe, (title, customer, source) = line["recipe"], (line.get(name, "") for name in NAMES)
            found.append(Borrowed(
                lot, site_from(one.data["site"]), Setting(**recipe) if recipe else None, title, customer, source,
                photo_of_part(store, one),
            ))  # fmt: skip
    return found


def kinds_of(rows: Iterable[tuple[str, int]]) -> dict[str, tuple[int, int]]:
    """{kind of work: (jobs, patches)} of (kind of work, patches) of each job."""
    found: dict[str, tuple[int, int]] = {}
    for name, patches in rows:
        jobs, all_ = found.get(name, (0, 0))
        found[name] = (jobs + 1, all_ + patches)
    return found


def _line(text: str) -> str:
    """A text as it travels: one line, of bounded length."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())[:MOST_NAME]


def _parts(store: Store) -> list[Entry]:
    """Jobs of all lots, taken out ones too, in the order of their lots and lines."""
    order = {one.id: n for n, one in enumerate([*store.in_order(KIND), *store.in_order(KIND, deleted=True)])}
    return sorted(store.all(PART), key=lambda one: (order.get(one.data["lot"], -1), one.data["number"]))


def _counting(store: Store, parts: Sequence[Entry]) -> list[Entry]:
    """Those of lots that are not taken out, of one sender only the fuller telling of the same patches."""
    lots = {one.id: one for one in store.all(KIND)}
    live = [one for one in parts if one.data["lot"] in lots and one.data["said"]]
    kept: dict[str, list[tuple[frozenset[str], Entry]]] = {}
    for one in sorted(live, key=lambda part: -len(part.data["said"])):
        mine = kept.setdefault(lots[one.data["lot"]].data["key"], [])
        told = frozenset(one.data["said"])
        if not any(told <= other for other, _ in mine):
            mine.append((told, one))
    chosen = {one.id for each in kept.values() for _, one in each}
    return [one for one in live if one.id in chosen]


def _tellings(store: Store, key: str) -> list[frozenset[str]]:
    """The patches of each job that counts of this sender."""
    lots = {one.id for one in store.all(KIND) if one.data["key"] == key}
    return [frozenset(one.data["said"]) for one in _parts(store) if one.data["lot"] in lots]


def _telling(line: bytes) -> frozenset[str]:
    """A digest of each patch of a job, on its surface and with its laser: two that share all are one job."""
    job = json.loads(line)
    on = json.dumps([job["surface"], job["laser"]], sort_keys=True)
    told: dict[str, int] = {}
    for one in job["graded"]:
        said = json.dumps(one, sort_keys=True)
        told[said] = told.get(said, 0) + 1  # two that were laid and graded alike are two
    return frozenset(
        hashlib.sha256(f"{on} {said} {n}".encode()).hexdigest()[:16] for said, many in told.items() for n in range(many)
    )
