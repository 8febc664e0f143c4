"""What an owner read on one day: whole, or refused at its list."""

import datetime
import math

import pytest

from proofpatch.errors import InputError
from proofpatch.lasers.readings import METER_ERROR, READING_ERROR, Reading

DAY = datetime.date(2026, 3, 2)
GOOD = {
    "marks": ((1e-3, 3e-4), (2e-3, 0.0)),
    "lifts": ((-5e-3, 2e-3, 4e-4), (0.0, 2e-3, 0.0)),
    "power": ((150.0, 141.0),),
    "cards": ((2e-3, 4e-4),),
}


def test_a_reading_keeps_what_was_read():
    reading = Reading(DAY, **GOOD, material="black card")
    for field, entries in GOOD.items():
        assert getattr(reading, field) == entries
    assert (reading.reading_error, reading.meter_error) == (READING_ERROR, METER_ERROR)
    assert Reading(DAY, power=[[150, 141]]).power == ((150.0, 141.0),)
    assert hash(reading) == hash(Reading(DAY, **GOOD, material="black card"))


BAD = [math.nan, math.inf, -math.inf, 1e308, 5e-324, None, "1 mJ", True, [], 10**400, -1.5]


@pytest.mark.parametrize("value", BAD)
@pytest.mark.parametrize("field", GOOD)
def test_every_number_refuses_what_is_none(field, value):
    for place in range(len(GOOD[field][0])):
        if field == "lifts" and place == 0 and value == 5e-324:
            continue
        entry = list(GOOD[field][0])
        entry[place] = value
        with pytest.raises(InputError) as caught:
            Reading(DAY, **{field: [entry]}, material="x")
        assert caught.value.field == field
        assert len(str(caught.value)) < 300


@pytest.mark.parametrize("value", [3, "x", {}, [3], ["ab"], [[1e-3]], [[1e-3, 2e-4, 3e-4, 4e-4]], [[1e-3, 1e-3]] * 201])
@pytest.mark.parametrize("field", GOOD)
def test_every_list_refuses_what_is_none(field, value):
    with pytest.raises(InputError) as caught:
        Reading(DAY, **{field: value}, material="x")
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"date": "2026-03-02"}, "date"),
        ({"date": datetime.datetime(2026, 3, 2)}, "date"),
        ({"date": datetime.date(1999, 12, 31)}, "date"),
        ({"marks": ()}, "marks"),
        ({"material": 3}, "material"),
        ({"material": "x" * 100}, "material"),
        ({"material": "a\nb"}, "material"),
        ({"cards": ((2e-3, 4e-4),)}, "material"),
        ({"fit_share": 1}, "fit_share"),
        *(({"top_hat_share": value}, "top_hat_share") for value in (1.1, -0.1, math.nan, "0.7", True)),
        *(({"reading_error": value}, "reading_error") for value in (0, 1, math.nan, None, "x")),
        *(({"meter_error": value}, "meter_error") for value in (0, 1, math.inf, None)),
        ({"power": ((100.0, 10.0),)}, "power"),
        ({"power": ((100.0, 150.0),)}, "power"),
    ],
)
def test_what_contradicts_itself_is_refused(change, field):
    with pytest.raises(InputError) as caught:
        Reading(**{"date": DAY, "marks": ((1e-3, 3e-4),)} | change)
    assert caught.value.field == field
