"""What the head reaches, against closed forms of caps, faces and shadows."""

import math

import numpy as np
import pytest
import trimesh

from proofpatch.errors import InputError
from proofpatch.measure.mesh import Region, clean_mesh
from proofpatch.measure.reach import DIRECTIONS, incidence_limit, reach, samples, silhouette

UP = (0, 0, 1)


def whole(solid):
    return Region(mesh=clean_mesh(solid.vertices, solid.faces))


def joined(*solids):
    return trimesh.util.concatenate(list(solids))


# A cap of a sphere up to the angle θ from its pole: 2πr²(1 − cos θ).
@pytest.mark.parametrize("angle", [20, 45, 60])
def test_one_set_up_reaches_a_cap(angle):
    ball = whole(trimesh.creation.icosphere(5, 0.2))
    found = reach(ball, [UP], math.radians(angle))
    assert found.reached == pytest.approx(2 * math.pi * 0.04 * (1 - math.cos(math.radians(angle))), rel=0.02)
    assert found.by_hand == pytest.approx(1 - found.reached / ball.area)


@pytest.mark.parametrize("wound", ["right", "inside out", "mixed", "open"])
def test_a_box_needs_a_set_up_a_face(wound):
    box = trimesh.creation.box((0.6, 0.4, 0.3))
    faces = np.array(box.faces)
    if wound == "inside out":
        faces = faces[:, ::-1]
    elif wound == "mixed":
        faces[::2] = faces[::2, ::-1]
    elif wound == "open":
        faces = faces[np.abs(box.face_normals[:, 2] + 1) > 1e-6]  # no bottom
    region = Region(mesh=clean_mesh(box.vertices, faces))
    found = reach(region, incidence=math.radians(30))
    assert len(found.setups) == (5 if wound == "open" else 6)
    assert found.by_hand == pytest.approx(0, abs=0.005)
    assert found.setups[0].gained == pytest.approx(0.24, rel=0.01)
    one = reach(region, [UP], incidence=math.radians(30))
    assert one.reached == pytest.approx(0.24, rel=0.01)
    assert one.setups[0].words == "from +z"


# A block of 0.2 on a plate of 1 by 1, the beam from 45° above +x: a shadow as long as the block is high.
def test_a_shadow_is_as_long_as_its_block_is_high():
    plate = trimesh.creation.box((1, 1, 0.01))
    block = trimesh.creation.box((0.2, 0.2, 0.2)).apply_translation((0, 0, 0.105))
    both = whole(joined(plate, block))
    top = np.all(np.isclose(both.mesh.vertices[both.mesh.faces][:, :, 2], 0.005), axis=1) & (both.mesh.areas > 0.1)
    face = Region(mesh=both.mesh, picked=top)
    assert face.area == pytest.approx(1.0)
    found = reach(face, [(1, 0, 1)], math.radians(60))
    assert found.reached == pytest.approx(1 - 0.04 - 0.04, abs=0.012)
    assert reach(face, [UP], math.radians(60)).reached == pytest.approx(0.96, abs=0.006)


# A tray: its floor from above only; from outside no beam gets to its inner walls at right angles.
def test_a_hollow_is_out_of_reach():
    sides = [trimesh.creation.box((0.5, 0.01, 0.5)).apply_translation((0, y, 0)) for y in (-0.245, 0.245)]
    ends = [trimesh.creation.box((0.01, 0.48, 0.5)).apply_translation((x, 0, 0)) for x in (-0.245, 0.245)]
    floor = trimesh.creation.box((0.48, 0.48, 0.01)).apply_translation((0, 0, -0.245))
    tray = whole(joined(*sides, *ends, floor))
    inner = tray.mesh.boxed((-0.2401, -0.2401, -0.2401), (0.2401, 0.2401, 0.3))
    axes = [*np.eye(3), *-np.eye(3)]
    walls = inner & (np.abs(tray.mesh.normals[:, 2]) < 0.1)
    assert reach(Region(mesh=tray.mesh, picked=walls), axes, incidence=math.radians(30)).by_hand > 0.95
    ground = inner & (tray.mesh.normals[:, 2] > 0.9)
    found = reach(Region(mesh=tray.mesh, picked=ground), axes, incidence=math.radians(30))
    assert [one.words for one in found.setups] == ["from +z"]
    assert found.by_hand == pytest.approx(0, abs=0.03)


# Steps 0.1 apart in height, the head fixed with 0.05 of focus: a set-up a step; a hand that follows needs one.
def test_a_fixed_head_reaches_its_focus_depth():
    steps = [trimesh.creation.box((0.2, 0.5, 0.02)).apply_translation((0.2 * i, 0, 0.1 * i)) for i in range(3)]
    stair = whole(joined(*steps))
    treads = Region(mesh=stair.mesh, picked=stair.mesh.normals[:, 2] > 0.9)
    assert len(reach(treads, [UP]).setups) == 1
    fixed = reach(treads, [UP], focus_depth=0.05, follows=False)
    assert len(fixed.setups) == 3
    assert fixed.by_hand == pytest.approx(0, abs=0.02)
    for one in fixed.setups:
        assert one.depth[1] - one.depth[0] == pytest.approx(0.05)
        assert one.gained == pytest.approx(0.1, rel=0.03)


def test_a_wide_sweep_narrows_the_angle():
    assert incidence_limit(0.02, 0.02) == pytest.approx(math.radians(45))
    ball = whole(trimesh.creation.icosphere(4, 0.2))
    narrow = reach(ball, [UP], math.radians(60), focus_depth=0.01, sweep_width=0.1)
    assert narrow.incidence == pytest.approx(math.atan(0.1))
    assert narrow.reached < reach(ball, [UP], math.radians(60)).reached


def test_samples_stand_for_the_area():
    rng = np.random.default_rng(2)
    soup = clean_mesh(rng.random((90, 3)), np.arange(90).reshape(-1, 3))
    points, face, weight = samples(soup)
    assert np.bincount(face, weight) == pytest.approx(soup.areas)
    # The middle of a face's samples is the middle of the face.
    middles = np.stack([np.bincount(face, weight * points[:, i]) for i in range(3)], axis=1) / soup.areas[:, None]
    assert middles == pytest.approx(soup.middles)


# A ball seen from anywhere is a circle of its radius, a box from above a rectangle; areas by the shoelace of OpenCV.
def test_a_silhouette_is_drawn_thin():
    import cv2

    ball = silhouette(whole(trimesh.creation.icosphere(4, 0.2)).mesh, (1, 2, 3))
    assert len(ball) == 1
    assert 8 <= len(ball[0]) <= 60
    assert cv2.contourArea(ball[0].astype(np.float32)) == pytest.approx(math.pi * 0.04, rel=0.03)
    ring = silhouette(whole(trimesh.creation.torus(0.3, 0.05)).mesh, UP)
    assert len(ring) == 2
    inner = cv2.contourArea(ring[1].astype(np.float32))
    assert inner == pytest.approx(math.pi * 0.0625, rel=0.04)


def test_directions_are_of_length_one():
    assert len(DIRECTIONS) == 26
    assert np.linalg.norm(DIRECTIONS, axis=1) == pytest.approx(1)


@pytest.mark.parametrize(
    "given",
    [
        {"directions": []}, {"directions": [(0, 0, 0)]}, {"directions": [(0, 0, math.nan)]}, {"directions": "up"},
        {"directions": [(0, 1)]}, {"directions": [(1, 0, 0)] * 999}, {"incidence": 0}, {"incidence": 3.0},
        {"follows": False}, {"focus_depth": -1, "sweep_width": 0.1}, {"least_gain": 0},
    ],
)  # fmt: skip
def test_bad_input_is_one_sentence(given):
    with pytest.raises(InputError):
        reach(whole(trimesh.creation.box((0.6, 0.4, 0.3))), **given)
