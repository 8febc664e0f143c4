"""What the page of threats promises has a test of that name, in that file."""

import re
from pathlib import Path

import pytest

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
