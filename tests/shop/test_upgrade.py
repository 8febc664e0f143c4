"""A shop of every earlier version opens in this one with all it held; killed at any moment it is the old or the new."""

import contextlib
import sqlite3
import subprocess
import sys

import pytest
from fastapi.testclient import TestClient
from upgraded import NAMES, OLD, killed, old_shop, rows_of, troubles_after

from proofpatch import InputError
from proofpatch.cli import main
from proofpatch.shop.backup import back_up, backups_in, restore
from proofpatch.shop.check import check
from proofpatch.shop.database import FILE
from proofpatch.shop.store import Store
from proofpatch.shop.versions import revisions
from proofpatch.web.app import create

NEWEST = revisions()[0]
KILLS = 16


def version_of(place):
    with contextlib.closing(sqlite3.connect(place / FILE)) as base:
        return base.execute("SELECT version_num FROM alembic_version").fetchone()[0]


def test_every_version_of_the_tables_has_a_shop_that_was_written_by_it():
    assert {name[:4] for name in NAMES} == set(revisions()[1:])
    for name in NAMES:
        assert f"VALUES('{name[:4]}')" in OLD.joinpath(name, "shop.sql").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", NAMES)
def test_a_shop_of_every_version_keeps_all_it_held(name, tmp_path):
    place = old_shop(name, tmp_path / "shop")
    before = rows_of(place)
    assert before["thing"]
    assert check(place).whole  # as it is, still of its own version
    store = Store.open(place)
    after = rows_of(place)
    assert {table: after[table] for table in before} == before
    assert all(not after[table] for table in set(after) - set(before))
    found = check(place)
    assert (found.schema, found.troubles, found.leftovers) == (NEWEST, (), ())
    # In the order of their changes: as they came, and what was changed last comes first.
    assert [one.data["text"] for one in store.in_order("note")][:3] == ["note 0", "note 1", "note 2"]
    back = next(one for one in store.all("note") if one.version == 3)
    assert back.latest > max(one.latest for one in store.all("note") if one.data["text"].startswith("note "))
    job = next(one for one in store.all("job") if one.title.startswith("Skillet, large"))
    assert [past.what for past in store.history("job", job.id)] == ["made", "changed", "aside", "changed"]
    # The pages open, and it can be written.
    with TestClient(create(store, patience=None), base_url="http://127.0.0.1") as web:
        for path in ("/", f"/jobs/{job.id}/survey", f"/jobs/{job.id}/piece", "/shop"):
            assert web.get(path).status_code == 200, path
    store.change("job", job.id, job.version, dict(job.data), "Skillet, again")
    assert store.all("job")[0].title == "Skillet, again"
    store.close()
    assert check(place).whole


@pytest.mark.parametrize("name", ["0001", "0003"])
def test_the_shop_as_it_was_is_kept_and_can_be_brought_back(name, tmp_path):
    place = old_shop(name, tmp_path / "shop")
    before = rows_of(place)
    Store.open(place).close()
    (copy,) = backups_in(place)
    assert version_of(place) == NEWEST
    restore(copy.path, tmp_path / "again")
    assert (version_of(tmp_path / "again"), rows_of(tmp_path / "again")) == (name[:4], before)
    Store.open(place).close()
    assert backups_in(place) == [copy]  # one for an upgrade, none for an opening


# All moments of all shops: benchmarks/upgraded.py.
def test_an_upgrade_that_is_killed_leaves_the_old_shop_or_the_new_one(tmp_path):
    places = [old_shop("0002", tmp_path / str(number)) for number in range(KILLS)]
    before = rows_of(places[0])
    assert killed(old_shop("0002", tmp_path / "whole"), places) > 30
    ends = [troubles_after(place, before) for place in places]
    assert [one for _, said in ends for one in said] == []
    schemas = [schema for schema, _ in ends]
    assert (set(schemas), schemas) == ({"0002", NEWEST}, sorted(schemas))


def test_two_that_open_an_old_shop_at_once_upgrade_it_once(tmp_path):
    place = old_shop("0001", tmp_path / "shop")
    code = "import sys; from proofpatch.shop.store import Store; Store.open(sys.argv[1]).add('note', {})"
    both = [subprocess.Popen([sys.executable, "-c", code, str(place)]) for _ in range(2)]
    assert [one.wait() for one in both] == [0, 0]
    assert (len(backups_in(place)), check(place).whole) == (1, True)


def test_a_shop_that_an_older_program_has_open_is_not_upgraded_under_it(tmp_path, monkeypatch):
    monkeypatch.setattr("proofpatch.shop.upgrade.TRIES", 1)
    place = old_shop("0003", tmp_path / "shop")
    with contextlib.closing(sqlite3.connect(place / FILE)) as older:
        older.execute("SELECT count(*) FROM thing").fetchone()
        with pytest.raises(InputError, match="open in an older proofpatch"):
            Store.open(place)
        assert version_of(place) == "0003"
    Store.open(place).close()
    assert version_of(place) == NEWEST


def newer(place):
    """The same shop as a program to come leaves it, with a table that this one does not know."""
    with contextlib.closing(sqlite3.connect(place / FILE)) as base, base:
        base.execute("UPDATE alembic_version SET version_num = '9999'")
        base.execute("ALTER TABLE thing RENAME COLUMN title TO name")
    return place


def test_a_shop_of_a_newer_program_is_refused_in_one_sentence_everywhere(tmp_path, capsys, monkeypatch):
    Store.open(tmp_path / "shop").close()
    back_up(tmp_path / "shop", tmp_path / "usb")
    place = newer(tmp_path / "shop")
    made = next((tmp_path / "usb").glob("*.sqlite3"))
    with contextlib.closing(sqlite3.connect(made)) as base, base:
        base.execute("UPDATE alembic_version SET version_num = '9999'")
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    packed = tmp_path / "job.zip"
    packed.write_bytes(b"")
    files = [*place.glob("*.sqlite3"), made]
    kept = [path.read_bytes() for path in files]
    for words in (
        ["serve", "--folder", place, "--port", "8799"], ["check", place], ["backup", place, "--to", tmp_path / "usb"],
        ["restore", tmp_path / "usb", "--folder", tmp_path / "again"], ["memory", place],
        ["pack", "chest", tmp_path / "chest.zip", "--folder", place], ["unpack", packed, "--folder", place],
        ["passphrase", "--folder", place],
    ):  # fmt: skip
        with pytest.raises(SystemExit) as ended:
            main(list(map(str, words)))
        out = capsys.readouterr()
        assert (ended.value.code, out.out) == (2, ""), words
        assert "written by a newer proofpatch. Update this one; nothing was changed." in " ".join(out.err.split()), (
            words
        )
        assert len(out.err.strip().splitlines()) <= 2, out.err
    assert not (tmp_path / "again").exists()
    assert kept == [path.read_bytes() for path in files]
