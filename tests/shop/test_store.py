"""The store: what was answered is on disk, nothing is overwritten, everything comes back."""

import concurrent.futures
import contextlib
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from proofpatch import InputError
from proofpatch.shop.database import FILE
from proofpatch.shop.people import keep_item
from proofpatch.shop.settings import keep_settings
from proofpatch.shop.store import LARGEST, Overtaken, Store
from proofpatch.shop.tables import KINDS, Base

KILLS = 5
# A child that says each number once the store has answered for it.
WRITER = """
import sys
from proofpatch.shop.store import Store
store = Store.open(sys.argv[1])
for number in range(100000):
    store.add("note", {"number": number}, by="child")
    print(number, flush=True)
"""


def test_what_was_answered_outlives_a_killed_process(tmp_path):
    for turn in range(KILLS):
        place = tmp_path / str(turn)
        Store.open(place).close()
        with subprocess.Popen([sys.executable, "-c", WRITER, str(place)], stdout=subprocess.PIPE, text=True) as child:
            said = [child.stdout.readline() for _ in range(20 + 7 * turn)]
            time.sleep(0.003 * turn)  # into the middle of another write
            os.kill(child.pid, signal.SIGKILL)
            said += child.stdout.readlines()
        answered = {int(line) for line in said if line.endswith("\n")}
        with contextlib.closing(sqlite3.connect(place / FILE)) as raw:
            assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        store = Store.open(place)
        kept = {entry.data["number"] for entry in store.all("note")}
        assert answered <= kept
        assert len(kept - answered) <= 1  # the one under way
        store.close()


def test_each_commit_reaches_the_disk_itself(store):
    with store.engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1


def test_two_devices_never_overwrite_each_other(store):
    first = store.add("job", {"title": "chest"}, by="laptop")
    second = store.change("job", first.id, 1, {"title": "oak chest"}, by="phone")
    with pytest.raises(Overtaken, match=r"by phone meanwhile.*kept beside it") as late:
        store.change("job", first.id, 1, {"title": "pine chest"}, by="laptop")
    assert late.value.now == second
    assert store.get("job", first.id) == second
    kept = store.history("job", first.id)
    assert [(past.what, past.version, past.data["title"], past.by) for past in kept] == [
        ("made", 1, "chest", "laptop"), ("changed", 2, "oak chest", "phone"), ("aside", 2, "pine chest", "laptop"),
    ]  # fmt: skip
    assert kept[-1].number == late.value.aside
    with pytest.raises(Overtaken):
        store.delete("job", first.id, 1)


def test_of_many_at_once_one_wins_and_all_are_kept(store):
    entry = store.add("job", {"by": None})
    start = threading.Barrier(8)

    def change(number):
        start.wait()
        try:
            return store.change("job", entry.id, 1, {"by": number}).data["by"]
        except Overtaken:
            return None

    with concurrent.futures.ThreadPoolExecutor(8) as pool:
        won = [one for one in pool.map(change, range(8)) if one is not None]
    assert len(won) == 1
    assert store.get("job", entry.id).data == {"by": won[0]}
    assert {past.data["by"] for past in store.history("job", entry.id)} == {None, *range(8)}


def test_two_processes_may_open_a_new_store_at_once(tmp_path):
    code = "import sys; from proofpatch.shop.store import Store; Store.open(sys.argv[1]).add('note', {})"
    both = [subprocess.Popen([sys.executable, "-c", code, str(tmp_path / "shop")]) for _ in range(2)]
    assert [one.wait() for one in both] == [0, 0]
    assert len(Store.open(tmp_path / "shop").all("note")) == 2


def test_readers_do_not_wait_for_a_writer(store):
    store.add("note", {"a": 1})
    with store.session() as session:
        session.execute(sa.text("UPDATE thing SET title = 'under way'"))
        # Who waited for this writer would wait in vain: it ends after this line.
        assert [one.title for one in store.all("note")] == [""]


def test_deleting_and_changing_can_be_undone(store):
    entry = store.add("note", {"text": "first"})
    gone = store.delete("note", entry.id, 1, by="laptop")
    assert store.all("note") == []
    assert [one.id for one in store.all("note", deleted=True)] == [entry.id]
    back = store.restore("note", entry.id, gone.version)
    assert (back.deleted, back.data) == (None, {"text": "first"})
    changed = store.change("note", entry.id, back.version, {"text": "second"})
    undone = store.undo("note", entry.id, changed.version)
    assert undone.data == {"text": "first"}
    assert store.undo("note", entry.id, undone.version).data == {"text": "second"}
    fresh = store.add("note", {})
    with pytest.raises(InputError, match="nothing to undo"):
        store.undo("note", fresh.id, 1)
    assert [past.what for past in store.history("note", entry.id)] == [
        "made", "deleted", "restored", "changed", "changed", "changed",
    ]  # fmt: skip


def test_things_belong_to_a_job_and_are_found_by_words(store):
    job = store.add("job", {}, title="Oak chest 100%, Farmer's")
    other = store.add("job", {}, title="Iron gate")
    patch = store.add("patch", {"power": 50}, job=job.id)
    assert store.all("patch", job=job.id) == [patch]
    assert store.all("patch", job=other.id) == []
    assert [one.id for one in store.all("job", words="farm CHEST")] == [job.id]
    assert [one.id for one in store.all("job", words="0%")] == [job.id]
    assert store.all("job", words="_") == []
    with pytest.raises(InputError, match="no job 'none'"):
        store.add("patch", {}, job="none")
    with pytest.raises(InputError, match="no patch"):
        store.get("patch", job.id)


def test_names_and_single_words_are_had_without_the_rest(store):
    job = store.add("job", {}, title="Chest").id
    first = store.add("quote", {"quote": {"number": "Q-1"}, "day": "2026-03-02"}, job, "sent 1")
    second = store.add("quote", {"quote": {}, "day": None}, job, "sent 2")
    assert store.names("quote") == [(second.id, job, "sent 2"), (first.id, job, "sent 1")]
    assert store.names("quote", "SENT 1", most=1) == [(first.id, job, "sent 1")]
    store.add("quote", {"quote": {"number": "Q-2"}, "day": "", "notes": ["a\0b", "c\\u0000\\"]}, job, "sent 3")
    assert sorted(store.told("quote", "quote.number", "day"), key=repr) == [
        (job, "Q-1", "2026-03-02"), (job, "Q-2", ""), (job, None, None),
    ]  # fmt: skip


def test_every_kind_is_kept_as_it_was_given(store):
    data = {"text": "0.1 µm ≥ 2′; drop table thing", "number": 0.1, "none": None, "many": [1, {"a": [True]}]}
    for kind in KINDS:
        entry = store.add(kind, data, title="  a\nb\x00 ", by="x" * 500)
        assert store.get(kind, entry.id).data == data
        assert (entry.title, len(entry.by)) == ("a b", 80)


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        ("jobs", {}), ("note", []), ("note", {"x": float("nan")}), ("note", {"x": object()}),
        ("note", {"x": "\ud800"}), ("note", {"x": "y" * LARGEST}),
    ],
)  # fmt: skip
def test_what_cannot_be_kept_is_refused_whole(store, kind, data):
    with pytest.raises(InputError):
        store.add(kind, data)
    assert store.all("note") == []


def test_a_newer_or_broken_database_is_left_alone(tmp_path):
    store = Store.open(tmp_path)
    store.add("note", {"kept": True})
    store.close()
    with contextlib.closing(sqlite3.connect(tmp_path / FILE)) as raw, raw:
        raw.execute("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(InputError, match="newer proofpatch"):
        Store.open(tmp_path)
    with contextlib.closing(sqlite3.connect(tmp_path / FILE)) as raw:
        assert raw.execute("SELECT count(*) FROM thing").fetchone() == (1,)
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / FILE).write_bytes(b"no database" * 1000)
    with pytest.raises(InputError, match="cannot be used"):
        Store.open(tmp_path / "other")
    assert (tmp_path / "other" / FILE).read_bytes().startswith(b"no database")


def test_a_folder_that_is_a_file_is_named(tmp_path):
    (tmp_path / "shop").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be written"):
        Store.open(tmp_path / "shop")


def same_as_tables(store):
    """The migrations make what the tables say."""
    with store.engine.connect() as connection:
        return compare_metadata(MigrationContext.configure(connection), Base.metadata)


def test_migrations_make_the_tables(store):
    assert same_as_tables(store) == []


def test_of_many_who_look_before_they_write_one_is_first(store):
    job, start = store.add("job", {}, title="Chest lid").id, threading.Barrier(8)

    def keep(number):
        start.wait()
        with contextlib.suppress(Overtaken):
            keep_item(store, job, 0, "Mrs A. Fenwick", "", f"wish {number}")
        with contextlib.suppress(Overtaken):
            keep_settings(store, {"units": "us"}, 0)

    with concurrent.futures.ThreadPoolExecutor(8) as pool:
        list(pool.map(keep, range(8)))
    assert [store.count(kind) for kind in ("item", "customer", "shop")] == [1, 1, 1]


def test_the_same_code_and_migrations_run_on_postgresql(there):
    assert there.engine.dialect.name == "postgresql"
    assert same_as_tables(there) == []
    job = there.add("job", {"share": 0.1, "text": "µm"}, title="Oak chest", by="laptop")
    test_of_many_at_once_one_wins_and_all_are_kept(there)
    test_of_many_who_look_before_they_write_one_is_first(there)
    changed = there.change("job", job.id, 1, {"share": 0.2})
    with pytest.raises(Overtaken):
        there.change("job", job.id, 1, {"share": 0.3})
    assert there.undo("job", job.id, changed.version).data == {"share": 0.1, "text": "µm"}
    assert [one.id for one in there.all("job", words="oak")] == [job.id]
    assert there.get("job", job.id).created.utcoffset().total_seconds() == 0
    there.close()
    again = Store.open(there.folder)  # nothing left to migrate
    assert again.get("job", job.id).title == "Oak chest"
    again.close()


@pytest.fixture(params=["file", "server"])
def either(request):
    """A shop in SQLite, and one in PostgreSQL."""
    return request.getfixturevalue("store" if request.param == "file" else "there")


# Pairs of letters from the Unicode Character Database (UnicodeData.txt, simple lowercase mapping; from memory).
def test_a_search_finds_the_same_in_both_databases(either):
    for title in ("ÄPFELSCHRANK, Óscar", "Ящик ДУБОВЫЙ", "ΘΥΡΑ 100%", "plain_chest"):
        either.add("job", {}, title=title)
    for words, found in (
        ("äpfel ÓSCAR", 1), ("ящик дубовый", 1), ("θυρα", 1), ("0%", 1), ("PLAIN_", 1), ("%", 1), ("_", 1),
        ("apfel", 0), ("nain\0", 0), ("PLAIN\0chest", 1),
    ):  # fmt: skip
        assert len(either.all("job", words=words)) == found, words
        assert either.count("job", words) == len(either.names("job", words)) == found, words
    with pytest.raises(InputError, match="There is no job"):
        either.get("job", "\0")


def test_lists_and_single_words_are_the_same_in_both_databases(either):
    test_names_and_single_words_are_had_without_the_rest(either)
    test_things_belong_to_a_job_and_are_found_by_words(either)
    test_deleting_and_changing_can_be_undone(either)
    test_every_kind_is_kept_as_it_was_given(either)
