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

from proofpatch.bench import warm
from proofpatch.cli_read import at_options
from proofpatch.demo_shop import fill
from proofpatch.errors import InputError
from proofpatch.shop.photos import sweep
from proofpatch.shop.store import Store
from proofpatch.web.app import create


def open_shop(folder: str, port: int, invented: bool, idle: float | None, ready: Callable[[], Any]) -> None:
    """Serves the shop until it is told to end.

    Args:
        folder: of the shop, made if it is not there. port: on this machine.
        invented: fill it, if it is empty, with an invented workshop.
        idle: s without a request after which it closes; None: never.
        ready: called before anything is computed.

    Raises:
        InputError: the port is taken, or the folder cannot be used.
    """
    with contextlib.closing(socket.socket()) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            remedy = "Is the shop open already? Else name another."
            raise InputError("--port", f"--port: {port} is taken on this machine.", remedy) from None
    with at_options({"folder": "--folder"}):
        store = Store.open(folder)
    sweep(store)
    ready()
    if invented:
        fill(store, click.echo)
    warm()
    app, address = create(store), f"http://127.0.0.1:{port}/"
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="warning"))
    if idle is None:
        click.echo(f"The shop is open at {address} until you press Ctrl-C.")
    else:
        click.echo(f"The shop is open at {address} until nobody has looked for {idle:.0f} s, or you press Ctrl-C.")
        threading.Thread(target=_close_when_idle, args=(server, app, idle), daemon=True).start()
    if sys.stdout.isatty():
        webbrowser.open(address)
    server.run()


def _close_when_idle(server: uvicorn.Server, app: Any, idle: float) -> None:
    while time.monotonic() - app.state.asked < idle:
        time.sleep(min(idle, 1.0))
    server.should_exit = True
