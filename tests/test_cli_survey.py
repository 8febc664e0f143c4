"""The survey at the command line: text and JSON of one record, the page, exit codes."""

import functools
import json

import pytest
from made_cli import asked

from proofpatch.cli import main

FILM = ("--evidence", "kind=clear film", "--evidence", "substrate=oak", "--evidence", "alcohol@top=none, 3 min",
        "--evidence", "alcohol@leg=none, 3 min", "--year", "1990")  # fmt: skip
JOB = """
[job]
title = "Barn door"
laser = "pulsed-300"
year = 2010
[evidence]
kind = "clear film"
substrate = "pine"
refinished = false
"alcohol@stile" = "gummy in 8 s"
aired = true
[[cleared]]
hazard = "nitrocellulose"
status = "negative"
method = "laboratory"
date = 2025-03-11
[[zones]]
area = "2 m²"
"""


@pytest.fixture
def run(capsys):
    return functools.partial(asked, capsys, "survey")


def test_text_and_json_tell_the_same(run):
    code, out, _ = run(*FILM)
    coded, raw, _ = run(*FILM, "--json")
    record = json.loads(raw)
    assert code == coded == 0
    plain = " ".join(out.split())
    for words in (record["because"], *record["stops"], *record["cautions"], *record["assumptions"]):
        assert " ".join(words.split()) in plain
    assert record["answer"] == "test it"
    assert sum(record["coatings"].values()) > 0.97
    assert "Next:" in plain
    assert f"Then say {record['next_test']}=" in plain


def test_nothing_said_begins_with_looking(run):
    code, out, _ = run("--json")
    record = json.loads(out)
    assert (code, record["answer"], record["next_test"]) == (0, "test it", "kind")
    assert any("lead" in stop for stop in record["stops"])


def test_what_no_beam_touches_is_declined(run, tmp_path):
    code, out, _ = run("--suspect", "pvc film", "--json")
    assert (code, json.loads(out)["answer"]) == (1, "decline")
    path = tmp_path / "job.toml"
    path.write_text("[surface]\nsubstrate = 'oak'\n[[layers]]\ncoating = 'PVC'\n", encoding="utf-8")
    code, out, _ = run(path, "--json")
    record = json.loads(out)
    assert (code, record["answer"], record["next_test"]) == (1, "decline", None)
    assert "Stop" in run(path)[1]


def test_records_clear_what_they_name(run):
    film = ("--evidence", "kind=clear film", "--evidence", "substrate=oak", "--year", "1950")
    stops = json.loads(run(*film, "--json")[1])["stops"]
    assert len(stops) == 2
    lead = ("--lead", "negative; laboratory; 2025-03-11")
    fire = ("--cleared", "nitrocellulose; accepted; A. Owner; fire watch, water at hand; small and outdoors")
    record = json.loads(run(*film, *lead, *fire, "--json")[1])
    assert record["stops"] == []
    assert any("A. Owner" in line and "fire watch" in line for line in record["on_record"])
    half = ("--cleared", "nitrocellulose; accepted; A. Owner; fire watch")
    assert len(json.loads(run(*film, *lead, *half, "--json")[1])["stops"]) == 1


def test_a_job_file_carries_its_survey_to_the_forecast(run, tmp_path, capsys):
    path = tmp_path / "door.toml"
    path.write_text(JOB, encoding="utf-8")
    code, out, _ = run(path, "--json")
    record = json.loads(out)
    assert code == 0
    assert record["stops"] == []
    assert record["laser"].startswith("Pulsed 300 W")
    assert max(record["coatings"], key=record["coatings"].get) == "waterborne-clear"
    with pytest.raises(SystemExit):
        main(["forecast", str(path), "--json"])
    forecast = json.loads(capsys.readouterr().out)
    assert 0 <= forecast["chance"] <= 1
    code, _, err = run(path, "--evidence", "kind=paint")
    assert (code, "beside a job file" in err) == (2, True)
    # Solvent not yet gone: no beam follows.
    path.write_text(JOB.replace("aired = true\n", ""), encoding="utf-8")
    with pytest.raises(SystemExit) as done:
        main(["patch", str(path), "--json"])
    assert done.value.code == 1
    assert "used on it: alcohol" in json.loads(capsys.readouterr().out)["because"]


def test_a_job_without_findings_is_surveyed_from_what_it_says(run, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text("[surface]\nsubstrate = 'oak'\n[[layers]]\ncoating = 'shellac'\n", encoding="utf-8")
    record = json.loads(run(path, "--json")[1])
    assert record["substrates"] == {"oak": 1.0}
    assert record["next_test"] == "kind"


def test_the_page_is_written(run, tmp_path):
    page = tmp_path / "survey.pdf"
    code, out, _ = run(*FILM, "--pdf", page)
    assert code == 0
    assert page.read_bytes().startswith(b"%PDF")
    assert str(page) in out
    code, _, err = run(*FILM, "--pdf", tmp_path / "no" / "survey.pdf")
    assert (code, "--pdf" in err) == (2, True)
