"""The shop is opened: its folder, its port, and until when."""

from __future__ import annotations

import contextlib
import socket
import sys
import threading
import time
import webbrowser
from collections.abc import Callable
from typing import Any

import click
import uvicorn
from fastapi import FastAPI

from proofpatch.bench import warm
from proofpatch.cli_read import at_options
from proofpatch.demo_shop import fill
from proofpatch.errors import InputError
from proofpatch.shop.certificate import certificate_of
from proofpatch.shop.photos import sweep
from proofpatch.shop.store import Store
from proofpatch.web.app import create
from proofpatch.web.trust import OnlyTrust


def open_shop(
    folder: str, port: int, invented: bool, idle: float | None, ready: Callable[[], Any], tls: bool = False
) -> None:  # fmt: skip
    """Serves the shop until it is told to end.

    Args:
        folder: of the shop, made if it is not there. port: on this machine.
        invented: fill it, if it is empty, with an invented workshop.
        idle: s without a request after which it closes; None: never.
        ready: called before anything is computed.
        tls: over https with the shop's own certificate; plain http on the next port shows how a phone trusts it.

    Raises:
        InputError: the port is taken, or the folder cannot be used.
    """
    for wanted in (port, port + 1) if tls else (port,):
        _check_free(wanted)
    with at_options({"folder": "--folder"}):
        store = Store.open(folder)
    sweep(store)
    ready()
    if invented:
        fill(store, click.echo)
    warm()
    app, address = create(store), f"http://127.0.0.1:{port}/"
    settings: dict[str, Any] = {"host": "127.0.0.1", "log_level": "warning"}
    if tls:
        address = f"https://localhost:{port}/"
        settings |= trusted(app, store, port, settings)
    server = uvicorn.Server(uvicorn.Config(app, port=port, **settings))
    if idle is None:
        click.echo(f"The shop is open at {address} until you press Ctrl-C.")
    else:
        click.echo(f"The shop is open at {address} until nobody has looked for {idle:.0f} s, or you press Ctrl-C.")
        threading.Thread(target=_close_when_idle, args=(server, app, idle), daemon=True).start()
    if sys.stdout.isatty():
        webbrowser.open(address)
    server.run()


def _check_free(port: int) -> None:
    with contextlib.closing(socket.socket()) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            remedy = "Is the shop open already? Else name another."
            raise InputError("--port", f"--port: {port} is taken on this machine.", remedy) from None


def trusted(app: FastAPI, store: Store, port: int, settings: dict[str, Any]) -> dict[str, Any]:
    """What a server needs to speak TLS with the shop's certificate; the way to trust it is shown on the next port.

    Raises:
        InputError: the certificates cannot be made or read.
    """
    certificate = certificate_of(store.folder)
    app.state.certificate, app.state.port = certificate, port
    for name in certificate.left_out:
        click.echo(f"The shop's certificate does not cover {name}: phones that trust it are warned under that name.")
    beside = uvicorn.Server(uvicorn.Config(OnlyTrust(app, port), port=port + 1, lifespan="off", **settings))
    threading.Thread(target=beside.run, daemon=True).start()
    click.echo(f"How a phone is made to trust it: http://{settings['host']}:{port + 1}/trust")
    click.echo(f"Fingerprint of its authority, SHA-256: {certificate.fingerprint}")
    return {"ssl_certfile": certificate.chain, "ssl_keyfile": certificate.key}


def _close_when_idle(server: uvicorn.Server, app: Any, idle: float) -> None:
    while time.monotonic() - app.state.asked < idle:
        time.sleep(min(idle, 1.0))
    server.should_exit = True
