"""The completion record at the command line: what a job file and its patch log can say, and what they cannot."""

import io
import json
from pathlib import Path

import pytest
from made_cli import at_the_gate
from pypdf import PdfReader

from proofpatch.documents.record import record_page
from proofpatch.learn.evidence import Graded
from proofpatch.shop.log import append_log

DOCS = Path(__file__).parent.parent / "docs"
KEYS = (
    "number version day title shop customer agreed zones areas settings patches days pairs whole_grade trade "
    "visual_note waste incidents care open sources"
)


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    return at_the_gate("record", capsys, tmp_path, monkeypatch)


def test_the_record_says_what_the_file_cannot(run, at_work, tmp_path):
    append_log(tmp_path / "gate.patches.jsonl", Graded(at_work(), "clean", "none"), "2026-03-01T10:00:00+00:00")
    append_log(tmp_path / "gate.patches.jsonl", Graded(at_work(), "nearly", "tint"), "2026-03-01T10:10:00+00:00")
    code, out, err = run("gate.toml", "--json")
    record = json.loads(out)
    assert (code, err) == (0, "")
    assert set(KEYS.split()) <= set(record)
    assert record["patches"] == {"graded": 2, "harmed": 1}
    assert [(one["state"], one["grade"]) for one in record["zones"]] == [(None, None)] * 3
    assert record["areas"]["all_m2"] == pytest.approx(2.68)
    code, out, _ = run("gate.toml", "--pdf", "record.pdf")
    assert code == 0
    said = " ".join(out.split())
    for words in (
        "What was done is not recorded.", "2 test patches were laid and graded, 1 of them showed harm.",
        "Not measured: no photos", "Outer face: Not measured.", "Settings really used: not recorded.",
    ):  # fmt: skip
        assert words in said, words
    page = record_page(record)
    for text in (page["lead"], page["areas"], *page["open"], *(one[0] for one in page["sources"])):
        assert " ".join(text.split()) in said, text
    pages = PdfReader(io.BytesIO((tmp_path / "record.pdf").read_bytes())).pages
    assert "Draft, not handed over" in " ".join(" ".join(one.extract_text() for one in pages).split())


@pytest.mark.parametrize(
    ("words", "said"),
    [(["nowhere.toml"], "nowhere.toml"), (["gate.toml", "--pdf", "record.txt"], ".pdf"), ([], "JOB")],
)
def test_what_cannot_be_is_one_sentence(run, words, said):
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1
