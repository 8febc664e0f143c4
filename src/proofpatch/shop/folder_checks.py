"""Whether records that came from outside are such as a shop itself would have kept."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Container, Mapping, Sequence
from typing import Any

from proofpatch.errors import InputError
from proofpatch.offer.quote import quote_from
from proofpatch.shop.completions import fingerprint
from proofpatch.shop.folder import DIGEST, SHARED, named_of, names_of
from proofpatch.shop.folder_shapes import built, number
from proofpatch.shop.log import graded_from, setting_from
from proofpatch.shop.papers import signed_from
from proofpatch.shop.refers import Known, references
from proofpatch.shop.run import MOST_PIECES, checked_entry
from proofpatch.shop.store import LONGEST_BY, LONGEST_TITLE, plain
from proofpatch.shop.tables import KINDS

ID = re.compile(r"[0-9a-f]{32}")
KEYS = {"id", "kind", "job", "version", "title", "created", "changed", "by", "deleted", "data", "history"}
PAST_KEYS = {"version", "what", "at", "by", "data"}
STEPS = ("changed", "deleted", "restored")
ASIDE = "aside"
MOST_VERSIONS = 10**9
MOST_COATS = 20
OF_THE_SHOP = ("shop", "prices", "lot", "lent")  # what it says of itself and what it asks: no folder of a job has it
YEARS = range(1970, 2200)  # of its times; what is further off breaks reckoning with days


def _run(data: Any) -> None:
    if checked_entry(data, MOST_PIECES, MOST_COATS) != data:
        raise KeyError("what it says")


def _day(data: Any) -> None:
    date, checks, controls = data["date"], data["checks"], data["controls"]
    if datetime.date.fromisoformat(date).isoformat() != date or not _ids(controls):
        raise KeyError("date")
    for one in checks.values():
        fine = one["ok"] in (True, False, None) and isinstance(one["words"], str) and is_time(one["at"])
        if not fine or not (one["value"] is None or number(one["value"])):
            raise KeyError("checks")


def _pair(data: Any) -> None:
    points = [*data["places"], *data["ends"]]
    length = data["length_m"]
    fine = all(isinstance(data[name], str) for name in ("before", "after", "about"))
    if not fine or not all(len(one) == 2 and number(one[0]) and number(one[1]) for one in points):
        raise KeyError("places")
    if not (length is None or number(length)):
        raise KeyError("length_m")


def _record(data: Any) -> None:
    if "signs" in data:
        signed_from(data)
    elif fingerprint(data["record"]) != data["fingerprint"] or not isinstance(data["record"]["version"], int):
        raise KeyError("record")


def _recipe(data: Any) -> None:
    setting_from(data["record"]["setting"])
    if not _ids(data["patches"]):
        raise KeyError("patches")


def _photo(data: Any) -> None:
    if not DIGEST.fullmatch(data["digest"]) or not isinstance(data.get("about", ""), str):
        raise KeyError("digest")


def _ids(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(one, str) for one in value)


# What pages read of a kind without asking again.
READERS: Mapping[str, Callable[[Any], Any]] = {
    "patch": graded_from, "quote": lambda data: quote_from(data["quote"]), "run": _run, "day": _day, "pair": _pair,
    "record": _record, "recipe": _recipe, "photo": _photo,
}  # fmt: skip


def check_things(job: str, things: Sequence[Mapping[str, Any]], pictures: Container[str] = ()) -> None:
    """Refuses records that contradict themselves or each other, or belong to no such job.

    Args:
        job: id of the job they are of. things: as `folder.Folder` has them. pictures: digests of its photos.

    Raises:
        InputError: one of them, named by its kind.
    """
    for one in things:
        why = _wrong(job, one)
        if why:
            raise _refused(str(one.get("kind"))[:20], why)
    ids = [one["id"] for one in things]
    if len(set(ids)) < len(ids):
        raise _refused("record", "it is there twice")
    if [one["id"] for one in things if one["kind"] == "job"] != [job]:
        raise _refused("job", "a folder is of one job")
    for one in things:
        try:
            READERS.get(one["kind"], len)(one["data"])
            read = built(one["kind"], one["title"], one["data"])
        except (InputError, KeyError, TypeError, ValueError, AttributeError, ArithmeticError):
            read = False
        if not read or not all(built(one["kind"], one["title"], past["data"]) for past in one["history"]):
            raise _refused(one["kind"], "it cannot be read as one")
    named = named_of(things)
    for one in things:
        if one["kind"] in SHARED and not names_of(one["id"], one["kind"], one["data"]) & named:
            raise _refused(one["kind"], "the job does not name it")
    known = {one["id"]: Known(one["kind"], one["job"], one["title"], one["deleted"] is not None) for one in things}
    for trouble in references([(one["id"], one["data"]) for one in things], known, pictures):
        raise InputError("file", trouble.said, "Take the folder from a copy.")


def _refused(kind: str, why: str) -> InputError:
    return InputError("file", f"A {kind} in the folder cannot be used: {why}.", "Take the folder from a copy.")


def _wrong(job: str, one: Mapping[str, Any]) -> str:
    """What is wrong with a record, in words; empty where nothing is."""
    kind, history = one.get("kind"), one.get("history")
    if set(one) != KEYS or kind not in KINDS or kind in OF_THE_SHOP:
        return "its parts are not those of a record"
    if not isinstance(one["id"], str) or not ID.fullmatch(one["id"]):
        return "its id is not one of a shop"
    if one["job"] != (None if kind in ("job", *SHARED) else job):
        return "it belongs to another job"
    if not _line(one["title"], LONGEST_TITLE) or not _line(one["by"], LONGEST_BY):
        return "its title is no line of text"
    if not (
        is_time(one["created"]) and is_time(one["changed"]) and (one["deleted"] is None or is_time(one["deleted"]))
    ):
        return "its times cannot be read"
    if not isinstance(history, list) or not history or not _data(one["data"]):
        return "its data are no record"
    return _wrong_history(one, history)


def _wrong_history(one: Mapping[str, Any], history: Sequence[Any]) -> str:
    """The same of its history: made, then a step a version, and what it says now is what its last step says."""
    version, deleted = 0, False
    last: Any = None
    for past in history:
        if not isinstance(past, dict) or set(past) != PAST_KEYS or not is_time(past["at"]) or not _data(past["data"]):
            return "its history cannot be read"
        if not _line(past["by"], LONGEST_BY) or not isinstance(past["what"], str):
            return "its history cannot be read"
        if past["what"] == ASIDE:
            if past["version"] != version:
                return "its versions do not follow each other"
            continue
        version += 1
        if past["version"] != version or past["what"] not in (STEPS if version > 1 else ("made",)):
            return "its versions do not follow each other"
        deleted, last = past["what"] == "deleted" or (deleted and past["what"] != "restored"), past["data"]
    if one["version"] != version or isinstance(one["version"], bool) or version > MOST_VERSIONS:
        return "its versions do not follow each other"
    if last != one["data"] or deleted != (one["deleted"] is not None):
        return "what it says is not what its history says"
    return ""


def _data(value: Any) -> bool:
    try:
        return isinstance(value, dict) and bool(plain(value) == value)
    except (InputError, RecursionError):
        return False


def _line(value: Any, most: int) -> bool:
    return isinstance(value, str) and len(value) <= most and value.isprintable()


def is_time(value: Any) -> bool:
    """Whether it is a moment with its zone, as a folder writes them."""
    try:
        at = datetime.datetime.fromisoformat(value) if isinstance(value, str) else None
        return at is not None and at.tzinfo is not None and at.year in YEARS
    except ValueError:
        return False
