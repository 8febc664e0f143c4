"""A shop with many jobs, and with many devices at once: python benchmarks/load.py --write

A shop of 100, 1000 and 10 000 jobs is served by a process of its own and its pages are asked one after the other; then
20 devices look and write at once in the largest. Each job is a copy of one that was really worked out, under ids, names
and photos of its own: every photo is a file like no other, of some 100 bytes, with a small copy of 2 kB in the database
where a camera's has some 20 kB. Devices are threads of one process beside the server, on the same cores.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import http.client
import io
import os
import re
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from killed import _body, _free_port
from PIL import Image
from stamp import keep, stamp

from proofpatch.demo_shop import pieces, take_in
from proofpatch.shop.backup import back_up
from proofpatch.shop.check import check
from proofpatch.shop.database import FILE, PHOTOS
from proofpatch.shop.people import add_note, keep_item
from proofpatch.shop.photos import add_photo
from proofpatch.shop.store import Store

SIZES = (100, 1000, 10_000)
PHOTOS_EACH, PATCHES = 10, 3
SEED, DEVICES, SECONDS, PAUSE = 20264, 20, 30.0, 1.0
THUMBNAIL = 2048  # bytes
TURNS = 5
SLOW = 0.3  # s a page may take
ID = re.compile(r"\b[0-9a-f]{64}\b|\b[0-9a-f]{32}\b")
FIRST = ("Garden", "Kitchen", "Barn", "Mill", "Chapel", "Harbour", "Attic", "Station", "School", "Bridge")
SECOND = ("gate", "chest", "skillet", "pump", "railing", "table", "anvil", "bench", "plaque", "beam")
# What is asked of a shop of each size: name -> path, {job} a job that was looked at before.
PAGES = {
    "list of jobs": "/", "search, one is found": "/?q={rare}", "search, many are found": "/?q=chest",
    "search by customer": "/?q=Customer", "job, worked out before": "/jobs/{job}/survey",
    "before and after": "/jobs/{job}/compare",
    "start of day": "/jobs/{job}/run/day", "quote": "/jobs/{job}/offer", "notes and history": "/jobs/{job}/piece",
    "the shop": "/shop", "all jobs, over HTTP": "/api/jobs",
}  # fmt: skip


# What a device asks for, and in what share of its requests; the last two are writes.
ASKED = {"list": 0.2, "job": 0.3, "search": 0.1, "day": 0.1, "note": 0.2, "photo": 0.1}


@dataclass
class Template:
    """A job as its rows stand, cut at every id: pieces of text with keys between them."""

    things: list[tuple[object, ...]]
    changes: list[tuple[object, ...]]
    ids: list[str]
    digests: list[str]


def template(place: Path) -> Template:
    """One job worked out by the program, with patches, notes, a customer and photos."""
    store = Store.open(place)
    (pan,) = [one for one in pieces() if one["job"]["title"].startswith("Skillet")]
    job = take_in(store, {**pan, "patches": PATCHES}).id
    keep_item(store, job, 0, "A. Fenwick", "0555 0199", "as it was")
    for words in ("rings when struck", "handle is loose", "customer calls on Friday"):
        add_note(store, job, words)
    rng = np.random.default_rng(1)
    for _ in range(PHOTOS_EACH):
        add_photo(store, tiny(rng), job, about="the piece")
    store.close()
    with contextlib.closing(sqlite3.connect(place / FILE)) as base:
        things = base.execute(
            "SELECT id, kind, job, version, data, title, created, changed, by, deleted FROM thing WHERE id = ?1 OR "
            "job = ?1 OR kind = 'customer' ORDER BY made", (job,),
        ).fetchall()  # fmt: skip
        marks = ", ".join("?" for _ in things)
        changes = base.execute(
            f"SELECT thing, version, what, data, at, by FROM change WHERE thing IN ({marks}) ORDER BY number",
            [row[0] for row in things],
        ).fetchall()
        digests = [one for (one,) in base.execute("SELECT digest FROM picture")]
    return Template(things, changes, [row[0] for row in things], digests)


def tiny(rng: np.random.Generator) -> bytes:
    """A picture like no other, of some 100 bytes."""
    out = io.BytesIO()
    Image.frombytes("RGB", (4, 4), rng.bytes(48)).save(out, "PNG")
    return out.getvalue()


def fill(place: Path, made: Template, first: int, last: int, rng: np.random.Generator) -> str:
    """Jobs number `first` to `last` into a shop, past the program: the id of the last of them."""
    cut: dict[object, list[str]] = {}

    def renamed(text: object, names: dict[str, str]) -> str:
        parts = cut.get(text)
        if parts is None:
            said = str(text)
            parts, at = [], 0
            for found in ID.finditer(said):
                parts += [said[at : found.start()], found[0]]
                at = found.end()
            cut[text] = parts = [*parts, said[at:]]
        return "".join(names.get(part, part) if n % 2 else part for n, part in enumerate(parts))

    small, job = bytes(THUMBNAIL), ""
    with contextlib.closing(sqlite3.connect(place / FILE, isolation_level=None)) as base:
        base.execute("PRAGMA synchronous=OFF")
        base.execute("BEGIN")
        number = base.execute("SELECT coalesce(max(number), 0) FROM change").fetchone()[0]
        for turn in range(first, last + 1):
            names = {old: uuid.UUID(bytes=rng.bytes(16)).hex for old in made.ids}
            photos = []
            for old in made.digests:
                content = tiny(rng)
                digest = hashlib.sha256(content).hexdigest()
                names[old] = digest
                path = place / PHOTOS / digest[:2] / f"{digest}.png"
                path.parent.mkdir(exist_ok=True)
                path.write_bytes(content)
                photos.append((digest, len(content), "PNG", 4, 4, small, made.things[0][6]))
            base.executemany("INSERT INTO picture VALUES (?, ?, ?, ?, ?, ?, ?)", photos)
            title = f"{FIRST[turn % 10]} {SECOND[turn // 10 % 10]} {turn:05d}"
            order: dict[str, list[int]] = {}
            changes = []
            for thing, *rest in made.changes:
                number += 1
                order.setdefault(str(thing), []).append(number)
                changes.append((number, names[str(thing)], rest[0], rest[1], renamed(rest[2], names), rest[3], rest[4]))
            things = []
            for key, kind, of, version, data, named, created, changed, by, deleted in made.things:
                said = title if kind == "job" else f"Customer {turn}" if kind == "customer" else renamed(named, names)
                said = f"Customer {turn}" if kind == "item" else said
                of_job, place_of = names.get(str(of)) if of else None, order[str(key)]
                things.append((names[str(key)], kind, of_job, version, renamed(data, names), said, created, changed, by,
                               deleted, place_of[0], place_of[-1]))  # fmt: skip
            base.executemany(f"INSERT INTO thing VALUES ({', '.join('?' * 12)})", things)
            base.executemany("INSERT INTO change VALUES (?, ?, ?, ?, ?, ?, ?)", changes)
            job = things[0][0] if things[0][1] == "job" else next(row[0] for row in things if row[1] == "job")
        base.execute("COMMIT")
    return str(job)


@contextlib.contextmanager
def serving(shop: Path) -> Iterator[tuple[int, float]]:
    """(the port of a server of its own, s until its first answer)."""
    port, began = _free_port(), time.monotonic()
    words = [sys.executable, "-m", "proofpatch.cli", "serve", "--folder", str(shop), "--port", str(port), "--keep", "0"]
    with subprocess.Popen(words, stdout=subprocess.DEVNULL) as server:
        try:
            while True:
                with contextlib.suppress(OSError, http.client.HTTPException):
                    ask(port, "/materials")
                    break
                assert server.poll() is None, "the shop did not open"
                time.sleep(0.05)
            yield port, time.monotonic() - began
        finally:
            server.terminate()


def ask(port: int, path: str) -> tuple[int, bool]:
    """(status of a page, whether it says that it is still being worked out)."""
    with contextlib.closing(http.client.HTTPConnection("127.0.0.1", port, timeout=600)) as line:
        line.request("GET", path)
        answer = line.getresponse()
        answer.read()
        return answer.status, "Refresh" in answer.headers


def settled(port: int, path: str) -> None:
    """Asks a page till it is worked out."""
    while ask(port, path)[1]:
        time.sleep(0.2)


def timed(work: Callable[[], object]) -> float:
    """s that it takes."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def pages(port: int, job: str, rare: str) -> dict[str, float]:
    """The median time of each page [s]; the first look, which works a job out, is not counted."""
    found = {}
    for name, path in PAGES.items():
        at = path.format(job=job, rare=urllib.parse.quote(rare))
        status, _ = ask(port, at)
        assert status == 200, (at, status)
        settled(port, at)
        found[name] = statistics.median(timed(lambda at=at: ask(port, at)) for _ in range(TURNS))
    return found


@dataclass
class Tally:
    """What devices saw: s of each kind of request, and what went wrong."""

    seconds: dict[str, list[float]] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    wrote: int = 0


def device(port: int, jobs: Sequence[str], seed: int, until: float, pause: float, tally: Tally) -> None:
    """One device's requests, each as soon as the last was answered and a pause is over."""
    rng = np.random.default_rng(seed)
    job = jobs[seed % len(jobs)]
    with contextlib.closing(http.client.HTTPConnection("127.0.0.1", port, timeout=120)) as line:
        while time.monotonic() < until:
            what = str(rng.choice(list(ASKED), p=list(ASKED.values())))
            path = {
                "list": "/", "job": f"/jobs/{job}/survey", "search": f"/?q={SECOND[int(rng.integers(10))]}",
                "day": f"/jobs/{job}/run/day", "note": f"/jobs/{job}/notes", "photo": f"/jobs/{job}/photo",
            }[what]  # fmt: skip
            fields: list[tuple[str, str | bytes]] = [("note", f"device {seed}, {uuid.uuid4()}")]
            if what == "photo":
                out = io.BytesIO()
                Image.fromarray(rng.integers(0, 255, (160, 160, 3), dtype=np.uint8)).save(out, "JPEG", quality=95)
                fields = [("photo", out.getvalue()), ("about", f"device {seed}")]
            body, kind = _body(fields) if what in ("note", "photo") else (None, "")
            head = {"Content-Type": kind, "Origin": f"http://127.0.0.1:{port}"} if body else {}
            began = time.perf_counter()
            try:
                line.request("POST" if body else "GET", path, body, head)
                answer = line.getresponse()
                answer.read()
                if answer.status not in (200, 303):
                    tally.wrong.append(f"{path}: {answer.status}")
                tally.wrote += bool(body)
            except (OSError, http.client.HTTPException) as trouble:
                tally.wrong.append(f"{path}: {trouble!r}")
                line.close()
            tally.seconds.setdefault(what, []).append(time.perf_counter() - began)
            time.sleep(float(rng.exponential(pause)) if pause else 0.0)


def many(port: int, jobs: Sequence[str], seconds: float, pause: float) -> Tally:
    """All devices at once."""
    for job in jobs:
        settled(port, f"/jobs/{job}/run/day")
    tally, until = Tally(), time.monotonic() + seconds
    hands = [threading.Thread(target=device, args=(port, jobs, n, until, pause, tally)) for n in range(DEVICES)]
    for one in hands:
        one.start()
    for one in hands:
        one.join()
    return tally


def exponent(sizes: Sequence[int], seconds: Sequence[float]) -> float:
    """b of t = a nᵇ, fitted to logarithms."""
    return float(np.polyfit(np.log(sizes), np.log(seconds), 1)[0])


@dataclass
class Grown:
    """s of each thing at each size; sentences about the shops; what many devices saw in the largest."""

    rows: dict[str, list[float]] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)
    tallies: list[Tally] = field(default_factory=list)

    def note(self, size: int, name: str, spent: float) -> None:
        """One figure."""
        self.rows.setdefault(name, []).append(spent)
        print(f"{size:6d}  {name}: {spent:.3f} s", flush=True)


def grown(place: Path, sizes: Sequence[int], seconds: float) -> Grown:
    """A shop of each size, looked at, checked and backed up; then many devices at once in the last."""
    rng, made = np.random.default_rng(SEED), template(place / "one")
    shop, before, all_ = place / "shop", 0, Grown()
    Store.open(shop).close()
    for size in sizes:
        job = fill(shop, made, before + 1, size, rng)
        before = size
        with contextlib.closing(Store.open(shop)) as store:
            jobs = [one.id for one in store.all("job", most=5)]
        with serving(shop) as (port, opened):
            all_.note(size, "opening the shop", opened)
            for name, spent in pages(port, job, f"{size:05d}").items():
                all_.note(size, name, spent)
            if size == sizes[-1]:
                all_.tallies = [many(port, jobs, seconds, pause) for pause in (PAUSE, 0.0)]
        began = time.perf_counter()
        found = check(shop)
        all_.note(size, "check", time.perf_counter() - began)
        assert found.whole, found.troubles[:3]
        all_.note(size, "first backup", timed(lambda: back_up(shop, place / "usb")))
        with contextlib.closing(Store.open(shop)) as store:
            store.add("note", {"text": "one more"}, job)
        all_.note(size, "backup of a day", timed(lambda: back_up(shop, place / "usb")))
        shutil.rmtree(place / "usb")
        things, weight = sum(found.things.values()), (shop / FILE).stat().st_size / 1e6
        all_.told.append(
            f"{size} jobs: {things} things, {found.changes} changes, {found.photos} photos, a database of "
            f"{weight:.0f} MB."
        )
    return all_


def said(found: Grown, sizes: Sequence[int], seconds: float) -> list[str]:
    """The figures as the page has them."""
    lines, head = list(found.told), ", ".join(str(size) for size in sizes)
    for name, spent in found.rows.items():
        times = ", ".join(f"{one:.3f}" if one < 1 else f"{one:.1f}" for one in spent)
        grows = f"; t ~ n^{exponent(sizes, spent):.2f}" if len(sizes) > 1 else ""
        lines.append(f"{name[:1].upper()}{name[1:]}: {times} s with {head} jobs{grows}.")
    for tally, pause in zip(found.tallies, (PAUSE, 0.0), strict=True):
        every = sorted(one for row in tally.seconds.values() for one in row)
        way = f"a pause of {pause:g} s on average between two requests" if pause else "no pause at all"
        each = "; ".join(f"{what} {_spread(sorted(tally.seconds[what]))}" for what in ASKED if what in tally.seconds)
        lines.append(
            f"{DEVICES} devices, {way}, {seconds:.0f} s: {len(every)} requests ({len(every) / seconds:.0f} a second), "
            f"{tally.wrote} of them writes; errors {len(tally.wrong)}. p50 / p95 / longest {_spread(every)}; {each}."
        )
    return lines


def _spread(row: Sequence[float]) -> str:
    return f"{np.quantile(row, 0.5):.2f} / {np.quantile(row, 0.95):.2f} / {row[-1]:.2f} s"


def main() -> None:
    """Runs and says; --write keeps it in docs/load.md."""
    reader = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    reader.add_argument("--sizes", type=int, nargs="+", default=list(SIZES))
    reader.add_argument("--seconds", type=float, default=SECONDS)
    reader.add_argument("--write", action="store_true")
    given = reader.parse_args()
    with tempfile.TemporaryDirectory(prefix="load") as place:
        found = grown(Path(place), given.sizes, given.seconds)
    lines = said(found, given.sizes, given.seconds)
    wrong = [one for tally in found.tallies for one in tally.wrong]
    print("\n".join([*lines, *wrong[:10]]))
    if given.write and not wrong:
        machine = f", {os.cpu_count()} cores, load {os.getloadavg()[0]:.0f}."
        keep("load.md", "load", lines, stamp(f"seed {SEED}").partition("; engine")[0] + machine)
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
