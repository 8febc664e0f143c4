"""The shop served on a port of its own; over https, shut and opened again; a browser's home that trusts it."""

import contextlib
import os
import shutil
import socket
import subprocess
import threading
import time

import uvicorn

from proofpatch.shop.certificate import AUTHORITY, certificate_of
from proofpatch.web.app import create


def free_port():
    with contextlib.closing(socket.socket()) as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


@contextlib.contextmanager
def served(app, host="127.0.0.1", port=None):
    """The address under which an application answers on this machine."""
    port = port or free_port()
    server = uvicorn.Server(uvicorn.Config(app, host=host, port=port, log_level="error", proxy_headers=False))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 20
    while not server.started:
        assert time.monotonic() < until, "the pages did not start"
        time.sleep(0.02)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(10)


class Laptop:
    """Serves a store over https on one port, as often as it is opened."""

    def __init__(self, store):
        self.store, self.port = store, free_port()
        self.certificate = certificate_of(store.folder)
        self.address = f"https://localhost:{self.port}"
        self.server = None
        self.renew()

    def renew(self):
        """Another application over the store; nothing may be at work in the one before."""
        self.app = create(self.store, patience=None)
        self.app.state.certificate, self.app.state.port = self.certificate, self.port

    def open(self, over=lambda app: app):
        """over: what stands between the application and its network."""
        self.server = uvicorn.Server(uvicorn.Config(
            over(self.app), lifespan="off", host="127.0.0.1", port=self.port, log_level="critical",
            timeout_graceful_shutdown=1, ssl_certfile=self.certificate.chain, ssl_keyfile=self.certificate.key,
        ))  # fmt: skip
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        until = time.monotonic() + 30
        while not self.server.started:
            assert time.monotonic() < until, "the shop did not open"
            time.sleep(0.02)

    def shut(self):
        if self.server is not None:
            self.server.should_exit = True
            until = time.monotonic() + 30
            # A browser holds its connections open; a laptop that is shut holds none.
            while self.thread.is_alive():
                assert time.monotonic() < until, "the shop did not shut"
                for one in list(self.server.server_state.connections):
                    one.loop.call_soon_threadsafe(one.transport.abort)
                self.thread.join(0.1)
            self.server = None


@contextlib.contextmanager
def silent(port):
    """A port that takes calls and never answers, like a laptop that went to sleep."""
    with socket.socket() as deaf:
        deaf.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        deaf.bind(("127.0.0.1", port))
        deaf.listen(50)
        yield


def trusting_home(home, certificate):
    """The environment of a browser whose own store of authorities holds the shop's."""
    program = shutil.which("certutil")
    assert program, "certutil is missing. Install it with: sudo apt-get install libnss3-tools"
    store = home / ".pki" / "nssdb"
    store.mkdir(parents=True)
    place = ["-d", f"sql:{store}"]
    subprocess.run([program, "-N", *place, "--empty-password"], check=True)
    authority = certificate.folder / AUTHORITY
    subprocess.run([program, "-A", *place, "-t", "C,,", "-n", "shop", "-i", str(authority)], check=True)
    return {**os.environ, "HOME": str(home)}
