"""The starter knowledge that is shipped: what the script makes, each line with its source, in only when asked for."""

import csv
import json

import pytest
from cases_read import CASES
from starter import ENOUGH, GRADES, chosen, starter_made

from proofpatch.errors import InputError
from proofpatch.learn.memory.exchange import ORIGINS, unpacked
from proofpatch.shop.learned import learned
from proofpatch.shop.lots import KIND, lots_of, weigh
from proofpatch.shop.starter import WEIGHT, starter_file, starter_offered, take_starter


def rows():
    with CASES.open(newline="", encoding="utf-8") as file:
        return {row["id"]: row for row in csv.DictReader(file)}


def test_the_file_is_what_the_script_makes():
    assert starter_file() == starter_made()


def test_every_line_of_it_has_a_published_source():
    parcel = unpacked(starter_file())
    assert parcel.origin == ORIGINS[1]
    assert parcel.of == len(rows())
    cases, _ = chosen()
    assert len(parcel.jobs) == len(cases) > 0
    for line, case in zip(starter_file().split(b"\n")[1:], cases, strict=False):
        assert rows()[case.id]["source"] in json.loads(line)["source"]
    for job in parcel.jobs:
        assert "Not printed and filled in" in job.source
        assert (job.title, job.customer, job.photos) == ("", "", ())


# Materials 17(10) (2024) 2414, as `cases.csv` has it: 17.8 J/cm2, 1064 nm, 100 ns, 40 kHz, 500 mm/s; the optimum.
def test_what_the_paper_prints_stands_and_only_what_it_leaves_open_is_filled_in():
    (job,) = unpacked(starter_file()).jobs
    (graded,) = job.graded
    setting = graded.setting
    assert (setting.repetition_rate, setting.sweep_speed) == (40e3, 0.5)
    assert setting.pulse_width == pytest.approx(100e-9)
    assert job.laser.wavelength == pytest.approx(1064e-9)
    mean = setting.average_power / setting.repetition_rate / (3.14159265 * setting.spot_radius**2)
    assert 17.8e4 / 2 < mean < 17.8e4  # it may be the peak, twice the mean of a Gaussian beam
    assert (graded.residue, graded.harm) == ("clean", "none")


@pytest.mark.parametrize(
    "blank", ["source", "wavelength_nm", "pulse_width_ns", "rep_rate_khz", "scan_speed_mm_s", "value"]
)
def test_a_row_that_leaves_one_open_is_not_taken(tmp_path, blank):
    table = list(rows().values())
    for row in table:
        row[blank] = ""
    with (tmp_path / "cases.csv").open("w", newline="", encoding="utf-8") as file:
        out = csv.DictWriter(file, table[0])
        out.writeheader()
        out.writerows(table)
    assert chosen(tmp_path / "cases.csv") == ([], len(table))
    assert set(GRADES) == {"clean", "clean_marked"}
    assert "fluence" in ENOUGH


def test_it_is_in_only_when_asked_for_counts_little_and_goes_again(store):
    assert learned(store) == []
    assert not store.all(KIND)
    assert starter_offered(store) is not None
    lot = take_starter(store)
    (kept,) = lots_of(store)
    assert (kept.published, kept.weight, kept.counts) == (True, WEIGHT, 1)
    assert kept.entry.data["sources"] == [job.source for job in unpacked(starter_file()).jobs]
    assert starter_offered(store) is None
    with pytest.raises(InputError, match="already") as slip:
        take_starter(store)
    assert slip.value.field == "starter"
    lot = weigh(store, lot.id, lot.version, 0.3)
    assert lots_of(store)[0].weight == 0.3
    store.delete(KIND, lot.id, lot.version)
    assert lots_of(store) == []
    assert starter_offered(store) is None  # it is brought back from what was taken out
