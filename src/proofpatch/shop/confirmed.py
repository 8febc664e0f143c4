"""What a piece turned out to be, put on record after the fact, and what such records make of the survey's tests.

It settles no hazard and opens no beam; what burns, poisons or is not known here stands among the suspects of its job
from then on, and stays there when the record is taken back. What confirmed pieces teach is counted only while the
shop's memory is on, of the shop's own pieces, and never from a piece to itself; `survey/refit` says how far it may move
anything.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Any

from proofpatch.errors import InputError
from proofpatch.materials import substrate, substrate_ids
from proofpatch.shop.changes import WORDS
from proofpatch.shop.invented import invented_among
from proofpatch.shop.job import survey_from
from proofpatch.shop.job_tables import EVIDENCE
from proofpatch.shop.settings import settings_of
from proofpatch.shop.store import Entry, Store, of_job
from proofpatch.survey.evidence import TESTS
from proofpatch.survey.finishes import finishes, hazardous, names, words_of
from proofpatch.survey.moved import rows_of, summed
from proofpatch.survey.refit import NONE, Counts

SETTLES_NOTHING = (
    "It teaches the survey of the next piece and settles no hazard here. What burns or poisons, or is not known here, "
    "is suspected from then on, until the survey settles it."
)
KIND = "confirmed"
LABORATORY, SPOT, PAPER, CAME_OFF = "laboratory", "spot test", "paper", "seen"
HOW = {
    LABORATORY: "a laboratory record", SPOT: "a spot test that decides", PAPER: "the customer's paper",
    CAME_OFF: "seen when it came off",
}  # fmt: skip
LONGEST_WHO = 80
EARLIEST = 1970
Rows = tuple[tuple[str, str, str, float], ...]


@dataclass(frozen=True)
class Confirmed:
    """What a piece turned out to be.

    finish: id, or "unlisted". ground: id of a substrate, or "" where nobody looked. how: one of HOW; test: which spot
    test it was, "" otherwise. who says so; day: of the record or the test, as year-month-day.

    Raises:
        InputError: one of them is none.
    """

    finish: str
    how: str
    who: str
    day: str
    ground: str = ""
    test: str = ""

    def __post_init__(self) -> None:
        _one_of("finish", self.finish, names(), "No finish is named.", "Choose what it was, or something not listed.")
        if self.ground:
            _one_of("ground", self.ground, substrate_ids(), "", "")
        _one_of("how", self.how, tuple(HOW), "It is not said how it is known.", "Choose one of the four.")
        tests = tuple(key for key, about in TESTS.items() if about.values)
        if self.how == SPOT:
            _one_of("test", self.test, tests, "It is not said which test decided.", "Name the spot test.")
        elif self.test:
            raise InputError("test", "A test is named, but another way of knowing.", "Leave the test out.")
        if not self.who or len(self.who) > LONGEST_WHO or not self.who.isprintable():
            raise InputError("who", "It is not said who knows it.", f"Give a name of at most {LONGEST_WHO} characters.")
        try:
            date = datetime.date.fromisoformat(self.day)
        except ValueError:
            raise InputError("day", f"{self.day[:20]!r} is not a date.", "Write it like 2026-03-11.") from None
        if date > datetime.date.today() + datetime.timedelta(days=1) or date.year < EARLIEST:
            raise InputError("day", f"{self.day} lies ahead, or too far back.", "Give the day it was found.")
        object.__setattr__(self, "day", date.isoformat())

    @property
    def said(self) -> str:
        """In a sentence."""
        on = f" on {substrate(self.ground).title.lower()}" if self.ground else ""
        test = f", {TESTS[self.test].title.lower()}" if self.test else ""
        return f"It was {words_of(self.finish)}{on}: {HOW[self.how]}{test}, {self.day}."


def _one_of(field: str, said: str, known: tuple[str, ...], nothing: str, remedy: str) -> None:
    if not said:
        raise InputError(field, nothing, remedy)
    if said not in known:
        raise InputError(field, f"The {field} {said[:40]!r} is not known.", f"Known here: {', '.join(known)}.")


def confirmed_from(data: Mapping[str, Any]) -> Confirmed:
    """The record as it is kept or sent; a coating that is one finish alone stands for it.

    Raises:
        InputError: as `Confirmed`, or a value is no text.
    """
    said = {key: data.get(key, "") for key in ("finish", "how", "who", "day", "ground", "test")}
    for key, value in said.items():
        if not isinstance(value, str):
            raise InputError(key, f"{key} is not text.", "Write it in quotes.")
        said[key] = " ".join(value.split())
    alone = [key for key, one in finishes().items() if one.coating == said["finish"]]
    if said["finish"] not in names() and len(alone) == 1:
        said["finish"] = alone[0]
    return Confirmed(**said)


def confirmed_of(store: Store, job: str) -> Entry | None:
    """What is on record of a job, or None."""
    return next(iter(store.all(KIND, job, most=1)), None)


def taken_back(store: Store, job: str) -> Entry | None:
    """What was on record of a job and was taken back last, where nothing stands."""
    return None if confirmed_of(store, job) else next(iter(store.all(KIND, job, deleted=True, most=1)), None)


def confirm(store: Store, job: str, given: Mapping[str, Any], version: int, by: str = "") -> Entry:
    """What a piece turned out to be, on disk.

    Args:
        version: of the record it puts right; 0: nothing stands yet.

    Raises:
        InputError: as `Confirmed`, or the job is put away.
        Overtaken: somebody else put it on record, or took it back, meanwhile.
    """
    found = confirmed_from(given)
    with store.together():
        entry = store.get("job", job)
        if entry.deleted:
            raise InputError("job", "The job is put away.", "Bring it back first.")
        _suspect(store, entry, found.finish, by)
        now = confirmed_of(store, job)
        if now is None:
            return store.add(KIND, asdict(found), job, words_of(found.finish), by)
        return store.change(KIND, now.id, version, asdict(found), words_of(found.finish), by)


def _suspect(store: Store, entry: Entry, finish: str, by: str) -> None:
    """A hazardous finish among the suspects of the job, so that it stops what a suspect stops until it is settled."""
    suspects, said = _suspects(entry.data), _suspicion(finish)
    if said and said not in suspects:
        evidence = {**(entry.data.get(EVIDENCE) or {}), "suspect": [*suspects, said]}
        store.change("job", entry.id, entry.version, {**entry.data, EVIDENCE: evidence}, by=by)


def check_suspected(store: Store, job: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> None:
    """Refuses tables of a job that lift what stands confirmed; taken back it may be lifted.

    Args:
        before, after: the job's tables.

    Raises:
        InputError: it does.
    """
    now = confirmed_of(store, job)
    said = _suspicion(str(now.data["finish"])) if now is not None else ""
    if said and said in _suspects(before) and said not in _suspects(after):
        problem = "The job would no longer suspect what it was confirmed to be."
        raise InputError("job", problem, "Take back what it turned out to be first.")


def _suspects(data: Mapping[str, Any]) -> list[Any]:
    found = (data.get(EVIDENCE) or {}).get("suspect", [])
    return list(found) if isinstance(found, list) else [found]


def _suspicion(finish: str) -> str:
    """The suspect that a finish makes; empty where it is not hazardous."""
    row = finishes().get(finish)
    said = row.coating if row is not None and row.coating else words_of(finish)
    return said if dict(zip(names(), hazardous(), strict=True)).get(finish) else ""


def bring_back(store: Store, job: str, key: str, version: int, by: str = "") -> Entry:
    """A record that was taken back, standing again.

    Raises:
        InputError: it is none of this job's, or another stands meanwhile.
        Overtaken: it was brought back meanwhile.
    """
    with store.together():
        if of_job(store, KIND, key, job).deleted and confirmed_of(store, job) is not None:
            said = "Another record stands meanwhile."
            raise InputError(KIND, said, "Put that one right, or take it back first.")
        return store.restore(KIND, key, version, by)


def history_of(store: Store, job: str) -> list[dict[str, Any]]:
    """What was put on record of a job and taken back, the newest first: at, by, what, said."""
    found = [one for gone in (False, True) for one in store.all(KIND, job, deleted=gone)]
    rows = [(one.at, one.by, WORDS[one.what] if one.what != "made" else "put on record",
             confirmed_from(one.data).said) for each in found for one in store.history(KIND, each.id)]  # fmt: skip
    return [dict(zip(("at", "by", "what", "said"), row, strict=True)) for row in sorted(rows, reverse=True)]


def seen_of(store: Store, but: str | None = None) -> Counts:
    """How confirmed pieces answered the tests, where the shop uses its memory. but: the id of a job left out."""
    if not store.count(KIND) or not settings_of(store)[0].memory:
        return NONE
    return counts_of(store, but)


def counts_of(store: Store, but: str | None = None) -> Counts:
    """The same, whether memory is used or not."""
    return summed([rows for job, rows in _taught(store, store.state(KIND, "job")) if job != but])


@lru_cache(maxsize=4)
def _taught(store: Store, state: tuple[int, int, str]) -> tuple[tuple[str, Rows], ...]:
    """(job, what it adds to the counts) of every live confirmed piece of the shop's own."""
    kept = {one.job: one for one in store.in_order(KIND) if one.job is not None}
    made_up = invented_among(store, list(kept))
    found = []
    for job, one in kept.items():
        entry = store.get("job", job)
        if not entry.deleted and job not in made_up:
            found.append((job, _rows(entry, one)))
    return tuple(found)


def _rows(entry: Entry, kept: Entry) -> Rows:
    """What one piece adds; nothing where it was described and not tested, or cannot be read."""
    try:
        surface = entry.data.get("surface", {})
        survey = survey_from(entry.data.get(EVIDENCE), entry.data.get("job", {}), surface.get("substrate"))
        said = confirmed_from(kept.data)
    except InputError:
        return ()
    return tuple(rows_of(survey, said.finish, said.test)) if survey is not None else ()
