"""Measuring at the command line: contract keys, exit codes, the page's own examples."""

import functools
import json
import math
import re
import shlex
import shutil
from pathlib import Path

import pytest
import trimesh
from made_cli import asked

from proofpatch.measure.shapes import SHAPES

DOCS = Path(__file__).parent.parent / "docs"
PAGE = (DOCS / "measure.md").read_text("utf-8")
LEG = ("--shape", "cylinder; diameter=60 mm; length=700 mm")


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return functools.partial(asked, capsys, "measure")


@pytest.fixture
def scan(tmp_path):
    trimesh.creation.box((600, 400, 300)).export(tmp_path / "bracket.stl")
    return tmp_path / "bracket.stl"


def test_shapes_pieces_and_effort(run):
    code, out, err = run(*LEG, "--pieces", 4, "--effort", "turnings", "--hand-finish", "10 %", "--json")
    record = json.loads(out)
    area = 4 * math.pi * 0.06 * 0.7
    assert (code, err) == (0, "")
    assert record["area_m2"] == pytest.approx(area)
    assert record["by_hand_m2"] == pytest.approx(0.1 * area)
    assert record["effective_m2"] == pytest.approx(0.9 * area * 1.75)
    assert record["area_low_m2"] < area < record["area_high_m2"]
    (zone,) = record["zones"]
    assert zone["areas"][0]["shape"]["diameter_m"] == 0.06
    assert any("from memory, unverified" in line for line in record["sources"])


def test_a_job_and_a_shape_add_up(run):
    job = DOCS / "examples" / "chest.toml"
    alone = json.loads(run(job, "--json")[1])
    both = json.loads(run(job, *LEG, "--json")[1])
    assert both["area_m2"] == pytest.approx(alone["area_m2"] + math.pi * 0.06 * 0.7)
    assert [zone["name"] for zone in alone["zones"]] == ["flat of the lid", "mouldings"]


def test_a_scan_with_its_reach(run, scan):
    code, out, _ = run("--mesh", scan, "--unit", "mm", "--reach", "--incidence", "30°", "--json")
    record = json.loads(out)
    assert code == 0
    assert record["area_m2"] == pytest.approx(1.08)
    assert len(record["zones"][0]["reach"]["setups"]) == 6
    top = json.loads(run("--mesh", scan, "--longest", "60 cm", "--pick-at", "0 x 0 x 0.15 m", "--json")[1])
    assert top["area_m2"] == pytest.approx(0.24)
    box = ("--pick-box", "-1 m x -1 m x 14 cm | 1 m x 1 m x 1 m")
    assert json.loads(run("--mesh", scan, "--unit", "mm", *box, "--json")[1])["area_m2"] == pytest.approx(0.24)
    text = run("--mesh", scan, "--unit", "mm", "--reach")[1]
    assert "set-up" in text
    assert all(len(line) <= 100 for line in text.splitlines())


def test_every_command_of_the_page_can_be_typed(run, scan, tmp_path):
    (outline,) = re.findall(r"```json\n(.*?)```", PAGE, re.DOTALL)
    (tmp_path / "door.json").write_text(outline, encoding="utf-8")
    shutil.copy(DOCS / "examples" / "chest.toml", tmp_path)
    (block,) = re.findall(r"```sh\n(.*?)```", PAGE, re.DOTALL)
    outputs = []
    for line in block.strip().splitlines():
        words = shlex.split(line, comments=True)
        assert words[:2] == ["proofpatch", "measure"]
        code, out, err = run(*words[2:])
        assert (code, err) == (0, ""), line
        outputs.append(out)
    (answer,) = re.findall(r"```text\n(.*?)```", PAGE, re.DOTALL)
    assert outputs[0].startswith(answer)
    one = json.loads(outline)
    less = {key: one[key] for key in ("points", "openings")} | {"start": [500, 400], "end": [800, 402], "length": 0.21}
    (tmp_path / "door.json").write_text(json.dumps(less), encoding="utf-8")
    assert "straight-on" in run("--outline", "door.json")[1]


def test_the_page_names_every_shape_and_its_python_runs():
    for name in SHAPES:
        assert f"| `{name}` |" in PAGE, name
    (snippet,) = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
    names = {}
    exec(compile(snippet, "measure.md", "exec"), names)
    assert names["drawn"].shape == (1000, 1)
    assert names["for_the_hours"][0][0] == pytest.approx(0.9 * names["area"])


def test_nothing_for_the_beam_is_a_no(run):
    code, out, _ = run(*LEG, "--hand-finish", "100 %")
    assert code == 1
    assert out.startswith("Nothing here is for the beam.")


@pytest.mark.parametrize(
    ("words", "flag"),
    [
        ((), "--shape"), (("--unit", "mm"), "--unit"), (("--pieces", "3"), "--pieces"), (("--reach",), "--reach"),
        (("--mesh", "none.stl", "--unit", "mm"), "--mesh"), (("--outline", "none.json"), "--outline"),
        (("--mesh", "bracket.stl"), "--unit"), (("--mesh", "bracket.stl", "--unit", "mile"), "--unit"),
        (("--mesh", "bracket.stl", "--unit", "mm", "--longest", "1 m"), "--unit"),
        (("--mesh", "bracket.stl", "--unit", "mm", "--incidence", "30°"), "--incidence"),
        (("--mesh", "bracket.stl", "--unit", "mm", "--pick-at", "1 x 2"), "--pick-at"),
        (("--mesh", "bracket.stl", "--unit", "mm", "--pick-box", "9 m x 9 m x 9 m | 8 m x 8 m x 8 m"), "--pick-box"),
        (("--mesh", "bracket.stl", "--unit", "mm", "--reach", "--incidence", "0°"), "--incidence"),
        ((*LEG, "--effort", "sorcery"), "--effort"), ((*LEG, "--effort", "99"), "--effort"),
        ((*LEG, "--pieces", "0"), "--pieces"), ((*LEG, "--hand-finish", "110 %"), "--hand-finish"),
        (("--shape", "cylinder; diameter=60 mm"), "--shape"), (("--shape", "x" * 3000), "--shape"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named(run, scan, words, flag):
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert flag in err
    assert err.count("\n") == 1


def test_files_that_are_no_outline(run, tmp_path):
    for text in ("", "[", "3", "[" * 9000, "\x00", '{"points": 3}'):
        (tmp_path / "door.json").write_text(text, encoding="utf-8")
        code, _, err = run("--outline", "door.json")
        assert code == 2
        assert "--outline" in err
