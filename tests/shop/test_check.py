"""The check of a shop: silent on a whole one, and each way to be broken is told."""

import contextlib
import datetime
import json
import sqlite3

import pytest
from made_drive import on_a_drive
from made_whole import STOOL, whole_shop

from proofpatch import InputError
from proofpatch.shop.check import check
from proofpatch.shop.database import FILE, PHOTOS
from proofpatch.shop.refers import REFERENCES
from proofpatch.shop.scans import add_scan, scan_path
from proofpatch.shop.store import Overtaken, Store
from proofpatch.shop.tables import Base
from proofpatch.shop.versions import revisions


@pytest.fixture
def made(store):
    return whole_shop(store)


def spoil(store, statement, *values):
    """One statement past all care, with nobody looking after what others name."""
    with contextlib.closing(sqlite3.connect(store.folder / FILE)) as raw, raw:
        assert raw.execute(statement, values).rowcount == 1


def said(store, where):
    """The one sentence of a check, which has to be of that part."""
    found = check(store.folder)
    assert [one.where for one in found.troubles] == [where], found.troubles
    assert found.troubles[0].do
    return found.troubles[0].said


def data_of(store, kind, key, **changed):
    spoil(store, "UPDATE thing SET data = ? WHERE id = ?", json.dumps({**store.get(kind, key).data, **changed}), key)
    spoil(store, "UPDATE change SET data = (SELECT data FROM thing WHERE id = ?1) WHERE thing = ?1 AND version = "
          "(SELECT version FROM thing WHERE id = ?1)", key)  # fmt: skip


def test_a_whole_shop_is_told_with_what_it_holds(store, made):
    with pytest.raises(Overtaken):
        store.change("job", made["job"], 1, {"late": True})  # kept aside; that is no gap
    found = check(store.folder)
    assert (found.troubles, found.leftovers, found.schema) == ((), (), revisions()[0])
    assert found.things["job"] == 2
    assert sum(found.things.values()) == 20
    with store.session(reads=True) as session:
        assert found.changes == session.connection().exec_driver_sql("SELECT count(*) FROM change").scalar()
    assert (found.photos, found.size) == (1, (store.folder / PHOTOS).glob("*/*").__next__().stat().st_size)


def test_an_empty_shop_is_whole_and_no_shop_is_said(store, tmp_path):
    assert check(store.folder).whole
    for place in (tmp_path, tmp_path / "nowhere"):
        with pytest.raises(InputError, match="There is no shop"):
            check(place)
    assert not (tmp_path / "nowhere").exists()


def test_it_changes_nothing(store, made):
    store.close()
    before = {path: path.read_bytes() for path in store.folder.rglob("*") if path.is_file()}
    check(store.folder)
    assert {path: path.read_bytes() for path in before} == before


def test_a_shop_that_is_written_meanwhile_is_whole(store, made):
    with store.session() as session:
        session.connection().exec_driver_sql("UPDATE thing SET version = 9")
        assert check(store.folder).whole  # as long as that is not on disk
        session.rollback()


def test_a_damaged_file_is_told_and_so_is_one_that_is_no_database(store, made):
    store.close()
    path = store.folder / FILE
    raw = bytearray(path.read_bytes())
    for start in range(4096, len(raw) - 4096, 8192):
        raw[start + 8 : start + 60] = b"\xff" * 52
    path.write_bytes(raw)
    found = check(store.folder)
    assert "database" in {one.where for one in found.troubles}
    assert "restore" in found.troubles[0].do
    path.write_bytes(b"no database" * 1000)
    assert "not a database" in check(store.folder).troubles[0].said


def test_tables_of_a_newer_program_are_refused_and_none_are_told(store, made):
    spoil(store, "UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(InputError, match="by a newer proofpatch"):
        check(store.folder)
    spoil(store, "DELETE FROM alembic_version")
    assert "tables' version stands nothing" in said(store, "schema")


# Which page of a damaged file holds the version is another in every run; so each way to spoil it is tried by itself.
@pytest.mark.parametrize(
    "cell", ["NULL", "x'ff00'", "CAST(x'30ff' AS TEXT)", "''", "'000'", "'0000'", "'torn'", "'99990'", "5", "'०००५'"]
)
def test_a_damaged_version_is_damage_and_not_a_newer_program(store, made, cell):
    store.close()
    with contextlib.closing(sqlite3.connect(store.folder / FILE)) as raw:
        raw.executescript(
            "PRAGMA foreign_keys=OFF; DROP TABLE alembic_version; CREATE TABLE alembic_version (version_num);"
            f"INSERT INTO alembic_version VALUES ({cell})"
        )
    assert "In the place of the tables' version stands" in said(store, "schema")
    with pytest.raises(InputError, match="version of the shop's tables cannot be read: its database is damaged"):
        Store.open(store.folder)


@pytest.mark.parametrize("cell", ["NULL", "x'ff00'", "CAST(x'30ff' AS TEXT)", "'torn'", "-1"])
def test_a_damaged_cell_anywhere_is_told_or_means_nothing_and_never_ends_the_check(store, made, cell):
    store.close()
    path = store.folder / FILE
    with contextlib.closing(sqlite3.connect(path)) as raw, raw:
        # Without what a column may hold, as a damaged page does not care.
        for table in ("thing", "change", "picture"):
            raw.execute(f"CREATE TABLE bare AS SELECT * FROM {table}")
            raw.execute(f"DROP TABLE {table}")
            raw.execute(f"ALTER TABLE bare RENAME TO {table}")
    whole = path.read_bytes()
    assert check(store.folder).whole
    for table in Base.metadata.sorted_tables:
        if table.name in ("thing", "change", "picture"):
            for column in [one.name for one in table.columns]:
                path.write_bytes(whole)
                with contextlib.closing(sqlite3.connect(path)) as raw, raw:
                    raw.execute(f"UPDATE {table.name} SET {column} = {cell}")
                found = check(store.folder)
                if column in ("id", "kind", "version", "data", "thing", "what", "digest", "number"):
                    assert found.troubles, (table.name, column)


def test_what_stands_out_of_its_order_is_told(store, made):
    spoil(store, "UPDATE thing SET latest = latest + 1 WHERE id = ?", made["note"])
    assert "out of its order" in said(store, "history")


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ('UPDATE thing SET data = \'{"text": "third"}\' WHERE id = ?', "not what its history ends in"),
        ("UPDATE thing SET data = 'torn' WHERE id = ?", "not what its history ends in"),
        ("UPDATE thing SET version = 4 WHERE id = ?", "has a gap"),
        ("DELETE FROM change WHERE thing = ? AND version = 2", "has a gap"),
        ("UPDATE change SET version = 1 WHERE thing = ? AND version = 2", "has a gap"),
        ("UPDATE change SET what = 'changed' WHERE thing = ? AND version = 1", "in sight or out of it"),
        ("UPDATE thing SET deleted = NULL WHERE id = ?", "in sight or out of it"),
        ("UPDATE thing SET kind = 'rune' WHERE id = ?", "kind that is not known"),
    ],
)
def test_a_history_that_does_not_lead_here_is_told(store, made, statement, words):
    spoil(store, statement, made["note"])
    found = check(store.folder).troubles
    assert words in found[0].said
    assert {one.where for one in found} == {"history"}


def test_a_thing_without_any_history_and_a_history_without_a_thing(store, made):
    spoil(store, "DELETE FROM change WHERE thing = ?", made["customer"])
    assert "has a gap in its history before version 1" in said(store, "history")
    spoil(store, "DELETE FROM thing WHERE id = ?", made["customer"])
    assert "names a customer that is not there" in said(store, "reference")
    spoil(store, "INSERT INTO change (thing, version, what, data, at, by) VALUES ('gone', 1, 'made', '{}', ?, '')",
          datetime.datetime.now().isoformat(" "))  # fmt: skip
    assert any("names a thing that is not there" in one.said for one in check(store.folder).troubles)


def test_what_was_signed_and_changed_is_told(store, made):
    with store.session() as session:
        session.connection().exec_driver_sql(
            "INSERT INTO change (thing, version, what, data, at, by) SELECT thing, 2, 'changed', data, at, by "
            "FROM change WHERE thing = ?", (made["acceptance"],),
        )  # fmt: skip
        session.connection().exec_driver_sql("UPDATE thing SET version = 2 WHERE id = ?", (made["acceptance"],))
    assert "was changed after it was sent or signed" in said(store, "history")


NAMED = [
    ("photo", {"digest": "0" * 64}, "photo"), ("seen", {"strip": "none"}, "strip"),
    ("seen", {"photos": [{"digest": "none"}]}, "photo"), ("item", {"customer": "none"}, "customer"),
    ("belief", {"patches": ["none"]}, "patch"), ("recipe", {"patches": ["none"]}, "patch"),
    ("job", {"zones": [{"outlines": [{"photo": "0" * 64}]}]}, "photo"), ("quote", {"pdf": "none"}, "paper"),
    ("quote", {"photo": "none"}, "photo"), ("acceptance", {"quote": "none"}, "quote"),
    ("acceptance", {"pdf": "none"}, "paper"), ("approval", {"patch_id": "none"}, "patch"),
    ("approval", {"photo": "none"}, "photo"), ("approval", {"pdf": "none"}, "paper"),
    ("invoice", {"quote": "none"}, "quote"), ("invoice", {"pdf": "none"}, "paper"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "changed", "what"), NAMED)
def test_what_is_named_and_not_there_is_told(store, made, kind, changed, what):
    data_of(store, kind, made[kind], **changed)
    told = said(store, "reference")
    assert f"names a {what}" in told
    assert told.endswith("that is not there.")
    assert kind == "job" or "of the job 'Oak chest'" in told


@pytest.mark.parametrize(
    ("kind", "data", "what"),
    [
        ("day", {"controls": ["none"]}, "patch"), ("run", {"photos": ["0" * 64]}, "photo"),
        ("pair", {"before": "0" * 64}, "photo"), ("pair", {"after": "0" * 64}, "photo"),
        ("record", {"pdf": "none"}, "paper"), ("record", {"signs": "none"}, "record"),
        ("lent", {"lot": "none"}, "lot"),
    ],
)  # fmt: skip
def test_what_a_day_at_work_names_is_looked_up_too(store, made, kind, data, what):
    store.add(kind, data, made["job"])
    assert f"names a {what}" in said(store, "reference")


def test_every_reference_is_tried():
    tried = {(kind, next(iter(changed))) for kind, changed, _ in NAMED} | {
        ("day", "controls"), ("run", "photos"), ("pair", "before"), ("pair", "after"), ("record", "pdf"),
        ("record", "signs"), ("lent", "lot"),
    }  # fmt: skip
    known = {
        (kind, path.partition("[")[0].partition(".")[0]) for kind, paths in REFERENCES.items() for path, _ in paths
    }
    assert tried == known


def test_a_thing_of_another_job_is_not_taken_for_its_own(store, made):
    spoil(store, "UPDATE thing SET job = ? WHERE id = ?", made["other"], made["strip"])
    found = [one.said for one in check(store.folder).troubles]
    assert any("names a strip that is not there" in one for one in found)
    assert any("grades A1, which no strip of its job has" in one for one in found)
    spoil(store, "UPDATE thing SET job = ? WHERE id = ?", made["note"], made["paper"])
    assert any("belongs to something that is no job" in one.said for one in check(store.folder).troubles)


def test_a_step_that_was_never_laid_and_a_name_of_the_owner(store, made):
    store.add("patch", {}, made["job"], "A3: clean, none")
    assert "grades A3, which no strip" in said(store, "reference")
    job = store.get("job", made["other"])
    store.change("job", job.id, 1, {"zones": [{"outlines": [{"photo": "the lid"}]}]})  # as a job file may call it
    said(store, "reference")


def test_papers_that_are_not_what_was_sent_are_told(store, made):
    data_of(store, "paper", made["paper"], pdf="bm9uZQ==")
    assert "holds no PDF" in said(store, "paper")


def test_a_quote_with_another_sum_is_told(store, made):
    quote = store.get("quote", made["quote"]).data["quote"]
    lines = [{**quote["lines"][0], "net": "1.00"}, *quote["lines"][1:]]
    data_of(store, "quote", made["quote"], quote={**quote, "lines": lines})
    assert "no longer what was sent" in said(store, "paper")


def test_a_signature_under_other_words_is_told(store, made):
    data_of(store, "acceptance", made["acceptance"], fingerprint="0" * 64)
    assert "for another wording" in said(store, "paper")


def photo_file(store):
    (path,) = (store.folder / PHOTOS).glob("*/*")
    return path


def test_a_photo_that_is_gone_or_altered_is_told(store, made):
    path = photo_file(store)
    whole = path.read_bytes()
    path.write_bytes(whole[:-1] + bytes([whole[-1] ^ 1]))
    told = said(store, "photo")
    assert told == f"The file of a photo is not what it was: photos/{made['digest'][:2]}/{made['digest']}.png."
    path.write_bytes(whole[:-1])
    assert "not what it was" in said(store, "photo")
    path.unlink()
    assert "is gone" in said(store, "photo")
    path.mkdir()
    assert "cannot be read" in said(store, "photo")
    path.rmdir()
    path.write_bytes(whole)
    assert check(store.folder).whole


def test_the_file_of_a_scan_is_looked_at_too(store, made):
    one = add_scan(store, STOOL, "stool.stl", made["job"])
    assert check(store.folder).whole
    path = scan_path(store.folder, one.data["digest"], "stl")
    path.write_bytes(STOOL[:-1])
    assert "not what it was" in said(store, "scan")
    path.unlink()
    assert "is gone" in said(store, "scan")


def test_what_a_killed_process_left_is_told_and_harmless(store, made):
    path = photo_file(store)
    path.with_name(".half").write_bytes(b"half")
    path.with_name("0" * 64 + ".jpg").write_bytes(b"of nobody")
    (store.folder / "tls").mkdir()
    (store.folder / "tls" / ".key").write_bytes(b"half")
    found = check(store.folder)
    assert found.whole
    assert [one.partition(":")[0] for one in found.leftovers] == [
        "2 files half written when the shop was cut off", "1 file that nothing names",
    ]  # fmt: skip


# A drive of its own that may not be written, with nothing that the shop's last writer left open.
def test_a_shop_on_a_drive_that_may_not_be_written_is_read(store, made, tmp_path):
    store.close()
    assert not (store.folder / f"{FILE}-wal").exists()
    code = f"from proofpatch.shop.check import check; print(check({str(store.folder)!r}).whole)"
    done = on_a_drive(f"mount --bind -o ro {store.folder} {store.folder}", code)
    assert (done.stdout.strip(), done.returncode) == ("True", 0), done.stderr
