"""The photo grader on a few made patches; the whole table is docs/photos-grading.md. Made by code the grader shares
nothing with (`tests/made`), which is the source outside of it."""

import grading
import numpy as np
import pytest


@pytest.fixture(scope="module")
def rows():
    return grading.run(seed=2, pairs=[("oak", "latex white"), ("steel", "rust")])


def test_the_share_left_is_that_of_the_made_patch(rows):
    figures = grading.summary(rows)
    assert figures["told"] == 24
    assert figures["within 5"] >= 0.9
    assert figures["grade near"] == 1.0
    assert figures["grade right"] >= 0.85
    assert figures["inside 2 errors"] >= 0.8


def test_dark_wood_under_brown_varnish_is_doubted_where_it_is_wrong():
    rows = grading.run(seed=0, pairs=[("mahogany", "varnish")])
    for row in rows:
        off = abs(row.seen.fraction_left - row.left)
        assert off < 0.1 or off < 3 * row.seen.fraction_error or row.seen.warnings, (row.left, row.seen.fraction_left)


def test_the_page_says_every_pair(rows):
    text = grading.page(rows, 2)
    assert "latex white on oak" in text
    assert "| all | 24 of 24 |" in text
    assert np.isfinite(grading.summary(rows)["p95"])
