"""The marks: labels keep off each other, off the curve and inside the chart; words are cut but never lost."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from proofpatch.pictures.look import TEXT
from proofpatch.pictures.marks import Frame, Line, _places, beyond, cut, levels, words

FRAME = Frame(150, -1.0, 1.0, 10.0)


def line(middle, harm=False, low=None, high=None):
    return Line("x", low if low is not None else middle, middle, high if high is not None else middle, harm)


@given(st.lists(st.floats(0.0, 10.0), min_size=1, max_size=2))
def test_labels_keep_off_each_other_and_in_the_chart(heights):
    places = _places(FRAME, [line(y) for y in sorted(heights)], None)
    for place, other in itertools.combinations(places, 2):
        assert abs(place - other) >= 1.2 * TEXT or abs(heights[0] - heights[1]) < 1e-9
    assert all(TEXT / 2 <= place <= FRAME.height - TEXT / 2 for place in places) or len(heights) > 1


# A limit just under the top of a curve: the label goes over the curve, not through it.
def test_a_label_keeps_off_the_curve():
    (place,) = _places(FRAME, [line(7.0)], (4.0, 7.5))
    assert place <= FRAME.y_of(7.5) - TEXT / 2


def test_doubt_is_drawn_within_the_chart_even_if_its_middle_is_not():
    under, over = levels(FRAME, [line(40.0, True, 5.0, 90.0)])
    assert over == []
    (dots,) = under
    heights = [row["y"] for row in dots["data"]["values"]]
    assert min(heights) >= 4.9
    assert max(heights) <= 10.0
    assert dots["mark"]["strokeCap"] == "round"
    assert beyond(FRAME, [line(40.0, True)]) == ["Beyond this chart: x."]


def test_ruled_doubt_stays_in_its_strip():
    under, _ = levels(FRAME, [line(5.0, False, 2.0, 8.0)])
    for row in under[0]["data"]["values"]:
        for x, y in ((row["x"], row["y"]), (row["x2"], row["y2"])):
            assert -1.0 - 1e-9 <= x <= -0.6
            assert 2.0 - 1e-9 <= y <= 8.0 + 1e-9


def test_words_are_cut_but_not_lost():
    said = "The band under the hand reaches 190 °C where 3 in 100 places lie"
    pieces = cut(said, 20)
    assert " ".join(pieces).replace("\u00a0", " ") == said
    assert not any(piece.endswith("190") or piece.endswith("3") for piece in pieces)
    assert cut("", 20) == [""]
    assert max(map(len, cut("x" * 100, 20))) <= 20


@pytest.mark.parametrize("lines", [[], [""], ["one", "two " * 40]])
def test_a_block_of_words_is_as_tall_as_its_lines(lines):
    block = words(lines)
    assert block["height"] >= TEXT * 1.4 * max(len(block["data"]["values"]), 1)
