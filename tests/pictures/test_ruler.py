"""The ruler of a knob: a log line of what the laser can do, the margins as the command line says them, the triangle."""

import itertools
import math
import re

import pytest

import proofpatch as pp
from proofpatch.cli_show import margin_words
from proofpatch.learn.recipe import Recipe
from proofpatch.pictures.ruler import LARGE, SMALL, Reach, dials, in_words, reaches, ruler_svg
from proofpatch.records import recipe_record

LASER = pp.laser("pulsed-500")


@pytest.fixture
def record(at_work):
    margins = {
        "average_power": (200.0, 900.0), "repetition_rate": (15e3, 30e3), "travel_speed": (0.05, 0.05),
        "sweep_width": (0.08, 0.11), "stand_off": (-1e-3, 1e-3),
    }  # fmt: skip
    return recipe_record(Recipe(at_work(), "because", 0.96, 0.01, 1e-3, margins, None, "strip"))


def test_the_spans_are_the_margins_in_words(record):
    said = {line.partition(":")[0]: line for line in margin_words(record, LASER)}
    for reach in reaches(record, LASER).values():
        if reach.span is None or reach.span[0] == reach.span[1]:
            continue
        ends = re.search(r"from (\S+ \S+) to (\S+ \S+)\.", in_words(reach))
        assert said[reach.name] == f"{reach.name}: {ends[1]} to {ends[2]}"
    assert reaches(record, LASER)["average_power_W"].span == (200.0, 500.0)  # no more than the laser has
    assert "no other value was found to hold" in in_words(reaches(record, LASER)["travel_speed_m_s"])


@pytest.mark.parametrize("width", [SMALL, LARGE])
def test_the_triangle_stands_at_the_setting(width):
    reach = Reach("power", "power", 50.0, 500.0, (100.0, 200.0), 150.0)
    picture = ruler_svg(reach, width)
    at = float(re.search(r'd="M([\d.]+) \d+l-8 -14h16Z"', picture)[1])
    assert at == pytest.approx(10 + (width - 20) * math.log(3) / math.log(10), abs=0.1)
    start, end = (float(x) for x in re.search(r'd="M([\d.]+) \d+H([\d.]+)" stroke', picture).groups())
    assert start < at < end
    assert f'width="{width}"' in picture
    places = sorted(
        (float(x) - 4.75 * len(words), float(x) + 4.75 * len(words))
        for x, words in re.findall(r'<text x="(\d+)"[^>]*>([^<]+)</text>', picture)
    )
    assert all(a[1] <= b[0] for a, b in itertools.pairwise(places))


def test_every_knob_that_is_dialled_has_its_ruler(record):
    found = dials(record, LASER)
    assert [(one.name, one.value, one.unit) for one in found] == [
        ("Power", "250", "W"), ("Repetition rate", "20", "kHz"), ("Hand speed", "50", "mm/s"),
        ("Sweep width", "100", "mm"), ("Passes", "4", ""),
    ]  # fmt: skip
    assert found[0].hint == "50 % of the laser's most"
    assert all(f'width="{SMALL}"' in one.small and f'width="{LARGE}"' in one.large for one in found[:-1])
    assert (found[-1].small, found[-1].large, found[-1].hint) == ("", "", "lay them one after another")
    once = {**record, "setting": {**record["setting"], "passes": 1}}
    assert dials(once, LASER)[-1].hint == ""
