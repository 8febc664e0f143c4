"""The wheel: all that the source tree has and nothing else, the licences with it, and it runs without the tree."""

import email
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
# In a folder of its own, on the wheel's files alone: data, pages with style and type, a paper by typst and its fonts.
RUNS = """
import sys
sys.path.insert(0, sys.argv[1])
import proofpatch as pp
assert pp.__file__.startswith(sys.argv[1]), pp.__file__
from fastapi.testclient import TestClient
from proofpatch.shop.store import Store
from proofpatch.web.app import create
store = Store.open("shop")
with TestClient(create(store, patience=None), base_url="http://127.0.0.1") as client:
    assert "Look at the invented workshop" in client.get("/").text
    assert 'lang="es"' in client.get("/", headers={"accept-language": "es"}).text
    for name in ("style.css", "literata.woff2", "mark.svg", "sw.js"):
        assert client.get("/static/" + name).status_code == 200, name
    # Plastic is refused before any kernel is asked, which a new place would have to compile.
    assert "not for a beam" in client.post("/new", data={"title": "Pipe", "substrate": "plastic"}).text
    assert client.get("/materials/shellac").status_code == 200
store.close()
import datetime
from decimal import Decimal
from proofpatch.documents.quote import quote_pdf
from proofpatch.offer.quote import Line, Party, Quote
day = datetime.date(2026, 3, 2)
line = Line("Both faces", Decimal("790.00"), "3.4 m²")
assert quote_pdf(Quote("Q-1", day, day, Party("Heron & Kiln"), Party("A. Fenwick"), "Oak door", (line,)))[:4] == b"%PDF"
"""


def named(requirement):
    return re.split(r"[<>=; ]", requirement)[0]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """The wheel, and the folder it was unpacked into."""
    place = tmp_path_factory.mktemp("wheel")
    words = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(place)]
    subprocess.run(words, cwd=ROOT, check=True, capture_output=True, timeout=120)
    (built,) = place.glob("*.whl")
    with zipfile.ZipFile(built) as packed:
        packed.extractall(place / "unpacked")
        return packed.namelist(), place / "unpacked"


def test_it_holds_what_the_tree_holds(wheel):
    names, _ = wheel
    here = {
        path.relative_to(ROOT / "src").as_posix()
        for path in (ROOT / "src" / "proofpatch").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert here == {name for name in names if name.startswith("proofpatch/")}
    kinds = {Path(name).suffix for name in here}
    assert {".py", ".html", ".css", ".js", ".woff2", ".png", ".svg", ".typ", ".csv", ".toml", ".po", ".txt"} <= kinds


def test_each_typeface_has_its_licence_beside_it_and_in_the_metadata(wheel):
    names, place = wheel
    (metadata,) = place.glob("*.dist-info/METADATA")
    said = email.message_from_string(metadata.read_text("utf-8"))
    told = said.get_all("License-File")
    assert said["License-Expression"] == "MIT AND OFL-1.1"
    faces = [name for name in names if name.endswith((".woff2", ".ttf", ".otf"))]
    assert faces
    for face in faces:
        text = re.sub(r"\.\w+$", "-LICENSE.txt", face)
        assert "SIL Open Font License, Version 1.1" in (place / text).read_text("utf-8")
        assert f"src/{text}" in told
    assert "LICENSE" in told
    needed = [line for line in said.get_all("Requires-Dist") if "extra" not in line]
    assert sorted(map(named, needed)) == sorted(map(named, PROJECT["dependencies"]))


def test_nothing_a_page_names_is_missing(wheel):
    names, place = wheel
    pages = [place / name for name in names if name.endswith((".html", ".css", ".js", ".webmanifest"))]
    assert len(pages) > 50
    for page in pages:
        said = page.read_text("utf-8")
        for asset in re.findall(r"/static/([\w.-]+\.\w+)", said) + re.findall(r"url\(([\w.-]+)\)", said):
            assert f"proofpatch/web/static/{asset}" in names, (page.name, asset)


def test_it_runs_without_the_tree(wheel, tmp_path):
    _, place = wheel
    away = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    done = subprocess.run(
        [sys.executable, "-c", RUNS, str(place)], cwd=tmp_path, env=away, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr
