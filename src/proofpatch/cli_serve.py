"""The shop is opened: its folder, its port, to whom, and until when."""

from __future__ import annotations

import contextlib
import socket
import sys
import threading
import time
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import uvicorn
from fastapi import FastAPI

from proofpatch.bench import warm
from proofpatch.cli_read import at_options
from proofpatch.cli_store import said_of
from proofpatch.daily import Daily
from proofpatch.demo_shop import fill
from proofpatch.errors import InputError
from proofpatch.freed import keep_giving
from proofpatch.shop.backup import beside
from proofpatch.shop.certificate import certificate_of
from proofpatch.shop.door import passphrase_set, seen_by_now, set_passphrase
from proofpatch.shop.drive import refuse_far
from proofpatch.shop.held import held
from proofpatch.shop.photos import sweep
from proofpatch.shop.store import Store
from proofpatch.web.app import create
from proofpatch.web.door import Door, own_addresses, own_names
from proofpatch.web.trust import OnlyTrust

HERE, EVERYWHERE = "127.0.0.1", "0.0.0.0"
LONGEST_GOODBYE = 5  # s; a phone that fell asleep with its connection open holds up the end no longer


def open_shop(
    folder: str, port: int, invented: bool, idle: float | None, ready: Callable[[], Any], network: bool = False,
    tls: bool = False, backups: str | None = None, keep: int = 0, risk: bool = False,
) -> None:  # fmt: skip
    """Serves the shop until it is told to end.

    Args:
        folder: of the shop, made if it is not there. port: on this machine.
        invented: fill it, if it is empty, with an invented workshop.
        idle: s without a request after which it closes; None: never.
        ready: called before anything is computed.
        network: open it to the network this machine is in, for who knows the passphrase.
        tls: over https with the shop's own certificate; plain http on the next port shows how a phone trusts it.
        backups: folder of the daily ones, beside the shop's if None. keep: so many of them; 0: none are made.
        risk: though the folder lies on a drive of the network, or is kept in step with other machines.

    Raises:
        InputError: the port is taken, the folder cannot be used or is served already, or there is no passphrase yet.
    """
    host = EVERYWHERE if network else HERE
    for wanted in (port, port + 1) if tls else (port,):
        _check_free(host, wanted)
    address = f"https://localhost:{port}/" if tls else f"http://{HERE}:{port}/"
    with contextlib.ExitStack() as stack:
        if not risk:
            with said_of({"folder": "--folder"}):
                refuse_far(folder)
        with at_options({"folder": "--folder"}):
            store = Store.open(folder)
        with said_of({"folder": "--folder"}):
            stack.enter_context(held(store.folder, address, store.engine))
        if network and passphrase_set(store) is None:
            said = "--network: this shop has no passphrase yet."
            raise InputError("--network", said, "Set one: proofpatch passphrase.")
        _serve(store, port, address, invented, idle, ready, network, tls, backups or beside(folder), keep)


def _serve(
    store: Store, port: int, address: str, invented: bool, idle: float | None, ready: Callable[[], Any], network: bool,
    tls: bool, backups: str | Path, keep: int,
) -> None:  # fmt: skip
    """The same, of a shop that is held."""
    seen_by_now(store)
    sweep(store)
    ready()
    if invented:
        fill(store, click.echo)
    warm()
    app = create(store, door=Door(store, port, own_names()) if network else None)
    # Nobody stands between: where a request says it comes from is not believed.
    settings: dict[str, Any] = {
        "host": EVERYWHERE if network else HERE, "log_level": "warning", "proxy_headers": False, "server_header": False,
        "timeout_graceful_shutdown": LONGEST_GOODBYE,
    }  # fmt: skip
    if network:
        kind = "https" if tls else "http"
        found = " or ".join(f"{kind}://{one}:{port}/" for one in own_addresses()) or "no address: it is in no network"
        click.echo(f"Phones in the same network: {found}. A code for them: {address}shop/devices")
    if tls:
        settings |= trusted(app, store, port, settings)
    server = uvicorn.Server(uvicorn.Config(app, port=port, **settings))
    if idle is None:
        click.echo(f"The shop is open at {address} until you press Ctrl-C.")
    else:
        click.echo(f"The shop is open at {address} until nobody has looked for {idle:.0f} s, or you press Ctrl-C.")
        threading.Thread(target=_close_when_idle, args=(server, app, idle), daemon=True).start()
    if sys.stdout.isatty():
        webbrowser.open(address)
    daily = Daily(store.folder, backups, keep, click.echo)
    if keep:
        app.state.daily = daily
        daily.start()
    keep_giving()
    try:
        server.run()
    finally:
        daily.stop()


def keep_passphrase(folder: str) -> None:
    """Asks for a passphrase twice and keeps it; every device has to sign in again.

    Raises:
        InputError: it is too short, there is no terminal to type at, or the folder cannot be used.
    """
    if not sys.stdin.isatty():
        raise InputError(
            "passphrase", "There is no terminal here to type a passphrase at.", "Set it in the open shop: Devices."
        )
    with at_options({"folder": "--folder"}):
        store = Store.open(folder)
    with contextlib.closing(store):
        had = passphrase_set(store) is not None
        set_passphrase(store, click.prompt("Passphrase of the shop", hide_input=True, confirmation_prompt="Once more"))
    click.echo(
        "Kept." + (" Every device has to sign in again." if had else " Open the shop with: proofpatch serve --network")
    )


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
    shown = HERE if settings["host"] == HERE else (*own_addresses(), HERE)[0]
    click.echo(f"How a phone is made to trust it: http://{shown}:{port + 1}/trust")
    click.echo(f"Fingerprint of its authority, SHA-256: {certificate.fingerprint}")
    return {"ssl_certfile": certificate.chain, "ssl_keyfile": certificate.key}


def _check_free(host: str, port: int) -> None:
    with contextlib.closing(socket.socket()) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            remedy = "Is the shop open already? Else name another."
            raise InputError("--port", f"--port: {port} is taken on this machine.", remedy) from None


def _close_when_idle(server: uvicorn.Server, app: Any, idle: float) -> None:
    while time.monotonic() - app.state.asked < idle:
        time.sleep(min(idle, 1.0))
    server.should_exit = True
