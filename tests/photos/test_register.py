"""Two made photos of one piece registered; the truth is the renderer's, which shares no code with it."""

import math

import cv2
import numpy as np
import pytest
from made_photo import SMALL, Camera, Light, Pose, Step, pair

from proofpatch.photos.light import to_linear
from proofpatch.photos.outline import outline
from proofpatch.photos.places import HALF, NEAR, REACH, agree
from proofpatch.photos.reading import read
from proofpatch.photos.register import register
from proofpatch.photos.relit import relit

SIZE = (0.2, 0.15)
CORNERS = [(0, 0), (0.2, 0), (0.2, 0.15), (0, 0.15)]
TILTED = {"poses": (Pose(0.3, 15, 90, -5), Pose(0.34, 38, 40, 25)), "lights": (Light(0.3), Light(0.5, 120))}


def linear(photo):
    return to_linear(read(photo.jpeg).astype(np.float32) / 255).astype(np.float32)


def made(seed, substrate="oak", coating="latex white", **how):
    two = pair(SIZE, np.random.default_rng(seed), substrate, coating, Step(0.02), 0.4, 5000.0,
               cameras=(Camera(SMALL), Camera(SMALL)), **how)  # fmt: skip
    return two, linear(two.before), linear(two.after)


@pytest.fixture(scope="module")
def plain():
    """Plain paint with a few nail heads, hardly anything to be found again by."""
    return made(2)


def off(two, homography):
    grid = np.stack(np.meshgrid(np.linspace(0.01, 0.19, 7), np.linspace(0.01, 0.14, 7)), axis=-1).reshape(-1, 1, 2)
    moved = cv2.perspectiveTransform(two.pixels(1, grid), homography)
    return float(np.hypot(*(moved - two.pixels(0, grid)).T).max())


def test_plain_paint_is_registered_by_its_nail_heads(plain):
    two, before, after = plain
    found = register(before, after)
    assert off(two, found.homography) < 1.5
    # The outline is the renderer's piece.
    assert np.abs(found.piece - two.pixels(0, CORNERS)).max() < 2.0


def test_grain_is_registered_at_a_steep_tilt():
    two, before, after = made(4, coating="varnish", **TILTED)
    assert off(two, register(before, after).homography) < 1.5


def test_taps_are_refined_and_wrong_ones_refused(plain):
    two, before, after = plain
    places = np.array([(0.03, 0.03), (0.17, 0.03), (0.17, 0.12), (0.03, 0.12)])
    own, other = (two.pixels(which, places).astype(np.float32) for which in (0, 1))
    near = own + np.float32([(7, -6), (-7, 6), (6, 7), (-6, -7)])
    found = register(before, after, cv2.getPerspectiveTransform(other, near))
    assert (found.by, off(two, found.homography) < 1.5) == ("hand", True)
    assert register(before, after, cv2.getPerspectiveTransform(other, np.roll(near, 2, axis=0))) is None


# Same outline, same pose, same paint, other nail heads: nothing but these tells them apart.
def test_another_piece_of_the_same_size_is_refused(plain):
    _, before, _ = plain
    assert register(before, made(3)[2]) is None


def test_a_curved_or_cut_off_thing_has_no_four_sides():
    y, x = np.mgrid[:300, :400]
    for thing in ((x - 200) ** 2 + (y - 150) ** 2 < 90**2, (x > 100) & (y > 100)):
        assert outline(np.where(thing[..., None], 0.7, 0.1).astype(np.float32) * np.ones(3, np.float32)) is None


# Moisan and Stival's count, worked by hand for k = n: (n - 4) · 1 · C(n, 4) · p^(n - 4).
def test_the_number_of_false_alarms_is_the_published_one():
    rng = np.random.default_rng(5)
    ground = np.exp(0.3 * cv2.GaussianBlur(rng.standard_normal((300, 400)), (0, 0), 2) * 7).astype(np.float32) * 0.2
    found = agree(ground, ground, np.eye(3))
    n = found.tested
    assert len(found.places) == n > 50
    by_chance = math.pi * NEAR**2 / (2 * REACH + 1) ** 2
    assert found.chance == pytest.approx(math.log10((n - 4) * math.comb(n, 4)) + (n - 4) * math.log10(by_chance))
    assert found.places.min() >= HALF
    elsewhere = np.ascontiguousarray(ground[::-1, ::-1])
    none = agree(ground, elsewhere, np.eye(3))
    assert none is None or none.chance >= 0


@pytest.mark.parametrize("share", [0.3, 0.55])
def test_light_is_told_from_what_did_not_change(share):
    rng = np.random.default_rng(6)
    grain = np.exp(0.2 * cv2.GaussianBlur(rng.standard_normal((300, 400)), (0, 0), 2) * 7)
    before = (grain[..., None] * (0.20, 0.12, 0.06)).astype(np.float32)
    x = np.linspace(-1, 1, 400)[None, :, None]
    gain = np.exp(-0.4 + 0.3 * x) * (1.1, 1.0, 0.7)
    changed = np.zeros((300, 400), bool)
    changed[:, : round(400 * share)] = True
    other = np.exp(0.2 * cv2.GaussianBlur(rng.standard_normal((300, 400)), (0, 0), 2) * 7)[..., None] * 0.45
    after = np.where(changed[..., None], other, before) * gain
    lit, ground = relit(before, after.astype(np.float32), np.ones((300, 400), bool))
    assert (ground & ~changed).sum() > 20 * (ground & changed).sum()
    assert np.median(np.abs(np.log(lit / before)[~changed])) < 0.02
