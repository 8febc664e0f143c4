"""The photo grader through the whole chain on a few made photos; the whole table is docs/photos-grading.md.

Made by code the grader shares nothing with (`tests/made`), which is the source outside of it.
"""

from pathlib import Path

import grading
import numpy as np
import pytest
from photo_code import GRADED, digest

SMALL = (2400, 1800)  # px, a third of a phone's, for time


@pytest.fixture(scope="module")
def rows():
    return grading.run(seed=3, pairs=[("limestone", "soot")], size=SMALL)


def test_the_share_left_is_that_of_the_made_patch(rows):
    figures = grading.summary(rows)
    assert figures["told"] == 8
    assert figures["within 5"] == 1.0
    assert figures["grade near"] == 1.0
    assert figures["grade right"] >= 0.8
    assert figures["inside 2 errors"] >= 0.8


def test_a_thin_dark_film_on_metal_is_doubted_where_it_is_wrong():
    for row in grading.run(seed=3, pairs=[("steel", "grease")], size=SMALL):
        if row.seen.fraction_left is None:
            assert "grade it by eye" in row.seen.warnings[0]
            continue
        off = abs(row.seen.fraction_left - row.left)
        assert off < max(0.05, 3 * row.seen.fraction_error), (row.left, row.seen.fraction_left)


def test_harm_is_told_right_or_left_to_the_eye(rows):
    for row in rows:
        if row.seen.harm is None:
            assert row.seen.harm_chances is None
            assert any("harm" in said.lower() or "bare ground" in said for said in row.seen.warnings), row
        elif row.harm is not None:
            assert (row.seen.harm == "none") == (row.harm == "none"), (row.pair, row.left, row.harm, row.seen.harm)


def test_the_page_says_every_pair(rows):
    text = grading.page(rows, 3)
    assert "soot on limestone" in text
    assert "| all | 8 of 8 |" in text
    assert np.isfinite(grading.summary(rows)["p95"])


def test_the_page_is_as_new_as_the_code_it_covers():
    text = (Path(grading.__file__).parents[1] / "docs" / "photos-grading.md").read_text("utf-8")
    assert f"code {digest(GRADED)}" in text, "run: python benchmarks/grading.py --write"
