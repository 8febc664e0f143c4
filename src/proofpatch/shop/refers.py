"""What the things of a shop say of each other, and whether it is there: of the same job, as it was sent and signed."""

from __future__ import annotations

import json
import re
from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from proofpatch.errors import InputError
from proofpatch.offer.quote import quote_from
from proofpatch.offer.revision import fingerprint
from proofpatch.shop.strips import NAMED
from proofpatch.units import quoted

# kind -> what its data names, as (path, kinds it may be of); "picture" is a photo's file. [] walks a list.
REFERENCES: dict[str, tuple[tuple[str, tuple[str, ...]], ...]] = {
    "photo": (("digest", ("picture",)),),
    "seen": (("strip", ("strip",)), ("photos[].digest", ("picture",))),
    "item": (("customer", ("customer",)),),
    "belief": (("patches[]", ("patch", "run")),),
    "recipe": (("patches[]", ("patch", "run")),),
    "job": (("zones[].outlines[].photo", ("picture",)),),
    "quote": (("pdf", ("paper",)), ("photo", ("picture",))),
    "acceptance": (("quote", ("quote",)), ("pdf", ("paper",))),
    "approval": (("patch_id", ("patch",)), ("photo", ("picture",)), ("pdf", ("paper",))),
    "invoice": (("quote", ("quote",)), ("pdf", ("paper",))),
    "lent": (("lot", ("lot",)),),
    "day": (("controls[]", ("patch",)),),
    "run": (("photos[]", ("picture",)),),
    "pair": (("before", ("picture",)), ("after", ("picture",))),
    "record": (("pdf", ("paper",)), ("signs", ("record",))),
}
DIGEST = re.compile(r"[0-9a-f]{64}")
PDF = "JVBER"  # how the text of a file begins whose bytes begin with %PDF
BRING = "Keep this folder as it is, and bring the shop back from a backup with: proofpatch restore."
TELL = "Nothing in the shop writes that; keep this folder, and look at a backup with: proofpatch check."


@dataclass(frozen=True)
class Trouble:
    """What is wrong, and what to do. where: database, schema, history, reference, paper or photo."""

    where: str
    said: str
    do: str

    def __str__(self) -> str:
        return f"{self.said} {self.do}"


@dataclass(frozen=True)
class Known:
    """A thing as others name it."""

    kind: str
    job: str | None
    title: str
    deleted: bool


def record_of(text: Any) -> dict[str, Any] | None:
    """A record of its text; None: it is none."""
    try:
        found = json.loads(text)
    except (TypeError, ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def references(
    rows: Iterable[tuple[str, Mapping[str, Any] | None]], known: Mapping[str, Known], pictures: Container[str]
) -> Iterator[Trouble]:
    """What the data of things names and is not there: other things of the same job, and photos.

    Args:
        rows: (id, data, None where it is no record). known: every thing by its id. pictures: digests of photos.
    """
    rows = list(rows)
    steps = _steps((known[key].job, data) for key, data in rows if known[key].kind == "strip")
    seals: dict[str, str] = {}
    signed: list[tuple[str, str, str]] = []
    for key, record in rows:
        one, name = known[key], Named(known, key)
        if record is None:
            yield Trouble("history", f"What {name} holds is no record.", BRING)
            continue
        for path, kinds in REFERENCES.get(one.kind, ()):
            for other in _walk(record, path.split(".")):
                if not _there(other, kinds, one, known, pictures):
                    words = " or ".join("photo" if kind == "picture" else kind for kind in kinds)
                    yield Trouble("reference", f"{name} names a {words} that is not there.", BRING)
        if one.kind == "patch" and (found := NAMED.match(one.title)) and found[1] not in steps.get(one.job or "", ()):
            yield Trouble("reference", f"{name} grades {found[1]}, which no strip of its job has.", BRING)
        if one.kind == "paper" and not str(record.get("pdf", "")).startswith(PDF):
            yield Trouble("paper", f"{name} holds no PDF.", BRING)
        if one.kind == "quote":
            seals[key] = str(record.get("fingerprint"))
            if _seal(record) != seals[key]:
                yield Trouble("paper", f"{name} is no longer what was sent.", BRING)
        if one.kind == "acceptance":
            signed.append((str(name), str(record.get("quote")), str(record.get("fingerprint"))))
    for whose, quote, seal in signed:
        if quote in seals and seals[quote] != seal:
            yield Trouble("paper", f"{whose} was given for another wording than the quote has.", BRING)


def _walk(value: Any, path: list[str]) -> Iterator[str]:
    """Every word that stands at a path; an empty one names nothing."""
    if not path:
        if isinstance(value, str) and value:
            yield value
        return
    key, many = path[0].removesuffix("[]"), path[0].endswith("[]")
    inner = value.get(key) if isinstance(value, dict) else None
    for one in inner if many and isinstance(inner, list) else () if many else (inner,):
        yield from _walk(one, path[1:])


def _there(
    other: str, kinds: tuple[str, ...], one: Known, known: Mapping[str, Known], pictures: Container[str]
) -> bool:
    if kinds == ("picture",):
        # A job file may name its photos as it likes; the shop's own are named by what is in them.
        return other in pictures or (one.kind == "job" and not DIGEST.fullmatch(other))
    found = known.get(other)
    return found is not None and found.kind in kinds and found.job in (None, one.job)


def _steps(strips: Iterable[tuple[str | None, Mapping[str, Any] | None]]) -> dict[str, set[str]]:
    """The names of all steps that were laid out in each job; strips: (job, data)."""
    found: dict[str, set[str]] = {}
    for job, data in strips:
        strip = data or {}
        many = strip.get("steps")
        names = {f"{strip.get('name')}{number}" for number in range(1, len(many if isinstance(many, list) else ()) + 1)}
        found.setdefault(str(job), set()).update(names)
    return found


def _seal(record: Mapping[str, Any]) -> str:
    """Of a quote as it is kept; empty where it cannot be read."""
    try:
        return fingerprint(quote_from(record["quote"]))
    except (InputError, KeyError, TypeError, ValueError):
        return ""


@dataclass(frozen=True)
class Named:
    """A thing as a sentence begins with it; most things are never spoken of."""

    known: Mapping[str, Known]
    key: str

    def __str__(self) -> str:
        one = self.known[self.key]
        job = self.known.get(one.job or "")
        title = f" {quoted(one.title)}" if one.title and not one.title.startswith("{") else ""
        return f"The {one.kind[:16]}{title} ({self.key[:8]})" + (f" of the job {quoted(job.title)}" if job else "")
