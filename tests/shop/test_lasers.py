"""Lasers of the shop: what a file of the same content gives, nothing lost, jobs know them by their id."""

import copy
import datetime
import json
import shutil
import tomllib
from pathlib import Path

import pytest

from proofpatch.errors import InputError
from proofpatch.lasers.readings import Reading
from proofpatch.shop.job import find_any_laser, job_from
from proofpatch.shop.laser_log import append_reading, readings_path
from proofpatch.shop.lasers import (
    KIND,
    add_laser,
    add_reading,
    correct_laser,
    entries_of,
    entry_named,
    entry_of,
    known,
    laser_on,
    lasers_of,
    own_of,
    take_back,
)
from proofpatch.shop.store import Overtaken

ROOT = Path(__file__).parents[2]
TABLE = tomllib.loads((ROOT / "docs" / "own-laser.toml").read_text("utf-8"))
WHEN = "2026-03-02T10:12:00+00:00"
MARKS = Reading(
    datetime.date(2026, 3, 2),
    marks=[(12e-3, 0.84e-3), (8e-3, 0.85e-3), (5.33e-3, 0.84e-3), (2.37e-3, 0.85e-3), (1.3e-3, 0.62e-3)],
    material="black card",
)
JOB = {"job": {"laser": "ours-300"}, "surface": {"substrate": "mild steel"}, "layers": [{"coating": "rust"}]}


def power(month, watts):
    return Reading(datetime.date(2026, month, 2), power=[(150.0, watts)])


@pytest.fixture
def ours(store):
    """A laser of the shop, read twice."""
    entry = add_laser(store, TABLE)
    entry = add_reading(store, "ours-300", entry.version, MARKS, WHEN)
    return add_reading(store, "ours-300", entry.version, power(6, 131.0), WHEN)


def test_it_is_what_the_command_line_has_from_a_file_of_the_same_content(store, ours, tmp_path):
    path = Path(shutil.copy(ROOT / "docs" / "own-laser.toml", tmp_path / "mine.toml"))
    for reading in (MARKS, power(6, 131.0)):
        append_reading(readings_path(path), reading, WHEN)
    filed = find_any_laser(str(path))
    assert lasers_of(store) == {"ours-300": filed}
    assert (filed.power_factor, len(filed.measured)) == (pytest.approx(131 / 150), 2)
    lines = readings_path(path).read_text("utf-8").splitlines()
    assert ours.data == {"laser": TABLE, "readings": [json.loads(line) for line in lines]}
    assert job_from(JOB, lasers=lasers_of(store)).laser == filed
    day = datetime.date(2026, 4, 1)
    assert laser_on(ours, day) == find_any_laser(str(path), on=day)


def test_a_job_knows_it_by_its_id_and_no_file_is_looked_for(store, ours, tmp_path, monkeypatch):
    shutil.copy(ROOT / "docs" / "own-laser.toml", tmp_path / "mine.toml")
    monkeypatch.chdir(tmp_path)
    assert entry_named(store, JOB) == ours
    assert entry_named(store, {"job": {}}) is None
    assert job_from(JOB | {"job": {"laser": "pulsed-100"}}, lasers=known(ours)).laser.id == "pulsed-100"
    for name in ("mine.toml", "nobodys"):
        with pytest.raises(InputError, match=r"No laser is called|Known are") as caught:
            job_from(JOB | {"job": {"laser": name}}, lasers=known(ours))
        assert caught.value.field == "job.laser"


def put(*path, value):
    def spoil(data):
        *heads, last = path
        for head in heads:
            data = data[head]
        data[last] = value

    return spoil


@pytest.mark.parametrize(
    ("spoil", "field"),
    [
        (put("laser", "ours-300", "wavelength", value="1064"), "laser ours-300.wavelength"),
        (put("laser", "ours-300", "handpiece", "stand_off", value="250 kg"), "laser ours-300.stand_off"),
        (put("laser", "ours-300", "colour", value="red"), "laser ours-300.colour"),
        (put("laser", value=[]), "laser"),
        (put("readings", value="none"), "laser ours-300.readings"),
        (put("readings", 1, value="torn"), "laser ours-300.readings[1].entry"),
        (put("readings", 0, "date", value="soon"), "laser ours-300.readings[0].date"),
        (put("readings", 1, "power", 0, "set_W", value="150 W"), "laser ours-300.readings[1].power"),
        (put("readings", 0, "marks", 0, "pulse_energy_J", value=1.0), "laser ours-300.marks"),
    ],
)
def test_what_cannot_be_believed_names_its_place_and_stays(store, ours, spoil, field):
    data = copy.deepcopy(dict(ours.data))
    spoil(data)
    broken = store.change(KIND, ours.id, ours.version, data)
    with pytest.raises(InputError) as caught:
        own_of(broken)
    assert field in caught.value.field
    assert store.get(KIND, ours.id).data == data
    store.undo(KIND, ours.id, broken.version)
    assert lasers_of(store)["ours-300"].power_factor < 1


def test_what_is_no_laser_or_no_reading_of_it_is_not_kept(store, ours):
    entry = TABLE["ours-300"]
    for table, field in (
        ({"pulsed-300": entry}, "id"),
        ({"ours-300": entry}, "id"),
        ({"Ours": entry}, "laser"),
        ({"other": entry | {"m2": "30"}}, "m2"),
        ({}, "laser"),
    ):
        with pytest.raises(InputError) as caught:
            add_laser(store, table)
        assert caught.value.field == field
    with pytest.raises(InputError, match="more than this laser gives") as caught:
        add_reading(store, "ours-300", ours.version, Reading(MARKS.date, power=[(500.0, 490.0)]), WHEN)
    assert caught.value.field == "power"
    with pytest.raises(InputError):
        correct_laser(store, "ours-300", ours.version, {"ours-300": entry | {"energy_limits": [["30 ns", "1 mJ"]]}})
    assert list(entries_of(store).values()) == [ours]


def test_who_comes_late_is_told_and_both_readings_are_kept(store, ours):
    now = add_reading(store, "ours-300", ours.version, power(7, 140.0), WHEN)
    with pytest.raises(Overtaken):
        add_reading(store, "ours-300", ours.version, power(8, 141.0), WHEN)
    assert entry_of(store, "ours-300") == now
    aside = store.history(KIND, ours.id)[-1]
    assert (aside.what, aside.data["readings"][-1]["power"][0]["measured_W"]) == ("aside", 141.0)


def test_a_reading_is_taken_back_and_brought_back(store, ours):
    less = take_back(store, "ours-300", ours.version, 1)
    assert own_of(less).course.laser.power_factor == 1.0
    again = store.undo(KIND, ours.id, less.version)
    assert again.data == ours.data
    with pytest.raises(InputError):
        take_back(store, "ours-300", again.version, 2)
    # A lift of another day rests on the marks of the first, which told the threshold of that card.
    lifts = [(z * 1e-3, 12e-3, d * 1e-3) for z, d in ((-24, 1.73), (-12, 1.14), (0, 0.84), (12, 1.16), (24, 1.75))]
    later = add_reading(store, "ours-300", again.version,
                        Reading(datetime.date(2026, 6, 9), lifts=lifts, material="black card"), WHEN)  # fmt: skip
    with pytest.raises(InputError, match="not known"):
        take_back(store, "ours-300", later.version, 0)
    assert entry_of(store, "ours-300") == later


def test_one_put_away_keeps_its_id_and_its_jobs(store, ours):
    store.delete(KIND, ours.id, ours.version)
    assert entries_of(store) == {}
    assert job_from(JOB, lasers=lasers_of(store)).laser.id == "ours-300"
    with pytest.raises(InputError, match="already has"):
        add_laser(store, TABLE)
