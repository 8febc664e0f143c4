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
from proofpatch.shop.door import passphrase_set, set_passphrase
from proofpatch.shop.photos import sweep
from proofpatch.shop.store import Store
from proofpatch.web.app import create
from proofpatch.web.door import Door, own_addresses, own_names

EVERYWHERE = "0.0.0.0"


def open_shop(
    folder: str, port: int, invented: bool, idle: float | None, ready: Callable[[], Any], network: bool = False
) -> None:
    """Serves the shop until it is told to end.

    Args:
        folder: of the shop, made if it is not there. port: on this machine.
        invented: fill it, if it is empty, with an invented workshop.
        idle: s without a request after which it closes; None: never.
        ready: called before anything is computed.
        network: open it to the network this machine is in, for who knows the passphrase.

    Raises:
        InputError: the port is taken, the folder cannot be used, or there is no passphrase yet.
    """
    host = EVERYWHERE if network else "127.0.0.1"
    with contextlib.closing(socket.socket()) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            remedy = "Is the shop open already? Else name another."
            raise InputError("--port", f"--port: {port} is taken on this machine.", remedy) from None
    with at_options({"folder": "--folder"}):
        store = Store.open(folder)
    if network and passphrase_set(store) is None:
        raise InputError("--network", "--network: this shop has no passphrase yet.", "Set one: proofpatch passphrase.")
    sweep(store)
    ready()
    if invented:
        fill(store, click.echo)
    warm()
    door = Door(store, port, own_names()) if network else None
    app, address = create(store, door=door), f"http://127.0.0.1:{port}/"
    # Nobody stands between: where a request says it comes from is not believed.
    server = uvicorn.Server(
        uvicorn.Config(app, host=host, port=port, log_level="warning", proxy_headers=False, server_header=False)
    )
    if network:
        addresses = " or ".join(f"http://{one}:{port}/" for one in own_addresses()) or "no address: it is in no network"
        click.echo(f"Phones in the same network: {addresses}. A code for them: {address}shop/devices")
    if idle is None:
        click.echo(f"The shop is open at {address} until you press Ctrl-C.")
    else:
        click.echo(f"The shop is open at {address} until nobody has looked for {idle:.0f} s, or you press Ctrl-C.")
        threading.Thread(target=_close_when_idle, args=(server, app, idle), daemon=True).start()
    if sys.stdout.isatty():
        webbrowser.open(address)
    server.run()


def keep_passphrase(folder: str) -> None:
    """Asks for a passphrase twice and keeps it; every device has to sign in again.

    Raises:
        InputError: it is too short, there is no terminal to type at, or the folder cannot be used.
    """
    if not sys.stdin.isatty():
        raise InputError("passphrase", "The passphrase is typed at a terminal.", "Or set it in the shop: Devices.")
    with at_options({"folder": "--folder"}):
        store = Store.open(folder)
    with contextlib.closing(store):
        had = passphrase_set(store) is not None
        set_passphrase(store, click.prompt("Passphrase of the shop", hide_input=True, confirmation_prompt="Once more"))
    click.echo(
        "Kept." + (" Every device has to sign in again." if had else " Open the shop with: proofpatch serve --network")
    )


def _close_when_idle(server: uvicorn.Server, app: Any, idle: float) -> None:
    while time.monotonic() - app.state.asked < idle:
        time.sleep(min(idle, 1.0))
    server.should_exit = True
