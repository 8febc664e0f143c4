"""The table of docs/photos.md: every row there, and a miss counted as one."""

import numpy as np
import photos as study
from made_sheet import exact
from made_shot import Pose, camera, photograph
from photo_code import FOUND, digest

from proofpatch.photos.frame import frame


def maker_of(laid, told, slip=0.0):
    """A maker that photographs `laid` but says it is `told`, its camera `slip` [m] beside the true one."""

    def maker(how, random):
        pose = Pose(size=(600, 800), share=0.9)
        shot = photograph(laid, exact(laid, dpi=300), pose)
        away = np.array([[1.0, 0, slip], [0, 1.0, 0], [0, 0, 1.0]])
        return shot.content, told, camera(laid, pose) @ away

    return maker


def test_the_error_is_the_one_that_was_made():
    right = study.tried(maker_of(frame(4), frame(4)), study.How(), 1)
    assert right.markers == 8
    assert right.error < 0.1e-3
    off = study.tried(maker_of(frame(4), frame(4), slip=2e-3), study.How(), 1)
    assert abs(off.error - 2e-3) < 0.1e-3
    assert study.tried(maker_of(frame(4), frame(5)), study.How(), 1).markers == 0


def test_the_page_has_every_row():
    text = study.PAGE.read_text("utf-8")
    for _, words, levels in study.ROWS:
        assert text.count(f"| {words} |") == len(levels), words
    assert "MP, one thread" in text


def test_the_page_is_as_new_as_the_code_it_covers():
    assert f"code {digest(FOUND)}" in study.PAGE.read_text("utf-8"), "run: python benchmarks/photos.py --write"
