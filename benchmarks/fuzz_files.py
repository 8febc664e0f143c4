"""Files the fuzz sends: valid photos, meshes and packed jobs, and what somebody may have made of them."""

from __future__ import annotations

import hashlib
import io
import json
import random
import re
import struct
import uuid
import warnings
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import trimesh
from fuzz_values import changed, damaged
from PIL import Image

from proofpatch.shop.folder_zip import CONTENTS, write_folder
from proofpatch.shop.store import Store

NAMES = ("a.jpg", "a.png", "../../a.jpg", "C:\\a.jpg", "a\x00.jpg", "a.jpg\r\nX: y", "<b>.stl", "a" * 300 + ".glb", "",
         ".", "a.stl", "a.obj", "a.ply", "a.glb", "a.zip", "\u202egpj.exe")  # fmt: skip
PICTURES = ("JPEG", "PNG", "GIF", "WEBP", "TIFF", "BMP")
MESHES = ("stl", "obj", "ply", "glb")
ID = re.compile(r"\b[0-9a-f]{32}\b")


def photo(rng: random.Random, valid: bool = False) -> bytes:
    """A photo, mostly a JPEG of a few kB; not valid: another kind, another size than it says, or damaged."""
    pixels = np.random.default_rng(rng.getrandbits(32)).integers(0, 255, (48, 64, 3), dtype=np.uint8)
    out, way = io.BytesIO(), 0.0 if valid else rng.random()
    picture, kind = Image.fromarray(pixels), "JPEG" if way < 0.5 else rng.choice(PICTURES)
    more = {"save_all": True, "append_images": [picture] * 3} if kind in ("GIF", "WEBP", "TIFF") else {}
    picture.save(out, kind, **more)
    content = out.getvalue()
    if valid or way < 0.2:
        return content
    if way > 0.9:
        return png_of(rng.choice((1, 7071, 65535, 2**31 - 1)), rng.choice((1, 7071, 65535, 2**31 - 1)))
    return damaged(content, rng)


def png_of(width: int, height: int) -> bytes:
    """A PNG of a few bytes that says it is so large, its sums right."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    data = zlib.compress(b"\0" * 3_000_000, 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def mesh(rng: random.Random, valid: bool = False) -> tuple[bytes, str]:
    """(a mesh, its kind); of a GLB also its description is changed."""
    kind = rng.choice(MESHES)
    exported = trimesh.creation.box((0.2, 0.1, 0.1)).export(file_type=kind)
    content = exported.encode() if isinstance(exported, str) else bytes(exported)
    if valid or rng.random() < 0.1:
        return content, kind
    if kind == "glb" and rng.random() < 0.7:
        (size,) = struct.unpack("<I", content[12:16])
        text = json.dumps(changed(json.loads(content[20 : 20 + size]), rng)).encode("utf-8", "surrogatepass")
        text += b" " * (-len(text) % 4)
        rest = content[20 + size :]
        head = struct.pack("<4sIIII", b"glTF", 2, 20 + len(text) + len(rest), len(text), 0x4E4F534A)
        return head + text + rest, kind
    return damaged(content, rng), rng.choice((kind, kind, kind, *MESHES, "off", ""))


def packed(folder: Path, job: str) -> bytes:
    """A job of a shop as it is packed."""
    out, store = io.BytesIO(), Store.open(folder)
    try:
        write_folder(store, job, out)
    finally:
        store.close()
    return out.getvalue()


def unpackable(content: bytes, rng: random.Random) -> bytes:
    """A packed job under other ids, with what somebody may have changed in it, most of it with its sums right again."""
    way = rng.random()
    if way < 0.25:
        return damaged(content, rng)
    with zipfile.ZipFile(io.BytesIO(content)) as old:
        files = {name: old.read(name) for name in old.namelist()}
    files = _renamed(files)
    if way < 0.9:
        _changed_within(files, rng)
    if rng.random() < 0.95:
        _summed(files)
    names: list[tuple[str, bytes]] = list(files.items())
    if rng.random() < 0.2:
        strange = ("../../x", "/etc/cron.d/x", "photos\\..\\x", "records/PATCH.json", "records/note.json", "a\x00b",
                   "photos/", "con.json", "records/../../x.json", "papers/" + "a" * 200 + ".pdf")  # fmt: skip
        names.append((rng.choice(strange), b"x" * rng.choice((0, 1, 10_000))))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", rng.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2))) as new:
        for name, one in names:
            info = zipfile.ZipInfo(name)
            info.compress_type = new.compression
            if rng.random() < 0.01:
                info.external_attr = 0o120777 << 16  # a link
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # a name twice is meant
                new.writestr(info, one)
    return out.getvalue()


def _renamed(files: dict[str, bytes]) -> dict[str, bytes]:
    """The same records under new ids, so that the shop has not got them."""
    new: dict[str, str] = {}

    def other(found: re.Match[str]) -> str:
        return new.setdefault(found[0], uuid.uuid4().hex)

    return {
        name: ID.sub(other, content.decode()).encode() if name.endswith(".json") else content
        for name, content in files.items()
    }


def _changed_within(files: dict[str, bytes], rng: random.Random) -> None:
    """Changes a file or two, its data and its last history alike as often as not."""
    for name in rng.sample(sorted(files), rng.randint(1, 2)):
        if not name.endswith(".json"):
            files[name] = damaged(files[name], rng)
            continue
        found = json.loads(files[name])
        if name.startswith("records/") and found and rng.random() < 0.7:
            one = rng.choice(found)
            one["data"] = changed(one["data"], rng)
            one["history"][-1]["data"] = one["data"]
        else:
            found = changed(found, rng)
        files[name] = json.dumps(found).encode("utf-8", "surrogatepass")


def _summed(files: dict[str, bytes]) -> None:
    """Its contents with the sums its files have now."""
    try:
        contents = json.loads(files[CONTENTS])
        contents["sha256"] = {name: hashlib.sha256(one).hexdigest() for name, one in files.items() if name != CONTENTS}
        files[CONTENTS] = json.dumps(contents).encode()
    except (ValueError, TypeError, KeyError):
        return


def job_file(text: str, rng: random.Random) -> bytes:
    """A job in TOML with a few of its values, or its bytes, changed."""
    lines = text.splitlines()
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(len(lines))
        key, mark, _value = lines[at].partition("=")
        if mark and rng.random() < 0.7:
            lines[at] = f"{key}= {json.dumps(changed(rng.choice(VALUES), rng))}"
        else:
            lines.insert(
                at, rng.choice((lines[at], "[surface]", "[[layers]]", "a" * 5000, "x = " + "[" * 3000, "[job.x]"))
            )
    raw = "\n".join(lines).encode("utf-8", "surrogatepass")
    return damaged(raw, rng) if rng.random() < 0.3 else raw


VALUES = ("oak", "1 mm", 3, 0.5, ["a", "b"], {"oak": 0.5}, True, [["1 m", "2 m"]], "2025-03-11")
FORMS: dict[str, Callable[[random.Random], tuple[bytes, str]]] = {
    "photo": lambda rng: (photo(rng), rng.choice(NAMES)),
    "scan": lambda rng: (lambda found: (found[0], f"a.{found[1]}"))(mesh(rng)),
}
