"""Meshes against closed forms, trimesh's primitives and scipy's convex hulls; and files that are none."""

import gzip
import io
import json
import math
import struct
import zipfile

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from proofpatch.errors import InputError
from proofpatch.measure import mesh_file
from proofpatch.measure.mesh import Region, clean_mesh
from proofpatch.measure.mesh_file import JSON, KINDS, read_mesh

BOX = trimesh.creation.box((0.6, 0.4, 0.3))
CAN = trimesh.creation.cylinder(0.1, 0.5, sections=128)


def written(solid, kind):
    data = solid.export(file_type=kind)
    return data.encode() if isinstance(data, str) else data


def of(solid, shared=0.0):
    return clean_mesh(solid.vertices, solid.faces, shared)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("solid", [BOX, CAN], ids=["box", "cylinder"])
def test_every_format_gives_the_same_area(kind, solid):
    mesh = read_mesh(written(solid, kind), kind, "m")
    assert mesh.areas.sum() == pytest.approx(ConvexHull(solid.vertices).area, rel=1e-6)
    assert (mesh.closed, mesh.notes) == (True, ())
    assert len(mesh.faces) == len(solid.faces)


# Closed forms: box 2 (LW + LH + WH); cylinder 2πr(r + h), sphere 4πr², of inscribed polyhedra within their sagitta.
def test_closed_forms_and_hulls():
    assert of(BOX).areas.sum() == pytest.approx(1.08, rel=1e-12)
    assert of(CAN).areas.sum() == pytest.approx(2 * math.pi * 0.1 * 0.6, rel=1e-3)
    assert of(trimesh.creation.icosphere(5, 0.2)).areas.sum() == pytest.approx(4 * math.pi * 0.04, rel=1e-3)
    for seed in range(5):
        hull = ConvexHull(np.random.default_rng(seed).standard_normal((60, 3)))
        assert clean_mesh(hull.points, hull.simplices).areas.sum() == pytest.approx(hull.area, rel=1e-9)


@pytest.mark.parametrize(("unit", "size"), [("mm", 1e-3), ("in", 0.0254), ("cm", 0.01), ("ft", 0.3048)])
def test_units(unit, size):
    solid = trimesh.creation.box((20, 10, 5))
    mesh = read_mesh(written(solid, "stl"), "STL", unit)
    assert mesh.areas.sum() == pytest.approx(700 * size**2, rel=1e-6)
    assert Region(mesh=mesh).shared == pytest.approx(0.02)


def test_a_known_length_sets_the_scale():
    mesh = read_mesh(written(BOX, "glb"), "glb", longest=1.2)
    assert mesh.areas.sum() == pytest.approx(4 * 1.08, rel=1e-6)
    assert mesh.shared == pytest.approx(2 * 0.002 / 1.2)


def test_a_scene_of_placed_parts():
    scene = trimesh.Scene()
    for i in range(3):
        place = trimesh.transformations.rotation_matrix(i, [1, 2, 3], [i, 0, 0])
        scene.add_geometry(BOX if i else BOX.copy().apply_scale(2), transform=place)
    mesh = read_mesh(scene.export(file_type="glb"), "glb")
    assert mesh.areas.sum() == pytest.approx(1.08 * (4 + 2), rel=1e-5)


def test_open_flipped_doubled_and_odd_meshes_say_so():
    vertices, faces = BOX.vertices, BOX.faces
    assert "open" in clean_mesh(vertices, faces[2:]).notes[0]
    flipped = faces.copy()
    flipped[::3] = flipped[::3, ::-1]
    odd = clean_mesh(vertices, flipped)
    assert any("opposite" in note for note in odd.notes)
    assert odd.areas.sum() == pytest.approx(1.08)
    doubled = clean_mesh(vertices, np.vstack([faces, faces[:, ::-1], [[0, 0, 1]]]))
    assert doubled.areas.sum() == pytest.approx(1.08)
    assert (doubled.doubled, doubled.dropped) == (12, 1)
    fins = clean_mesh(np.vstack([vertices, [[9, 9, 9]]]), np.vstack([faces, [[*faces[0, :2], 8]]]))
    assert any("more than two" in note for note in fins.notes)


# A face of a box by closed form, whichever way its triangles turn; a cylinder's mantle is smooth, its rims are creases.
@pytest.mark.parametrize("flip", [False, True])
def test_regions_grow_to_creases(flip):
    faces = np.array(BOX.faces)
    top = of(BOX).nearest((0.05, 0.05, 0.15))
    if flip:
        faces[top] = faces[top, ::-1]
    mesh = clean_mesh(BOX.vertices, faces)
    top = mesh.nearest((0.05, 0.05, 0.15))
    assert Region(mesh=mesh, picked=mesh.grown(top)).area == pytest.approx(0.24)
    assert Region(mesh=mesh, picked=mesh.grown(top, math.pi)).area == pytest.approx(1.08)
    can = of(CAN)
    mantle = can.grown(can.nearest((0.1, 0, 0.1)))
    assert Region(mesh=can, picked=mantle).area == pytest.approx(2 * math.pi * 0.1 * 0.5, rel=1e-3)


def test_regions_by_box():
    mesh = of(BOX.subdivide().subdivide().subdivide())
    half = Region(mesh=mesh, picked=mesh.boxed((-1, -1, 0.0), (1, 1, 1)))
    assert half.area == pytest.approx(0.54)
    assert half.spread == pytest.approx(0.03)
    for low, high in (((2, 2, 2), (3, 3, 3)), ((0, 0), (1, 1, 1)), ((0, 0, math.nan), (1, 1, 1)), ("a", "b")):
        with pytest.raises(InputError):
            mesh.boxed(low, high)
    for seed in (-1, 10**9, math.nan, "a"):
        with pytest.raises(InputError):
            mesh.grown(seed)
    for picked in (np.zeros(len(mesh.faces), bool), np.ones(3, bool), "all"):
        with pytest.raises(InputError):
            Region(mesh=mesh, picked=picked)


def glb(tree, binary=b""):
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    binary += b"\0" * (-len(binary) % 4)
    body = struct.pack("<II", len(text), JSON) + text + struct.pack("<II", len(binary), mesh_file.BIN) + binary
    return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body


def tree_of(data):
    (size,) = struct.unpack("<I", data[12:16])
    return json.loads(data[20 : 20 + size]), data[28 + size :]


def changed(**new):
    tree, binary = tree_of(written(BOX, "glb"))
    return glb({**tree, **new}, binary)


def zipped(data):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.obj", data)
    return out.getvalue()


SOLID = written(BOX, "glb")
TREE, BINARY = tree_of(SOLID)
RING = [{"children": [1], "mesh": 0}, {"children": [0]}]
FAN = [{"children": [i + 1, i + 1]} for i in range(30)] + [{"mesh": 0}]
SPARSE = [{"componentType": 5126, "type": "VEC3", "count": 10**9}, *TREE["accessors"][1:]]
ENDLESS = [{**one, "count": math.inf} for one in TREE["accessors"]]  # "Infinity", which json reads


@pytest.mark.parametrize(
    ("data", "kind", "hint"),
    [
        (b"", "obj", "empty"), (b"v 0 0 0\n", "obj", "no faces"), (b"\x00\xff" * 500, "obj", "no faces"),
        (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "obj", "read"),
        (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf a b c\n", "obj", "corner"),
        (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf -4 -2 -1\n", "obj", "corner"),
        (b"v 0 0 nan\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "obj", "numbers"),
        (b"v 0 0 1e400\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "obj", "numbers"),
        (b"v 0 0 0\nv 1 0 0\nv 2 0 0\nf 1 2 3\n", "obj", "area"),
        (b"v 0 0 0\n" * 3 + b"f 1 2 3\n", "obj", "extent"),
        (b"v 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "obj", ""),
        (b"solid x\nendsolid\n", "stl", "no faces"), (b"x" * 83, "stl", "STL"),
        (b"x" * 80 + b"\xff\xff\xff\xff", "stl", "STL"),
        (written(BOX, "stl")[:-7], "stl", "STL"), (b"\0" * 84, "stl", "no faces"),
        (b"ply\nformat ascii 1.0\n", "ply", "PLY"), (b"ply\nend_header\n", "ply", "PLY"),
        (b"nope", "ply", "PLY"),
        (b"ply\nformat ascii 1.0\nelement vertex 4000000000\nproperty float x\nend_header\n",
         "ply", "shorter"),
        (b"ply\nformat binary_little_endian 1.0\nelement vertex 3\nproperty list int int x\nend_header\n"
         + b"\x7f" * 99,
         "ply", "PLY"),
        (written(BOX, "ply")[:-5], "ply", "PLY"),
        (b"glTF", "glb", "GLB"), (SOLID[:40], "glb", "GLB"), (SOLID[:-60], "glb", "GLB"), (glb([]), "glb", "GLB"),
        (glb({}), "glb", ""), (b"glTF" + b"\x02\0\0\0" + b"\xff" * 200, "glb", "GLB"),
        (struct.pack("<4sIIII", b"glTF", 2, 60_020, 60_000, JSON) + b"[" * 60_000, "glb", "GLB"),
        (changed(buffers=[{"uri": "http://127.0.0.1/x.bin", "byteLength": 9}]), "glb", "another file"),
        (changed(buffers=[{"uri": "../../etc/passwd", "byteLength": 9}]), "glb", "another file"),
        (changed(extensionsRequired=["KHR_draco_mesh_compression"]), "glb", "compressed"),
        (changed(nodes=RING), "glb", "tree"), (changed(nodes=FAN), "glb", "tree"),
        (changed(nodes=[{"mesh": 5}]), "glb", "GLB"),
        (changed(nodes=[{"children": [7]}]), "glb", "GLB"), (changed(nodes=[{"mesh": 0}] * 20_000), "glb", "tree"),
        (changed(accessors=SPARSE), "glb", ""), (changed(accessors=ENDLESS), "glb", "GLB"),
        (changed(meshes=[{"primitives": [{}]}]), "glb", "GLB"),
        (changed(nodes=[{"mesh": 0, "matrix": [math.inf] * 16}]), "glb", ""),
        (zipped(b"v 0 0 0\n" * 10**6), "obj", "archive"), (gzip.compress(b"0" * 10**6), "ply", "archive"),
        (zipped(SOLID), "glb", "archive"), (b"x", "step", "kind"), (b"x", "gltf", "kind"),
    ],
)  # fmt: skip
def test_files_that_hold_no_mesh(data, kind, hint):
    with pytest.raises(InputError) as error:
        read_mesh(data, kind, "m")
    assert hint in str(error.value)
    assert len(str(error.value)) < 200
    assert str(error.value).count(". ") <= 1


def test_too_large_is_said_before_it_is_read(monkeypatch):
    monkeypatch.setattr(mesh_file, "MOST_FACES", 11)
    for kind in KINDS:
        with pytest.raises(InputError, match="million faces"):
            read_mesh(written(BOX, kind), kind, "m")
    many = {**TREE, "nodes": [{"mesh": 0}] * 9}
    monkeypatch.setattr(mesh_file, "MOST_FACES", 50)
    with pytest.raises(InputError, match="million faces"):
        read_mesh(glb(many, BINARY), "glb")
    monkeypatch.setattr(mesh_file, "MOST_BYTES", 100)
    with pytest.raises(InputError, match="MB"):
        read_mesh(SOLID, "glb")


# Everything a file names outside itself stays unread: no socket, no open file.
def test_nothing_outside_the_file_is_opened(monkeypatch):
    def refused(*_, **__):
        raise AssertionError("reached outside")

    obj = b"mtllib /etc/passwd\n" + written(BOX, "obj")
    ply = written(BOX, "ply").replace(b"format", b"comment TextureFile secret.png\nformat", 1)
    textured = changed(images=[{"uri": "http://127.0.0.1/x.png"}], textures=[{"source": 0}], samplers=[{}],
                       materials=[{"pbrMetallicRoughness": {"baseColorTexture": {"index": 0}}}])  # fmt: skip
    read_mesh(obj, "obj", "m")  # what trimesh itself loads at first use is loaded now
    monkeypatch.setattr("socket.socket.connect", refused)
    monkeypatch.setattr("builtins.open", refused)
    for data, kind in ((obj, "obj"), (ply, "ply"), (textured, "glb")):
        assert read_mesh(data, kind, "m").areas.sum() == pytest.approx(1.08, rel=1e-6)


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({}, "unit"), ({"unit": "m", "longest": 1.0}, "unit"), ({"unit": "furlong"}, "unit"), ({"unit": ["m"]}, "unit"),
        ({"unit": "ft", "kind": "big"}, "unit"), ({"longest": -1}, "longest"), ({"longest": math.nan}, "longest"),
        ({"longest": 1e9}, "longest"),
    ],
)  # fmt: skip
def test_scales_that_cannot_be(given, field):
    solid = trimesh.creation.box((2000, 1, 1)) if given.pop("kind", "") else BOX
    with pytest.raises(InputError) as error:
        read_mesh(written(solid, "stl"), "stl", **given)
    assert error.value.field == field


# Bytes of a whole file knocked about: a mesh or a sentence, nothing else.
@settings(max_examples=120, deadline=None)
@given(st.sampled_from(KINDS), st.lists(st.tuples(st.integers(0, 5000), st.integers(0, 255)), min_size=1, max_size=6))
def test_knocked_files(kind, blows):
    data = bytearray(written(BOX, kind))
    for place, byte in blows:
        data[place % len(data)] = byte
    try:
        mesh = read_mesh(bytes(data), kind, "m")
    except InputError:  # anything else is a bug
        return
    assert np.isfinite(mesh.areas.sum())


# Corners counted back, polygons of four, a line carried on, places of textures: Wavefront's own rules.
def test_an_obj_as_programs_write_it():
    text = (
        b"v 0 0 0\nv 1 0 0 1 1 1\nv 1 1 0\nv 0 1 0\nvt 0 0\nvn 0 0 1\nf -4/1/1 -3//1 \\\n-2/1 -1\nv 0 0 1\nf 1 2 -1\n"
    )
    assert read_mesh(text, "obj", "m").areas.sum() == pytest.approx(1.5)


def test_a_large_mesh_is_read_in_seconds():
    solid = trimesh.creation.icosphere(6, 0.5)
    mesh = read_mesh(solid.export(file_type="stl"), "stl", "m")
    assert len(mesh.faces) == 81_920
    assert mesh.closed
    assert mesh.areas.sum() == pytest.approx(math.pi, rel=1e-4)
