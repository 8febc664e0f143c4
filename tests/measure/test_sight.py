"""What is seen of a mesh, against projections known in closed form, and the names of its sides."""

import math

import numpy as np
import pytest
import trimesh

from proofpatch.errors import InputError
from proofpatch.measure.mesh_file import read_mesh
from proofpatch.measure.sides import SIDES, UPS, facing_words, side_words, stance
from proofpatch.measure.sight import seen_from


def mesh_of(made):
    return read_mesh(made.export(file_type="ply"), "ply", "m")


# Of a convex body the shadow along e is ½ Σ A |n·e| (Cauchy); areas and normals are trimesh's, not ours.
@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("up", UPS)
def test_the_shadow_of_a_convex_body(side, up):
    made = trimesh.creation.icosphere(subdivisions=2, radius=0.2)
    made.apply_scale((1, 1.7, 0.6))
    eye, _, _ = frame = stance(side, up)
    sight = seen_from(mesh_of(made), frame, 600, 600)
    shadow = np.sum(made.area_faces * np.abs(made.face_normals @ eye)) / 2
    assert np.count_nonzero(sight.face >= 0) * sight.pixel**2 == pytest.approx(shadow, rel=5e-3)


def test_the_nearer_of_two_hides_the_other():
    near, far = trimesh.creation.box((1, 1, 0.1)), trimesh.creation.box((1, 1, 0.1))
    near.apply_translation((0, 0, 1))
    mesh = mesh_of(trimesh.util.concatenate([far, near]))
    sight = seen_from(mesh, stance("top", "z"), 200, 200)
    seen = np.unique(sight.face[sight.face >= 0])
    assert np.all(mesh.middles[seen, 2] == pytest.approx(1.05))
    assert float(sight.depth[100, 100]) == pytest.approx(1.05, abs=1e-6)
    assert sight.at(0.5, 0.5) in seen
    assert sight.at(0.0, 0.0) is None


def test_a_picture_is_the_same_by_parts_and_coarser(monkeypatch):
    mesh = mesh_of(trimesh.creation.annulus(0.2, 0.5, 0.3, sections=40))
    whole = seen_from(mesh, stance("front", "z"), 160, 160)
    monkeypatch.setattr("proofpatch.measure.sight.CHUNK", 500)
    assert np.array_equal(seen_from(mesh, stance("front", "z"), 160, 160).face, whole.face)
    monkeypatch.setattr("proofpatch.measure.sight.MOST_TESTS", 20_000)
    coarse = seen_from(mesh, stance("front", "z"), 160, 160)
    assert coarse.size == whole.size
    assert np.mean((coarse.face >= 0) == (whole.face >= 0)) > 0.97
    monkeypatch.setattr("proofpatch.measure.sight.MOST_TESTS", 10)
    with pytest.raises(InputError, match="too tangled"):
        seen_from(mesh, stance("front", "z"), 160, 160)


# glTF 2.0, §3.4: +Y up, +Z forward, right-handed; so who looks at the front has +X on the right.
def test_sides_are_those_of_the_standard():
    eye, right, up = stance("front", "y")
    assert (eye.tolist(), right.tolist(), up.tolist()) == ([0, 0, 1], [1, 0, 0], [0, 1, 0])
    for way in UPS:
        for side in SIDES:
            eye, right, up = stance(side, way)
            assert np.cross(right, up) == pytest.approx(eye)  # right-handed: nothing is mirrored
    assert side_words((0, 0, 1), "z") == "above"
    assert facing_words((0, -1, 0), "z") == "the front"
    tilted = np.array((1, 1, -1)) / math.sqrt(3)
    assert side_words(tilted, "y") == "the back, the right and above"
    assert facing_words(-tilted, "y") == "the front, the left and down"
    for wrong in (("up", "z"), ("front", "x")):
        with pytest.raises(InputError):
            stance(*wrong)
