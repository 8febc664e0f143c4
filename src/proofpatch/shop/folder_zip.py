"""The folder of a job as one zip file: written so that the same folder is the same bytes, read so that no file of
somebody else's can do harm.

    README.txt             what all this is, for whoever has no proofpatch
    contents.json          the format, the job, and a sum (SHA-256) of every other file
    lists/patch.csv …      for a spreadsheet; what is typed stands there, nothing else rests on it
    papers/….pdf           what was handed out and signed, byte for byte
    photos/<sum>.jpg       as the camera wrote them
    scans/<sum>.stl        as they came
    records/<kind>.json    everything, with every change: what is read back
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import IO, Any

from proofpatch.errors import InputError
from proofpatch.measure.mesh_file import KINDS as SCAN_KINDS
from proofpatch.shop.folder import Folder, Picked, Record, Scanned, TakenIn, folder_of, scans_of, take_in
from proofpatch.shop.folder_checks import check_things, is_time
from proofpatch.shop.folder_lists import lists_of, readme
from proofpatch.shop.photos import KINDS as PHOTO_KINDS
from proofpatch.shop.photos import Photo, photo_path
from proofpatch.shop.scans import scan_path
from proofpatch.shop.store import Store
from proofpatch.shop.tables import KINDS

FORMAT, VERSION = "proofpatch job folder", 1
CONTENTS = "contents.json"
NOON = (1980, 1, 1, 0, 0, 0)  # of every file: a zip knows no earlier time
NAME = re.compile(
    rf"README\.txt|{re.escape(CONTENTS)}|lists/[a-z]{{1,16}}\.csv|records/[a-z]{{1,16}}\.json"
    r"|papers/[a-z0-9-]{1,120}\.pdf|photos/[0-9a-f]{64}\.(?:jpg|png)"
    rf"|scans/[0-9a-f]{{64}}\.(?:{'|'.join(SCAN_KINDS)})"
)
PAPER = re.compile(r"papers/[a-z0-9-]{1,120}\.pdf")
MOST_FILES = 5000
MOST_BYTES = 2_000_000_000  # of all files, unpacked
MOST_TEXT = 200_000_000  # of all that is read as text, unpacked
MOST_RECORDS = 64_000_000  # of all records, unpacked
MOST_PARTS = 2_000_000  # lists and tables in a file of records: an empty one takes twenty times its bytes in memory
MOST_ONE = 64_000_000  # of one photo, scan or paper
WAYS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
AGAIN = "Take the folder from a copy, or have it sent again."
KEPT_AS_FILE = "file"  # in place of a paper's bytes in its record


def write_folder(store: Store, job: str, out: IO[bytes]) -> Folder:
    """The folder of a job into a file; the same folder gives the same bytes.

    Raises:
        InputError: there is no such job.
    """
    folder = folder_of(store, job)
    texts = _texts(folder)
    sums = {name: hashlib.sha256(content).hexdigest() for name, content in texts.items()}
    files = {_photo_name(one): photo_path(store, Photo(one.digest, one.kind, 0, 0, 0)) for one in folder.photos}
    files |= {_scan_name(one): scan_path(store.folder, one.digest, one.kind) for one in folder.scans}
    sums |= {name: path.stem for name, path in files.items()}  # each is named by its sum
    texts[CONTENTS] = _json({
        "format": FORMAT, "version": VERSION, "job": folder.job, "title": folder.title,
        "photos": [{"digest": one.digest, "added": one.added} for one in folder.photos],
        "missing_photos": list(folder.missing), "sha256": dict(sorted(sums.items())),
    })  # fmt: skip
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as made:
        for name in sorted({*texts, *files}):
            made.writestr(_info(name), texts[name] if name in texts else files[name].read_bytes())
    return folder


def read_folder(store: Store, file: IO[bytes]) -> TakenIn:
    """The job of such a file into a shop that has not got it; nothing is made unless all of it can be.

    Raises:
        InputError: it is no such file, is damaged or was changed, or the shop has the job already; `field` is "file".
    """
    with _opened(file) as packed:
        folder, names = _folder(packed)
        check_things(folder.job, folder.things, {one.digest for one in folder.photos} | set(folder.missing))
        return take_in(store, folder, lambda digest: _read(packed, names[digest]))


def _texts(folder: Folder) -> dict[str, bytes]:
    """Every file of a folder but its photos and its contents."""
    found: dict[str, bytes] = {}
    for kind in KINDS:
        things = folder.of(kind)
        if things:
            kept = [_without_pdf(one, found) if kind == "paper" else one for one in things]
            found[f"records/{kind}.json"] = _json(kept)
    for kind, content in lists_of(folder).items():
        found[f"lists/{kind}.csv"] = content
    found["README.txt"] = readme(folder)
    return found


def _without_pdf(thing: Record, found: dict[str, bytes]) -> Record:
    """A paper's record with the name of a file in place of its bytes, which go into `found`."""
    words = re.sub(r"[^a-z0-9]+", "-", thing["title"].lower()).strip("-")[:60] or "paper"
    name = f"papers/{words}-{thing['id'][:8]}.pdf"
    try:
        pdf = base64.b64decode(thing["data"]["pdf"], validate=True)
    except (KeyError, TypeError, binascii.Error):
        return thing
    if name in found or base64.b64encode(pdf).decode("ascii") != thing["data"]["pdf"]:
        return thing
    found[name] = pdf

    def swapped(data: Mapping[str, Any]) -> Mapping[str, Any]:
        return {**data, "pdf": {KEPT_AS_FILE: name}} if data.get("pdf") == thing["data"]["pdf"] else data

    past = [{**one, "data": swapped(one["data"])} for one in thing["history"]]
    return {**thing, "data": swapped(thing["data"]), "history": past}


def _with_pdf(packed: zipfile.ZipFile, thing: Record) -> Record:
    def swapped(data: Any) -> Any:
        kept = data.get("pdf") if isinstance(data, dict) else None
        if not isinstance(kept, dict):
            return data
        name = kept.get(KEPT_AS_FILE)
        if not isinstance(name, str) or not PAPER.fullmatch(name) or name not in packed.namelist():
            raise InputError("file", "A paper of the folder is missing.", AGAIN)
        return {**data, "pdf": base64.b64encode(_read(packed, name)).decode("ascii")}

    past = thing.get("history")
    if not isinstance(past, list) or not all(isinstance(one, dict) for one in past):
        return thing
    return {**thing, "data": swapped(thing.get("data")),
            "history": [{**one, "data": swapped(one.get("data"))} for one in past]}  # fmt: skip


def _unreadable() -> InputError:
    return InputError("file", "The zip is packed in a way that cannot be read.", "Pack it plainly.")


@contextmanager
def _opened(file: IO[bytes]) -> Iterator[zipfile.ZipFile]:
    """The zip in a file; whatever a broken one raises is one sentence."""
    broken = InputError("file", "The file is no zip, or a part of it is missing or damaged.", AGAIN)
    try:
        packed = zipfile.ZipFile(file)
    except NotImplementedError:
        raise _unreadable() from None
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, OSError, ValueError, struct.error):
        raise broken from None
    try:
        with packed:
            yield packed
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, zlib.error, UnicodeDecodeError):
        raise broken from None
    except (NotImplementedError, RuntimeError):  # a way of packing, or a password, that nothing here reads
        raise _unreadable() from None


def _folder(packed: zipfile.ZipFile) -> tuple[Folder, dict[str, str]]:
    """(the folder, {digest of a photo or scan: its file}), every file of it looked at."""
    _check_names(packed)
    contents = _contents(packed)
    sums = contents["sha256"]
    for name in packed.namelist():
        if name != CONTENTS and (name not in sums or _sum(packed, name) != sums[name]):
            raise InputError("file", f"The file {name} in it was changed or is damaged.", AGAIN)
    lost = sorted(set(sums) - set(packed.namelist()))
    if lost:
        raise InputError("file", f"The file {str(lost[0])[:90]} is missing in it.", AGAIN)
    names = {name[7:71]: name for name in packed.namelist() if name.startswith("photos/")}
    added = contents["photos"]
    if set(names) != {one["digest"] for one in added} or any(sums[name] != key for key, name in names.items()):
        raise InputError("file", "Its photos are not those it speaks of.", AGAIN)
    kinds = {end: kind for kind, end in PHOTO_KINDS.items()}
    photos = [Picked(one["digest"], kinds[names[one["digest"]][71:]], one["added"]) for one in added]
    things: list[Record] = []
    for name in packed.namelist():
        if name.startswith("records/"):
            things += _records(packed, name)
    scans = {name[6:70]: name for name in packed.namelist() if name.startswith("scans/")}
    told = {_scan_name(one): one for one in scans_of(things)}
    if set(scans.values()) - set(told) or any(sums[name] != digest for digest, name in scans.items()):
        raise InputError("file", "Its scans are not those it speaks of.", AGAIN)
    kept = tuple(sorted(told[name] for name in scans.values()))
    return Folder(contents["job"], tuple(things), tuple(photos), kept, tuple(contents["missing_photos"])), names | scans


def _check_names(packed: zipfile.ZipFile) -> None:
    """Refuses what no packed job is, before a byte of it is unpacked."""
    infos = packed.infolist()
    names = [one.filename for one in infos]
    if CONTENTS not in names:
        raise InputError("file", "This zip is no packed job of proofpatch.", "Choose one that was packed by it.")
    if len(infos) > MOST_FILES:
        raise InputError("file", f"The zip holds more than {MOST_FILES} files.", "No job has so many.")
    strange = next((name for name in names if not NAME.fullmatch(name)), None)
    if strange is not None:
        shown = "".join(c if c.isprintable() else " " for c in strange)[:60]
        raise InputError("file", f"The zip holds {shown!r}, which no packed job has.", AGAIN)
    if len(set(names)) < len(names):
        raise InputError("file", "The zip holds a file twice.", AGAIN)
    if any(one.compress_type not in WAYS for one in infos):
        raise _unreadable()
    text = sum(one.file_size for one in infos if one.filename.endswith((".json", ".csv", ".txt")))
    records = sum(one.file_size for one in infos if one.filename.endswith(".json"))
    if text > MOST_TEXT or records > MOST_RECORDS or sum(one.file_size for one in infos) > MOST_BYTES or any(
        one.file_size > MOST_ONE for one in infos if one.filename.startswith(("photos/", "scans/", "papers/"))
    ):  # fmt: skip
        raise InputError("file", "Unpacked, the zip is larger than any job.", "Check where it comes from.")


def _contents(packed: zipfile.ZipFile) -> dict[str, Any]:
    """What a folder says of itself, each part of the kind it has to be."""
    found = _loaded(packed, CONTENTS)
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise InputError("file", "This zip is no packed job of proofpatch.", "Choose one that was packed by it.")
    if found.get("version") != VERSION:
        said = "The job was packed by a newer proofpatch."
        raise InputError("file", said, "Update this one; nothing was made.")
    sums, photos, missing = (found.get(name) for name in ("sha256", "photos", "missing_photos"))
    fine = (
        isinstance(found.get("job"), str) and isinstance(sums, dict) and isinstance(photos, list)
        and isinstance(missing, list) and all(isinstance(one, str) for one in missing)
        and all(isinstance(one, dict) and isinstance(one.get("digest"), str) and is_time(one.get("added"))
                for one in photos)
    )  # fmt: skip
    if not fine:
        raise InputError("file", "What the folder says of its contents cannot be read.", AGAIN)
    return found


def _records(packed: zipfile.ZipFile, name: str) -> list[Record]:
    found = _loaded(packed, name)
    kind = name[len("records/") : -len(".json")]
    if kind not in KINDS:
        raise InputError("file", f"The folder has records of a kind {kind!r}, which is not known.",
                         "Update this proofpatch; nothing was made.")  # fmt: skip
    if not isinstance(found, list) or not all(isinstance(one, dict) and one.get("kind") == kind for one in found):
        raise InputError("file", f"The file {name} holds no records of that kind.", AGAIN)
    return [_with_pdf(packed, one) if kind == "paper" else one for one in found]


def _loaded(packed: zipfile.ZipFile, name: str) -> Any:
    raw = _read(packed, name)
    if raw.count(b"[") + raw.count(b"{") > MOST_PARTS:
        raise InputError("file", "Unpacked, the zip is larger than any job.", "Check where it comes from.")
    try:
        return json.loads(raw)
    except (ValueError, RecursionError):
        raise InputError("file", f"The file {name} in it cannot be read.", AGAIN) from None


def _read(packed: zipfile.ZipFile, name: str) -> bytes:
    # Never more than the zip's own list says, which was looked at: the sum of a longer one fails.
    with _damaged():
        return packed.read(name)


@contextmanager
def _damaged() -> Iterator[None]:
    """A place in the zip that leads out of it is damage, whatever is raised for it."""
    try:
        yield
    except (ValueError, OverflowError, struct.error):
        raise zipfile.BadZipFile from None


def _sum(packed: zipfile.ZipFile, name: str) -> str:
    with _damaged(), packed.open(name) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()  # type: ignore[arg-type]  # read by readinto, as files


def _photo_name(one: Picked) -> str:
    return f"photos/{one.digest}{PHOTO_KINDS[one.kind]}"


def _scan_name(one: Scanned) -> str:
    return f"scans/{one.digest}.{one.kind}"


def _info(name: str) -> zipfile.ZipInfo:
    found = zipfile.ZipInfo(name, NOON)
    found.create_system, found.external_attr = 3, 0o644 << 16
    return found


def _json(value: Any) -> bytes:
    return (json.dumps(value, ensure_ascii=False, allow_nan=False, indent=1) + "\n").encode()
