"""A shop's records in PostgreSQL: moved there, checked, backed up, upgraded and brought back, the same to the digit."""

import contextlib
import datetime
import shutil
import sqlite3
import stat
import subprocess
import sys

import psycopg
import pytest
from made_whole import STOOL, picture, whole_shop

from proofpatch import InputError
from proofpatch.shop.backup import back_up, is_due, restore
from proofpatch.shop.check import check
from proofpatch.shop.copied import counted
from proofpatch.shop.database import FILE, reading, reading_file
from proofpatch.shop.door import set_passphrase, sign_in
from proofpatch.shop.held import HOLDER, held
from proofpatch.shop.move import move
from proofpatch.shop.photos import add_photo
from proofpatch.shop.scans import add_scan
from proofpatch.shop.setting import SETTING, url_from
from proofpatch.shop.store import Store

NOW = datetime.datetime(2026, 3, 2, 9, 0, 0, tzinfo=datetime.UTC)


@pytest.fixture
def full(store):
    """Every table with something in it, letters of other alphabets and long numbers among it; closed."""
    made = whole_shop(store)
    add_scan(store, STOOL, "stool.stl", made["job"])
    store.add(
        "note", {"text": "0.1 µm ≥ 2′ \x00 Ящик", "n": [0.1 + 0.2, 1e-300, 2**60, None, True]}, made["job"], "ŁÓDŹ"
    )
    set_passphrase(store, "four or five unrelated words")
    sign_in(store, "phone", "10.0.0.7")
    with store.together("5f0c4c1e-6a0e-4b6a-9d9a-0d6b8a3f3c11"):
        store.add("note", {"text": "sent"}, made["job"])
    store.close()
    return made


def content(place):
    with reading(place) as connection:
        return counted(connection)


def in_file(path):
    with reading_file(path) as connection:
        return counted(connection)


def test_a_moved_shop_is_the_same_and_goes_on(store, full, postgres):
    place, before = store.folder, content(store.folder)
    assert all(many for many, _ in before.values())
    moved = move(place, postgres, NOW)
    assert moved.rows == {name: many for name, (many, _) in before.items()}
    assert content(place) == before == in_file(moved.kept)
    assert check(place).troubles == check(place).leftovers == ()
    assert [path.name for path in place.glob("*.sqlite3*")] == [moved.kept.name]
    assert stat.S_IMODE((place / SETTING).stat().st_mode) == 0o600
    # Numbers of changes go on, and what is written is in PostgreSQL.
    again = Store.open(place)
    last = max(one.latest for kind in ("job", "note", "photo") for one in again.all(kind))
    assert again.add("note", {"text": "and on"}, full["job"]).made > last
    add_photo(again, picture(7), full["job"])
    again.close()
    assert check(place).whole
    assert in_file(moved.kept) == before


def test_there_and_back_it_is_the_same_to_the_digit(store, full, postgres, tmp_path):
    place, usb, before = store.folder, tmp_path / "usb", content(store.folder)
    move(place, postgres, NOW)
    assert is_due(place, usb, NOW)
    done = back_up(place, usb, now=NOW)
    assert (done.checked.troubles, done.photos) == ((), 2)
    assert not is_due(place, usb, NOW)
    _, found = restore(usb, tmp_path / "again")
    assert found.whole
    assert (tmp_path / "again" / FILE).is_file()
    assert not (tmp_path / "again" / SETTING).exists()
    assert content(tmp_path / "again") == before == content(place)
    # The text of every record is that of the first file, not only what it means.
    rows = []
    for path in (tmp_path / "again" / FILE, next(place.glob("*.sqlite3"))):
        with contextlib.closing(sqlite3.connect(path)) as base:
            rows.append({table: sorted(base.execute(f"SELECT * FROM {table}"), key=repr) for table in before})
    assert rows[0] == rows[1]


def test_what_is_restored_can_be_moved_again_and_the_first_folder_is_not_served_from_there(
    store, full, postgres, databases, tmp_path
):
    move(store.folder, postgres, NOW)
    back_up(store.folder, tmp_path / "usb", now=NOW)
    restore(tmp_path / "usb", tmp_path / "again")
    again, before = tmp_path / "again", content(tmp_path / "again")
    with pytest.raises(InputError, match="are in PostgreSQL already: the database 'shop"):
        move(store.folder, databases())
    move(again, databases())
    assert content(again) == before
    # Were the same records taken over by a third folder, the first would sweep away the photos of the other.
    restore(tmp_path / "usb", tmp_path / "third")
    move(tmp_path / "third", postgres)
    for call in (Store.open, check, content):
        with pytest.raises(
            InputError, match=r"of a shop in another folder, where its photos lie\. .*: folder [0-9a-f]{32}"
        ):
            call(store.folder)
    assert check(tmp_path / "third").whole


def nothing_moved(place, before):
    """The folder is as it was."""
    assert not (place / SETTING).exists()
    assert content(place) == before
    assert list(place.glob("*.sqlite3")) == [place / FILE]


def test_it_is_refused_while_somebody_is_in_the_shop(store, full, postgres, server, monkeypatch):
    monkeypatch.setattr("proofpatch.shop.held.PATIENCE", 0.1)
    place, before = store.folder, content(store.folder)
    with held(place, "http://127.0.0.1:8400/"), pytest.raises(InputError, match=r"open already at http://127"):
        move(place, postgres)
    older = Store.open(place)
    with pytest.raises(InputError, match="open elsewhere, and its records cannot be moved"):
        move(place, postgres)
    older.close()
    nothing_moved(place, before)
    with psycopg.connect(host=server, user="shop", dbname=url_from(postgres).database) as other:
        other.execute(f"SELECT pg_advisory_lock({HOLDER})")
        with pytest.raises(InputError, match="open already, from another folder or another machine"):
            move(place, postgres)
    nothing_moved(place, before)


def test_a_database_that_holds_something_is_refused(store, full, postgres, databases, spoiled, tmp_path):
    place, before = store.folder, content(store.folder)
    spoiled("CREATE TABLE ledger (sum integer)")
    with pytest.raises(InputError, match=r"holds tables of something else\. Name an empty database"):
        move(place, postgres)
    spoiled("ALTER TABLE ledger RENAME TO alembic_version")
    with pytest.raises(InputError, match="holds tables of another version"):
        move(place, postgres)
    other = Store.open(tmp_path / "other")
    other.add("note", {"text": "of another shop"})
    other.close()
    taken = databases()
    move(tmp_path / "other", taken)
    with pytest.raises(InputError, match="holds the records of a shop already"):
        move(place, taken)
    with pytest.raises(InputError, match=r"keeps its text as LATIN1\. Make one with: createdb"):
        move(place, databases("LATIN1"))
    nothing_moved(place, before)
    assert check(tmp_path / "other").things == {"note": 1}


def test_a_broken_shop_is_not_moved(store, full, postgres):
    with contextlib.closing(sqlite3.connect(store.folder / FILE)) as raw, raw:
        raw.execute("DELETE FROM change WHERE thing = ?", (full["patch"],))
    before = content(store.folder)
    with pytest.raises(InputError, match=r"The shop is not whole: The patch .* has a gap"):
        move(store.folder, postgres)
    nothing_moved(store.folder, before)


# Moves the first folder and says how many moments that had; then each of the others, in a fork of its own that is
# killed at one of them.
KILLED = """
import os, signal, sys
import sqlalchemy as sa
from proofpatch.shop.move import move

met, number = 0, 0
def meet(*_):
    global met
    met += 1
    if met == number:
        os.kill(os.getpid(), signal.SIGKILL)
for event in ("before_cursor_execute", "after_cursor_execute", "commit"):
    sa.event.listen(sa.Engine, event, meet)
sys.addaudithook(lambda event, _: meet() if event in ("sqlite3.connect", "os.rename", "os.remove") else None)
folders = sys.argv[1::2]
move(folders[0], sys.argv[2])
many, ends = met, []
for turn, (place, address) in enumerate(zip(folders[1:], sys.argv[4::2])):
    # The last moments are those in which the shop changes hands.
    met, number = 0, many - turn if turn < 6 else 1 + (turn - 6) * many // 4
    child = os.fork()
    if child == 0:
        move(place, address)
        os._exit(0)
    ends.append(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
print(many, set(ends))
"""
KILLS = 9


def test_a_move_that_is_killed_leaves_the_shop_as_it_was_and_can_be_given_again(store, full, databases, tmp_path):
    before, places = content(store.folder), [tmp_path / str(number) for number in range(KILLS + 1)]
    for place in places:
        shutil.copytree(store.folder, place)
    words = [word for place in places for word in (str(place), databases())]
    done = subprocess.run([sys.executable, "-c", KILLED, *words], capture_output=True, text=True, check=True)
    assert done.stdout.split()[1:] == ["{-9}"], done.stdout
    moved = 0
    for place, address in zip(places[1:], words[3::2], strict=True):
        found = check(place)
        assert (found.troubles, content(place)) == ((), before)
        moved += (place / SETTING).exists()
        if not (place / SETTING).exists() or (place / FILE).exists():
            move(place, address)
        assert (check(place).troubles, check(place).leftovers, content(place)) == ((), (), before)
        assert [in_file(path) for path in place.glob("*.sqlite3")] == [before]
    assert 0 < moved < KILLS


SPOILED = [
    ("UPDATE thing SET data = '{\"text\": \"third\"}' WHERE id = '{note}'", "history", "not what its history ends in"),
    ("UPDATE thing SET version = 4 WHERE id = '{note}'", "history", "has a gap"),
    ("UPDATE thing SET latest = latest + 1 WHERE id = '{note}'", "history", "out of its order"),
    ("DELETE FROM thing WHERE id = '{customer}'", "reference", "names a thing that is not there"),
    ("UPDATE thing SET job = 'none' WHERE id = '{strip}'", "reference", "names a thing that is not there"),
    ("UPDATE picture SET digest = 'none'", "photo", "by a name that none has"),
    ("UPDATE picture SET size = size + 1", "photo", "not what it was"),
    ("UPDATE thing SET data = '[]' WHERE id = '{paper}'", "history", "holds is no record"),
    ("UPDATE alembic_version SET version_num = 'torn'", "schema", "version stands 'torn'"),
    ("DROP TABLE change", "database", "cannot be read to its end"),
]  # fmt: skip


def test_what_is_spoiled_in_postgresql_is_found(store, full, postgres, asked, spoiled):
    move(store.folder, postgres)
    name = url_from(postgres).database
    asked(f"CREATE DATABASE {name}_kept TEMPLATE {name}")
    for statement, where, words in SPOILED:
        for key, value in full.items():
            statement = statement.replace(f"{{{key}}}", value)
        spoiled(statement)
        found = check(store.folder).troubles
        assert any(one.where == where and words in one.said for one in found), (statement, found)
        asked(f"DROP DATABASE {name}")
        asked(f"CREATE DATABASE {name} TEMPLATE {name}_kept")
    assert check(store.folder).whole
    spoiled("UPDATE alembic_version SET version_num = '9999'")
    for call in (check, Store.open, lambda place: back_up(place, place.with_name("usb"))):
        with pytest.raises(InputError, match="written by a newer proofpatch"):
            call(store.folder)
