"""What a figure of the day may be, for a phone that looks it up: as the laptop judges it, or more careful."""

import datetime

import numpy as np
import pytest

from proofpatch.errors import InputError
from proofpatch.lasers.readings import Reading
from proofpatch.run.day import READS, checks_of, dew_point, figures, morning, read_answer
from proofpatch.run.limits import AIR, GATES, damp_table, limit_of, spellings, unsettled
from proofpatch.run.piece import Piece
from proofpatch.units import parse

STEEL = Piece("mild-steel", ("tight-rust",), outdoors=True, power=150.0)
DAY = datetime.date(2026, 3, 20)


def limits(piece, readings=()):
    return {one.name: limit_of(one, piece, readings, DAY) for one in checks_of(piece)}


def stops(piece, name, value, readings=()):
    answer = read_answer(piece, name, True, value)
    given = {one.name: {"ok": True, "value": None} for one in checks_of(piece)} | {name: answer}
    return not morning(piece, given, readings, DAY).ready


HISTORY = [Reading(datetime.date(2026, 3, n), power=((150.0, 148.0),)) for n in (1, 5, 9)]


# The judge is `morning` itself: just within opens, just beyond stops.
@pytest.mark.parametrize("readings", [(), HISTORY], ids=["no history", "history"])
def test_what_is_within_opens_and_what_is_beyond_stops(readings):
    found = limits(STEEL, readings)
    for name in ("humidity", "wind"):
        assert not stops(STEEL, name, found[name].most, readings)
        assert stops(STEEL, name, found[name].most * 1.001, readings)
    assert not stops(STEEL, "power", found["power"].least, readings)
    assert stops(STEEL, "power", found["power"].least * 0.99, readings)
    assert "is the least today" in found["power"].words
    assert found["humidity"].words.startswith("Humidity: 85 % is the most (from memory, unverified). Do not bare")
    assert found["people"] is None


# The laptop refuses what no meter reads; a phone that took it would lose it there.
def test_what_the_laptop_does_not_take_the_phone_does_not():
    for name, limit in limits(STEEL).items():
        if limit is not None and name != "power":
            assert read_answer(STEEL, name, True, limit.least)["value"] == limit.least
            with pytest.raises(InputError, match="is outside"):
                read_answer(STEEL, name, True, limit.least - 1e-3 * max(1.0, abs(limit.least)))


def test_a_fall_read_today_is_settled_by_no_tick():
    fallen = [*HISTORY, Reading(DAY, power=((150.0, 100.0),))]
    given = {one.name: {"ok": True, "value": None} for one in checks_of(STEEL)}
    found = morning(STEEL, given, fallen, DAY)
    assert unsettled(found, STEEL, limits(STEEL, fallen)) == ("power", GATES)
    assert unsettled(morning(STEEL, given, HISTORY, DAY), STEEL, limits(STEEL, HISTORY)) == ()
    held = Piece("mild-steel", power=150.0, open_gates=("Lead is not settled.",))
    assert GATES in unsettled(morning(held, {}), held, limits(held))


# The least of bare steel above the dew point is ISO 8502-4's; wherever the table opens, the formula does too.
def test_the_table_of_damp_is_never_kinder_than_the_dew_point():
    table, above = damp_table(), figures()["above_dew"].value
    rng = np.random.default_rng(4)
    off = []
    for air, humid in zip(rng.uniform(AIR[0], AIR[-1], 500), rng.uniform(0.005, 1.0, 500), strict=True):
        row = max(i for i, edge in enumerate(AIR[:-1]) if edge <= air)
        column = next(j for j, edge in enumerate(table["humidity"]) if humid <= edge)
        off.append(table["least"][row][column] - (dew_point(air, humid) - air + above))
    assert min(off) >= 0
    assert np.median(off) < 1.5  # K: careful, and of use


def test_units_are_read_as_the_laptop_reads_them():
    for reads, (low, high) in READS.items():
        for unit, (size, more) in spellings(reads).items():
            number = ((low + high) / 2 - more) / size
            assert number * size + more == pytest.approx(parse(f"{number!r} {unit}", reads, "value"))
