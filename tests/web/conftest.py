"""A shop on a port of its own, and a real browser."""

import contextlib
import shutil
import socket
import threading
import time

import pytest
import uvicorn
from playwright.sync_api import expect, sync_playwright

from proofpatch.web.app import create

# A page may be at work first; two cores are shared with the other worker.
expect.set_options(timeout=20_000)
# The machine is closed: nothing of the browser's own may call out.
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
]  # fmt: skip


@pytest.fixture
def shop(store):
    """The address of the pages over the store."""
    with contextlib.closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(create(store), host="127.0.0.1", port=port, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 20
    while not server.started:
        assert time.monotonic() < until, "the pages did not start"
        time.sleep(0.02)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="session")
def browser():
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    assert program, "The browser is missing. Install it with: sudo apt-get install chromium"
    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=program, args=FLAGS)
        yield found
        found.close()
