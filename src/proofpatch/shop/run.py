"""The run of a job: what was done, entry by entry, and where each zone stands.

A "run" is one thing that happened; it is made once and never overwritten, only taken back (`store.delete`) and brought
back.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from proofpatch.errors import InputError
from proofpatch.learn.evidence import HARMS, RESIDUES, Graded
from proofpatch.physics.setting import MOST_PASSES
from proofpatch.run.ahead import Ahead, ahead
from proofpatch.run.stops import STOP, sign
from proofpatch.shop.log import checked_graded, graded_to, setting_from, setting_to
from proofpatch.shop.steady import steadied
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.values import nearest, plain_number
from proofpatch.units import quoted

RUN = "run"
BEGIN, END, CHECK, INCIDENT, NOTE = "begin", "end", "check", "incident", "note"
WHATS = (BEGIN, END, CHECK, INCIDENT, NOTE)
KEYS = (
    "what", "zone", "piece", "at", "setting", "passes", "seconds", "residue", "harm", "fraction_left", "wiped",
    "photos", "words", "sign", "grader",
)  # fmt: skip
LONGEST_WORDS, LONGEST_NAME, MOST_PHOTOS, MOST_PIECES = 2000, 80, 24, 10_000
YEARS = (2000, 2200)  # of a time; another is a wrong clock, and some have no local time
LONGEST_BEAM = 1e5  # s, of one entry
TO_DO, BEGUN, DONE, STOPPED = "to do", "begun", "done", "stopped"


def checked_entry(data: Any, zones: int, layers: int = 1) -> dict[str, Any]:
    """What happened, whole and fit to keep.

    Args:
        data: the keys of KEYS; what is left out is not said. zones: how many the job counts. layers: of the surface.

    Raises:
        InputError: a key is unknown, or a value is none; `field` is the key.
    """
    if not isinstance(data, Mapping):
        raise InputError("entry", "This is no entry of the run.", "Give what happened.")
    for key in data:
        if key not in KEYS:
            raise InputError(quoted(key)[1:-1], f"The key {quoted(key)} is not known.", nearest(str(key), KEYS))
    what = data.get("what")
    if what not in WHATS:
        raise InputError("what", f"What happened, {quoted(what)}, is not known.", f"Use one of: {', '.join(WHATS)}.")
    found: dict[str, Any] = {
        "what": what,
        "zone": _whole("zone", data.get("zone"), 1, zones),
        "piece": _whole("piece", data.get("piece"), 1, MOST_PIECES),
        "at": time_of(data.get("at")),
        "setting": None if data.get("setting") is None else setting_to(setting_from(data["setting"])),
        "passes": _whole("passes", data.get("passes"), 0, MOST_PASSES),
        "seconds": _number("seconds", data.get("seconds"), LONGEST_BEAM),
        "residue": _grade("residue", data.get("residue"), RESIDUES),
        "harm": _grade("harm", data.get("harm"), HARMS),
        "fraction_left": _number("fraction_left", data.get("fraction_left"), 1.0),
        "wiped": data.get("wiped", False),
        "photos": _photos(data.get("photos", [])),
        "words": text_of("words", data.get("words", ""), LONGEST_WORDS),
        "sign": None if data.get("sign") is None else sign(data["sign"]).name,
        "grader": text_of("grader", data.get("grader", ""), LONGEST_NAME),
    }
    _fits(found, layers)
    return found


def _fits(found: Mapping[str, Any], layers: int) -> None:
    """What an entry of its kind needs, and what contradicts itself."""
    what = found["what"]
    if not isinstance(found["wiped"], bool):
        raise InputError("wiped", "wiped is neither true nor false.", "Write true or false.")
    if what in (BEGIN, END) and found["zone"] is None:
        raise InputError("zone", "It does not say which zone.", "Choose one.")
    if what == CHECK and found["residue"] is None and found["harm"] is None and not found["photos"]:
        raise InputError("residue", "The check says nothing of the surface.", "Grade it, or add a photo.")
    if what == NOTE and not found["words"] and not found["photos"]:
        raise InputError("words", "The note is empty.", "Write a word, or add a photo.")
    if what != INCIDENT and found["sign"] is not None:
        raise InputError("sign", "Only an incident has a sign.", "Make it an incident.")
    if found["fraction_left"] is not None and found["residue"] is None:
        raise InputError("residue", "A fraction left was measured, and no grade given.", "Give the grade too.")
    if found["residue"] is not None and found["harm"] is not None and found["setting"] is not None:
        _graded(found, layers)


def _whole(field: str, value: Any, low: int, high: int) -> int | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        within = f"a whole number from {low} to {high}" if high >= low else "any of this job: it has none"
        raise InputError(field, f"The {field} {quoted(value)} is not {within}.", "Check it.")
    return value


def _number(field: str, value: Any, most: float) -> float | None:
    if value is None:
        return None
    number = plain_number(field, value, f"The value of {field}")
    if not (math.isfinite(number) and 0.0 <= number <= most):
        raise InputError(field, f"The value of {field} is not from 0 to {most:g}.", "Check the value and its unit.")
    return number


def _grade(field: str, value: Any, grades: Sequence[str]) -> str | None:
    if value is None:
        return None
    if value not in grades:
        raise InputError(field, f"The {field} grade {quoted(value)} is not known.", f"Use one of: {', '.join(grades)}.")
    return str(value)


def time_of(value: Any) -> str:
    """ISO time with its zone, as it was written."""
    try:
        at = datetime.datetime.fromisoformat(value) if isinstance(value, str) and len(value) <= 40 else None
    except ValueError:
        at = None
    if at is None or at.tzinfo is None or not YEARS[0] <= at.year <= YEARS[1]:
        raise InputError("at", f"{quoted(value)} is no time.", "Write it like 2026-03-02T09:15:00+01:00.")
    return at.isoformat()


def _photos(value: Any) -> list[str]:
    if not isinstance(value, (list, tuple)) or len(value) > MOST_PHOTOS:
        raise InputError("photos", f"The photos are not a list of at most {MOST_PHOTOS}.", "Take some away.")
    for one in value:
        if not isinstance(one, str) or len(one) != 64 or set(one) - set("0123456789abcdef"):
            raise InputError("photos", f"The photo {quoted(one)} is named by no digest.", "Take it anew.")
    return list(dict.fromkeys(value))


def text_of(field: str, value: Any, most: int) -> str:
    if not isinstance(value, str) or len(value) > most:
        raise InputError(field, f"The {field} are not text of at most {most} characters.", "Shorten it.")
    if any(not (c.isprintable() or c in "\n\t") for c in value):
        raise InputError(field, f"The {field} hold a character that cannot be shown.", "Write it anew.")
    return value.strip()


def add_entry(store: Store, job: str, data: Any, zones: int, layers: int = 1, by: str = "") -> Entry:
    """One more entry, on disk. Sent by a phone, it is wrapped in `store.together(sent)` by its caller.

    Its photos may come after it: a phone sends them as the network allows.

    Raises:
        InputError: as `checked_entry`.
    """
    found = checked_entry(data, zones, layers)
    where = f" zone {found['zone']}" if found["zone"] else ""
    return store.add(RUN, found, job, f"{found['what']}{where}", by or found["grader"])


def entries_of(store: Store, job: str, deleted: bool = False) -> list[Entry]:
    """The entries of a job by the time they happened, those of one moment in the order they came in."""
    rows = store.in_order(RUN, job, deleted=deleted)
    when = steadied([(one.created, _when(one.data)) for one in rows])
    return [one for _, one in sorted(zip(when, rows, strict=True), key=lambda pair: pair[0])]


def check_piece(piece: int | None, pieces: int) -> None:
    """Refuses a piece that the batch has not got.

    Raises:
        InputError: it has fewer.
    """
    if piece is not None and piece > pieces:
        raise InputError("piece", f"There is no piece {piece}: the batch has {pieces}.", "Count them again.")


def check_zones(store: Store, job: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> None:
    """Refuses zones that would give what was done in one to another: the run names them by number.

    Args:
        before, after: the job's tables. More zones may follow, and any may be described anew in its place.

    Raises:
        InputError: a zone of the run would be gone, or stand elsewhere.
    """
    last = max((one.data["zone"] or 0 for one in store.in_order(RUN, job)), default=0)
    old, new = (zones if isinstance(zones, list) else [] for zones in (before.get("zones"), after.get("zones")))
    was, now = ([_name_of(one) for one in zones[:last]] for zones in (old, new))
    if len(new) < min(last, len(old)) or (now != was and (len(new) < len(old) or sorted(now) == sorted(was))):
        said = f"The run has entries up to zone {last}, and names zones by their number."
        raise InputError("zones", said, "Set its area anew, or mark it as untouched, instead of taking it out.")


def _name_of(zone: Any) -> str:
    return str(zone.get("name", "")) if isinstance(zone, Mapping) else ""


def _when(data: Mapping[str, Any]) -> datetime.datetime:
    return datetime.datetime.fromisoformat(str(data["at"]))


@dataclass(frozen=True)
class Standing:
    """Where one zone stands. minutes: worked, from begin to end, an open one until `now`. passes: laid, as said at
    each end. grade: (residue, harm) of its last check, or None: not measured. open_since: of a begun one.
    """

    zone: int
    state: str
    minutes: float = 0.0
    passes: int = 0
    grade: tuple[str | None, str | None] | None = None
    open_since: datetime.datetime | None = None


def state_of(
    entries: Iterable[Entry | Mapping[str, Any]], zones: int, passes: int = 1, now: datetime.datetime | None = None
) -> tuple[Standing, ...]:
    """Where each zone stands, by number.

    A zone is begun by its first "begin" and done once its ends bring the passes laid to those of the recipe; an end
    that names none laid all. An incident in it stops it, and so does harm graded in it, until it is begun again; one
    that names no zone stops all that are begun. A sign that only asks for a pause does not.

    Args:
        entries: of `entries_of`, or their data. passes: of the recipe. now: for a zone that is open; None: only what
            is closed counts.
    """
    found = [Standing(number, TO_DO) for number in range(1, zones + 1)]
    rows = [one.data if isinstance(one, Entry) else one for one in entries]
    for data in rows:
        number = data.get("zone")
        if number is None and data["what"] == INCIDENT:
            found = [_after(one, data, passes) if one.state == BEGUN else one for one in found]
        elif number is not None and 1 <= number <= zones:
            found[number - 1] = _after(found[number - 1], data, passes)
    if now is not None:
        found = [_open_until(one, now) for one in found]
    return tuple(found)


def _after(one: Standing, data: Mapping[str, Any], passes: int) -> Standing:
    """The standing of a zone after one more entry."""
    at, what = _when(data), data["what"]
    harmed = data.get("harm") not in (None, "none")
    if data.get("residue") is not None or data.get("harm") is not None:
        one = replace(one, grade=(data.get("residue"), data.get("harm")))
    if what == BEGIN:
        # Begun twice without an end: its time runs from the first.
        return replace(one, state=BEGUN, open_since=one.open_since or at)
    stops = harmed or (what == INCIDENT and _stops(data))
    if what == END or stops:
        one = replace(_open_until(one, at), open_since=None)
    if what == END:
        laid = one.passes + (passes if data.get("passes") is None else data["passes"])
        state = one.state if one.state == STOPPED else DONE if laid >= passes else BEGUN
        one = replace(one, passes=laid, state=state)
    return replace(one, state=STOPPED) if stops else one


def _stops(incident: Mapping[str, Any]) -> bool:
    """Whether an incident stops the zone: one without a sign does."""
    return incident.get("sign") is None or sign(incident["sign"]).level == STOP


def _open_until(one: Standing, now: datetime.datetime) -> Standing:
    if one.open_since is None:
        return one
    return replace(one, minutes=one.minutes + max((now - one.open_since).total_seconds(), 0.0) / 60.0)


def of_piece(entries: Iterable[Entry | Mapping[str, Any]], piece: int) -> list[Mapping[str, Any]]:
    """The data of what was done to one piece of a batch; what names none was done to the only one, or to all."""
    rows = [one.data if isinstance(one, Entry) else one for one in entries]
    return [data for data in rows if data.get("piece") in (None, piece)]


def state_of_batch(
    entries: Sequence[Entry | Mapping[str, Any]], zones: int, pieces: int, passes: int = 1
) -> tuple[tuple[Standing, ...], tuple[int, ...]]:
    """(where each zone stands over all equal pieces; on how many pieces it is done), by number of the zone.

    Done is what is done on every piece. Minutes are those of all, passes those of the piece that had most.
    """
    each = [state_of(of_piece(entries, piece), zones, passes) for piece in range(1, pieces + 1)]
    found, done = [], []
    for of_zone in zip(*each, strict=True):
        states = {one.state for one in of_zone}
        state = STOPPED if STOPPED in states else states.pop() if len(states) == 1 else BEGUN
        found.append(Standing(of_zone[0].zone, state, sum(one.minutes for one in of_zone),
                              max(one.passes for one in of_zone)))  # fmt: skip
        done.append(sum(one.state == DONE for one in of_zone))
    return tuple(found), tuple(done)


def checks_of_batch(entries: Iterable[Entry | Mapping[str, Any]]) -> dict[int, bool]:
    """{number of the piece: whether its last grade was clean, without harm}, for `run.batch.batch`."""
    rows = [one.data if isinstance(one, Entry) else one for one in entries]
    found = {}
    for data in rows:
        if data["what"] == CHECK and data.get("piece") is not None and data.get("residue") is not None:
            found[data["piece"]] = data["residue"] == RESIDUES[-1] and data.get("harm") in (None, "none")
    return found


def left_of(
    seconds: Any, worked: Sequence[int], entries: Sequence[Entry | Mapping[str, Any]], passes: int, pieces: int = 1,
    now: datetime.datetime | None = None,
) -> Ahead:  # fmt: skip
    """What is left of the work at the zones, from the minutes really needed so far.

    Args:
        seconds: (zones, samples) of `offer.hours.zone_seconds`, for all pieces. worked: the number, as the job counts
            them, of the zone of each row. passes: of the recipe. pieces: in the batch. now: the time.
    """
    shares, taken = [0.0] * len(worked), [0.0] * len(worked)
    open_row, elapsed = None, 0.0
    rows = [one.data if isinstance(one, Entry) else one for one in entries]
    numbers = sorted({int(data["piece"]) for data in rows if data.get("piece") is not None}) or [1]
    for piece in numbers[:pieces]:
        standings = state_of(of_piece(rows, piece), max(worked, default=0), passes)
        for row, zone in enumerate(worked):
            one = standings[zone - 1]
            done = 1.0 if one.state == DONE else min(one.passes / passes, 1.0)
            shares[row] += done / pieces
            taken[row] += one.minutes * 60.0 if done else 0.0
            if one.open_since is not None and now is not None:
                open_row, elapsed = row, max((now - one.open_since).total_seconds(), 0.0)
    return ahead(seconds, [min(one, 1.0) for one in shares], taken, open_row, elapsed, now)


def evidence_of(entries: Iterable[Entry | Mapping[str, Any]], layers: int = 1) -> list[dict[str, Any]]:
    """Lines of the patch log of what was graded with its setting: they teach the belief as patches do.

    A zone that came clean without harm is taken for one patch that did: less than it says, and on the careful side. It
    was judged so long after the last end of that zone, and at once where the log has none or it was begun again.

    Args:
        entries: of `entries_of`, or their data. layers: of the surface; all of them are judged.
    """
    rows = [one.data if isinstance(one, Entry) else one for one in entries]
    laid: dict[tuple[Any, Any], datetime.datetime] = {}
    lines = []
    for data in rows:
        place = data.get("zone"), data.get("piece")
        if None not in (data.get("setting"), data.get("residue"), data.get("harm")):
            waited = max((_when(data) - laid.get(place, _when(data))).total_seconds(), 0.0)
            lines.append(graded_to(_graded(data, layers, waited), data["at"]))
        if data["what"] == END:
            laid[place] = _when(data)
        elif data["what"] == BEGIN:
            laid.pop(place, None)
    return lines


def _graded(data: Mapping[str, Any], layers: int, waited: float = 0.0) -> Graded:
    setting = setting_from(data["setting"])
    if data.get("passes"):
        setting = setting.with_(passes=data["passes"])
    values: dict[str, Any] = {"residue": data["residue"], "harm": data["harm"], "layer": layers - 1,
                              "wiped": data["wiped"], "grader": data["grader"] or None, "waited": waited}  # fmt: skip
    if data.get("fraction_left") is not None:
        values["fraction_left"] = data["fraction_left"]
    return checked_graded(setting, values, layers)
