"""The shop's folder and its backups: closed to other users, and no name in a database leads out of them."""

import sqlite3
import stat
from contextlib import closing

import pytest
from made_photo import shot

from proofpatch.shop.backup import back_up, backups_in, restore
from proofpatch.shop.check import check
from proofpatch.shop.database import FILE
from proofpatch.shop.photos import add_photo
from proofpatch.shop.store import Store

PLANTED = "../../../outside/planted"


@pytest.fixture
def shop(tmp_path):
    store = Store.open(tmp_path / "deep" / "shop")
    job = store.add("job", {}, title="Gate").id
    add_photo(store, shot(), job)
    store.close()
    return tmp_path / "deep" / "shop"


def test_no_other_user_of_the_machine_looks_into_it(shop, tmp_path):
    back_up(shop, tmp_path / "backups")
    restore(tmp_path / "backups", tmp_path / "again")
    for folder in (shop, tmp_path / "backups", tmp_path / "again"):
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700, folder


@pytest.mark.parametrize(
    ("digest", "kind"), [(PLANTED, "X"), (PLANTED, "JPEG"), ("a" * 64, "../../x"), ("A" * 64, "PNG")]
)
def test_a_database_that_names_a_file_elsewhere_brings_none_along(shop, tmp_path, digest, kind):
    # A drive with backups that somebody borrowed: what is planted beside them is not copied to where they say.
    back_up(shop, tmp_path / "drive" / "backups") if (tmp_path / "drive").mkdir() is None else None
    (one,) = backups_in(tmp_path / "drive" / "backups")
    with closing(sqlite3.connect(one.path)) as base:
        base.execute("UPDATE picture SET digest = ?, kind = ?", (digest, kind))
        base.commit()
    for name in ("planted", "planted.jpg"):
        place = tmp_path / "drive" / "outside" / name
        place.parent.mkdir(exist_ok=True)
        place.write_bytes(b"planted")
    _, checked = restore(tmp_path / "drive" / "backups", tmp_path / "new" / "shop")
    assert [path for path in tmp_path.rglob("planted*") if "drive" not in path.parts] == []
    assert any("by a name that none has" in str(one) for one in checked.troubles)
    assert not check(tmp_path / "new" / "shop").whole
    assert (tmp_path / "new" / "shop" / FILE).exists()
