"""The method statement: what stops the job stands first, and nothing then reads as leave to begin."""

import io

import pytest
from pypdf import PdfReader

from proofpatch.documents.method import method_pdf
from proofpatch.hazards import plan as hazards
from proofpatch.hazards.beam import Beam
from proofpatch.records_hazards import ALWAYS, UNCOVERED, plan_record

LEAD = "Stop: the coating is painted and its lead status is not on record."
BEGINS = "Nobody begins before the gate items below are signed."


@pytest.fixture(scope="module")
def record():
    beam = Beam(power=300.0, rate=20e3, width=1e-7, wavelength=1064e-9, diameter=10e-3, focal_length=0.16)
    return plan_record(hazards.plan(beam, 1e-4, ["fresh-grease"], "mild-steel", capture=0.98, air=0.2), "Vice")


def words(record, **more):
    pdf = method_pdf(record, **more)
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
@pytest.mark.parametrize(("covered", "stops"), [(True, []), (False, []), (True, [LEAD]), (False, [LEAD])])
def test_what_stops_the_job_stands_first(record, paper, covered, stops):
    said = words({**record, "covered": covered}, paper=paper, stops=stops)
    first = [*([] if covered else [UNCOVERED]), *stops]
    assert (UNCOVERED in said) == (not covered)
    assert (LEAD in said) == bool(stops)
    assert all(said.index(line) < said.index(record["headline"]) < said.index(record["answers"][0]) for line in first)
    assert (BEGINS in said) == (not first)
    assert f"Who sees to what{', once the stops above are settled' if first else ''}; a box is a gate" in said
    assert said.count(ALWAYS) >= 2  # in the black box, and at the foot of each page


def test_of_this_job_the_air_decides_whether_it_is_covered(record):
    assert record["covered"]
    assert UNCOVERED not in words(record)
