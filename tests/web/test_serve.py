"""The command that opens the shop."""

import re
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from made_laptop import free_port, once_up

from proofpatch.cli import main
from proofpatch.demo_shop import fill
from proofpatch.shop.store import Store
from proofpatch.web.app import create
from proofpatch.web.road import road


def test_it_opens_on_this_machine_only_and_keeps_what_was_there(tmp_path):
    program = Path(sys.executable).with_name("proofpatch")
    words = [program, "serve", "--folder", tmp_path / "shop", "--port", str(free_port())]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
        address = re.search(r"http://127\.0\.0\.1:\d+/", server.stdout.readline())[0]
        with once_up(lambda: urllib.request.urlopen(address, timeout=60)) as page:
            assert b"No job yet" in page.read()
        server.send_signal(signal.SIGINT)
        assert server.wait(60) is not None
    assert (tmp_path / "shop" / "shop.sqlite3").exists()


def test_a_taken_port_and_a_folder_that_is_none_get_a_sentence(tmp_path, capsys):
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        held.listen()
        with pytest.raises(SystemExit) as done:
            main(["serve", "--folder", str(tmp_path), "--port", str(held.getsockname()[1])])
    assert (done.value.code, "is taken on this machine" in capsys.readouterr().err) == (2, True)
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(SystemExit) as done:
        main(["serve", "--folder", str(tmp_path / "file"), "--port", str(free_port())])
    assert (done.value.code, "--folder" in capsys.readouterr().err) == (2, True)


def test_it_opens_to_the_network_only_with_a_passphrase(tmp_path, capsys, monkeypatch):
    folder = str(tmp_path / "shop")
    with pytest.raises(SystemExit) as done:
        main(["serve", "--folder", folder, "--port", str(free_port()), "--network"])
    said = capsys.readouterr().err
    assert (done.value.code, "no passphrase yet" in said, "proofpatch passphrase" in said) == (2, True, True)
    for typed, code in (("short", 2), ("seven grey herons over the kiln", 0)):
        monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
        monkeypatch.setattr("click.prompt", lambda *_, typed=typed, **__: typed)
        with pytest.raises(SystemExit) as done:
            main(["passphrase", "--folder", folder])
        assert done.value.code == code
    port = free_port()
    program = Path(sys.executable).with_name("proofpatch")
    words = [program, "serve", "--folder", folder, "--port", str(port), "--network"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
        said = server.stdout.readline() + server.stdout.readline()
        assert f"A code for them: http://127.0.0.1:{port}/shop/devices" in said
        for host, expected in (("127.0.0.1", b"No job yet"), ("127.0.0.2", b"not signed in")):
            with once_up(lambda host=host: urllib.request.urlopen(f"http://{host}:{port}/", timeout=60)) as page:
                assert expected in page.read()
        server.send_signal(signal.SIGINT)
        assert server.wait(60) is not None


def test_it_closes_when_nobody_looks_any_more(tmp_path):
    program = Path(sys.executable).with_name("proofpatch")
    words = [program, "serve", "--folder", tmp_path / "shop", "--port", str(free_port()), "--until-idle", "2 s"]
    done = subprocess.run(words, stdout=subprocess.PIPE, text=True, timeout=240, check=True)
    assert "until nobody has looked for 2 s" in done.stdout


# The road of every invented piece, whatever its state: no page fails, and none of the states is missing.
def test_the_invented_workshop_has_a_piece_at_every_step(tmp_path):
    store = Store.open(tmp_path / "shop")
    fill(store, lambda line: None)
    before = [one.version for one in store.all("job")]
    fill(store, lambda line: None)
    assert [one.version for one in store.all("job")] == before  # a shop that holds something is left as it is
    states, nexts = set(), set()
    with TestClient(create(store, patience=None), base_url="http://127.0.0.1") as client:
        for entry in store.all("job"):
            found = road(store, entry)
            states |= {(step.name, step.state) for step in found.steps}
            for step in found.steps:
                page = client.get(f"/jobs/{entry.id}/{step.name}")
                assert (page.status_code, "<h1>" in page.text) == (200, True)
        nexts = set(re.findall(r"<td><b>([^<]*)</b>", client.get("/").text))
    assert {("recipe", "done"), ("patches", "begun"), ("survey", "begun"), ("survey", "stopped"), ("recipe", "stopped"),
            ("recipe", "to do")} <= states  # fmt: skip
    assert {"Refused", "Declined", "Work by the recipe"} <= nexts
    assert any(one.startswith("Lay and grade") for one in nexts)
    store.close()
