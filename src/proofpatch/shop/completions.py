"""Completion records of a job: gathered from the store, frozen with their PDF in versions, and signed.

Of kind "record" are two things: a version {"record", "fingerprint", "day", "at", "paper", "pdf"}, and what was signed
under one {"signs": id of the version, "fingerprint", name, day, at, ticked, signature, option, "pdf"}.
"""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from proofpatch.errors import InputError
from proofpatch.learn.belief import Belief
from proofpatch.offer.quote import Quote
from proofpatch.shop.charges import priced_job
from proofpatch.shop.days import days_of
from proofpatch.shop.finished import Logged, finished
from proofpatch.shop.invented import on_paper
from proofpatch.shop.job import Job
from proofpatch.shop.kept_pairs import laid, pairs_of
from proofpatch.shop.log import stamp
from proofpatch.shop.offered import paper_of
from proofpatch.shop.pair_words import pair_words
from proofpatch.shop.papers import Signed, acceptances, keep_pdf, quotes_of, signed_from
from proofpatch.shop.people import item_of
from proofpatch.shop.run import entries_of
from proofpatch.shop.store import Entry, Store

KIND = "record"
DATED = ("day", "version")  # of a record: what a new version may have otherwise and still say the same
MOST_LINES, LONGEST_LINE = 12, 300
Record = Mapping[str, Any]


@dataclass(frozen=True)
class Written:
    """A version as it was handed out. signed: what was signed under it, None: nobody yet; paper: its entry."""

    entry: Entry
    signed: Signed | None
    paper: Entry | None

    @property
    def record(self) -> Record:
        """What it says."""
        found: Record = self.entry.data["record"]
        return found

    @property
    def version(self) -> int:
        """From 1."""
        return int(self.record["version"])


def record_of(
    store: Store, entry: Entry, work: Job, passes: int = 1, belief: Belief | None = None,
    air: Mapping[str, Any] | None = None, day: datetime.date | None = None,
) -> dict[str, Any]:  # fmt: skip
    """The record of a job of the store as it would be written now.

    Args:
        work: the job. passes: of its recipe. belief, air: as `finished`. day: of the record; None: today.

    Raises:
        InputError: a part of the job that cannot be read.
    """
    agreed, quote = agreed_of(store, entry.id)
    patches = store.in_order("patch", entry.id)
    laid = {one.id for one in patches}
    days = [{**one.data, "controls": [key for key in one.data["controls"] if key in laid]}
            for one in days_of(store, entry.id)]  # fmt: skip
    controls = {key for day in days for key in day["controls"]}
    logged = Logged(
        [one.data for one in entries_of(store, entry.id)], days,
        [pair_record(store, one) for one in pairs_of(store, entry.id)], agreed, passes,
        [one.data for one in patches if one.id not in controls],
    )  # fmt: skip
    return {**_headed(store, entry, quote, day), **finished(work, logged, belief, air)}


def agreed_of(store: Store, job: str) -> tuple[dict[str, Any] | None, Quote | None]:
    """(what was agreed, None: nothing in writing; the newest quote that was sent, accepted if one was)."""
    sent, signed = quotes_of(store, job), acceptances(store, job)
    samples = [
        {key: one.data[key] for key in ("number", "patch", "approved", "day", "name")}
        for one in store.in_order("approval", job)
    ]
    one = next((one for one in reversed(sent) if one.entry.id in signed), None)
    if one is None:
        return None, sent[-1].quote if sent else None
    took, quote = signed_from(signed[one.entry.id].data), one.quote
    return {
        "number": quote.number, "version": quote.version, "by": took.name, "day": took.day.isoformat(),
        "option": took.option, "fingerprint": one.sent.fingerprint, "scope": list(quote.scope),
        "finish": list(quote.finish), "sample": quote.sample, "unchanged": list(quote.unchanged), "samples": samples,
    }, quote  # fmt: skip


def pair_record(store: Store, one: Entry) -> dict[str, Any]:
    """What a pair of photos shows: its figures, and the sentences of the page of before and after."""
    data = one.data
    photos = {photo.data["digest"]: photo for photo in store.in_order("photo", one.job)}
    taken = [photos[data[name]].created.isoformat() if data[name] in photos else None for name in ("before", "after")]
    found: dict[str, Any] = {"before": data["before"], "after": data["after"], "about": data["about"], "taken": taken}
    found |= {name: data[name] for name in ("places", "ends", "length_m")}
    nothing = dict.fromkeys(("share", "area_m2", "area_error", "tone", "rest"))
    try:
        pair, error = laid(store, data)
    except InputError as trouble:
        return {**found, **nothing, "laid": False, "lines": [str(trouble)]}
    tone = pair.tone
    return {
        **found, "laid": pair.before is not None, "share": pair.share, "area_m2": pair.area, "area_error": error,
        "rest": pair.rest, "tone": None if tone is None else {
            "change": tone.change, "error": tone.error, "darker": tone.darker, "yellower": tone.yellower,
        },
        "lines": pair_words(pair, error) if pair.before is not None else [pair.because],
    }  # fmt: skip


def _headed(store: Store, entry: Entry, quote: Quote | None, day: datetime.date | None) -> dict[str, Any]:
    """Who it is from and for, its number and its day."""
    own = written(store, entry.id)
    day = day or datetime.date.today()
    if quote is not None:
        shop, customer, site, locale = quote.shop, quote.customer, quote.site, quote.locale
    else:
        paper = paper_of(priced_job(store, entry))
        shop, customer, site, locale = paper.shop, paper.customer, paper.site, paper.locale
    return {
        "number": own[-1].record["number"] if own else _next_number(store, quote, day),
        "version": len(own) + 1, "day": day.isoformat(), "title": on_paper(store, entry),
        "wanted": item_of(store, entry.id).wanted, "shop": shop.record(), "customer": customer.record(), "site": site,
        "locale": locale,
    }  # fmt: skip


def _next_number(store: Store, quote: Quote | None, day: datetime.date) -> str:
    """The number of a job's record: its quote's with another letter in front, else the year's next."""
    taken = {number for _, number in store.told(KIND, "record.number")}
    if quote is not None:
        base = f"C-{quote.number.removeprefix('Q-')}"
        if base not in taken:
            return base
    count = 1
    while f"C-{day.year}-{count:03d}" in taken:
        count += 1
    return f"C-{day.year}-{count:03d}"


def with_words(record: Record, remarks: list[str], still_open: list[str]) -> dict[str, Any]:
    """A record with what is said of it by hand: remarks, and more open points.

    Raises:
        InputError: a line is too long, or there are too many.
    """
    for field, lines in (("remarks", remarks), ("open", still_open)):
        if len(lines) > MOST_LINES or any(len(one) > LONGEST_LINE or not one.isprintable() for one in lines):
            raise InputError(field, f"Give at most {MOST_LINES} lines of {LONGEST_LINE} characters.", "Shorten it.")
    return {**record, "remarks": remarks, "open": [*record["open"], *still_open], "said_open": len(still_open)}


def fingerprint(record: Record) -> str:
    """SHA-256 of all that a record says, in groups to read out."""
    plain = json.dumps(record, sort_keys=True, ensure_ascii=False, allow_nan=False)
    digest = hashlib.sha256(plain.encode()).hexdigest()
    return " ".join(digest[i : i + 8] for i in range(0, 64, 8))


def written(store: Store, job: str) -> list[Written]:
    """The versions of a job's record, the first first.

    Raises:
        InputError: one of them is no longer what was written.
    """
    entries = store.in_order(KIND, job)
    signed = {one.data["signs"]: one for one in entries if "signs" in one.data}
    found = []
    for one in sorted((one for one in entries if "record" in one.data), key=lambda one: one.data["record"]["version"]):
        if fingerprint(one.data["record"]) != one.data["fingerprint"]:
            raise InputError(KIND, "A kept record is not what was written.", "Bring the shop back from a copy.")
        paper = signed.get(one.id)
        found.append(Written(one, signed_from(paper.data) if paper else None, paper))
    return found


def says_the_same(old: Record, new: Record) -> bool:
    """Whether a new version would say nothing else."""
    return all(old.get(key) == new.get(key) for key in {*old, *new} - set(DATED))


def keep_record(store: Store, job: str, record: Record, paper: str, pdf: bytes) -> Entry:
    """A record as it is handed out, frozen on disk with its PDF.

    Raises:
        InputError: another version was written meanwhile, or nothing changed since the last.
    """
    with store.together():
        own = written(store, job)
        if record["version"] != len(own) + 1:
            raise InputError(KIND, f"Version {len(own)} was written meanwhile.", "Look at it, then write the next one.")
        if own and says_the_same(own[-1].record, record):
            raise InputError(KIND, "Nothing changed since the last version.", "Hand that one out.")
        kept = keep_pdf(store, job, pdf, f"Completion record {record['number']}, version {record['version']}")
        data = {"record": record, "fingerprint": fingerprint(record), "day": record["day"], "at": stamp(),
                "paper": paper, "pdf": kept.id}  # fmt: skip
        return store.add(KIND, data, job, f"Completion record {record['number']}, version {record['version']}")


def take_signature(store: Store, one: Written, signed: Signed, pdf: bytes) -> Entry:
    """A signature under a record, kept with the signed paper.

    Raises:
        InputError: a later version was written, or it was signed before.
    """
    job = one.entry.job or ""
    with store.together():
        own = written(store, job)
        if own[-1].entry.id != one.entry.id:
            raise InputError(KIND, f"Version {own[-1].version} was written since.", "Have that one signed.")
        if own[-1].signed is not None:
            raise InputError(KIND, "This version was signed before.", "Look at it.")
        name = f"Completion record {one.record['number']}, version {one.version}, signed"
        kept = keep_pdf(store, job, pdf, name)
        data = {"signs": one.entry.id, "fingerprint": one.entry.data["fingerprint"], **signed.record(), "pdf": kept.id}
        return store.add(KIND, data, job, f"Signed by {signed.name}")


def record_standing(store: Store, job: str) -> str:
    """How the record of a job stands, in a few words; empty where none was written."""
    own = written(store, job)
    if not own:
        return ""
    last = own[-1]
    return f"signed by {last.signed.name}" if last.signed else f"version {last.version}, to be signed"
