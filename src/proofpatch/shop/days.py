"""The days of a job: what was looked at on each, and its control patches.

A "day" is one a job and calendar day; its answers change as checks are answered.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from typing import Any

from proofpatch.errors import InputError
from proofpatch.run.day import read_answer
from proofpatch.run.piece import Piece
from proofpatch.shop.run import LONGEST_WORDS, text_of, time_of
from proofpatch.shop.store import Entry, Store

DAY = "day"


def day_of(store: Store, job: str, date: datetime.date | str) -> Entry | None:
    """The day of a job; None before its first answer. Of two made at once the older holds."""
    said = date if isinstance(date, str) else date.isoformat()
    return next((one for one in store.in_order(DAY, job) if one.data["date"] == said), None)


def days_of(store: Store, job: str) -> list[Entry]:
    """The days of a job by date."""
    return sorted(store.in_order(DAY, job), key=lambda one: str(one.data["date"]))


def answer_check(
    store: Store, job: str, date: datetime.date, piece: Piece, name: str, ok: Any, value: Any = None, words: Any = "",
    at: Any = None, by: str = "",
) -> Entry:  # fmt: skip
    """The day with one check answered anew, on disk; other answers of that day stay, whoever else writes.

    Raises:
        InputError: as `read_answer`, or words or a time that are none.
    """
    answer = read_answer(piece, name, ok, value)
    answer |= {"words": text_of("words", words, LONGEST_WORDS), "at": time_of(at)}
    return _day_with(store, job, date, by, lambda data: {**data, "checks": {**data["checks"], name: answer}})


def add_control(store: Store, job: str, date: datetime.date, patch: str, by: str = "") -> Entry:
    """The day with one more control patch; the same again is the same.

    Raises:
        InputError: there is no such patch in this job.
    """
    if store.get("patch", patch).job != job:
        raise InputError("patch", "There is no such patch in this job.", "Look it up in the job.")
    return _day_with(
        store, job, date, by, lambda data: {**data, "controls": list(dict.fromkeys([*data["controls"], patch]))}
    )


def _day_with(
    store: Store, job: str, date: datetime.date, by: str, changed: Callable[[Mapping[str, Any]], Mapping[str, Any]]
) -> Entry:
    """The day after a change of part of it, read and written in one; so two devices that answer at once both count."""
    with store.together():
        found = day_of(store, job, date)
        if found is None:
            first = {"date": date.isoformat(), "checks": {}, "controls": []}
            return store.add(DAY, changed(first), job, date.isoformat(), by)
        return store.change(DAY, found.id, found.version, changed(found.data), by=by)
