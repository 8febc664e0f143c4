"""The frame's geometry: everything on the paper, nothing on top of another, every number told once."""

import itertools

import numpy as np
import pytest

from proofpatch import InputError
from proofpatch.photos.flat import Box
from proofpatch.photos.frame import (
    CLEAR,
    EDGE,
    GREYS,
    LAYOUTS,
    MARKER,
    MM,
    MODULES,
    MOST_STEPS,
    OVERLAP,
    PAPERS,
    PLACES,
    WIDEST,
    corners,
    frame,
    frame_of,
    layout_of,
    plain,
)  # fmt: skip

EVERY = [frame_of(n) for n in range(LAYOUTS)]
# AprilTag 36h11 holds 587 codes (Olson 2011, as OpenCV ships it).
CODES = 587


def apart(a, b, gap=0.0):
    """True if two boxes leave a gap between them in at least one direction."""
    across = max(b.left - a.left - a.width, a.left - b.left - b.width)
    down = max(b.top - a.top - a.height, a.top - b.top - b.height)
    return max(across, down) >= gap - 1e-9


def test_every_layout_has_its_own_markers():
    numbers = [one.id for each in EVERY for one in each.markers]
    assert len(set(numbers)) == len(numbers) == LAYOUTS * PLACES
    assert max(numbers) < CODES
    assert all(layout_of(one.id) == (each.layout, n) for each in EVERY for n, one in enumerate(each.markers))
    assert layout_of(CODES - 1) is None


def test_nothing_lies_on_another_or_off_the_paper():
    for each in EVERY:
        things = [*each.cut, *each.printed, *(one.box for one in each.greys), *([each.notes] if each.notes else [])]
        for a, b in itertools.combinations(things, 2):
            assert apart(a, b), (each.layout, a, b)
        for one in things:
            assert one.left >= EDGE - 1e-9
            assert one.left + one.width <= each.width - EDGE + 1e-9
            assert one.top >= EDGE - 1e-9
            assert one.top + one.height <= each.height - EDGE + 1e-9
            assert min(one.width, one.height) > 0


# A marker needs one white module round it (the family's own drawing); light is read on paper between windows.
def test_markers_stand_in_white_and_windows_in_paper():
    for each in EVERY:
        others = [*each.cut, *(one.box for one in each.greys), *each.printed[PLACES:]]
        for marker in each.markers:
            assert all(apart(marker.box, box, min(CLEAR, 2 * MARKER / MODULES)) for box in others), each.layout
        for a, b in itertools.combinations(each.cut, 2):
            assert apart(a, b, 3.9 * MM)


@pytest.mark.parametrize("paper", PAPERS)
def test_a_sheet_holds_the_steps_it_was_asked_for(paper):
    for steps in range(1, MOST_STEPS + 1):
        asked = frame(steps, paper)
        assert (asked.steps, asked.paper) == (steps, paper)
        assert [one.step for one in asked.windows] == list(range(1, steps + 1))
        assert {one.reflectance for one in asked.greys} == set(GREYS)
        # Fewer windows are never smaller.
        if steps > 1:
            sides = [
                min(one.windows[0].box.width, one.windows[0].box.height) for one in (asked, frame(steps - 1, paper))
            ]
            assert sides[0] <= sides[1] + 1e-9


def test_windows_stay_narrower_than_the_patches():
    for steps in range(1, MOST_STEPS + 1):
        for width in (0.034, 0.05, 0.068, 0.1, 0.2):
            assert frame(steps, "a4", width).windows[0].box.width <= width - 2 * OVERLAP + 1e-9
        assert frame(steps, "a4", 0.01) == frame(steps, "a4", 0.034)  # the narrowest there is
    assert frame(1, "a4", 0.2) == frame(1, "a4")
    assert len({frame(1, "a4", width).layout for width in (0.2, 0.1, 0.04)}) == len(WIDEST)


def test_a_letter_has_two_names():
    assert frame(3, "letter") == frame(3, "us-letter") == frame(3)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: frame(0), "steps"), (lambda: frame(13), "steps"), (lambda: frame(3, "a5"), "paper"),
        (lambda: plain(0.0, 1.0), "width"), (lambda: plain(1.0, float("nan")), "height"),
    ],
)  # fmt: skip
def test_what_no_sheet_can_be_is_one_sentence(call, field):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.field == field


def test_corners_go_round_from_the_upper_left():
    assert np.allclose(corners(Box(1, 2, 3, 4)), [[1, 2], [4, 2], [4, 6], [1, 6]])
