"""The shop that is fuzzed: a few jobs that came far, served by a process of its own, and what is known of both."""

from __future__ import annotations

import contextlib
import http.client
import os
import re
import signal
import socket
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import trimesh
from offline import DIALLED, STEP

sys.path.append(str(Path(__file__).parents[1] / "tests" / "made"))

from made_api import DOOR, GRADE, PAN, PIPE
from made_gate import SHOP, gate
from made_offer import DAY, made_quote
from made_photo import shot
from made_run import opened, ready

from proofpatch.shop.charges import keep_charges
from proofpatch.shop.log import stamp
from proofpatch.shop.papers import Signed, quotes_of, send_quote, take_acceptance
from proofpatch.shop.people import add_note
from proofpatch.shop.photos import add_photo
from proofpatch.shop.scans import add_scan
from proofpatch.shop.store import Store
from proofpatch.shop.strips import lay_out

EXAMPLES = Path(__file__).parents[1] / "docs" / "examples"
BEGIN = "from proofpatch.cli import main; main()"
SOURCE = str(Path(__file__).parents[1] / "src")
ONE = {"OMP_WAIT_POLICY": "passive", "NUMBA_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


def filled(folder: Path) -> str:
    """A shop with jobs at several steps; the one that is packed, which has some of everything but papers."""
    with contextlib.closing(Store.open(folder)) as store:
        for tables in (DOOR, PIPE, tomllib.loads((EXAMPLES / "chest.toml").read_text("utf-8"))):
            store.add("job", plain(tables), title=tables["job"]["title"])
        opened(store, run := ready(store)[1])
        keep_charges(store, SHOP, 0)
        iron = gate(store).id
        send_quote(store, iron, made_quote(), "a4", "", b"%PDF")
        take_acceptance(store, quotes_of(store, iron)[0], Signed("A. Fenwick", DAY, stamp()), b"%PDF")
        key = store.add("job", PAN, title="Skillet").id
        box = trimesh.creation.box((0.2, 0.1, 0.1)).export(file_type="stl")
        add_scan(store, box, "a.stl", key)
        add_note(store, key, "a note <b>", "A. Fenwick")
        photo = add_photo(store, shot(), key, about="A1").data["digest"]
        second = add_photo(store, shot((80, 60)), key, about="after").data["digest"]
        for job in (run, iron, key):
            lay_out(store, job, [STEP] * 4, [DIALLED] * 4)
        store.add("patch", GRADE | {"setting": STEP["setting"], "when": stamp()}, key, "A1: partial, none")
        corners = [[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9]]
        pair = {"before": photo, "after": second, "about": "lid", "places": corners * 2, "ends": [], "length_m": None}
        store.add("pair", pair, key)
        return key


def plain(value: Any) -> Any:
    """Days of a job file as the store keeps them."""
    if isinstance(value, dict):
        return {name: plain(one) for name, one in value.items()}
    if isinstance(value, list):
        return [plain(one) for one in value]
    return value.isoformat() if hasattr(value, "isoformat") else value


@dataclass
class Served:
    """A shop in a process of its own. told: where its output goes."""

    process: subprocess.Popen[bytes]
    port: int
    told: Path
    read: int = 0

    def memory(self, what: str = "VmRSS") -> int:
        """MB it holds now; VmHWM: that it ever held."""
        for line in Path(f"/proc/{self.process.pid}/status").read_text("ascii").splitlines():
            if line.startswith(what):
                return int(line.split()[1]) // 1024
        return 0

    def faults(self) -> list[str]:
        """What it said of its own faults since it was last asked: where in the shop's code, and what."""
        with self.told.open("rb") as file:
            file.seek(self.read)
            said = file.read().decode("utf-8", "replace")
            self.read = file.tell()
        found = []
        for one in said.split("Traceback (most recent call last):")[1:]:
            places = re.findall(r'proofpatch/([\w/]+\.py)", line (\d+)', one)
            what = re.findall(r"^[ |]*([A-Za-z_.]*(?:Error|Exception|Warning|Interrupt|Exit)\b.*)$", one, re.MULTILINE)
            found.append(
                f"{' line '.join(places[-1]) if places else 'a library'}: {what[-1][:150] if what else one[-200:]}"
            )
        return found


@contextlib.contextmanager
def served(folder: Path) -> Iterator[Served]:
    """The shop of a folder, opened as anybody opens it."""
    with contextlib.closing(socket.socket()) as one:
        one.bind(("127.0.0.1", 0))
        port = int(one.getsockname()[1])
    told = folder.with_name("told.txt")
    command = [sys.executable, "-c", BEGIN, "serve", "--folder", str(folder), "--port", str(port), "--keep", "0"]
    with told.open("wb") as out:
        process = subprocess.Popen(command, stdout=out, stderr=out, env={**os.environ, **ONE, "PYTHONPATH": SOURCE})
    try:
        until = time.monotonic() + 120
        while True:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                break
            assert process.poll() is None, told.read_text("utf-8")
            assert time.monotonic() < until, "the shop did not open"
            time.sleep(0.05)
        yield Served(process, port, told)
    finally:
        process.send_signal(signal.SIGINT)
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(20)
        process.kill()


@dataclass(frozen=True)
class Request:
    """What is sent, whole."""

    method: str
    path: str
    headers: tuple[tuple[str, str], ...] = ()
    body: bytes | None = None

    def told(self) -> str:
        """It in one line, so that somebody can send it again."""
        return f"{self.method} {self.path[:300]} {dict(self.headers)} {self.body!r}"


@dataclass(frozen=True)
class Answer:
    """What came back. status 0: nothing did."""

    status: int
    headers: dict[str, str]
    body: bytes
    seconds: float


def ask(port: int, one: Request, patience: float) -> Answer:
    """Sends one request on a connection of its own."""
    began = time.monotonic()
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=patience)
    try:
        line.putrequest(one.method, one.path, skip_accept_encoding=True)
        for name, value in one.headers:
            line.putheader(name, value.encode("latin-1", "replace"))
        if one.body is not None:
            line.putheader("Content-Length", str(len(one.body)))
        line.endheaders()
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):  # a refusal may come before all is sent
            line.send(one.body or b"")
        found = line.getresponse()
        body = found.read()
        return Answer(found.status, {k.lower(): v for k, v in found.getheaders()}, body, time.monotonic() - began)
    except (OSError, http.client.HTTPException):
        return Answer(0, {}, b"", time.monotonic() - began)
    finally:
        line.close()
