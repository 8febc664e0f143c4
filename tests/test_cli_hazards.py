"""Hazards at the command line: contract keys, one record for text, JSON and PDF, exit codes."""

import functools
import io
import json
import math
import re
from pathlib import Path

import pytest
from made_cli import asked
from pypdf import PdfReader

from proofpatch.cli_hazards import concentration_words
from proofpatch.records_hazards import UNCOVERED

BARN = Path(__file__).parent.parent / "docs" / "examples" / "barn.toml"
HEAD = ("--power", "500 W", "--rate", "20 kHz", "--width", "100 ns", "--beam-diameter", f"{10 * math.sqrt(2)} mm",
        "--focal-length", "160 mm")  # fmt: skip
KEYS = {
    "eye_limit_J_m2_per_pulse", "eye_limit_W_m2", "governing_rule", "hazard_distance_m", "diffuse_distance_m",
    "skin_distance_m", "optical_density", "scale_number_D", "scale_number_R", "assumptions", "sources",
}  # fmt: skip


@pytest.fixture
def run(capsys):
    return functools.partial(asked, capsys, "hazards")


def test_the_contracts_keys(run):
    code, out, err = run(*HEAD, "--json")
    record = json.loads(out)
    assert (code, err) == (0, "")
    assert set(record) >= KEYS
    # Table 3.1 of the safety reference, made stricter by the older rule.
    assert record["hazard_distance_m"] == pytest.approx(0.16 + 56.8 * math.sqrt(50.61 / 47.29), rel=3e-3)
    assert record["skin_distance_m"] == pytest.approx(0.16 + 4.08, rel=3e-3)
    assert any("from memory, unverified" in line for line in record["sources"])
    assert "not a clearance" in record["always"]


def test_text_rounds_to_the_careful_side(run):
    code, out, _ = run(*HEAD)
    plain = " ".join(out.split())
    assert code == 0
    assert "optical density at least 5.5" in plain  # 5.44
    # At windows and for the public 100 s count: 0.16 + 58.7 × 10^(1/8) = 78.4, the fourth root of ten times the pulses.
    assert "within 79 m of the head" in plain
    assert "safe" not in re.sub(r"laser safety officer", "", plain.lower())


def test_a_laser_stands_for_its_worst_beam(run):
    record = json.loads(run("--laser", "pulsed-500", "--json")[1])
    assert record["beam"]["power_W"] == 500
    assert record["hazard_distance_m"] > 40
    assert any("at its worst" in line for line in record["assumptions"])


def test_a_job_has_air_fire_room_and_power(run):
    code, out, _ = run(BARN, "--json")
    record = json.loads(out)
    assert code == 0
    assert len(record["answers"]) == 3
    assert record["air"]["agents"][0]["ratio"] == max(one["ratio"] for one in record["air"]["agents"])
    assert record["fire"]["clear_m"] >= 11
    assert {one["who"] for one in record["room"]["reached"]} == {"helper", "yard"}
    assert record["power"]["placed"]
    plain = " ".join(run(BARN)[1].split())
    assert plain.startswith(record["headline"])
    for words in (*record["answers"], record["fire"]["answer"], *record["room"]["notes"]):
        assert words in plain
    # What an option says counts instead of the file.
    less = json.loads(run(BARN, "--json", "--capture", "90 %")[1])
    assert less["air"]["agents"][0]["near_kg_m3"] == pytest.approx(5.0 * record["air"]["agents"][0]["near_kg_m3"])


def test_the_method_statement_holds_the_record(run, tmp_path):
    page, plan = tmp_path / "m.pdf", tmp_path / "room.svg"
    record = json.loads(run(BARN, "--json", "--pdf", page, "--picture", plan)[1])
    pages = PdfReader(io.BytesIO(page.read_bytes())).pages
    text = re.sub(r"\s+", "", "".join(one.extract_text() for one in pages))
    said = [*record["answers"], record["fire"]["answer"], record["screens"], *record["fire"]["notes"], record["always"]]
    said += [one["text"] for one in record["checklist"]] + record["assumptions"] + record["sources"]
    said += [record["air"]["filters"], record["air"]["waste"], "Laser on. Keep out.", "name, time"]
    for words in said:
        assert re.sub(r"\s+", "", words) in text, words
    assert plan.read_text(encoding="utf-8").startswith("<svg")
    assert sorted(one.name for one in tmp_path.iterdir()) == ["m.pdf", "room.svg"]
    assert "Nobodybegins" in text


def test_an_open_hazard_stands_first_in_the_statement(run, tmp_path):
    job, page = tmp_path / "job.toml", tmp_path / "m.pdf"
    told = BARN.read_text(encoding="utf-8")
    told = told.replace('status = "negative"', 'status = "positive"').replace("year = 1995", "year = 1930")
    job.write_text(told, encoding="utf-8")
    record = json.loads(run(job, "--json", "--pdf", page)[1])
    text = " ".join(PdfReader(io.BytesIO(page.read_bytes())).pages[0].extract_text().split())
    assert "tested positive for lead" in text
    assert text.index("tested positive for lead") < text.index(record["headline"])
    assert "Nobody begins" not in text


def test_a_job_that_nothing_covers_says_so_first(run):
    code, out, _ = run(BARN, "--capture", "0 %")
    assert code == 1
    assert " ".join(out.split()).startswith(UNCOVERED)


@pytest.mark.parametrize(
    ("words", "flag"),
    [
        ((), "--power"), (("--power", "5 W"), "--beam-diameter"), ((*HEAD[:8], "--pdf", "x.pdf"), "--pdf"),
        ((*HEAD, "--capture", "5 %"), "--capture"), ((str(BARN), "--laser", "pulsed-100"), "--laser"),
        (("--power", "5 W", "--beam-diameter", "5 mm"), "--divergence"),
    ],
)  # fmt: skip
def test_what_is_missing_is_named(run, words, flag):
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert flag in err


def test_a_picture_needs_a_room(run, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text("[surface]\nsubstrate = 'oak'\n[[layers]]\ncoating = 'shellac'\n", encoding="utf-8")
    code, _, err = run(path, "--picture", tmp_path / "room.svg")
    assert (code, "[room]" in err) == (2, True)
    record = json.loads(run(path, "--json")[1])
    assert (record["room"], record["power"]) == (None, None)


def test_no_air_holds_more_than_a_figure_says():
    assert concentration_words(4e-7) == "400 µg/m³"
    assert concentration_words(0.1) == "100 g/m³"
    assert concentration_words(0.43) == concentration_words(5.0) == "more than 100 g/m³"
