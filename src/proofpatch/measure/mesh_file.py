"""A mesh from the bytes of a file: OBJ, STL, PLY or GLB, read by trimesh once nothing in it can reach out or swell.

Nothing is unpacked, no file beside it and no address is opened, textures and materials are dropped unread.
"""

from __future__ import annotations

import io
import json
import re
import struct
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.measure.mesh import Mesh, clean_mesh, scale_spread
from proofpatch.physics.setting import finite_number
from proofpatch.units import FOOT, INCH

KINDS = ("obj", "stl", "ply", "glb")
UNITS = {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "in": INCH, "ft": FOOT}
MOST_BYTES = 60_000_000
MOST_FACES = 2_000_000
MOST_VERTICES = 6_000_000
MOST_NODES = 10_000
MOST_CORNERS = 16_000_000  # that the faces of a PLY may name; each may become a face of its own
BYTES = {b"char": 1, b"uchar": 1, b"int8": 1, b"uint8": 1, b"short": 2, b"ushort": 2, b"int16": 2, b"uint16": 2}
MOST_PIECES = 2000  # that a GLB draws; each takes its time however small it is
MOST_JSON = 8_000_000  # bytes of a GLB's description
LONGEST_LINE = 100_000
SMALLEST, LARGEST = 1e-3, 200.0  # m, longest side of anything measured here
PACKED = (b"PK\x03\x04", b"PK\x05\x06", b"\x1f\x8b", b"BZh", b"\xfd7zXZ", b"7z\xbc\xaf", b"\x28\xb5\x2f\xfd", b"Rar!")
AGAIN = "Export it again as a plain triangle mesh."
BIN, JSON = 0x004E4942, 0x4E4F534A


@dataclass(frozen=True, eq=False)
class Loose:
    """Corners (n, 3) and faces (m, 3) of a file that has not said its unit; sides: of the box about them."""

    vertices: NDArray[np.float64]
    faces: NDArray[np.int64]
    sides: tuple[float, float, float]


def read_mesh(data: bytes, kind: str, unit: str | None = None, longest: float | None = None) -> Mesh:
    """The mesh of a file's bytes, in metres.

    Args:
        data: the file.
        kind: obj, stl, ply or glb, as its name ends.
        unit: what its numbers are in: m, cm, mm, in or ft. None with `longest`; GLB is metres by its standard
            (glTF 2.0, §3.3).
        longest: length of the longest side of the box about it, by tape [m]; it then sets the scale.

    Raises:
        InputError: too large, packed, broken, empty, not finite, or the unit cannot be right.
    """
    kind = kind_of(kind)
    if unit is None and longest is None and kind == "glb":
        unit = "m"
    if (unit is None) == (longest is None):
        raise InputError("unit", "The file does not say its unit.", "Give its unit, or its longest side, one of them.")
    _known(unit)
    if longest is not None:
        longest = finite_number("longest", "The longest side", longest, SMALLEST, LARGEST, "m")
    return scaled(read_loose(data, kind), unit, longest)


def kind_of(name: str) -> str:
    """The kind of a mesh by its name or ending.

    Raises:
        InputError: it is not one that is read.
    """
    kind = str(name).lower().rpartition(".")[2]
    if kind not in KINDS:
        raise InputError("mesh", f"A mesh of the kind {kind[:20]!r} is not read.", f"Use: {', '.join(KINDS)}.")
    return kind


def read_loose(data: bytes, kind: str) -> Loose:
    """What a file holds, in whatever its numbers are in. Arguments and errors as `read_mesh`."""
    if not isinstance(data, (bytes, bytearray)) or not data:
        raise InputError("mesh", "The file is empty.", "Send it again.")
    if len(data) > MOST_BYTES:
        raise InputError(
            "mesh", f"The file is larger than {MOST_BYTES // 10**6} MB.", "Thin the mesh before exporting."
        )
    if bytes(data[:8]).startswith(PACKED):
        raise InputError("mesh", "The file is a packed archive.", "Unpack it and send the mesh itself.")
    vertices, faces = _parsed(CHECKED[kind](bytes(data)), kind)
    used = vertices[np.unique(faces)]
    if not np.all(np.isfinite(used)):
        raise InputError("mesh", "The mesh has corners that are no numbers.", AGAIN)
    low, high = used.min(axis=0), used.max(axis=0)
    with np.errstate(over="ignore"):
        sides = (float(high[0] - low[0]), float(high[1] - low[1]), float(high[2] - low[2]))
    if not 0 < max(sides) < np.inf:
        raise InputError("mesh", "The mesh has no extent.", AGAIN)
    return Loose(vertices, faces, sides)


def _known(unit: str | None) -> None:
    if unit is not None and str(unit) not in UNITS:
        raise InputError("unit", f"The unit {str(unit)[:20]!r} is not known.", f"Use: {', '.join(UNITS)}.")


def scaled(loose: Loose, unit: str | None, longest: float | None = None) -> Mesh:
    """The mesh in metres, by its unit or its longest side by tape. Errors as `read_mesh`."""
    _known(unit)
    side = max(loose.sides)
    factor = UNITS[unit or "m"] if longest is None else longest / side
    if not SMALLEST <= side * factor <= LARGEST:
        said = f"In {unit} the mesh would be {side * factor:.3g} m long."
        raise InputError("unit", said, "Check the unit, or give its longest side.")
    mesh = clean_mesh(loose.vertices * factor, loose.faces, scale_spread(longest))
    return replace(mesh, by_tape=longest is not None)


def _parsed(data: bytes, kind: str) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """(corners, faces) as trimesh reads them; whatever it stumbles over is one sentence."""
    import trimesh

    try:
        # What a parser warns of in a broken file is no fault of ours; the checks after it decide.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            scene = trimesh.load_scene(
                io.BytesIO(data), file_type=kind, resolver=None, allow_remote=False, process=False, skip_materials=True
            )
            made = scene.to_mesh()
            vertices = np.array(made.vertices, float).reshape(-1, 3)
            faces = np.array(made.faces, np.int64).reshape(-1, 3)
    except InputError:
        raise
    except (MemoryError, Exception):  # a parser of hostile bytes may raise anything
        raise InputError("mesh", f"The file cannot be read as {kind.upper()}.", AGAIN) from None
    if not len(faces):
        raise InputError("mesh", "The file holds no faces, so no area.", "Export a mesh, not points or lines.")
    _bound(len(vertices), len(faces))
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise InputError("mesh", "A face of the mesh names a corner that is not there.", AGAIN)
    return vertices, faces


def _bound(vertices: int, faces: int) -> None:
    if faces > MOST_FACES or vertices > MOST_VERTICES:
        said = f"The mesh has more than {MOST_FACES // 10**6} million faces."
        raise InputError("mesh", said, "Thin it before exporting.")


def _obj(data: bytes) -> bytes:
    """Corners and faces only: no material library is looked for, no line can name a file."""
    corners: list[bytes] = []
    faces: list[bytes] = []
    _bound(0, data.count(b"\n") // 4)  # corners, normals, places of textures, faces
    # Line by line: a file of empty lines, or of one, must not be taken apart whole.
    for line in io.BytesIO(data.replace(b"\\\r\n", b" ").replace(b"\\\n", b" ")):
        if len(line) > LONGEST_LINE:
            raise InputError("mesh", "The OBJ file has a line that is no corner and no face.", AGAIN)
        if line.startswith((b"v ", b"v\t")):
            corners.append(b"v " + b" ".join(line.split()[1:4]))
            _bound(3 * len(corners), 0)
        elif line.startswith((b"f ", b"f\t")):
            names = [_corner(part, len(corners)) for part in line.split()[1:]]
            # Fans: what a parser does with more than three corners is its own affair.
            faces += [b"f %d %d %d" % (names[0], names[i], names[i + 1]) for i in range(1, len(names) - 1)]
            _bound(len(corners), len(faces))
    if not faces:
        raise InputError("mesh", "The OBJ file holds no faces.", "Export a mesh, not points or lines.")
    return b"\n".join(corners + faces) + b"\n"


def _corner(name: bytes, before: int) -> int:
    """The number of a corner; a negative one counts back from the corners before."""
    found = re.match(rb"(-?[0-9]{1,9})(?:/|$)", name)
    number = int(found[1]) if found else 0
    number = before + 1 + number if number < 0 else number
    if number < 1:
        raise InputError("mesh", "A face of the OBJ file names a corner that is not there.", AGAIN)
    return number


def _stl(data: bytes) -> bytes:
    if len(data) >= 84:
        (count,) = struct.unpack("<I", data[80:84])
        if len(data) == 84 + 50 * count:
            _bound(0, count)
            return data
    if not data.lstrip()[:5].lower() == b"solid":
        raise InputError("mesh", "The STL file is shorter or longer than it says.", "Send it again.")
    _bound(0, data.count(b"endfacet"))
    return data


def _ply(data: bytes) -> bytes:
    end = data.find(b"end_header", 0, 100_000)
    if not data.startswith(b"ply") or end < 0:
        raise InputError("mesh", "The file cannot be read as PLY.", AGAIN)
    counts = {}
    for name, count in re.findall(rb"element\s+(\w+)\s+(\d+)", data[:end]):
        counts[name] = int(count[:12])
        if counts[name] > len(data):
            raise InputError("mesh", "The PLY file is shorter than it says.", "Send it again.")
    _bound(counts.get(b"vertex", 0), counts.get(b"face", 0))
    for kind in re.findall(rb"property\s+list\s+\w+\s+(\w+)", data[:end]):
        if (len(data) - end) // BYTES.get(kind, 4) > MOST_CORNERS:
            raise InputError("mesh", "The PLY file names more corners than a scan has.", "Thin it before exporting.")
    if b"ascii" in data[:end]:
        _bound(0, data.count(b"\n") // 2)
    return data


def _glb(data: bytes) -> bytes:
    """The same scene with its corners, faces and places only; nothing it names outside itself is left."""
    try:
        magic, version, _, size, kind = struct.unpack("<4sIIII", data[:20])
        if (magic, version, kind) != (b"glTF", 2, JSON) or 20 + size > len(data) or size > MOST_JSON:
            raise ValueError
        tree = json.loads(data[20 : 20 + size])
        rest = data[20 + size :]
        plain = _stripped(tree)
    except (struct.error, ValueError, LookupError, TypeError, AttributeError, OverflowError, RecursionError) as trouble:
        if isinstance(trouble, InputError):
            raise
        raise InputError("mesh", "The file cannot be read as GLB.", AGAIN) from None
    text = json.dumps(plain).encode()
    text += b" " * (-len(text) % 4)
    head = struct.pack("<4sIIII", b"glTF", 2, 20 + len(text) + len(rest), len(text), JSON)
    return head + text + rest


def _stripped(tree: Mapping[str, Any]) -> dict[str, Any]:
    if any(not str(name).startswith(("KHR_materials", "KHR_texture")) for name in tree.get("extensionsRequired", [])):
        raise InputError("mesh", "The GLB file is compressed.", "Export it without mesh compression.")
    if any("uri" in buffer for buffer in tree.get("buffers", [])):
        raise InputError("mesh", "The GLB file keeps its mesh in another file.", "Export it as one file.")
    accessors: list[Any] = []

    def kept(number: int) -> int:
        one = tree["accessors"][int(number)]
        if "sparse" in one or "bufferView" not in one or int(number) < 0:
            raise InputError("mesh", "The GLB file stores its corners in a way that is not read.", AGAIN)
        accessors.append({key: one[key] for key in one if key not in ("min", "max", "name")})
        return len(accessors) - 1

    meshes, sizes = [], []
    for mesh in tree.get("meshes", []):
        primitives, corners, faces = [], 0, 0
        for one in mesh["primitives"]:
            if one.get("mode", 4) not in (4, 5, 6):
                continue  # points and lines have no area
            place = one["attributes"]["POSITION"]
            plain = {"mode": one.get("mode", 4), "attributes": {"POSITION": kept(place)}}
            count = int(tree["accessors"][place]["count"])
            corners += count
            if "indices" in one:
                plain["indices"] = kept(one["indices"])
                count = int(tree["accessors"][one["indices"]]["count"])
            faces += count // 3 if plain["mode"] == 4 else count
            primitives.append(plain)
        _bound(corners, faces)
        meshes.append({"primitives": primitives})
        sizes.append((corners, faces))
    _bound(sum(size[0] for size in sizes), sum(size[1] for size in sizes))
    nodes = [
        {key: node[key] for key in ("mesh", "children", "matrix", "translation", "rotation", "scale") if key in node}
        for node in tree.get("nodes", [])
    ]
    _check_nodes(nodes, sizes, [len(mesh["primitives"]) for mesh in meshes])
    plain_tree = {"asset": {"version": "2.0"}, "accessors": accessors, "meshes": meshes, "nodes": nodes}
    return plain_tree | {key: tree[key] for key in ("bufferViews", "buffers", "scenes", "scene") if key in tree}


def _check_nodes(nodes: list[dict[str, Any]], sizes: list[tuple[int, int]], pieces: list[int]) -> None:
    """A tree, as the standard asks: a node with two parents would be drawn twice, and twice again below."""
    parents = [child for node in nodes for child in node.get("children", [])]
    if len(nodes) > MOST_NODES or len(set(parents)) < len(parents):
        raise InputError("mesh", "The parts of the GLB file do not form a tree.", AGAIN)
    # With one parent each, what no root leads to goes round in a ring.
    seen, left = set(), [i for i in range(len(nodes)) if i not in set(parents)]
    while left:
        i = left.pop()
        seen.add(i)
        left += nodes[i].get("children", [])
    if len(seen) < len(nodes):
        raise InputError("mesh", "The parts of the GLB file do not form a tree.", AGAIN)
    placed = [sizes[node["mesh"]] for node in nodes if "mesh" in node]
    drawn = sum(pieces[node["mesh"]] for node in nodes if "mesh" in node)
    if max(drawn, sum(pieces)) > MOST_PIECES:
        raise InputError("mesh", f"The GLB file has more than {MOST_PIECES} pieces.", "Join them before exporting.")
    _bound(sum(size[0] for size in placed), sum(size[1] for size in placed))


CHECKED = {"obj": _obj, "stl": _stl, "ply": _ply, "glb": _glb}
