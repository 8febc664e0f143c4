"""One server a shop, commands beside it, and no lock that outlives its process."""

import contextlib
import os
import re
import signal
import subprocess
import sys
import threading
import urllib.parse
import urllib.request

import pytest
from made_laptop import free_port, once_up

from proofpatch import InputError
from proofpatch.shop.check import check
from proofpatch.shop.folder_zip import write_folder
from proofpatch.shop.held import HELD, held
from proofpatch.shop.store import Store

PROGRAM = [sys.executable, "-m", "proofpatch.cli"]


def test_who_holds_it_is_told_and_it_is_free_again_after(tmp_path):
    with held(tmp_path, "http://127.0.0.1:8400/"):
        said = rf"is open already at http://127\.0\.0\.1:8400/ \(process {os.getpid()}, since"
        with pytest.raises(InputError, match=said), held(tmp_path, "http://127.0.0.1:8401/"):
            pass
        (tmp_path / HELD).write_text("torn", encoding="utf-8")
        with pytest.raises(InputError, match=r"is open already\. Use it there"), held(tmp_path, ""):
            pass
    with held(tmp_path, ""):
        pass


@contextlib.contextmanager
def serving(shop):
    """A server of its own: (its process, its address)."""
    words = [*PROGRAM, "serve", "--folder", str(shop), "--port", str(free_port()), "--keep", "0"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
        address = re.search(r"http://127\.0\.0\.1:\d+/", server.stdout.readline())[0]
        once_up(lambda: urllib.request.urlopen(address, timeout=60)).close()
        try:
            yield server, address
        finally:
            server.kill()


def post(address, path, **form):
    data = urllib.parse.urlencode(form).encode()
    head = {"Origin": address.rstrip("/")}
    with urllib.request.urlopen(urllib.request.Request(f"{address}{path}", data, head), timeout=60) as answer:
        return answer.status


def run(*words):
    return subprocess.run([*PROGRAM, *map(str, words)], capture_output=True, text=True, check=False)


def test_a_second_server_is_refused_and_a_killed_one_holds_nothing(tmp_path):
    shop, packed = tmp_path / "shop", tmp_path / "gate.zip"
    store = Store.open(shop)
    job = store.add("job", {"job": {"title": "Pipe", "suspects": ["PVC"]}, "evidence": {"substrate": "unknown"}}).id
    other = Store.open(tmp_path / "other")
    with packed.open("wb") as out:
        write_folder(other, other.add("job", {}, title="Iron gate").id, out)
    other.close()
    with serving(shop) as (server, address):
        second = run("serve", "--folder", shop, "--port", free_port())
        said = " ".join(second.stderr.split())
        assert (second.returncode, second.stdout) == (2, "")
        assert f"is open already at {address} (process {server.pid}, since" in said
        assert said.endswith("Use it there, or close it there first.")
        # Commands write beside it, one after the other with what comes over HTTP.
        over, sent = threading.Event(), []

        def write():
            while len(sent) < 6 or not over.is_set():
                sent.append(post(address, f"jobs/{job}/notes", note=f"note {len(sent)}"))

        hand = threading.Thread(target=write)
        hand.start()
        try:
            done = [run("memory", shop, "--use", "on"), run("unpack", packed, "--folder", shop)]
        finally:
            over.set()
            hand.join()
        assert [one.returncode for one in done] == [0, 0], done
        with urllib.request.urlopen(address, timeout=60) as page:
            assert b"Iron gate" in page.read()
        os.kill(server.pid, signal.SIGKILL)
        server.wait()
    assert (set(sent), len(sent) > 5) == ({200}, True)
    assert (len(store.all("note", job)), store.all("shop")[0].data["memory"]) == (len(sent), True)
    store.close()
    assert check(shop).whole
    with held(shop, ""):  # at once, over what the killed one left
        pass
