"""Whether a shop's folder is whole. It is only read: nothing is mended, moved, swept or brought up to date.

Asked are the database file itself, the history of every thing, what things say of each other, the photos by the digest
they are named by, and what a killed process left. A shop may be open meanwhile: what is read is of one moment.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import re
import sqlite3
from collections.abc import Callable, Container, Iterable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from proofpatch.errors import InputError
from proofpatch.measure.mesh_file import KINDS as SCAN_KINDS
from proofpatch.measure.scanned import is_kept
from proofpatch.offer.quote import quote_from
from proofpatch.offer.revision import fingerprint
from proofpatch.shop.certificate import FOLDER as TLS
from proofpatch.shop.photos import KINDS as ENDINGS
from proofpatch.shop.scans import SCANS, scan_path
from proofpatch.shop.store import FILE, PHOTOS
from proofpatch.shop.strips import NAMED
from proofpatch.shop.tables import FROZEN, KINDS
from proofpatch.shop.upgrade import refuse_newer, revisions, version_in
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
MOST = 20  # sentences of the database's own check
PIECE = 1 << 20  # bytes of a file read at once
BRING = "Keep this folder as it is, and bring the shop back from a backup with: proofpatch restore."
TELL = "Nothing in the shop writes that; keep this folder, and look at a backup with: proofpatch check."


@dataclass(frozen=True)
class Original:
    """A file beside the database, named by what is in it. what: photo or scan; where: below the shop's folder."""

    what: str
    where: str
    digest: str
    size: int


@dataclass(frozen=True)
class Trouble:
    """What is wrong, and what to do. where: database, schema, history, reference, paper or photo."""

    where: str
    said: str
    do: str

    def __str__(self) -> str:
        return f"{self.said} {self.do}"


@dataclass(frozen=True)
class Checked:
    """What a check found. things: how many of each kind; size: of the photos [bytes]; leftovers: harmless, in words."""

    folder: Path
    schema: str
    things: Mapping[str, int]
    changes: int
    photos: int
    size: int
    troubles: tuple[Trouble, ...]
    leftovers: tuple[str, ...]

    @property
    def whole(self) -> bool:
        """Whether nothing is wrong."""
        return not self.troubles


@dataclass(frozen=True)
class Known:
    """A thing as others name it."""

    kind: str
    job: str | None
    title: str
    deleted: bool


def check(folder: str | Path) -> Checked:
    """Looks a shop's folder through.

    Raises:
        InputError: there is no shop in it, it cannot be read, or it was written by a newer program.
    """
    place = Path(folder)
    troubles: list[Trouble] = []
    schema, things, known, changes = "", {}, {}, 0
    pictures: dict[str, tuple[str, int]] = {}
    files: list[Original] = []
    with closing(opened(place)) as base:
        base.execute("BEGIN")  # all of one moment
        refuse_newer(version_in(base))
        try:
            troubles += _sound(base)
            schema, said = _schema(base)
            troubles += said
            known = _known(base)
            pictures = {one[0]: (one[1], one[2]) for one in base.execute("SELECT digest, kind, size FROM picture")}
            changes = base.execute("SELECT count(*) FROM change").fetchone()[0]
            things = {kind: sum(1 for one in known.values() if one.kind == kind) for kind in KINDS}
            troubles += _histories(base, known)
            files = originals(base)
            strange = len(pictures) - sum(one.what == "photo" for one in files)
            if strange:
                troubles.append(Trouble("photo", f"{_many(strange, 'photo')} by a name that none has.", BRING))
            rows = [(key, _read(data)) for key, data in base.execute("SELECT id, data FROM thing ORDER BY id")]
            troubles += references(rows, known, pictures)
        except (sqlite3.DatabaseError, UnicodeDecodeError) as broken:
            troubles.append(Trouble("database", f"The database cannot be read to its end: {_line(broken)}.", BRING))
    troubles += _files(place, files)
    return Checked(
        place, schema, {kind: many for kind, many in things.items() if many}, changes, len(pictures),
        sum(size for _, size in pictures.values()), tuple(troubles), tuple(_leftovers(place, files)),
    )  # fmt: skip


def opened(place: Path) -> sqlite3.Connection:
    """The database, to be read only.

    Raises:
        InputError: there is none, or it cannot be opened.
    """
    try:
        there = (place / FILE).is_file()
    except OSError as trouble:
        raise InputError(
            "folder", f"The folder {str(place)[-60:]!r} cannot be read: {trouble.strerror}.", "Check who owns it."
        ) from None
    if not there:
        raise InputError("folder", f"There is no shop in the folder {str(place)[-60:]!r}.", "Name another.")
    path = (place / FILE).resolve()
    kept = path.with_name(f"{FILE}-wal")
    # Beside a file that may not be written, SQLite cannot see that nobody writes; without a log nobody does.
    quiet = not kept.exists() or not kept.stat().st_size
    said = ""
    for how in ("mode=ro", "mode=ro&immutable=1") if quiet else ("mode=ro",):
        base = sqlite3.connect(f"{path.as_uri()}?{how}", uri=True, isolation_level=None, timeout=10.0)
        try:
            base.execute("SELECT 1 FROM sqlite_master").fetchone()
        except sqlite3.OperationalError as trouble:
            said = _line(trouble)
            base.close()
        except sqlite3.DatabaseError:
            return base  # it opens, and is none: what the check says of it
        else:
            return base
    raise InputError(
        "folder", f"The database in {str(place)[-60:]!r} cannot be opened: {said}.", "Make yourself its owner again."
    )


def _sound(base: sqlite3.Connection) -> Iterator[Trouble]:
    """What SQLite says of its own file."""
    for (said,) in base.execute(f"PRAGMA integrity_check({MOST})"):
        if said != "ok":
            yield Trouble("database", f"The database file is damaged: {_line(said)}.", BRING)
    for table, row, parent, _ in itertools.islice(base.execute("PRAGMA foreign_key_check"), MOST):
        yield Trouble("reference", f"Row {row} of the table {table} names a {parent} that is not there.", TELL)


def _schema(base: sqlite3.Connection) -> tuple[str, list[Trouble]]:
    found = [str(one) for (one,) in base.execute("SELECT version_num FROM alembic_version")]
    schema = ", ".join(found)
    if len(found) == 1 and schema in revisions():
        return schema, []
    said = f"The tables are of the version {quoted(schema or 'none')}, which this program does not know."
    return schema, [Trouble("schema", said, "Update proofpatch; nothing is changed till then.")]


def _known(base: sqlite3.Connection) -> dict[str, Known]:
    rows = base.execute("SELECT id, kind, job, title, deleted IS NOT NULL FROM thing")
    return {key: Known(kind, job, title, bool(gone)) for key, kind, job, title, gone in rows}


def _histories(base: sqlite3.Connection, known: Mapping[str, Known]) -> Iterator[Trouble]:
    """Every thing: its kind, its job, that its history leads, without a gap, to what it is now, and its order."""
    numbered = "latest" in {row[1] for row in base.execute("PRAGMA table_info(thing)")}
    order = "thing.made, thing.latest" if numbered else "NULL, NULL"  # older tables have none
    rows = base.execute(
        f"SELECT thing.id, thing.version, thing.data, thing.deleted IS NOT NULL, {order}, change.version, change.what, "
        "change.data, change.number FROM thing LEFT JOIN change ON change.thing = thing.id "
        "ORDER BY thing.id, change.number"
    )
    for key, group in itertools.groupby(rows, lambda row: str(row[0])):
        past = list(group)
        name, (_, version, data, gone, made, latest, *_) = Named(known, key), past[0]
        one = known[key]
        if one.kind not in KINDS:
            yield Trouble("history", f"{name} is of a kind that is not known.", "Update proofpatch.")
        if one.job is not None and one.job in known and known[one.job].kind != "job":
            yield Trouble("reference", f"{name} belongs to something that is no job.", TELL)
        steps = [row[6:] for row in past if row[7] not in (None, "aside")]
        if [step[0] for step in steps] != list(range(1, version + 1)):
            yield Trouble("history", f"{name} has a gap in its history before version {version}.", BRING)
            continue
        if not _same(steps[-1][2], data):
            yield Trouble("history", f"{name} is not what its history ends in.", BRING)
        hidden = [step[1] for step in steps if step[1] in ("deleted", "restored")]
        if steps[0][1] != "made" or (hidden[-1:] == ["deleted"]) != bool(gone):
            yield Trouble("history", f"{name} is in sight or out of it against its history.", BRING)
        if one.kind in FROZEN and (version > 1 or gone):
            yield Trouble("history", f"{name} was changed after it was sent or signed.", BRING)
        elif numbered and (made, latest) != (steps[0][3], steps[-1][3]):
            yield Trouble("history", f"{name} is out of its order.", BRING)


def _same(one: str, other: str) -> bool:
    return one == other or (_read(one) is not None and _read(one) == _read(other))


def _read(text: Any) -> dict[str, Any] | None:
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


def originals(base: sqlite3.Connection) -> list[Original]:
    """Every file that stands beside the database: photos, and scans; what is no name of one names nothing."""
    rows = base.execute("SELECT digest, kind, size FROM picture ORDER BY digest")
    found = [Original("photo", f"{PHOTOS}/{d[:2]}/{d}{ENDINGS[kind]}", d, size) for d, kind, size in rows
             if is_kept(d) and kind in ENDINGS and isinstance(size, int)]  # fmt: skip
    scans = {}
    for (data,) in base.execute("SELECT data FROM thing WHERE kind = 'scan' ORDER BY id"):
        record = _read(data) or {}
        digest, kind, size = str(record.get("digest")), record.get("kind"), record.get("size")
        if is_kept(digest) and kind in SCAN_KINDS and isinstance(size, int):
            where = scan_path(Path(), digest, kind).as_posix()
            scans[where] = Original("scan", where, digest, size)
    return [*found, *scans.values()]


def _files(place: Path, files: Iterable[Original]) -> Iterator[Trouble]:
    """The originals, by the digest each is named by."""
    for one in files:
        do = f"Bring the file back from a backup's {one.what}s, or from where it came."
        try:
            found = digest_of(place / one.where)
        except FileNotFoundError:
            yield Trouble(one.what, f"The file of a {one.what} is gone: {one.where}.", do)
        except OSError as trouble:
            yield Trouble(one.what, f"The file of a {one.what} cannot be read ({trouble.strerror}): {one.where}.", do)
        else:
            if found != (one.digest, one.size):
                yield Trouble(one.what, f"The file of a {one.what} is not what it was: {one.where}.", do)


def digest_of(path: Path, each: Callable[[bytes], object] = len) -> tuple[str, int]:
    """(SHA-256, size) of a file; each: is given its bytes as they are read.

    Raises:
        OSError: it cannot be read.
    """
    seal, size = hashlib.sha256(), 0
    with path.open("rb") as file:
        while piece := file.read(PIECE):
            seal.update(piece)
            each(piece)
            size += len(piece)
    return seal.hexdigest(), size


def _leftovers(place: Path, originals: Iterable[Original]) -> Iterator[str]:
    """What is there and belongs to nothing."""
    known = {one.digest for one in originals}
    files = [path for part in (PHOTOS, SCANS) for path in (place / part).glob("*/*") if path.is_file()]
    half = [path for path in files if path.name.startswith(".")]
    half += [path for path in (place / TLS).glob(".*") if path.is_file()]
    unnamed = [path for path in files if not path.name.startswith(".") and path.stem not in known]
    if half:
        yield f"{_many(len(half), 'file')} half written when the shop was cut off: harmless."
    if unnamed:
        yield f"{_many(len(unnamed), 'file')} that nothing names: harmless."


def _many(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _line(said: object) -> str:
    """What a library said, on one short line without its stop."""
    return " ".join(str(said).split())[:120].rstrip(".")
