"""The readings beside a laser file: only ever appended to; a torn line costs itself alone, one that lies is refused."""

import datetime
import json
import re
import shutil
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from proofpatch.errors import InputError
from proofpatch.lasers import laser_from_toml
from proofpatch.lasers.readings import Reading
from proofpatch.shop.job import find_any_laser
from proofpatch.shop.laser_log import (
    FITTED,
    LISTS,
    LOG_KEYS,
    append_reading,
    as_measured,
    read_readings,
    reading_from,
    reading_to,
    readings_path,
)

ROOT = Path(__file__).parents[2]
DOC = (ROOT / "docs" / "own-laser.md").read_text(encoding="utf-8")
LINE = json.loads(re.search(r"```json\n(.*?)```", DOC, re.DOTALL)[1])
WHEN = "2026-03-02T10:12:00+00:00"
BAD_NUMBERS = ["", "5", True, [], {}, float("nan"), float("inf"), -1, 1e308, 10**400, 5e-324, "x" * 10_000]


@pytest.fixture
def mine(tmp_path):
    return Path(shutil.copy(ROOT / "docs" / "own-laser.toml", tmp_path / "mine.toml"))


def power(month, factor):
    return Reading(datetime.date(2026, month, 2), power=[(150.0, 150.0 * factor)])


def test_the_docs_line_is_a_reading_and_names_every_key():
    reading = reading_from(LINE)
    assert reading.marks
    assert reading.lifts
    assert reading.power
    assert reading.cards
    for key in (*LOG_KEYS, *(name for names in LISTS.values() for name in names)):
        assert re.search(rf"[`\s]{key}[`\s]", DOC), key


ANY = st.builds(
    Reading,
    date=st.dates(datetime.date(2000, 1, 1), datetime.date(2026, 1, 1)),
    marks=st.lists(st.tuples(st.floats(1e-6, 1), st.just(0.0) | st.floats(1e-5, 1e-2)), min_size=1, max_size=3),
    lifts=st.lists(st.tuples(st.floats(-0.5, 0.5), st.floats(1e-6, 1), st.floats(1e-5, 1e-2)), max_size=2),
    power=st.lists(st.tuples(st.just(100.0), st.floats(30, 120)), max_size=2),
    material=st.text(st.characters(categories=("L", "N")), max_size=20),
    top_hat_share=st.none() | st.floats(0, 1),
    reading_error=st.floats(1e-5, 1e-3),
)


@settings(max_examples=40, deadline=None)
@given(readings=st.lists(ANY, min_size=1, max_size=4))
def test_what_is_written_is_read_and_earlier_bytes_stay(readings, tmp_path_factory):
    path = tmp_path_factory.mktemp("log") / "a.readings.jsonl"
    before = b""
    for reading in readings:
        append_reading(path, reading, WHEN)
        after = path.read_bytes()
        assert after.startswith(before)
        assert after.count(b"\n") == before.count(b"\n") + 1
        before = after
    assert read_readings(path) == (readings, [])


def test_a_share_that_was_fitted_comes_back():
    reading = Reading(datetime.date(2026, 3, 2), marks=[(1e-3, 3e-4)], fit_share=True)
    assert reading_to(reading, WHEN)["top_hat_share"] == FITTED
    assert reading_from(json.loads(json.dumps(reading_to(reading, WHEN)))) == reading


def test_a_log_cut_at_any_byte_of_its_last_line_keeps_the_rest(tmp_path):
    path = tmp_path / "a.readings.jsonl"
    append_reading(path, power(1, 1.0), WHEN)
    start = path.stat().st_size
    append_reading(path, Reading(datetime.date(2026, 2, 2), marks=[(1e-3, 3e-4)], material="Zoë, 木"), WHEN)
    whole, added = path.read_bytes(), power(3, 0.9)
    for cut in range(start, len(whole) + 1):
        torn = whole[:cut]
        path.write_bytes(torn)
        found, complaints = read_readings(path)
        complete = cut >= len(whole) - 1  # all but the line feed
        assert len(found) == (2 if complete else 1), cut
        assert len(complaints) == (0 if complete or cut == start else 1), cut
        assert all("Line 2" in line and path.name in line for line in complaints)
        append_reading(path, added, WHEN)
        assert path.read_bytes().startswith(torn)
        assert read_readings(path)[0] == [*found, added], cut


def test_each_line_is_on_disk_before_the_answer(tmp_path, monkeypatch):
    synced = []
    monkeypatch.setattr("proofpatch.shop.log.os.fsync", lambda handle: synced.append(handle))
    append_reading(tmp_path / "a.readings.jsonl", power(1, 1.0), WHEN)
    assert len(synced) == 1


def test_no_log_is_an_empty_log(tmp_path, mine):
    assert read_readings(tmp_path / "none.readings.jsonl") == ([], [])
    readings_path(mine).write_bytes(b"\n  \n")
    assert read_readings(readings_path(mine)) == ([], [])
    assert as_measured(laser_from_toml(mine), mine) == laser_from_toml(mine)


def test_a_log_that_is_no_file_is_refused(tmp_path):
    (tmp_path / "a.readings.jsonl").mkdir()
    for call in (lambda p: read_readings(p), lambda p: append_reading(p, power(1, 1.0), WHEN)):
        with pytest.raises(InputError, match="readings"):
            call(tmp_path / "a.readings.jsonl")
    with pytest.raises(InputError, match="not kept yet"):
        append_reading(tmp_path / "nowhere" / "a.readings.jsonl", power(1, 1.0), WHEN)


@pytest.mark.parametrize("content", [b"\x00\x01\xff\xfe", b"[" * 5000, b"9" * 5000, b'{"a": 1'])
def test_bytes_that_are_no_line_are_passed_over_and_said(tmp_path, content):
    path = tmp_path / "a.readings.jsonl"
    path.write_bytes(content + b"\n")
    append_reading(path, power(1, 0.9), WHEN)
    found, complaints = read_readings(path)
    assert found == [power(1, 0.9)]
    assert len(complaints) == 1


@pytest.mark.parametrize(
    ("key", "values"),
    [
        ("date", ["", None, 5, "02.03.2026", "2026-13-01", "9999-01-01", "20260302", [], "x" * 10_000]),
        *((key, [5, "x", {}, [5], [{}], [{"a": 1}]]) for key in LISTS),
        ("material", ["", 5, [], "x" * 10_000, "a\nb", True]),
        ("top_hat_share", [v for v in BAD_NUMBERS if v != 5e-324] + ["about half"]),
        ("reading_error_m", BAD_NUMBERS),
        ("meter_error", BAD_NUMBERS),
        ("when", ["", 5, [], "x" * 10_000]),
        ("mark", [[]]),
    ],
)
def test_every_key_of_a_line_refuses_what_is_none(key, values, tmp_path):
    path = tmp_path / "a.readings.jsonl"
    for value in values:
        path.write_text(f"{json.dumps(LINE)}\n{json.dumps(LINE | {key: value})}\n", encoding="utf-8")
        with pytest.raises(InputError) as error:
            read_readings(path)
        shown = str(error.value)
        assert f"line 2 of {path.name}" in shown, value
        assert key in error.value.field, value
        assert "\n" not in shown
        assert len(shown) < 400


@pytest.mark.parametrize("key", LISTS)
def test_every_number_of_an_entry_refuses_what_is_none(key):
    for name in LISTS[key]:
        for value in BAD_NUMBERS:
            if name == "lift_m" and value in (-1, 5e-324):
                continue
            with pytest.raises(InputError) as error:
                reading_from(LINE | {key: [LINE[key][0] | {name: value}]})
            assert error.value.field == key, (name, value)
        with pytest.raises(InputError):
            reading_from(LINE | {key: [{k: v for k, v in LINE[key][0].items() if k != name}]})
    for line in (5, [], "clean", None):
        with pytest.raises(InputError):
            reading_from(line)
    with pytest.raises(InputError, match="Did you mean marks"):
        reading_from(LINE | {"mark": []})


def test_the_laser_of_a_file_is_the_laser_as_measured(mine):
    log = readings_path(mine)
    assert log.name == "mine.readings.jsonl"
    for reading in (power(3, 0.9), power(2, 0.8)):
        append_reading(log, reading, WHEN)
    found = find_any_laser("mine.toml", mine.parent)
    assert found.power_factor == pytest.approx(0.9)  # the newest by date, not by line
    assert find_any_laser("mine.toml", mine.parent, measured=False).power_factor == 1.0
    assert find_any_laser("pulsed-300").measured == ()
    with log.open("ab") as file:
        file.write(b'{"date": "2026-')
    torn = find_any_laser("mine.toml", mine.parent)
    assert torn.power_factor == pytest.approx(0.9)
    assert "a reading is lost: line 3 of mine.readings.jsonl is torn" in torn.measured[-1]


def test_readings_that_do_not_fit_the_laser_are_refused_where_it_is_named(mine):
    append_reading(readings_path(mine), Reading(datetime.date(2026, 3, 2), power=[(5000.0, 4900.0)]), WHEN)
    with pytest.raises(InputError, match=r"mine\.readings\.jsonl, power: Read on 2026-03-02: 5 kW set") as caught:
        find_any_laser("mine.toml", mine.parent, "job.laser")
    assert caught.value.field == "job.laser"
