"""A shop on a port of its own, and a real browser."""

import contextlib
import shutil
import socket
import threading
import time

import pytest
import uvicorn
from fastapi.testclient import TestClient
from made_browser import LAPTOP
from made_pages import LEAD, NEW, PAN, send
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
def play():
    with sync_playwright() as found:
        yield found


@pytest.fixture(scope="session")
def program():
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    assert found, "The browser is missing. Install it with: sudo apt-get install chromium"
    return found


@pytest.fixture(scope="session")
def browser(play, program):
    found = play.chromium.launch(executable_path=program, args=FLAGS)
    yield found
    found.close()


@pytest.fixture
def page(browser, shop):
    """A page of the shop; what its console complained of is in `page.troubles`, refusals aside it must be nothing."""
    context = browser.new_context(viewport=LAPTOP, base_url=shop)
    found = context.new_page()
    found.troubles = []
    found.on("console", lambda said: found.troubles.append(said.text) if said.type == "error" else None)
    found.on("pageerror", lambda said: found.troubles.append(str(said)))
    yield found
    context.close()
    assert [line for line in found.troubles if "status of 4" not in line] == []


@pytest.fixture
def client(store):
    with TestClient(create(store, patience=None), base_url="http://127.0.0.1", follow_redirects=False) as found:
        yield found


@pytest.fixture
def job(client):
    """The address of a new job."""
    answer = client.post("/new", data=NEW)
    assert answer.status_code == 303
    return answer.headers["location"].removesuffix("/survey")


@pytest.fixture
def pan(client, store):
    """The address of a job that nothing stops."""
    job = client.post("/new", data=PAN).headers["location"].removesuffix("/survey")
    send(client, store, job, "settle", **LEAD)
    return job
