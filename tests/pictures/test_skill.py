"""Forecasts against outcomes as they are drawn, against logarithms by hand."""

import dataclasses

import pytest

from proofpatch.learn.memory.skill import Skill
from proofpatch.pictures.skill import skill_svg, times
from proofpatch.records_memory import skill_words_of

ONE = Skill(first=0.0, last=86400.0, jobs=10, forecasts=40, score=-0.2, base=-0.6, gain=0.405, error=0.1)


# Natural logarithms by a printed table: ln 2 = 0.6931, ln 1.25 = 0.2231, ln 1.5 = 0.4055; ln 0.5 = -ln 2.
@pytest.mark.parametrize(
    ("gain", "said"), [(0.0, "1"), (0.6931, "2"), (0.2231, "1.25"), (0.405, "1.5"), (-0.6931, "0.5")]
)
def test_a_gain_is_said_as_times_the_chance(gain, said):
    assert times(gain) == said


def test_the_axis_names_round_times():
    drawn = skill_svg([ONE], 600)
    assert all(f">{mark}<" in drawn for mark in ("0.67", "1", "1.5"))
    assert "1.5 times the chance, 1.23 to 1.83" in drawn


@pytest.mark.parametrize(
    ("gain", "error", "said"),
    [
        (0.405, 0.1, "better than guessing by how often it came so here before (what came had been given 1.50 times"),
        (0.1, 0.1, "no better than guessing"), (-0.405, 0.1, "trust patches, not forecasts"), (0.4, None, "too few"),
    ],
)  # fmt: skip
def test_the_sentence_says_it_in_plain_words(gain, error, said):
    words = skill_words_of(dataclasses.replace(ONE, gain=gain, error=error))
    assert said in words
    assert ("nats a forecast" in words) == (error is not None)
