"""Scans of the shop: each file as it came, by what is in it, written before it is answered; the last few stay read."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

from proofpatch.errors import InputError
from proofpatch.measure.mesh import Mesh
from proofpatch.measure.mesh_file import Loose, kind_of, read_loose, scaled
from proofpatch.measure.scanned import is_kept
from proofpatch.shop.photos import write_by_digest
from proofpatch.shop.store import Entry, Store

SCANS = "scans"
KEPT = 2  # held in memory, up to some 200 MB each
LONGEST_NAME = 80


def add_scan(store: Store, content: bytes, name: str, job: str | None = None, about: str = "", by: str = "") -> Entry:
    """A scan of a job, its file on disk before the answer; the same file twice is one file.

    Args:
        name: of the file; its ending says what it is. about: what it shows.

    Raises:
        InputError: as `measure.mesh_file.read_loose`.
    """
    kind = kind_of(name)
    loose = read_loose(content, kind)
    digest = hashlib.sha256(content).hexdigest()
    keep_scan(store, digest, kind, content)
    plain = "".join(c for c in name if c.isprintable())[-LONGEST_NAME:]
    data = {"digest": digest, "kind": kind, "name": plain, "about": about, "size": len(content),
            "sides": list(loose.sides), "faces": len(loose.faces)}  # fmt: skip
    return store.add("scan", data, job, "", by)


def keep_scan(store: Store, digest: str, kind: str, content: bytes) -> None:
    """The file where it belongs, on disk; no record names it yet."""
    path = scan_path(store.folder, digest, kind)
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        write_by_digest(path, content)


def scan_of(store: Store, digest: str, job: str) -> Entry:
    """What is known of a job's scan.

    Raises:
        InputError: there is none.
    """
    found = next((one for one in store.all("scan", job) if one.data["digest"] == digest), None)
    if found is None:
        raise InputError("scan", "There is no such scan.", "Look it up in the job.")
    return found


def mesh_of(store: Store, scan: Entry, unit: str | None, longest: float | None) -> Mesh:
    """A scan in metres, as `measure.mesh_file.scaled`.

    Raises:
        InputError: its file is gone, or as `scaled`.
    """
    return _mesh(scan_path(store.folder, scan.data["digest"], scan.data["kind"]), scan.data["kind"], unit, longest)


@lru_cache(maxsize=KEPT)
def _mesh(path: Path, kind: str, unit: str | None, longest: float | None) -> Mesh:
    return scaled(_loose(path, kind), unit, longest)


@lru_cache(maxsize=1)
def _loose(path: Path, kind: str) -> Loose:
    try:
        content = path.read_bytes()
    except OSError:
        raise InputError(
            "scan", "The file of this scan is gone from the shop's folder.", "Bring it back from a copy."
        ) from None
    return read_loose(content, kind)


def scan_path(folder: Path, digest: str, kind: str) -> Path:
    """Where the file of a scan stands."""
    assert is_kept(digest)
    return folder / SCANS / digest[:2] / f"{digest}.{kind}"
