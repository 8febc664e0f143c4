"""Graded patches and recipes from shop to shop, in one signed file.

A file is lines of JSON (RFC 8259), UTF-8: a head, one line a job, and the Ed25519 signature (RFC 8032) of every byte
before it, made with the shop's own key. It holds what was laid and what was seen, on what surface, with what laser.
Of addresses, notes and prices it has no place to hold anything; graders are numbered.

What a piece is called, whose it is and photos go along only where they were chosen; the file is then of version 2. Its
photos stand after the signature, one a line; the signed line of a job holds the SHA-256 (FIPS 180-4) of each of its
own, so that none can be changed, and all can be left out without harm to the rest. Published data give their source.

Whoever holds a key can sign; so a signature says that nothing was changed since, and that two files are of one shop,
not that the shop is right. How much it counts the owner sets (`Site.weighed`).
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from functools import partial
from itertools import count
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from proofpatch.errors import InputError, expect
from proofpatch.lasers import Handpiece, Laser
from proofpatch.lasers import laser as find_laser
from proofpatch.learn.belief import prior
from proofpatch.learn.evidence import Graded
from proofpatch.learn.memory.population import counted
from proofpatch.learn.memory.sites import Site, site
from proofpatch.learn.surface import Layer, Surface
from proofpatch.learn.update import update
from proofpatch.physics.setting import Setting

KIND, PLAIN, VERSION = "proofpatch exchange", 1, 2  # plain: of neither names, sources nor photos
ORIGINS = ("a shop's own patches", "published data")
MOST_BYTES, MOST_LINE, MOST_JOBS, MOST_PATCHES = 50_000_000, 1_000_000, 20_000, 500
MOST_NAME, MOST_SOURCE = 80, 1000
# Of photos: bytes of one, of a job, of a file, and bytes of all in a file.
MOST_PHOTO, MOST_PHOTOS_OF_JOB, MOST_PHOTOS, MOST_PHOTO_BYTES = 60_000, 12, 1000, 20_000_000
NAMES = ("title", "customer", "source")
DONE = "Ask its sender for a new file."


@dataclass(frozen=True)
class Photo:
    """A small photo that travels. shows: a patch or strip. sha256: in hexadecimal. content: None where left out."""

    shows: str
    sha256: str
    content: bytes | None = None

    @classmethod
    def of(cls, shows: str, content: bytes) -> Photo:
        """The photo of these bytes."""
        return cls(shows, hashlib.sha256(content).hexdigest(), content)


@dataclass(frozen=True)
class Exchanged:
    """One job as it travels: what was graded on what with which laser, and the recipe it came to, if any.

    title, customer, photos: as far as its owner chose to give them. source: of published data, its citation.
    """

    surface: Surface
    laser: Laser
    graded: tuple[Graded, ...]
    recipe: Setting | None = None
    title: str = ""
    customer: str = ""
    source: str = ""
    photos: tuple[Photo, ...] = ()

    def __post_init__(self) -> None:
        expect("surface", self.surface, Surface, "Build it from its layers and substrate.")
        expect("laser", self.laser, Laser, "Name a built-in one, or build a Laser.")
        if len(self.graded) > MOST_PATCHES:
            raise InputError("graded", f"A job of {len(self.graded)} patches.", f"{MOST_PATCHES} are the most.")
        for name, most in (("title", MOST_NAME), ("customer", MOST_NAME), ("source", MOST_SOURCE)):
            _expect_line(name, getattr(self, name), most)
        if len(self.photos) > MOST_PHOTOS_OF_JOB:
            said = f"A job of {len(self.photos)} photos."
            raise InputError("photos", said, f"{MOST_PHOTOS_OF_JOB} are the most.")
        for photo in self.photos:
            _expect_line("photos", photo.shows, MOST_NAME)
            _expect_small(photo.content)

    @property
    def plain(self) -> bool:
        """Whether nothing goes along but patches and recipe."""
        return not (self.title or self.customer or self.source or self.photos)


@dataclass(frozen=True)
class Parcel:
    """What a file holds. shop: as it calls itself. key: fingerprint of the key that signed; made: the day, as said."""

    shop: str
    key: str
    made: str
    origin: str
    jobs: tuple[Exchanged, ...]
    of: int | None = None  # of published data: how many cases were looked through for these

    @property
    def photos(self) -> int:
        """How many photos are in it."""
        return len({photo.sha256 for job in self.jobs for photo in job.photos if photo.content is not None})

    @property
    def along(self) -> str:
        """What goes along beside patches and recipes, in words; empty: nothing."""
        named = sum(bool(job.title or job.customer) for job in self.jobs)
        photos = f"With it {'come' if self.photos != 1 else 'comes'} {counted(self.photos, 'small photo')}. "
        names = f"{counted(named, 'job')} {'name' if named != 1 else 'names'} the piece or its customer. "
        return ((photos if self.photos else "") + (names if named else "")).strip()

    @property
    def because(self) -> str:
        """Where it comes from, in words."""
        patches = sum(len(job.graded) for job in self.jobs)
        recipes = sum(job.recipe is not None for job in self.jobs)
        return (
            f"From {self.shop}, made {self.made}: {counted(len(self.jobs), 'job')}, "
            f"{counted(patches, 'graded patch', 'es')}, {counted(recipes, 'recipe')}; they are {self.origin}, "
            f"signed with the key {self.key}. The signature says that nothing was changed since; whether it is right "
            "only patches tell." + (f" {self.along}" if self.along else "")
        )

    def sites(self, weight: float, draws: int = 2048) -> list[Site]:
        """What its jobs taught, each counting by this much, its lasers and graders kept apart from the owner's."""
        found = []
        for n, job in enumerate(self.jobs):
            if job.graded:
                one = site(update(prior(job.surface, job.laser, seed=n, draws=draws), job.graded))
                found.append(
                    replace(one, weight=weight, laser=self._theirs(one.laser), grader=self._theirs(one.grader))
                )
        return found

    def _theirs(self, name: str | None) -> str | None:
        return None if name is None else f"{self.key}: {name}"


def packed(
    jobs: Sequence[Exchanged],
    key: Ed25519PrivateKey,
    shop: str,
    made: str,
    origin: str = ORIGINS[0],
    of: int | None = None,
) -> bytes:
    """The file of these jobs.

    Args:
        jobs: as many as wanted.
        key: of the shop.
        shop, made: what it calls itself, and the day, as text.
        origin: one of ORIGINS.
        of: of published data, how many cases were looked through for these.

    Raises:
        InputError: too many jobs or photos, an unknown origin, a name too long.
    """
    _head_checked({"shop": shop, "made": made, "origin": origin})
    if len(jobs) > MOST_JOBS:
        raise InputError("jobs", f"{len(jobs)} jobs are too many for one file.", f"{MOST_JOBS} are the most.")
    public = key.public_key().public_bytes_raw().hex()
    head: dict[str, Any] = {
        "file": KIND, "version": PLAIN, "shop": shop, "made": made, "origin": origin, "key": public,
    }  # fmt: skip
    photos = {one.sha256: one.content for job in jobs for one in job.photos if one.content is not None}
    if of is not None or not all(job.plain for job in jobs):
        head |= {"version": VERSION, "photos": len(photos), "of": of}
    _expect_few(len(photos), sum(map(len, photos.values())))
    body = "".join(_line(entry) for entry in [head, *map(_job_out, jobs)]).encode()
    signed = body + _line({"signature": key.sign(body).hex()}).encode()
    return signed + "".join(_line({"photo": base64.b64encode(one).decode()}) for one in photos.values()).encode()


def unpacked(data: bytes) -> Parcel:
    """What a file holds, its signature checked first.

    Raises:
        InputError: it is too large, of another kind, changed since it was signed, or holds what cannot be.
    """
    expect("file", data, bytes, "Give the bytes of the file.")
    if len(data) > MOST_BYTES:
        raise InputError("file", f"The file is larger than {MOST_BYTES // 10**6} MB.", "Ask for it in parts.")
    first, jobs_in, signature, photos_in = parts_of(data)
    head = _read(first, 1)
    key = _verified(head, _read(signature, len(jobs_in) + 2), b"\n".join([first, *jobs_in, b""]))
    _head_checked(head)
    photos = {hashlib.sha256(one).hexdigest(): one for one in map(_photo_in, photos_in, count(len(jobs_in) + 3))}
    _expect_few(len(photos), sum(map(len, photos.values())))
    read = partial(_job_in, photos=photos if head["version"] == VERSION else None)
    jobs = tuple(_told(number, read, _read(line, number)) for number, line in enumerate(jobs_in, start=2))
    if set(photos) != {one.sha256 for job in jobs for one in job.photos if one.content is not None}:
        raise _refused("A photo in the file was changed after it was signed, or is none of its jobs'.")
    if photos and any(one.content is None for job in jobs for one in job.photos):
        raise _refused("A photo of the file is missing.")
    return Parcel(head["shop"], key, head["made"], head["origin"], jobs, head.get("of"))


def parts_of(data: bytes) -> tuple[bytes, list[bytes], bytes, list[bytes]]:
    """(head, line of each job, signature, line of each photo) of a file; what they hold is not looked at.

    Raises:
        InputError: it is of another kind or version, or not whole.
    """
    lines = data.split(b"\n")
    if len(lines) < 3 or lines[-1] or len(lines) - 3 > MOST_JOBS + MOST_PHOTOS or max(map(len, lines)) > MOST_LINE:
        raise _refused("This is no exchange file of proofpatch, or not the whole of one.")
    head = _read(lines[0], 1)
    if head.get("file") != KIND:
        raise _refused("This is no exchange file of proofpatch.")
    version, photos, of = head.get("version"), head.get("photos", 0), head.get("of")
    if isinstance(version, bool) or version not in (PLAIN, VERSION):
        raise InputError(
            "file", "The file is of another version of proofpatch.", "Update proofpatch, or ask for it anew."
        )
    if type(photos) is not int or not 0 <= photos <= MOST_PHOTOS or (version == PLAIN and ("photos" in head)):
        raise _refused("The file does not say how many photos it has.")
    if of is not None and (type(of) is not int or not 0 < of <= MOST_JOBS):
        raise _refused("The file does not say of how many cases its jobs are.")
    at = len(lines) - 2
    if photos and not _is_signature(lines[at]):
        at -= photos
    if at < 1 or at - 1 > MOST_JOBS or not _is_signature(lines[at]):
        raise _refused("The file is not signed, or not the whole of one.")
    return lines[0], lines[1:at], lines[at], lines[at + 1 : -1]


def _is_signature(line: bytes) -> bool:
    return line.startswith(b'{"signature":')


def fingerprint(key: Ed25519PublicKey) -> str:
    """Short name of a key: the first 16 hexadecimal digits of the SHA-256 of its 32 bytes."""
    digest = hashes.Hash(hashes.SHA256())
    digest.update(key.public_bytes_raw())
    return digest.finalize().hex()[:16]


def _verified(head: Mapping[str, Any], last: Mapping[str, Any], body: bytes) -> str:
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(head["key"]))
        key.verify(bytes.fromhex(last["signature"]), body)
    except (InvalidSignature, KeyError, ValueError, TypeError) as slip:
        raise _refused("The file was changed after it was signed, or is not signed.") from slip
    return fingerprint(key)


def _head_checked(head: Mapping[str, Any]) -> None:
    for name in ("shop", "made"):
        value = head.get(name)
        if not isinstance(value, str) or not 0 < len(value) <= MOST_NAME or not value.isprintable():
            raise InputError(name, f"The {name} is no line of at most {MOST_NAME} signs.", "Shorten it.")
    if head.get("origin") not in ORIGINS:
        raise InputError("origin", "The file does not say where its patches come from.", f"Use: {', '.join(ORIGINS)}.")


def _expect_line(name: str, value: Any, most: int) -> None:
    """A text of one line, empty or not."""
    if not isinstance(value, str) or len(value) > most or not (value.isprintable() or not value):
        raise InputError(name, f"The {name} is no line of at most {most} signs.", "Shorten it.")


def _expect_small(photo: bytes | None) -> None:
    if photo is not None and not 0 < len(photo) <= MOST_PHOTO:
        raise InputError("photos", f"A photo has more than {MOST_PHOTO // 1000} kB, or none.", "Give a smaller copy.")


def _expect_few(photos: int, size: int) -> None:
    if photos > MOST_PHOTOS or size > MOST_PHOTO_BYTES:
        said = f"One file takes up to {MOST_PHOTOS} photos and {MOST_PHOTO_BYTES // 10**6} MB of them."
        raise InputError("photos", said, "Choose fewer kinds of work, or leave the photos out.")


def _refused(problem: str) -> InputError:
    return InputError("file", problem, DONE)


def _line(entry: Mapping[str, Any]) -> str:
    return json.dumps(entry, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n"


def _read(line: bytes, number: int) -> dict[str, Any]:
    def never(word: str) -> float:
        raise ValueError(word)  # NaN and the like are no JSON

    try:
        found = json.loads(line.decode(), parse_constant=never)
    except (ValueError, RecursionError) as slip:
        raise _refused(f"Line {number} of the file cannot be read.") from slip
    if not isinstance(found, dict):
        raise _refused(f"Line {number} of the file cannot be read.")
    return found


def _told(number: int, read: Callable[[dict[str, Any]], Exchanged], entry: dict[str, Any]) -> Exchanged:
    """What `read` makes of a line, or the sentence that says what is wrong with it."""
    try:
        return read(entry)
    except InputError as slip:
        raise InputError("file", f"Line {number} of the file: {slip}", DONE) from slip
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as slip:
        raise _refused(f"Line {number} of the file holds something else than a job.") from slip


def _job_out(job: Exchanged) -> dict[str, Any]:
    graders = {name: f"grader {n}" for n, name in enumerate(dict.fromkeys(g.grader for g in job.graded if g.grader), 1)}
    surface = job.surface
    return {
        "surface": {
            "layers": [
                {**{f.name: getattr(c, f.name) for f in fields(Layer)}, "coating": dict(c.shares)}
                for c in surface.coats
            ],
            **{f.name: getattr(surface, f.name) for f in fields(Surface) if f.name != "layers"},
        },
        "laser": _laser_out(job.laser),
        "graded": [_graded_out(g, job.laser, graders) for g in job.graded],
        "recipe": None if job.recipe is None else asdict(job.recipe),
        **{name: getattr(job, name) for name in NAMES if getattr(job, name)},
        **({"photos": [{"shows": one.shows, "sha256": one.sha256} for one in job.photos]} if job.photos else {}),
    }


def _laser_out(laser: Laser) -> dict[str, Any]:
    # The owner's sentences about his own measurements are his.
    return {**asdict(laser), "measured": []}


def _graded_out(graded: Graded, own: Laser, graders: Mapping[str, str]) -> dict[str, Any]:
    laser = find_laser(graded.laser) if isinstance(graded.laser, str) else graded.laser
    kept = {f.name: getattr(graded, f.name) for f in fields(Graded)}
    return {
        **kept,
        "setting": asdict(graded.setting),
        "laser": None if laser is None or laser == own else _laser_out(laser),
        "grader": graders.get(graded.grader or ""),
    }


def _job_in(entry: dict[str, Any], photos: Mapping[str, bytes] | None) -> Exchanged:
    """A job of its line. photos: that came with the file, by their digests; None: it is a plain file."""
    _only(entry, ("surface", "laser", "graded", "recipe"), () if photos is None else (*NAMES, "photos"))
    surface = dict(entry["surface"])
    layers = [Layer(**layer) for layer in surface.pop("layers")]
    recipe = entry["recipe"]
    return Exchanged(
        Surface(layers, **surface),
        _laser_in(entry["laser"]),
        tuple(_graded_in(graded) for graded in entry["graded"]),
        None if recipe is None else Setting(**recipe),
        **{name: entry.get(name, "") for name in NAMES},
        photos=tuple(Photo(one["shows"], one["sha256"], (photos or {}).get(one["sha256"]))
                     for one in entry.get("photos", ())),
    )  # fmt: skip


def _photo_in(line: bytes, number: int) -> bytes:
    entry = _read(line, number)
    try:
        _only(entry, ("photo",))
        found = base64.b64decode(entry["photo"], validate=True)
    except (TypeError, ValueError) as slip:
        raise _refused("A photo in the file cannot be read.") from slip
    if not 0 < len(found) <= MOST_PHOTO:
        raise _refused(f"A photo in the file has more than {MOST_PHOTO // 1000} kB, or none.")
    return found


def _laser_in(entry: dict[str, Any]) -> Laser:
    limits = tuple((float(width), float(energy)) for width, energy in entry["energy_limits"])
    handpiece = dict(entry["handpiece"])
    handpiece["patterns"] = tuple(handpiece["patterns"])
    return Laser(**{**entry, "energy_limits": limits, "handpiece": Handpiece(**handpiece), "measured": ()})


def _graded_in(entry: dict[str, Any]) -> Graded:
    laser = entry["laser"]
    return Graded(**{
        **entry, "setting": Setting(**entry["setting"]), "laser": None if laser is None else _laser_in(laser),
    })  # fmt: skip


def _only(entry: Mapping[str, Any], names: Sequence[str], more: Sequence[str] = ()) -> None:
    if not set(names) <= set(entry) <= {*names, *more}:
        raise ValueError("other keys than a job has")
