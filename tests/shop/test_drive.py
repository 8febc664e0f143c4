"""A drive that is full or closed while the shop is written: told in a sentence, and what was kept stays."""

import pytest
from made_drive import on_a_drive

from proofpatch.shop.check import check
from proofpatch.shop.store import Store

# Notes and photos of 200 kB until the drive takes no more: each refusal is an InputError, and what was answered stands.
FILL = """
import io, sys
import numpy as np
from PIL import Image
from proofpatch import InputError
from proofpatch.shop.check import check
from proofpatch.shop.photos import add_photo
from proofpatch.shop.store import Store

store = Store.open(sys.argv[1])
kept, told = [], {}
rng = np.random.default_rng(1)
for number in range(60):
    out = io.BytesIO()
    Image.fromarray(rng.integers(0, 255, (256, 256, 3), dtype=np.uint8)).save(out, "PNG")
    for kind, write in (("photo", lambda: add_photo(store, out.getvalue())),
                        ("note", lambda: store.add("note", {"text": "x" * 50_000}))):
        try:
            kept.append((kind, write().id))
        except InputError as error:
            told[kind] = str(error)
store.close()
store = Store.open(sys.argv[1])
assert all(store.get(kind, key) for kind, key in kept)
found = check(sys.argv[1])
print(len(kept), found.whole, len(found.leftovers))
print(told["photo"])
print(told["note"])
"""


def test_a_drive_that_runs_full_costs_nothing_that_was_answered(tmp_path):
    done = on_a_drive(f"mount -t tmpfs -o size=4m none {tmp_path}", FILL, tmp_path / "shop")
    assert done.returncode == 0, done.stderr
    count, photo, note = done.stdout.splitlines()
    many, whole, left = count.split()
    assert (int(many) > 10, whole, int(left) <= 1) == (True, "True", True)
    assert photo == ("The photo cannot be kept: No space left on device. "
                     "Check the disk and its free space, then send it again.")  # fmt: skip
    assert "The shop's database cannot be used: database or disk is full." in note


@pytest.mark.parametrize("new", [True, False], ids=["a new shop", "one that is there"])
def test_a_folder_that_may_not_be_written_is_told(tmp_path, new):
    shop = tmp_path / "shop"
    if not new:
        Store.open(shop).close()
    mount = f"mount --bind {tmp_path} {tmp_path} && mount -o remount,bind,ro {tmp_path}"
    code = f"from proofpatch.cli import main; main(['passphrase', '--folder', {str(shop)!r}])"
    done = on_a_drive(mount, f"import sys; sys.stdin.isatty = lambda: True\n{code}")
    assert (done.returncode, done.stdout) == (2, ""), done.stderr
    assert "cannot be written: Read-only file system" in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert new or check(shop).whole
