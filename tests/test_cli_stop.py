"""The first hard stop at the command line: exit 1, the sentence in text and in "because", and no setting anywhere."""

import functools
import json
import shutil
from pathlib import Path

import pytest
from made_cli import asked

from proofpatch.cli import DONE, Answer
from proofpatch.survey import first_stop

EXAMPLE = Path(__file__).parent.parent / "docs" / "examples" / "chest.toml"
NEGATIVE = "negative; laboratory test; 2025-03-11"
ACCEPTED = "accepted; A. Owner; enclosure, half masks; the owner knows"
NEVER = (
    "PVC",
    "vinyl film",
    "fluoropolymer",
    "PTFE",
    "zinc chromate",
    "chromate primer",
    "asbestos",
    "asbestos-suspect",
)
NO_LACQUER = ("--cleared", "nitrocellulose; negative; acetone, nothing in 2 min; 2025-03-11")
COATING = {
    "painted": ("--coating", "milk paint", "--year", "2015"),
    "old": ("--coating", "varnish", "--year", "1904"),
    "undated": ("--coating", "varnish", *NO_LACQUER),
    "of unsure year": ("--coating", "shellac", "--year", "1977", *NO_LACQUER),
}
# Records of lead that lack a part.
HALF = (
    (), ("--lead", "unknown"), ("--lead", "negative"), ("--lead", "negative; swab"),
    ("--lead", "negative; ; 2025-03-11"),
    ("--lead", "negative; unknown; 2025-03-11"), ("--lead", "accepted"), ("--lead", "accepted; A. Owner"),
    ("--lead", "accepted; ; enclosure"), ("--lead", "accepted; A. Owner; enclosure"),
    ("--lead", "negative; swab; 2025-03-11"), ("--lead", "positive; swab; 2025-03-11"),
)  # fmt: skip
MIXTURE = """
[job]
year = 2015
[surface]
substrate = "red oak"
[[layers]]
coating = { "varnish" = 0.89, "shellac" = 0.11 }
"""


@pytest.fixture
def run(capsys, monkeypatch):
    """(exit code, standard output, standard error); the engine answers with exit 0 at once."""

    def stop(*_, **__):
        raise Answer(DONE)

    monkeypatch.setattr("proofpatch.cli_work.believe", stop)
    return functools.partial(asked, capsys)


def refused(run, *words):
    """The sentence of a refusal, the same in text and JSON, with no setting in either."""
    code, out, err = run(*words)
    assert (code, err) == (1, ""), (words, out, err)
    assert out.startswith("Stop: ")
    why = " ".join(out.split())
    code, out, err = run(*words, "--json")
    record = json.loads(out)
    assert (code, err) == (1, "")
    assert record["because"] == why
    if words[0] == "patch":
        assert record["patches"] == []
    elif words[0] == "recipe":
        assert record["setting"] is None
        assert record["gentler"] is None
    assert "average_power_W" not in out
    assert why.endswith(".")
    return why


@pytest.mark.parametrize("command", ["patch", "recipe"])
@pytest.mark.parametrize("case", COATING)
def test_lead_must_be_on_record(run, command, case):
    words = (command, *COATING[case], "--substrate", "red oak")
    for half in HALF:
        assert "lead" in refused(run, *words, *half)
    for whole in (NEGATIVE, ACCEPTED):
        code, out, err = run(*words, "--lead", whole)
        assert (code, out) == (0, "")
        # What is taken on is still there, and said.
        assert ("Still there, taken on by A. Owner: lead" in err) == (whole == ACCEPTED)


@pytest.mark.parametrize("command", ["patch", "recipe"])
def test_a_mixture_without_a_favourite_is_not_known(run, tmp_path, command):
    path = tmp_path / "job.toml"
    path.write_text(MIXTURE, encoding="utf-8")
    assert "not known for sure" in refused(run, command, path)
    path.write_text(MIXTURE.replace("0.89", "0.9").replace("0.11", "0.1"), encoding="utf-8")
    assert "not known for sure" not in refused(run, command, path)
    path.write_text(MIXTURE.replace("0.89", "0.95").replace("shellac", "milk paint").replace("0.11", "0.05"))
    assert "painted" in refused(run, command, path)


@pytest.mark.parametrize("command", ["patch", "recipe"])
@pytest.mark.parametrize("name", NEVER)
def test_what_never_passes_whatever_the_lead_status(run, chest, command, name):
    for lead in ((), ("--lead", NEGATIVE), ("--lead", ACCEPTED)):
        refused(run, command, "--coating", name, "--substrate", "red oak", "--year", "2015", *lead)
        as_suspect = ("--coating", "varnish", "--substrate", "red oak", "--suspect", "paste wax", "--suspect", name)
        refused(run, command, *as_suspect, "--year", "2015", *lead)
    text = chest.read_text(encoding="utf-8")
    for old, new in (
        ('coating = "varnish"', f'coating = "{name}"'),
        ('coating = "varnish"', f'coating = {{ "varnish" = 0.99, "{name}" = 0.01 }}'),
        ("[job]", f'[job]\nsuspects = ["paste wax", "{name}"]'),
    ):
        chest.write_text(text.replace(old, new), encoding="utf-8")
        refused(run, command, chest)
    assert list(chest.parent.iterdir()) == [chest]


def test_the_example_job_is_cleared_and_stops_without_its_record(run, chest):
    text = chest.read_text(encoding="utf-8")
    for command in ("patch", "recipe"):
        chest.write_text(text, encoding="utf-8")
        assert run(command, chest) == (0, "", "")
        for gone in ('method = "laboratory test of a scraping"\n', "date = 2025-03-11\n", 'status = "negative"\n'):
            assert gone in text
            chest.write_text(text.replace(gone, ""), encoding="utf-8")
            refused(run, command, chest)


# A hazard that the survey of the piece as described leaves open stops the command line as it stops the pages.
@pytest.mark.parametrize("command", ["patch", "recipe", "offer"])
def test_what_the_survey_leaves_open_stops_a_beam(run, tmp_path, command):
    text = (EXAMPLE.parent / "barn.toml").read_text(encoding="utf-8")
    path = tmp_path / "barn.toml"
    path.write_text(text, encoding="utf-8")
    assert run(command, path) == (0, "", "")
    for gone in ("nitrocellulose", "date = 2025-03-11\n\n[room]"):
        assert gone in text
        path.write_text(text.replace(gone, {"nitrocellulose": "mercury"}.get(gone, "\n[room]")), encoding="utf-8")
        why = refused(run, command, path)
        assert "nitrocellulose" in why
        assert "It is settled by" in why
    note = run("forecast", path)[2]
    assert note.startswith("Stop: nitrocellulose")


@pytest.mark.parametrize("command", ["patch", "recipe"])
def test_options_put_another_hazard_on_record(run, command):
    words = (command, "--coating", "varnish", "--substrate", "red oak", "--year", "2015", "--lead", NEGATIVE)
    assert "nitrocellulose" in refused(run, *words)
    assert run(*words, *NO_LACQUER) == (0, "", "")
    assert "nitrocellulose" in refused(run, *words, "--cleared", "nitrocellulose; negative; a guess; 2025-03-11")
    code, out, err = run(*words, *NO_LACQUER, *NO_LACQUER)
    assert (code, out) == (2, "")
    assert err.startswith("--cleared names a hazard twice")


# No beam: a forecast and the bench are not stopped by lead.
def test_forecast_and_bench_are_not_stopped_by_lead(run, chest):
    assert run("forecast", "--coating", "lead paint", "--substrate", "red oak") == (0, "", "")
    chest.write_text(chest.read_text(encoding="utf-8").replace('status = "negative"', 'status = "positive"'))
    code, out, note = run("forecast", chest)
    assert (code, out) == (0, "")
    assert note.startswith("Stop: ")
    assert note.endswith(" A forecast lays no beam.\n")
    assert run("bench", "--power", "5 W", "--rate", "5 kHz", "--width", "100 ns", "--spot-diameter", "1 mm")[0] == 0


def test_a_forecast_of_what_never_passes_declines(run):
    refused(run, "forecast", "--coating", "PVC", "--substrate", "red oak")
    record = json.loads(run("forecast", "--coating", "PVC", "--substrate", "red oak", "--json")[1])
    assert record["answer"] == "decline"
    assert record["chance"] == 0
    assert record["best"] is None
    assert set(record) >= {"assumptions", "sources"}


def test_nothing_of_a_refused_grade_is_written(run, chest):
    chest.write_text(chest.read_text(encoding="utf-8").replace('coating = "varnish"', 'coating = "PVC"'))
    setting = ("--power", "150 W", "--rate", "12.5 kHz", "--width", "100 ns")
    refused(run, "grade", chest, *setting, "--residue", "clean", "--harm", "none")
    assert list(chest.parent.iterdir()) == [chest]


def test_the_command_line_and_the_core_say_the_same(run, chest):
    from proofpatch.shop.job import read_job

    chest.write_text(
        chest.read_text(encoding="utf-8").replace("year = 1904", "year = 1962").replace("date =", "name = 'x' #")
    )
    job = read_job(chest)
    assert refused(run, "recipe", chest) == first_stop(job.surface, job.year, job.lead, job.suspects)


@pytest.fixture
def chest(tmp_path):
    return Path(shutil.copy(EXAMPLE, tmp_path / "chest.toml"))
