"""What the page of threats promises has a test of that name, in that file; no library is older than its page says."""

import csv
import re
import tomllib
from collections import Counter
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.version import Version

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.parametrize("page", ["threats.md", "fuzz.md"])
def test_every_test_that_is_named_is_there(page):
    text = (ROOT / "docs" / page).read_text("utf-8")
    files = ROOT.glob("tests/**/*.py")
    written = {path.relative_to(ROOT / "tests").as_posix(): path.read_text("utf-8") for path in files}
    named = re.findall(r"`(?:tests/)?([\w/]+\.py)`", text)
    assert named
    for name in named:
        assert name.startswith("benchmarks/fuzz") or name in written, name
    for line in text.splitlines():
        # Tests stand before the file they are in; without one they are of the walk through every address.
        for names, file in re.findall(r"((?:`test_\w+`(?:, )?)+)(?: \(`([\w/]+\.py)`\))?", line):
            for name in re.findall(r"test_\w+", names):
                assert f"def {name}(" in written[file or "web/test_guarded.py"], name


def test_no_library_is_older_than_what_mends_its_holes():
    # The mended versions are the advisories' own, each named in its row.
    page = (ROOT / "docs" / "libraries.md").read_text("utf-8")
    pins: dict[str, set[str]] = {}
    for name, version in re.findall(
        r"^([\w.-]+)(?:\[\w+\])?==(\S+)", (ROOT / "requirements.txt").read_text("utf-8"), re.M
    ):
        pins.setdefault(name, set()).add(version)
    rows = re.findall(r"^\| ([\w-]+) \| ([\w.]+) \| ([\w.]+) \| (?:CVE-|six)", page, re.M)
    assert len(rows) == page.count("\n| ") - 1, "a row that is not read"
    lines = (ROOT / "docs" / "libraries-read.csv").read_text("utf-8").splitlines()
    assert lines[1:] == sorted(set(lines[1:]))
    read = [(one["library"], one["ours"], one["mended in"]) for one in csv.DictReader(lines)]
    for name, ours, mended in rows + read:
        assert pins[name] == {ours}, name
        assert Version(ours) >= Version(mended), name
    holes = {re.sub(r"PYSEC-\S+ ", "", line) for line in lines[1:]}
    words = " ".join(page.split())
    assert f"The other {len(read)} are of" in words
    assert f"They are {len(holes)} holes" in words
    for name, count in Counter(name for name, _, _ in read).items():
        highest = max((mended for one, _, mended in read if one == name), key=Version)
        assert re.search(rf"{name} {re.escape(highest)} \({count}\b", words), name
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    mends = {name: mended for name, _, mended in rows}
    extras = project["optional-dependencies"].values()
    wanted = [Requirement(one) for some in (project["dependencies"], *extras) for one in some]
    assert {one.name for one in wanted} & set(mends)
    for one in wanted:
        least = next(bound.version for bound in one.specifier if bound.operator == ">=")
        assert Version(least) >= Version(mends.get(one.name, "0")), one.name
    counted = f"{sum(map(len, pins.values()))} versions of {len(pins)}"
    assert counted in page
