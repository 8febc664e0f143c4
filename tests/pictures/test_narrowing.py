"""The narrowing belief: bars where the levels are, glyphs where they are comparable, the gap named when it opens."""

import re

import pytest

from proofpatch.bench_levels import levels
from proofpatch.learn.evidence import Graded
from proofpatch.learn.rows import setting_rows
from proofpatch.physics.sweep import mean_dose
from proofpatch.pictures.drawing import WIDE
from proofpatch.pictures.look import NARROW
from proofpatch.pictures.narrowing import MOST, Row, gap, how_to_read, in_words, narrowing_svg, row_of


def level(low, middle, high):
    return {"p5": low, "p50": middle, "p95": high}


APART = Row("after B3", level(1e4, 2e4, 3e4), level(4e4, 6e4, 9e4), ("clean", "tint"), 8e4)
BEFORE = Row("before any patch", level(1e4, 3e4, None), level(2e4, 6e4, 9e4))


def test_the_gap_is_named_when_it_opens():
    assert gap(APART) == (3e4, 4e4)
    assert gap(BEFORE) is None
    assert "room to work" in narrowing_svg([BEFORE, APART])
    assert "room to work" not in narrowing_svg([BEFORE])
    assert "There is room to work from 3 J/cm² to 4 J/cm²." in in_words([BEFORE, APART], "oak tints")
    assert "no room between them yet" in in_words([BEFORE], "oak tints")
    assert "cleans from 1 J/cm² or more" in in_words([BEFORE], "oak tints")


def test_a_row_is_what_the_levels_say_and_a_patch_stands_at_its_own_dose(oak_belief, at_work):
    here = at_work()
    row = setting_rows([here], oak_belief.laser)[0]
    dose = float(mean_dose(here.average_power, here.sweep_width, here.travel_speed))
    found = levels(oak_belief, row, dose)
    faster = Graded(here, "partial", "none", seconds=1.0, length=here.travel_speed * 2)
    known = row_of("after A1", found, here, faster)
    assert known.clean == found["dose_to_clean_J_m2"]
    assert known.harm == found["dose_to_tint_J_m2"]
    assert known.dose == pytest.approx(dose / 2)
    assert row_of("after A2", found, here, Graded(here.with_(passes=9), "clean", "none")).dose is None
    assert row_of("before any patch", found, here).grade is None


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_of_many_patches_the_first_and_the_last_are_drawn(width, at_work):
    rows = [BEFORE, *(Row(f"after A{n}", APART.clean, APART.harm, ("clean", "none"), None) for n in range(1, 13))]
    picture = narrowing_svg(rows, width)
    drawn = re.findall(r"after A(\d+)", picture.split("aria-label")[1].split(">", 1)[1])
    assert drawn == ["1", *(str(n) for n in range(15 - MOST, 13))]
    caption = how_to_read(rows, at_work())
    assert "Of 12 patches the first and the last 6 are drawn." in caption
    assert "beside the bars" in caption
    assert f'width="{width}"' in picture


def test_a_bar_that_goes_on_is_open():
    shut = narrowing_svg([APART])
    frame = re.findall(r'<path d="(M[^"]*H[^"]*V[^"]*H[^"]*)"', shut)[0]
    assert frame.count("V") == 2
    frame = re.findall(r'<path d="(M[^"]*H[^"]*V[^"]*H[^"]*)"', narrowing_svg([BEFORE]))[0]
    assert frame.count("V") == 1


def test_nothing_cleans_is_drawn_too():
    nothing = Row("before any patch", level(None, None, None), level(2e4, 6e4, 9e4))
    assert "cleans from out of reach" in in_words([nothing])
    assert narrowing_svg([nothing]).count("<rect") == 1
