"""Picked parts of scans against the closed forms of what they were made from."""

import math

import numpy as np
import pytest
import trimesh

from proofpatch.errors import InputError
from proofpatch.measure.mesh import CREASE, Region
from proofpatch.measure.mesh_file import read_mesh
from proofpatch.measure.picking import MOST_PICKS, picked, smooth_faces, tapped, turned_to
from proofpatch.measure.scanned import scanned_from, scanned_record


def mesh_of(made, opened=False):
    if opened:
        made.update_faces(np.arange(len(made.faces)) != 0)
    return read_mesh(made.export(file_type="ply"), "ply", "m")


@pytest.fixture(scope="module")
def box():
    return mesh_of(trimesh.creation.box((0.6, 0.4, 0.9)))


def area(mesh, picks, up="z"):
    return float(mesh.areas[picked(mesh, picks, CREASE, up)].sum())


KNOWN = {"front": 0.54, "back": 0.54, "left": 0.36, "right": 0.36, "top": 0.24, "bottom": 0.24}  # m²


@pytest.mark.parametrize(("side", "known"), KNOWN.items())
def test_a_side_of_a_box(box, side, known):
    assert area(box, (f"s-{side}",)) == pytest.approx(known)
    assert area(box, ("all",)) == pytest.approx(2 * (0.54 + 0.36 + 0.24))
    assert area(box, ()) == 0


# A spherical cap to the angle θ has 2πr²(1 − cos θ); of the sphere that is what is turned to a side by at most 45°.
def test_what_is_turned_to_one_side_of_a_sphere():
    mesh = mesh_of(trimesh.creation.icosphere(subdivisions=5, radius=0.3))
    cap = 2 * math.pi * 0.3**2 * (1 - math.cos(math.pi / 4))
    assert mesh.areas[turned_to(mesh, "top", "z")].sum() == pytest.approx(cap, rel=0.02)
    (one,) = smooth_faces(mesh, CREASE)
    assert one.form == "turning round"


def test_what_lies_behind_something_is_not_turned_to_who_looks():
    far, near = trimesh.creation.box((1, 1, 0.1)), trimesh.creation.box((1, 1, 0.1))
    near.apply_translation((0.4, 0, 1))
    mesh = mesh_of(trimesh.util.concatenate([far.subdivide().subdivide().subdivide(), near]))
    assert area(mesh, ("s-top",)) == pytest.approx(1 + 0.4, rel=0.1)  # cut to whole triangles of 1/8


def test_smooth_faces_with_where_they_face(box):
    found = smooth_faces(box, CREASE)
    assert [round(one.area, 6) for one in found] == [0.54, 0.54, 0.36, 0.36, 0.24, 0.24]
    for one in found:
        assert one.form == "flat"
        assert one.direction == pytest.approx(tuple(box.outward[one.seed]))
        assert area(box, (f"f{one.seed}",)) == pytest.approx(one.area)
    tube = mesh_of(trimesh.creation.cylinder(0.1, 0.5, sections=64))
    assert [one.form for one in smooth_faces(tube, CREASE)] == ["turning round", "flat", "flat"]


def test_an_open_scan_faces_away_from_its_middle():
    mesh = mesh_of(trimesh.creation.box((0.6, 0.4, 0.9)), opened=True)
    assert not mesh.closed
    for one in smooth_faces(mesh, CREASE):
        assert np.dot(one.direction, mesh.middles[one.seed] - mesh.vertices.mean(axis=0)) > 0
    assert area(mesh, ("s-top",)) == pytest.approx(0.24)


def test_a_tap_takes_in_and_out_again(box):
    seed = smooth_faces(box, CREASE)[0].seed
    once = tapped((), seed, box, CREASE, "z")
    assert once == (f"f{seed}",)
    assert tapped(once, seed, box, CREASE, "z") == ()
    out = tapped(("all",), seed, box, CREASE, "z")
    assert area(box, out) == pytest.approx(2.28 - 0.54)
    assert area(box, tapped(out, seed, box, CREASE, "z")) == pytest.approx(2.28)


@pytest.mark.parametrize("picks", [("f99999",), ("g1",), ("s-inside",), ("",), ("f-1",), ("all",) * (MOST_PICKS + 1)])
def test_what_is_no_pick(box, picks):
    with pytest.raises(InputError) as trouble:
        picked(box, picks, CREASE, "z")
    assert trouble.value.field in ("pick", "side")


# What a job keeps of a scan says the same as the scan: area, how sure, what is odd about it.
@pytest.mark.parametrize(("unit", "longest"), [("m", ""), (None, "0.9 m")])
def test_what_is_kept_is_what_was_measured(unit, longest):
    made = trimesh.creation.box((0.6, 0.4, 0.9))
    made.update_faces(np.arange(len(made.faces)) != 0)
    mesh = read_mesh(made.export(file_type="ply"), "ply", unit, 0.9 if longest else None)
    region = Region(mesh=mesh, picked=picked(mesh, ("s-top",), CREASE, "z"), title="picked parts")
    kept = scanned_from(scanned_record(region, "a" * 64, unit, longest, "z front 30° s-top"))
    assert kept.area == pytest.approx(region.area, rel=1e-8)
    assert (kept.own, kept.shared, kept.data) == (region.own, region.shared, region.data)
    assert (kept.words, kept.notes) == (region.words, mesh.notes)
    assert kept.notes


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"unit": "yd"}, "unit"), ({"longest": "1 m"}, "unit"), ({"unit": None}, "unit"), ({"area": "0 m²"}, "area"),
        ({"area": "5 kg"}, "area"), ({"odd": [1]}, "odd"), ({"odd": 3}, "odd"), ({"odd": [-1, 0, 0, 0, 0]}, "faces"),
        ({"faces": 1.5}, "faces"), ({"more": 1}, "scan"), ({"title": "a\nb"}, "title"), ({"scan": 5}, "scan"),
    ],
)  # fmt: skip
def test_what_cannot_be_kept(change, field):
    record = {"scan": "stool", "area": "0.4 m²", "unit": "mm", "faces": 12, **change}
    with pytest.raises(InputError) as trouble:
        scanned_from({key: value for key, value in record.items() if value is not None})
    assert trouble.value.field == field
