"""The command that opens the shop."""

import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from proofpatch.cli import main


def free():
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


def test_it_opens_on_this_machine_only_and_keeps_what_was_there(tmp_path):
    program = Path(sys.executable).with_name("proofpatch")
    words = [program, "serve", "--folder", tmp_path / "shop", "--port", str(free())]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
        address = re.search(r"http://127\.0\.0\.1:\d+/", server.stdout.readline())[0]
        for _ in range(200):
            try:
                page = urllib.request.urlopen(address, timeout=10)
                break
            except OSError:
                time.sleep(0.05)
        with page:
            assert b"No job yet" in page.read()
        server.send_signal(signal.SIGINT)
        assert server.wait(20) is not None
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
        main(["serve", "--folder", str(tmp_path / "file"), "--port", str(free())])
    assert (done.value.code, "--folder" in capsys.readouterr().err) == (2, True)
