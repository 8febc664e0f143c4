"""A strip graded by its photo at the command line: laid out, printed, photographed, graded, kept."""

import functools
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from made_cli import asked
from made_laid import photo_of
from made_photo import shot
from PIL import Image

from proofpatch.cli import main
from proofpatch.shop.log import read_log
from proofpatch.shop.strip_file import read_strips, strips_path

JOB = """
[job]
title = "Lathe bed"
year = 2001
[lead]
status = "negative"
method = "laboratory test of a chip through all layers"
date = 2025-03-11
[surface]
substrate = "mild steel"
[[layers]]
coating = "fresh grease"
"""
LEFT = {"1": 1.0, "2": 0.3, "3": 0.0}  # share left on each step


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A folder with a job, its first strip laid out, its sheet and a photo of it."""
    folder = tmp_path_factory.mktemp("photo")
    (folder / "lathe.toml").write_text(JOB, encoding="utf-8")
    with pytest.raises(SystemExit) as done:
        main(["patch", str(folder / "lathe.toml"), "--count", "3", "--sheet", str(folder / "sheet.pdf")])
    assert done.value.code == 0
    (folder / "strip.jpg").write_bytes(photo_of(folder / "sheet.pdf", LEFT, np.random.default_rng(5))[0])
    return folder


@pytest.fixture
def lathe(bench, tmp_path):
    """The job in a folder as new; the photo stays where it was looked at."""
    for path in bench.glob("lathe*"):
        shutil.copy(path, tmp_path)
    return tmp_path / "lathe.toml"


@pytest.fixture
def run(capsys):
    return functools.partial(asked, capsys)


# The truth is the renderer's, which shares no code with the grader.
def test_a_photo_tells_shares_with_their_errors_and_writes_nothing(run, bench, lathe):
    picture = lathe.with_name("seen.png")
    code, out, err = run("grade", lathe, "--photo", bench / "strip.jpg", "--picture", picture, "--json")
    record = json.loads(out)
    assert (code, err, record["strip"], record["told"], record["kept"]) == (0, "", "A", 3, [])
    assert [one["step"] for one in record["steps"]] == ["A1", "A2", "A3"]
    for one, true in zip(record["steps"], LEFT.values(), strict=True):
        assert abs(one["fraction_left"] - true) < max(0.05, 2 * one["fraction_error"])
        assert sum(one["residue_chances"].values()) == pytest.approx(1)
    assert not lathe.with_suffix(".patches.jsonl").exists()
    with Image.open(picture) as drawn:
        assert drawn.width > 3 * 2 * 300
    text = run("grade", lathe, "--photo", bench / "strip.jpg")[1]
    assert "A1: no effect" in text
    assert "still covered" in text
    assert "Every grade is a proposal" in text


def test_what_is_kept_is_the_log_and_only_once(run, bench, lathe):
    eye = ("--eye", "A1=no effect, none", "--eye", "A2=nearly, none", "--eye", "A3=clean, none")
    code, out, _ = run("grade", lathe, "--photo", bench / "strip.jpg", "--keep", *eye, "--grader", "Ada", "--json")
    record = json.loads(out)
    assert (code, record["kept"], record["left"]) == (0, ["A1", "A2", "A3"], [])
    graded, complaints = read_log(lathe.with_suffix(".patches.jsonl"))
    assert complaints == []
    assert [(one.residue, one.harm, one.grader) for one in graded] == [
        ("no effect", "none", "Ada"), ("nearly", "none", "Ada"), ("clean", "none", "Ada"),
    ]  # fmt: skip
    # A share goes with the grade the photo gave it, and with its own error; A2's grade was put right by eye.
    assert graded[1].fraction_left is None
    for i in (0, 2):
        for name in ("fraction_left", "fraction_error"):
            assert getattr(graded[i], name) == pytest.approx(record["steps"][i][name], abs=1e-4), (i, name)
    assert record["chance"] != record["chance_before"]
    code, out, _ = run("grade", lathe, "--photo", bench / "strip.jpg", "--keep", *eye, "--json")
    assert (code, json.loads(out)["kept"]) == (1, [])
    assert {one["because"] for one in json.loads(out)["left"]} == {"It is graded already."}
    assert len(read_log(lathe.with_suffix(".patches.jsonl"))[0]) == 3


def test_a_strip_ends_at_its_first_harm_and_what_nobody_saw_is_not_kept(run, bench, lathe):
    eye = ("--eye", "A1=not laid", "--eye", "A2=partial, marked")
    code, out, _ = run("grade", lathe, "--photo", bench / "strip.jpg", "--keep", *eye, "--json")
    record = json.loads(out)
    assert (code, record["kept"]) == (0, ["A2"])
    assert {one["step"]: one["because"] for one in record["left"]} == {
        "A1": "It was not laid.", "A3": "The strip ended at A2, which did harm.",
    }  # fmt: skip
    (laid,) = read_strips(strips_path(lathe))
    assert (laid.harmed, dict(laid.graded)) == ("A2", {"A2": ("partial", "marked")})


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (("--photo", "strip.jpg", "--residue", "clean"), "--residue"),
        (("--photo", "strip.jpg", "--power", "5 W"), "--power"),
        (("--strip", "A"), "--strip"),
        (("--keep",), "--keep"),
        (("--photo", "strip.jpg", "--strip", "B"), "--strip"),
        (("--photo", "strip.jpg", "--keep", "--eye", "A9=clean, none"), "--eye"),
        (("--photo", "strip.jpg", "--keep", "--eye", "A1=shiny"), "--eye"),
        (("--photo", "strip.jpg", "--eye", "A1=clean, none"), "--eye"),
        (("--photo", "no such.jpg"), "--photo"),
        (("--photo", "empty.jpg"), "--photo"),
        (("--photo", "text.jpg"), "--photo"),
        (("--photo", "plain.jpg"), "--photo"),
        (5 * ("--photo", "strip.jpg"), "--photo"),
    ],
)
def test_what_cannot_be_used_is_one_sentence(run, bench, lathe, monkeypatch, words, field):
    monkeypatch.chdir(lathe.parent)
    shutil.copy(bench / "strip.jpg", "strip.jpg")
    Path("empty.jpg").write_bytes(b"")
    Path("text.jpg").write_text("no picture")
    Path("plain.jpg").write_bytes(shot((800, 600)))
    code, out, err = run("grade", lathe, *words)
    assert (code, out) == (2, "")
    assert field in err
    assert err.count("\n") == 1
    assert not lathe.with_suffix(".patches.jsonl").exists()


def test_without_a_strip_it_says_how_to_lay_one_out(run, bench, tmp_path):
    (tmp_path / "new.toml").write_text(JOB, encoding="utf-8")
    code, _, err = run("grade", tmp_path / "new.toml", "--photo", bench / "strip.jpg")
    assert code == 2
    assert "--sheet" in err
    code, _, err = run("patch", "--coating", "varnish", "--substrate", "oak", "--sheet", tmp_path / "a.pdf")
    assert (code, "--sheet" in err) == (2, True)


def test_a_torn_line_costs_no_strip(lathe):
    path = strips_path(lathe)
    with path.open("ab") as file:
        file.write(b'{"strip": "B", "ste')
    assert [one.name for one in read_strips(path)] == ["A"]
