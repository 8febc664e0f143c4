"""The start of a day: what a job needs looked at, what is missing, what stops."""

import datetime
import tomllib
from pathlib import Path

import pytest

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.lasers.readings import Reading
from proofpatch.run.day import checks_of, dew_point, figures, morning, power_below, power_stop, read_answer
from proofpatch.run.piece import Piece, piece_of

OAK = Piece("oak", ("oil-varnish",), focus_cue="two pilot dots meet.", power=100.0)
STEEL = Piece("mild-steel", ("tight-rust",), outdoors=True)
TODAY = datetime.date(2026, 3, 20)
CELSIUS = 273.15


def day(n):
    return datetime.date(2026, 3, n)


def power(n, measured, dialled=100.0):
    return Reading(day(n), power=((dialled, measured),))


def all_right(piece):
    return {one.name: {"ok": True, "value": None} for one in checks_of(piece)}


def names(checks):
    return {one.name for one in checks}


def test_each_job_has_the_checks_it_needs():
    inside, outside = names(checks_of(OAK)), names(checks_of(STEEL))
    always = {"survey-settled", "hazards-signed", "people", "eyewear", "circuits", "extraction", "window", "power",
              "focus", "fire", "stops-tried"}  # fmt: skip
    assert always <= inside & outside
    assert inside - always == {"wood-moisture"}
    assert outside - always == {"rain", "wind", "exclusion", "air", "humidity", "metal"}
    assert names(checks_of(Piece("limestone"))) - always == {"masonry-moisture"}


def test_every_check_says_why_what_stops_and_where_it_comes_from():
    for piece in (OAK, STEEL, Piece("fired-brick", outdoors=True)):
        for one in checks_of(piece):
            assert all((one.ask, one.why, one.stop, one.source, one.title)), one.name


def test_the_focus_is_found_the_way_this_head_shows_it():
    (focus,) = [one for one in checks_of(OAK) if one.name == "focus"]
    assert focus.ask.endswith("This head: two pilot dots meet.")


# The limits of moisture stand in the survey's cautions too; both say the same.
def test_the_moisture_limits_are_those_of_the_survey():
    rows = tomllib.loads((Path(pp.__file__).parent / "survey" / "cautions.toml").read_text("utf-8"))
    assert figures()["wood_moisture"].value == pytest.approx(rows["wet-wood"]["limit"])
    assert figures()["masonry_moisture"].value == pytest.approx(rows["wet-masonry"]["limit"])


def test_nothing_looked_at_is_missing_and_everything_right_is_ready():
    empty = morning(OAK, {})
    assert empty.missing == empty.checks
    assert not empty.ready
    assert "0 of" not in empty.words
    done = morning(OAK, all_right(OAK))
    assert done.ready
    assert "control patch" in done.words


@pytest.mark.parametrize("name", [one.name for one in checks_of(OAK)])
def test_any_check_that_is_not_right_or_open_keeps_the_beam_off(name):
    wrong = morning(OAK, all_right(OAK) | {name: {"ok": False}})
    assert not wrong.ready
    assert [one.name for one in wrong.stops] == [name]
    still = morning(OAK, all_right(OAK) | {name: {"ok": None}})
    assert (not still.ready, [one.name for one in still.missing]) == (True, [name])


def test_a_value_decides_whatever_was_ticked():
    assert read_answer(OAK, "wood-moisture", None, 0.12) == {"ok": True, "value": 0.12}
    assert read_answer(OAK, "wood-moisture", True, 0.16) == {"ok": False, "value": 0.16}
    wet = morning(OAK, all_right(OAK) | {"wood-moisture": {"ok": True, "value": 0.2}})
    assert wet.stops[0].what == "Moisture of the wood: 20 %, and 15 % is the most (from memory, unverified)."


@pytest.mark.parametrize(
    ("name", "ok", "value", "field"),
    [
        ("wind", True, None, "check"),
        ("people", "yes", None, "ok"),
        ("people", True, 3.0, "value"),
        ("wood-moisture", None, 12.0, "value"),
        ("wood-moisture", None, float("nan"), "value"),
        ("power", None, -1.0, "value"),
    ],
)
def test_what_is_no_answer(name, ok, value, field):
    with pytest.raises(InputError) as found:
        read_answer(OAK, name, ok, value)
    assert found.value.field == field


def test_an_open_gate_stops_whatever_was_ticked():
    held = piece_of(pp.Surface(["lead-white-paint"], "pine"), open_gates=("Lead is not settled.",))
    found = morning(held, all_right(held))
    assert not found.ready
    assert found.words.startswith("Not today as it stands. Lead is not settled.")


# Dew points as printed in psychrometric tables (ASHRAE Fundamentals chart at sea level; read off, ± 0.3 K).
@pytest.mark.parametrize(("air", "humidity", "dew"), [(20, 0.5, 9.3), (25, 0.6, 16.7), (30, 0.8, 26.2), (10, 0.9, 8.4)])
def test_the_dew_point_is_that_of_the_tables(air, humidity, dew):
    assert dew_point(air + CELSIUS, humidity) - CELSIUS == pytest.approx(dew, abs=0.3)


def test_saturated_air_is_at_its_dew_point():
    assert dew_point(290.0, 1.0) == pytest.approx(290.0)


# ISO 8502-4 (from memory): steel at least 3 K above the dew point. 20 °C and 60 %: dew point 12.0 °C.
@pytest.mark.parametrize(("metal", "stops"), [(15.3, False), (14.7, True), (11.0, True)])
def test_metal_near_the_dew_point_stops(metal, stops):
    answers = all_right(STEEL) | {
        "air": {"ok": True, "value": 20 + CELSIUS},
        "humidity": {"ok": True, "value": 0.6},
        "metal": {"ok": True, "value": metal + CELSIUS},
    }
    found = morning(STEEL, answers)
    assert ([one.name for one in found.stops] == ["metal"]) == stops


def test_a_fall_beyond_the_reading_error_stops_with_a_cause_and_one_within_does_not():
    history = [power(n, 96.0) for n in (1, 5, 9)]
    assert power_stop([*history, power(20, 95.0)], TODAY) is None
    found = power_stop([*history, power(20, 80.0)], TODAY)
    assert found is not None
    assert "down 17 %" in found.what
    assert "window" in found.then
    assert "The dial stays where it is." in found.then
    # A fall read yesterday answers nothing today: the check is open then.
    assert power_stop([*history, power(19, 80.0)], TODAY) is None
    # Yesterday's fall that was put right today stops nobody.
    assert power_stop([*history, power(19, 80.0), power(20, 96.0)], TODAY) is None


def test_a_reading_of_the_day_answers_the_check_and_a_fall_overrules_the_tick():
    history = [power(n, 96.0) for n in (1, 5, 9)]
    answers = all_right(OAK) | {"power": {"ok": None}}
    assert morning(OAK, answers, [*history, power(20, 95.5)], TODAY).ready
    doubted = all_right(OAK) | {"power": {"ok": False}}
    assert [one.name for one in morning(OAK, doubted, [*history, power(20, 95.5)], TODAY).stops] == ["power"]
    fallen = morning(OAK, all_right(OAK), [*history, power(20, 80.0)], TODAY)
    assert [one.name for one in fallen.stops] == ["power"]
    assert morning(OAK, answers, history, TODAY).missing[0].name == "power"


def test_a_power_written_at_the_check_is_held_against_the_history_or_else_the_dial():
    history = [power(n, 80.0) for n in (1, 5, 9)]  # this laser gives 80 of 100 W, and always did
    answer = all_right(OAK) | {"power": {"ok": True, "value": 79.0}}
    assert morning(OAK, answer, history, TODAY).ready
    assert [one.name for one in morning(OAK, answer, [], TODAY).stops] == ["power"]
    low = all_right(OAK) | {"power": {"ok": True, "value": 60.0}}
    assert [one.name for one in morning(OAK, low, history, TODAY).stops] == ["power"]


def test_a_first_reading_is_held_against_the_dial():
    assert power_below(91.0, 100.0) is None
    found = power_below(70.0, 100.0)
    assert found is not None
    assert "70 % of the dialled power arrives" in found.what
