"""Backups of a shop: whole, tried, brought back the same; kept by number; full and closed drives told."""

import datetime
import os
import sqlite3
import threading
from pathlib import Path

import pytest
from made_drive import on_a_drive
from made_whole import STOOL, picture, whole_shop

from proofpatch import InputError
from proofpatch.shop.backup import NAMED, back_up, backups_in, beside, is_due, restore
from proofpatch.shop.check import check
from proofpatch.shop.database import FILE, PHOTOS
from proofpatch.shop.photos import add_photo
from proofpatch.shop.scans import add_scan, scan_path
from proofpatch.shop.store import Store
from proofpatch.shop.tables import KINDS

NOW = datetime.datetime(2026, 3, 2, 9, 0, 0, tzinfo=datetime.UTC)
DAY = datetime.timedelta(days=1)


@pytest.fixture
def made(store):
    return whole_shop(store)


def everything(store):
    """All things with their histories, and every photo's bytes."""
    things = [one for kind in KINDS for gone in (False, True) for one in store.all(kind, deleted=gone)]
    files = {path.name: path.read_bytes() for path in (store.folder / PHOTOS).glob("*/*")}
    return sorted(things, key=lambda one: one.id), {one.id: store.history(one.kind, one.id) for one in things}, files


def files_of(place):
    return sorted(str(path.relative_to(place)) for path in place.rglob("*") if path.is_file())


def test_what_is_brought_back_is_what_was_there(store, made, tmp_path):
    done = back_up(store.folder, tmp_path / "usb")
    assert (done.checked.whole, done.photos, done.gone, done.further) == (True, 1, (), False)
    assert NAMED.fullmatch(done.backup.path.name)
    assert done.backup.after == check(store.folder).changes
    before = everything(store)
    one, found = restore(tmp_path / "usb", tmp_path / "again")
    assert (one, found.whole) == (done.backup, True)
    again = Store.open(tmp_path / "again")
    assert everything(again) == before
    again.add("note", {"text": "and on"}, made["job"])
    again.close()
    assert store.count("note") == 0  # the first shop is a shop of its own
    assert len(files_of(tmp_path / "usb")) == 2  # nothing half is left


def test_a_scan_comes_back_as_it_came(store, made, tmp_path):
    one = add_scan(store, STOOL, "stool.stl", made["job"])
    where = scan_path(Path(), one.data["digest"], "stl")
    done = back_up(store.folder, tmp_path / "usb")
    assert done.checked.whole
    (tmp_path / "usb" / where).write_bytes(b"gone bad")
    store.add("note", {"text": "and on"}, made["job"])
    assert back_up(store.folder, tmp_path / "usb").checked.whole
    assert restore(tmp_path / "usb", tmp_path / "again")[1].whole
    assert (tmp_path / "again" / where).read_bytes() == STOOL


def test_a_day_s_backup_writes_only_what_is_new(store, made, tmp_path):
    usb = tmp_path / "usb"
    back_up(store.folder, usb, now=NOW)
    photo = next((usb / PHOTOS).glob("*/*"))
    stamp = photo.stat().st_mtime_ns
    add_photo(store, picture(2), made["job"])
    second = back_up(store.folder, usb, now=NOW + DAY)
    assert (second.photos, second.checked.photos, photo.stat().st_mtime_ns) == (1, 2, stamp)
    assert [one.at for one in backups_in(usb)] == [NOW + DAY, NOW]
    # Each of them can be had, the older without what came later.
    _, older = restore(backups_in(usb)[1].path, tmp_path / "older")
    assert (older.whole, older.photos) == (True, 1)


def test_a_shop_is_backed_up_while_it_is_written(store, made, tmp_path):
    stop, written = threading.Event(), []

    def write():
        while not stop.is_set():
            written.append(add_photo(store, picture(100 + len(written)), made["job"], title=f"{len(written)}").title)

    hand = threading.Thread(target=write)
    hand.start()
    try:
        done = [back_up(store.folder, tmp_path / "usb", now=NOW + n * DAY) for n in range(3)]
    finally:
        stop.set()
        hand.join()
    assert all(one.checked.whole for one in done)
    assert done[0].checked.photos < done[2].checked.photos <= 1 + len(written)


def test_so_many_are_kept_and_never_the_last_whole_one_taken(store, made, tmp_path):
    usb = tmp_path / "usb"
    for day in range(4):
        store.add("note", {"day": day})
        done = back_up(store.folder, usb, keep=2, now=NOW + day * DAY)
    assert [one.at for one in backups_in(usb)] == [NOW + 3 * DAY, NOW + 2 * DAY]
    assert len(done.gone) == 1
    (path,) = (store.folder / PHOTOS).glob("*/*")
    path.write_bytes(b"gone bad")
    (usb / PHOTOS / path.parent.name / path.name).unlink()
    bad = back_up(store.folder, usb, keep=2, now=NOW + 4 * DAY)
    assert ([one.where for one in bad.checked.troubles], bad.gone) == (["photo"], ())
    assert len(backups_in(usb)) == 3


def test_a_clock_that_jumps_back_costs_no_backup(store, made, tmp_path):
    usb = tmp_path / "usb"
    for years in (0, -3, -6):
        store.add("note", {"years": years})
        done = back_up(store.folder, usb, keep=2, now=NOW + 365 * years * DAY)
        assert backups_in(usb)[0] == done.backup  # by what is in it, not by its date
    assert [one.at.year for one in backups_in(usb)] == [2020, 2023]
    assert restore(usb, tmp_path / "again")[0] == done.backup


def test_beside_backups_that_are_further_on_nothing_is_taken_away(store, made, tmp_path):
    usb = tmp_path / "usb"
    first = back_up(store.folder, usb, now=NOW)
    for _ in range(5):
        store.add("note", {})
    back_up(store.folder, usb, now=NOW + DAY)
    restore(first.backup.path, tmp_path / "older")
    older = Store.open(tmp_path / "older")
    older.add("note", {})
    older.close()
    done = back_up(tmp_path / "older", usb, keep=1, now=NOW + 2 * DAY)
    assert (done.further, done.gone, len(backups_in(usb))) == (True, (), 3)


def test_one_is_due_when_something_was_written_and_a_day_has_passed(store, tmp_path):
    usb = tmp_path / "usb"
    assert not is_due(store.folder, usb, NOW)  # an empty shop
    store.add("note", {})
    assert is_due(store.folder, usb, NOW)
    back_up(store.folder, usb, now=NOW)
    assert not is_due(store.folder, usb, NOW + 3 * DAY)  # nothing was written since: older ones are not pushed out
    store.add("note", {})
    assert not is_due(store.folder, usb, NOW + DAY / 2)
    assert is_due(store.folder, usb, NOW + DAY)
    assert is_due(store.folder, usb, NOW - DAY)  # a clock that was put back does not stop them


def test_what_went_bad_in_the_backup_is_copied_anew(store, made, tmp_path):
    usb = tmp_path / "usb"
    back_up(store.folder, usb, now=NOW)
    path = next((usb / PHOTOS).glob("*/*"))
    whole = path.read_bytes()
    path.write_bytes(whole[:-1] + bytes([whole[-1] ^ 1]))
    assert back_up(store.folder, usb, now=NOW + DAY).checked.whole
    assert path.read_bytes() == whole


def test_a_shop_that_is_there_is_never_restored_over(store, made, tmp_path):
    back_up(store.folder, tmp_path / "usb")
    before = everything(store)
    with pytest.raises(InputError, match="There is a shop in the folder"):
        restore(tmp_path / "usb", store.folder)
    (tmp_path / "taxes").mkdir()
    (tmp_path / "taxes" / "2025.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="is not empty"):
        restore(tmp_path / "usb", tmp_path / "taxes")
    assert everything(store) == before
    assert files_of(tmp_path / "taxes") == ["2025.txt"]
    (tmp_path / "empty").mkdir()
    assert restore(tmp_path / "usb", tmp_path / "empty")[1].whole


def test_no_backup_no_shop_and_a_place_inside_the_shop_are_said(store, tmp_path):
    for place in (tmp_path, tmp_path / "nowhere", tmp_path / "nowhere.sqlite3"):
        with pytest.raises(InputError, match="There is no backup"):
            restore(place, tmp_path / "again")
    with pytest.raises(InputError, match="There is no shop"):
        back_up(tmp_path / "nowhere", tmp_path / "usb")
    assert not (tmp_path / "usb").exists()
    with pytest.raises(InputError, match="inside the shop"):
        back_up(store.folder, store.folder / PHOTOS)
    with pytest.raises(InputError, match=r"No such file or directory\. .* Is its drive plugged in\?"):
        back_up(store.folder, tmp_path / "drive" / "usb")
    assert not (tmp_path / "drive").exists()
    assert beside(store.folder) == tmp_path / "shop-backups"


def test_a_broken_shop_is_not_backed_up_as_a_whole_one(store, made, tmp_path):
    usb = tmp_path / "usb"
    back_up(store.folder, usb, now=NOW)
    store.close()
    with sqlite3.connect(store.folder / FILE) as raw:
        raw.execute("DELETE FROM change WHERE thing = ?", (made["note"],))
    raw.close()
    done = back_up(store.folder, usb, keep=1, now=NOW + DAY)
    assert [one.where for one in done.checked.troubles] == ["history"]
    assert (done.gone, len(backups_in(usb))) == ((), 2)
    (store.folder / FILE).write_bytes(b"no database" * 1000)
    with pytest.raises(InputError, match="cannot be"):
        back_up(store.folder, usb, now=NOW + 2 * DAY)
    assert len(backups_in(usb)) == 2


def test_what_a_killed_backup_left_is_taken_away_after_a_day(store, made, tmp_path):
    usb = tmp_path / "usb"
    back_up(store.folder, usb, now=NOW)
    old, new = usb / ".half-1", usb / PHOTOS / "00" / ".half-2"
    new.parent.mkdir()
    for path in (old, new):
        path.write_bytes(b"half")
    os.utime(old, (0, 0))
    assert len(backups_in(usb)) == 1
    back_up(store.folder, usb, now=NOW + DAY)
    assert (old.exists(), new.exists()) == (False, True)


COPY = """
import sys
from proofpatch.cli import main
main(sys.argv[1:])
"""


@pytest.mark.parametrize(
    ("size", "words"),
    [("64k", "is full. The backup was not made; earlier ones stay."), ("ro", "cannot be written.")],
)
def test_a_full_drive_and_a_closed_one_are_told_in_a_sentence(store, made, tmp_path, size, words):
    store.close()
    usb, shop = tmp_path / "usb", store.folder
    usb.mkdir()
    mount = f"mount -t tmpfs -o {size if size == 'ro' else f'size={size}'} none {usb}"
    done = on_a_drive(mount, COPY, "backup", shop, "--to", usb)
    assert (done.returncode, done.stdout, words in done.stderr) == (2, "", True), done.stderr
    assert "Traceback" not in done.stderr
    back_up(shop, tmp_path / "good")
    done = on_a_drive(mount, COPY, "restore", tmp_path / "good", "--folder", usb / "shop")
    assert (done.returncode, "Nothing was restored." in done.stderr) == (2, True), done.stderr
