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


def free_port(many=1):
    """The first of so many ports in a row that nobody else is given while this process runs: held, nobody listens."""
    while True:
        with contextlib.ExitStack() as held:
            first = _bound(held, 0)
            with contextlib.suppress(OSError, OverflowError):
                ports = [first, *(_bound(held, first.getsockname()[1] + one) for one in range(1, many))]
                number = first.getsockname()[1]
                for one in ports:
                    one.detach()  # bound until this process ends
                return number


def _bound(held, port):
    one = held.enter_context(socket.socket())
    one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # a server may take it over this one
    one.bind(("127.0.0.1", port))
    return one


def once_up(ask):
    """What a shop in a process of its own answers, as soon as it does."""
    until = time.monotonic() + 120
    while True:
        try:
            return ask()
        except OSError:
            assert time.monotonic() < until, "the shop did not open"
            time.sleep(0.05)


@contextlib.contextmanager
def served(app, host="127.0.0.1", port=None):
    """The address under which an application answers on this machine."""
    port = port or free_port()
    server = uvicorn.Server(uvicorn.Config(app, host=host, port=port, log_level="error", proxy_headers=False))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 60
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
        until = time.monotonic() + 60
        while not self.server.started:
            assert time.monotonic() < until, "the shop did not open"
            time.sleep(0.02)

    def shut(self):
        if self.server is not None:
            self.server.should_exit = True
            until = time.monotonic() + 60
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
