"""Graded patches and recipes from shop to shop, in one signed file.

A file is lines of JSON (RFC 8259), UTF-8: a head, one line a job, and last the Ed25519 signature (RFC 8032) of every
byte before it, made with the shop's own key. It holds what was laid and what was seen, on what surface, with what
laser. Of customers, addresses, photos, notes and prices it has no place to hold anything; graders are numbered.

Whoever holds a key can sign; so a signature says that nothing was changed since, and that two files are of one shop,
not that the shop is right. How much it counts the owner sets (`Site.weighed`).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
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

KIND, VERSION = "proofpatch exchange", 1
ORIGINS = ("a shop's own patches", "published data")
MOST_BYTES, MOST_LINE, MOST_JOBS, MOST_PATCHES = 50_000_000, 1_000_000, 20_000, 500
MOST_NAME = 80
DONE = "Ask its sender for a new file."


@dataclass(frozen=True)
class Exchanged:
    """One job as it travels: what was graded on what with which laser, and the recipe it came to, if any."""

    surface: Surface
    laser: Laser
    graded: tuple[Graded, ...]
    recipe: Setting | None = None

    def __post_init__(self) -> None:
        expect("surface", self.surface, Surface, "Build it from its layers and substrate.")
        expect("laser", self.laser, Laser, "Name a built-in one, or build a Laser.")
        if len(self.graded) > MOST_PATCHES:
            raise InputError("graded", f"A job of {len(self.graded)} patches.", f"{MOST_PATCHES} are the most.")


@dataclass(frozen=True)
class Parcel:
    """What a file holds. shop: as it calls itself. key: fingerprint of the key that signed; made: the day, as said."""

    shop: str
    key: str
    made: str
    origin: str
    jobs: tuple[Exchanged, ...]

    @property
    def because(self) -> str:
        """Where it comes from, in words."""
        patches = sum(len(job.graded) for job in self.jobs)
        recipes = sum(job.recipe is not None for job in self.jobs)
        return (
            f"From {self.shop}, made {self.made}: {counted(len(self.jobs), 'job')}, "
            f"{counted(patches, 'graded patch', 'es')}, {counted(recipes, 'recipe')}; they are {self.origin}, "
            f"signed with the key {self.key}. The signature says that nothing was changed since; whether it is right "
            "only patches tell."
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


def packed(jobs: Sequence[Exchanged], key: Ed25519PrivateKey, shop: str, made: str, origin: str = ORIGINS[0]) -> bytes:
    """The file of these jobs.

    Args:
        jobs: as many as wanted.
        key: of the shop.
        shop, made: what it calls itself, and the day, as text.
        origin: one of ORIGINS.

    Raises:
        InputError: too many jobs, an unknown origin, a name too long.
    """
    _head_checked({"shop": shop, "made": made, "origin": origin})
    if len(jobs) > MOST_JOBS:
        raise InputError("jobs", f"{len(jobs)} jobs are too many for one file.", f"{MOST_JOBS} are the most.")
    public = key.public_key().public_bytes_raw().hex()
    head = {"file": KIND, "version": VERSION, "shop": shop, "made": made, "origin": origin, "key": public}
    body = "".join(_line(entry) for entry in [head, *map(_job_out, jobs)]).encode()
    return body + _line({"signature": key.sign(body).hex()}).encode()


def unpacked(data: bytes) -> Parcel:
    """What a file holds, its signature checked first.

    Raises:
        InputError: it is too large, of another kind, changed since it was signed, or holds what cannot be.
    """
    expect("file", data, bytes, "Give the bytes of the file.")
    if len(data) > MOST_BYTES:
        raise InputError("file", f"The file is larger than {MOST_BYTES // 10**6} MB.", "Ask for it in parts.")
    lines = data.split(b"\n")
    if len(lines) < 3 or lines[-1] or len(lines) - 3 > MOST_JOBS or max(map(len, lines)) > MOST_LINE:
        raise _refused("This is no exchange file of proofpatch, or not the whole of one.")
    head = _read(lines[0], 1)
    if head.get("file") != KIND:
        raise _refused("This is no exchange file of proofpatch.")
    if head.get("version") != VERSION:
        raise InputError(
            "file", "The file is of another version of proofpatch.", "Update proofpatch, or ask for it anew."
        )
    body, last = data[: -len(lines[-2]) - 1], _read(lines[-2], len(lines) - 1)
    key = _verified(head, last, body)
    _head_checked(head)
    jobs = tuple(_told(number, _job_in, _read(line, number)) for number, line in enumerate(lines[1:-2], start=2))
    return Parcel(head["shop"], key, head["made"], head["origin"], jobs)


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


def _job_in(entry: dict[str, Any]) -> Exchanged:
    _only(entry, ("surface", "laser", "graded", "recipe"))
    surface = dict(entry["surface"])
    layers = [Layer(**layer) for layer in surface.pop("layers")]
    recipe = entry["recipe"]
    return Exchanged(
        Surface(layers, **surface),
        _laser_in(entry["laser"]),
        tuple(_graded_in(graded) for graded in entry["graded"]),
        None if recipe is None else Setting(**recipe),
    )


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


def _only(entry: Mapping[str, Any], names: Sequence[str]) -> None:
    if set(entry) != set(names):
        raise ValueError("other keys than a job has")
