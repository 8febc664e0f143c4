"""The pages over a store, and beside them pages that a measurement made itself."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import uvicorn
from starlette.responses import HTMLResponse

from proofpatch.shop.store import Store
from proofpatch.web.app import create


@dataclass(frozen=True)
class Shop:
    """A served shop. extra: pages by their path, as bytes."""

    address: str
    extra: dict[str, bytes] = field(default_factory=dict)


@contextlib.contextmanager
def served(store: Store) -> Iterator[Shop]:
    """The pages over a store on a free port."""
    with contextlib.closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    shop, pages = Shop(f"http://127.0.0.1:{port}"), create(store, patience=None)

    async def app(scope: Any, receive: Any, send: Any) -> None:
        made = shop.extra.get(scope.get("path", ""))
        await (pages if made is None else HTMLResponse(made))(scope, receive, send)

    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="error"))
    threading.Thread(target=server.run, daemon=True).start()
    while not server.started:
        time.sleep(0.05)
    yield shop
    server.should_exit = True
