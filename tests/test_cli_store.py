"""Check, backup and restore on the command line, and the daily backup of an open shop."""

import datetime
import functools
import json
import signal
import subprocess
import sys
import time

import pytest
from fastapi.testclient import TestClient
from made_cli import asked
from made_laptop import free_port
from made_whole import picture, whole_shop

from proofpatch.daily import Daily
from proofpatch.shop.backup import back_up, backups_in
from proofpatch.shop.check import check
from proofpatch.shop.database import PHOTOS
from proofpatch.shop.photos import add_photo
from proofpatch.web.app import create

NOW = datetime.datetime(2026, 3, 2, 9, 0, 0, tzinfo=datetime.UTC)


@pytest.fixture
def made(store):
    return whole_shop(store)


@pytest.fixture
def run(capsys):
    """A command's exit code and both streams."""
    return functools.partial(asked, capsys)


def spoil(store):
    (path,) = (store.folder / PHOTOS).glob("*/*")
    path.write_bytes(b"gone bad")


def test_the_three_commands_in_words_and_as_json(store, made, run, tmp_path):
    code, out, err = run("check", store.folder)
    assert (code, out.startswith("The shop is whole: 20 things"), err) == (0, True, "")
    record = json.loads(run("check", store.folder, "--json")[1])
    assert (record["whole"], record["things"]["job"], record["troubles"]) == (True, 2, [])
    code, out, _ = run("backup", store.folder, "--to", tmp_path / "usb")
    assert (code, "Restored on trial: The shop is whole" in " ".join(out.split())) == (0, True)
    record = json.loads(run("backup", store.folder, "--to", tmp_path / "usb", "--keep", 1, "--json")[1])
    assert (record["photos_copied"], record["checked"]["whole"]) == (0, True)
    assert len(backups_in(tmp_path / "usb")) == 1
    code, out, _ = run("restore", tmp_path / "usb", "--folder", tmp_path / "again")
    assert (code, f"stands in {tmp_path / 'again'}" in " ".join(out.split())) == (0, True)
    record = json.loads(run("restore", tmp_path / "usb", "--folder", tmp_path / "third", "--json")[1])
    assert record["checked"]["things"] == json.loads(run("check", store.folder, "--json")[1])["things"]


def test_what_is_wrong_is_exit_1_with_what_to_do(store, made, run, tmp_path):
    spoil(store)
    code, out, err = run("check", store.folder)
    assert (code, err) == (1, "")
    assert "The file of a photo is not what it was: photos/" in " ".join(out.split())
    assert "Bring the file back from a backup" in " ".join(out.split())
    assert run("backup", store.folder, "--to", tmp_path / "usb")[0] == 1
    assert run("restore", tmp_path / "usb", "--folder", tmp_path / "again")[0] == 1  # what can be had is brought back


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["check", "nowhere"], "FOLDER: There is no shop in the folder 'nowhere'."),
        (["backup", "nowhere"], "FOLDER: There is no shop in the folder"),
        (["backup", "shop", "--to", "shop/photos"], "--to: The backups would lie inside the shop"),
        (["backup", "shop", "--keep", "0"], "--keep"),
        (["restore", "nowhere", "--folder", "new"], "BACKUPS: There is no backup in"),
        (["restore", "nowhere"], "--folder"),
        (["serve", "--keep", "-1"], "--keep"),
    ],
)
def test_bad_input_is_exit_2_and_one_sentence(store, run, monkeypatch, words, said):
    monkeypatch.chdir(store.folder.parent)
    code, out, err = run(*words)
    assert (code, out, said in err, err.count("\n")) == (2, "", True, 1), err


def test_a_shop_that_is_there_is_not_restored_over(store, made, run, tmp_path):
    back_up(store.folder, tmp_path / "usb")
    code, _, err = run("restore", tmp_path / "usb", "--folder", store.folder)
    assert (code, "--folder: There is a shop in the folder" in err) == (2, True)


def test_once_a_day_and_only_what_was_written(store, made, tmp_path):
    said = []
    daily = Daily(store.folder, tmp_path / "usb", 2, said.append)
    assert (daily.once(), daily.last is not None, daily.once()) == (True, True, False)
    later = datetime.datetime.now(datetime.UTC) + datetime.timedelta(days=1)
    assert not daily.once(later)  # nothing was written
    add_photo(store, picture(3), made["job"])
    assert not daily.once()  # one was made today
    spoil_one = next((store.folder / PHOTOS).glob("*/*"))
    whole = spoil_one.read_bytes()
    spoil_one.write_bytes(b"gone bad")
    (tmp_path / "usb" / PHOTOS / spoil_one.parent.name / spoil_one.name).unlink(missing_ok=True)
    assert not daily.once(later)
    assert "The file of a photo is" in daily.said
    assert said == [f"The daily backup: {daily.said}"]
    spoil_one.write_bytes(whole)


def test_what_keeps_it_from_being_made_is_said_once(store, made, tmp_path):
    said = []
    (tmp_path / "usb").write_text("a file", encoding="utf-8")
    daily = Daily(store.folder, tmp_path / "usb", 2, said.append)
    assert (daily.once(), daily.once()) == (False, False)
    assert len(said) == 1
    assert "The backup was not made" in daily.said


def test_the_page_of_the_shop_says_where_they_are(client_of, store, made, tmp_path):
    daily = Daily(store.folder, tmp_path / "usb", 5, print)
    app, client = client_of(store)
    assert "No backups are made." in client.get("/shop").text
    app.state.daily = daily
    assert "No backup yet." in client.get("/shop").text
    back_up(store.folder, tmp_path / "usb", now=NOW)
    page = client.get("/shop").text
    assert f"Backed up {NOW.astimezone():%d %b, %H:%M} into {tmp_path / 'usb'}" in page
    assert "5 are kept" in page
    daily.said = "It was cut off."
    assert "The last daily backup went wrong." in client.get("/shop").text


@pytest.fixture
def client_of():
    def call(store):
        app = create(store, patience=None)
        return app, TestClient(app, base_url="http://127.0.0.1", follow_redirects=False)

    return call


OPEN = """
import sys, time
from proofpatch import daily
daily.FIRST = 0.2
from proofpatch.cli import main
main(sys.argv[1:])
"""


def test_an_open_shop_makes_its_backup(store, made, tmp_path):
    store.close()
    usb = tmp_path / "usb"
    words = ["serve", "--folder", store.folder, "--port", free_port(), "--backups", usb]
    with subprocess.Popen([sys.executable, "-c", OPEN, *map(str, words)], stdout=subprocess.PIPE, text=True) as shop:
        until = time.monotonic() + 240
        while not backups_in(usb):
            assert time.monotonic() < until, "no backup was made"
            time.sleep(0.1)
        shop.send_signal(signal.SIGINT)
        assert shop.wait(120) is not None
    assert backups_in(usb)[0].after == check(store.folder).changes
