"""Small shops as earlier versions of the program wrote them: python tests/shop/old/make.py, in a clone with history.

Each is filled by the code of its own time, taken out of git, and kept beside this file as what SQLite's dump says of it
and the files of its photos. A new version of the tables: add the last commit before it, and run this once.
"""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import sqlite3
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
# name: the last commit with these tables, whose code fills it. The tables' version is the first word.
SHOPS = {"0001": "34b6b96", "0002": "fe78e42", "0002-on-a-branch": "c5c8d19", "0003": "ae50067", "0004": "6960b58"}
# The one with every kind of record. In the others they would be the same again: none changed its form meanwhile.
WHOLE = "0003"
# What every version knows how to do, then what only later ones do; named with a second word, every kind of record.
FILL = """
import contextlib, io, sys
from PIL import Image
from proofpatch.shop.photos import add_photo
from proofpatch.shop.store import Overtaken, Store

def picture(shade):
    out = io.BytesIO()
    Image.new("RGB", (16, 12), (shade, 40, 90)).save(out, "PNG")
    return out.getvalue()

store = Store.open(sys.argv[1])
pan = {"job": {"title": "Skillet", "laser": "pulsed-500"}, "limits": {"preset": "ordinary"},
       "evidence": {"kind": "grease", "substrate": "cast-iron", "year": "2020"}}
job = store.add("job", pan, title="Skillet").id
store.change("job", job, 1, {**pan, "job": {**pan["job"], "title": "Skillet, large"}}, "Skillet, large", by="bench")
with contextlib.suppress(Overtaken):
    store.change("job", job, 1, pan, by="phone")  # too late: kept beside it
store.undo("job", job, 2)
pipe = {"job": {"title": "Pipe, höher", "laser": "pulsed-300", "suspects": ["PVC"]},
        "evidence": {"substrate": "unknown", "kind": "paint"}}
away = store.add("job", pipe, title="Pipe").id
store.delete("job", away, 1)
for number in range(3):
    store.add("note", {"text": f"note {number}"}, job, f"note {number}")
note = store.add("note", {"text": "gone and back"}, job)
store.restore("note", note.id, store.delete("note", note.id, 1).version)
for shade in (20, 200):
    add_photo(store, picture(shade), job, about="the piece")
with contextlib.suppress(ImportError):
    from proofpatch.shop.people import keep_item
    keep_item(store, job, 0, "A. Fenwick", "0555 0199", "as before")
with contextlib.suppress(ImportError):
    from proofpatch.shop.settings import keep_settings
    keep_settings(store, {"name": "Low Weir"}, 0)
with contextlib.suppress(ImportError):
    from proofpatch.shop.door import set_passphrase, sign_in
    set_passphrase(store, "weir barn otter plank")
    sign_in(store, "phone", "192.0.2.7")
if hasattr(store, "stands"):
    with store.together("0d4d9c56-6d3b-4f6c-9f6e-2c1b1d3c5a01"):
        store.add("note", {"text": "sent by a phone"}, job)
if sys.argv[2:]:
    from made_whole import whole_shop
    from proofpatch.demo_shop import pieces, take_in
    (pan,) = [one for one in pieces() if one["job"]["title"].startswith("Skillet")]
    take_in(store, {**pan, "patches": 1})
    whole_shop(store)
store.close()
"""


def make(name: str, commit: str) -> None:
    """One of them, in place of what was there."""
    with tempfile.TemporaryDirectory() as place:
        code, shop = Path(place) / "code", Path(place) / "shop"
        packed = subprocess.run(["git", "archive", commit], capture_output=True, check=True, cwd=HERE.parents[2]).stdout
        with tarfile.open(fileobj=io.BytesIO(packed)) as tar:
            tar.extractall(code, filter="data")
        its_own = {"PYTHONPATH": f"{code / 'src'}{os.pathsep}{code / 'tests' / 'made'}"}
        words = [str(shop), *(["whole"] if name == WHOLE else [])]
        subprocess.run([sys.executable, "-c", FILL, *words], check=True, env=os.environ | its_own)
        shutil.rmtree(HERE / name, ignore_errors=True)
        shutil.copytree(shop / "photos", HERE / name / "photos")
        if (shop / "scans").exists():
            shutil.copytree(shop / "scans", HERE / name / "scans")
        with contextlib.closing(sqlite3.connect(shop / "shop.sqlite3")) as base:
            (HERE / name / "shop.sql").write_text("\n".join(base.iterdump()) + "\n", encoding="utf-8")


if __name__ == "__main__":
    for name, commit in SHOPS.items():
        make(name, commit)
        print(name, sum(path.stat().st_size for path in (HERE / name).rglob("*") if path.is_file()), "bytes")
