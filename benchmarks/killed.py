"""The shop is killed while it is written: python benchmarks/killed.py --write

A real shop is served by a process of its own and written over HTTP from a few threads, each sending the next thing as
soon as the last was answered, with an id as a phone does: notes, photos, grades of patches, entries of the run. At a
moment drawn by a seeded generator the process gets SIGKILL. Counted is what was in flight then: sent whole, not
answered. Then the folder is opened again. Asked each time:

- everything that was answered stands there, once;
- what was in flight stands there once or not at all;
- `check` finds the folder whole.

The next process serves the same folder, and what was in flight is sent to it again under the same id; after the last
kill of a folder all of it has to stand there once. A kill is no power cut: what the system took it writes in any case.
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import datetime
import http.client
import io
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from offline import DIALLED, STEP
from PIL import Image
from stamp import keep, stamp

from proofpatch.shop.check import check
from proofpatch.shop.store import Store
from proofpatch.shop.strips import lay_out
from proofpatch.web.once import AT, MADE, SENT

SEED, KILLS = 20261, 200
LIVES = 20  # kills of one folder
SOONEST, LATEST = 0.02, 0.8  # s from the first request to the kill
# Share of the lives with grades, the same with the run, and LATEST of both, which are worked out first.
WORKED, PATIENT = 0.2, 4.0
GRADES = 40  # steps laid out in each folder
HANDS = ("first", "second", "grades", "run")  # threads
RUN = ("begin", "note", "incident", "end", "check")
AWAY = datetime.timedelta(minutes=10)  # since an entry of the run was written: no gate of now is asked of what happened
LEAD = {"status": "negative", "method": "laboratory test of a chip through all layers", "date": "2025-03-11"}
PAN = {"job": {"title": "Skillet", "laser": "pulsed-500"}, "limits": {"preset": "ordinary"},
       "evidence": {"kind": "grease", "substrate": "cast-iron", "year": "2020"}, "lead": LEAD,
       "zones": [{"name": "rim", "area": "0.02 m²"}, {"name": "face", "area": "0.05 m²"}]}  # fmt: skip
Fields = list[tuple[str, "str | bytes"]]


@dataclass
class Sending:
    """One thing that is sent. stands: what has to be in the shop once it is answered; sent, answered: when [s]."""

    path: str
    fields: Fields
    stands: tuple[str, ...]
    id: str = field(default_factory=lambda: str(uuid.uuid4()))
    sent: float | None = None
    answered: float | None = None


@dataclass
class Hand:
    """One thread's work in one folder: what it sent, what is still unanswered, what comes next."""

    name: str
    job: str
    rng: np.random.Generator
    sent: list[Sending] = field(default_factory=list)
    open: list[Sending] = field(default_factory=list)

    def next(self) -> Sending | None:
        """The one that was not answered first, else a new one; None: there is nothing left to do."""
        if self.open:
            return self.open[0]
        made = self._made(len(self.sent))
        if made is not None:
            self.sent.append(made)
            self.open.append(made)
        return made

    def _made(self, number: int) -> Sending | None:
        words = f"{self.name}, {number}"
        shot = ("photo", picture(self.rng))
        if self.name == "grades":
            if number >= GRADES:
                return None
            step = f"A{number + 1}"
            fields: Fields = [("step", step), ("residue", "partial"), ("harm", "none")]
            with_photo = bool(self.rng.random() < 0.5)
            stands = (f"patch {step}", *([f"photo {step}"] if with_photo else []))
            return Sending(f"{self.job}/patches", fields + ([shot] if with_photo else []), stands)
        if self.name == "run":
            what, seen = RUN[number % len(RUN)], bool(self.rng.random() < 0.5)
            fields = [("what", what), ("zone", "1"), ("words", words)]
            fields += [("residue", "clean"), ("harm", "none")] if what == "check" else []
            return Sending(f"{self.job}/run", fields + ([shot] if seen else []), (run_name(words, seen),))
        if self.rng.random() < 0.5:
            return Sending(f"{self.job}/notes", [("note", words)], (f"note {words}",))
        return Sending(f"{self.job}/photo", [shot, ("about", words)], (f"photo {words}",))


@dataclass
class Tally:
    """What the kills came to. with_flight: kills that met something in flight; made: of it stood there all the same."""

    kills: int = 0
    with_flight: int = 0
    quick: int = 0
    in_flight: collections.Counter[str] = field(default_factory=collections.Counter)
    made: collections.Counter[str] = field(default_factory=collections.Counter)
    answered: collections.Counter[str] = field(default_factory=collections.Counter)
    moments: list[float] = field(default_factory=list)
    leftovers: int = 0
    troubles: list[str] = field(default_factory=list)


def run_name(words: str, seen: bool) -> str:
    """An entry of the run as `Sending.stands` has it."""
    return f"run {words}{' with its photo' if seen else ''}"


def picture(rng: np.random.Generator) -> bytes:
    """A small photo like no other; JPEG of some 40 kB, so that its file takes more than one write."""
    out = io.BytesIO()
    Image.fromarray(rng.integers(0, 255, (160, 160, 3), dtype=np.uint8)).save(out, "JPEG", quality=95)
    return out.getvalue()


class Shops:
    """Opens shops in processes of their own."""

    def __init__(self) -> None:
        program = Path(__file__).with_name("killed_serve.py")
        self._maker = subprocess.Popen(
            [sys.executable, str(program)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self._said() == "ready"

    def open(self, folder: Path) -> tuple[int, int]:
        """(its process, its port) once it takes calls."""
        port = _free_port()
        assert self._maker.stdin is not None
        self._maker.stdin.write(f"{folder} {port}\n")
        self._maker.stdin.flush()
        process, until = int(self._said()), time.monotonic() + 60
        while time.monotonic() < until:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
                return process, port
            time.sleep(0.005)
        raise TimeoutError("the shop did not open")

    def close(self) -> None:
        """No more of them."""
        self._maker.communicate(timeout=30)

    def _said(self) -> str:
        assert self._maker.stdout is not None
        return self._maker.stdout.readline().strip()


def _free_port() -> int:
    with contextlib.closing(socket.socket()) as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def kill(process: int) -> None:
    """SIGKILL, and until it is gone."""
    os.kill(process, signal.SIGKILL)
    with contextlib.suppress(ProcessLookupError):
        while True:
            os.kill(process, 0)
            time.sleep(0.001)


def work(hand: Hand, port: int, over: threading.Event, troubles: list[str]) -> None:
    """Sends one thing after another until the shop is gone, or it is over and nothing is open."""
    with contextlib.closing(http.client.HTTPConnection("127.0.0.1", port, timeout=120)) as line:
        while not (over.is_set() and not hand.open):
            one = hand.next()
            if one is None:
                return
            try:
                answer, said = _send(line, one, port)
            except (OSError, http.client.HTTPException):
                return  # it was killed
            if answer.headers.get(SENT) != one.id or not (answer.status == 200 or answer.headers.get(MADE)):
                words = re.sub(rb"<[^>]+>|\s+", b" ", said)[:300]
                troubles.append(f"{one.path} {one.stands}: refused with {answer.status}, {words!r}")
                return
            one.answered = time.monotonic()
            hand.open.remove(one)


def _send(line: http.client.HTTPConnection, one: Sending, port: int) -> tuple[http.client.HTTPResponse, bytes]:
    """(the answer, its words); when it was sent whole is noted before the answer is waited for."""
    body, kind = _body(one.fields)
    head = {"Content-Type": kind, "Origin": f"http://127.0.0.1:{port}", SENT: one.id,
            AT: (datetime.datetime.now(datetime.UTC) - AWAY).isoformat()}  # fmt: skip
    one.sent = None
    line.request("POST", one.path, body, head)
    one.sent = time.monotonic()
    answer = line.getresponse()
    return answer, answer.read()


def _body(fields: Fields) -> tuple[bytes, str]:
    """A form as a browser sends it with a file."""
    mark, parts = uuid.uuid4().hex, []
    for name, value in fields:
        of_file = isinstance(value, bytes)
        head = f'--{mark}\r\nContent-Disposition: form-data; name="{name}"'
        head += '; filename="a.jpg"\r\nContent-Type: image/jpeg' if of_file else ""
        parts += [head.encode(), b"\r\n\r\n", value if of_file else str(value).encode(), b"\r\n"]
    return b"".join([*parts, f"--{mark}--\r\n".encode()]), f"multipart/form-data; boundary={mark}"


def found(folder: Path, job: str) -> collections.Counter[str]:
    """What stands in the shop, as `Sending.stands` has it, and how often."""
    with contextlib.closing(Store.open(folder)) as store:
        key = job.rsplit("/", 1)[1]
        rows = [f"note {one.data['text']}" for one in store.all("note", key)]
        runs = store.all("run", key)
        rows += [run_name(one.data["words"], bool(one.data["photos"])) for one in runs]
        of_runs = {digest for one in runs for digest in one.data["photos"]}
        rows += [f"photo {one.data['about']}" for one in store.all("photo", key) if one.data["digest"] not in of_runs]
        rows += [f"patch {one.title.partition(':')[0]}" for one in store.all("patch", key)]
    return collections.Counter(rows)


def asked(folder: Path, hands: list[Hand], tally: Tally, whole: bool) -> collections.Counter[str]:
    """Holds what stands there against what was sent; what is wrong goes into the tally. whole: nothing is open."""
    stands, known = found(folder, hands[0].job), collections.Counter[str]()
    for one in (one for hand in hands for one in hand.sent):
        for name in one.stands:
            known[name] = 1
            if stands[name] > 1 or (stands[name] == 0 and (whole or one.answered is not None)):
                what = "answered" if one.answered is not None else "in flight"
                tally.troubles.append(f"{name} was {what} and stands there {stands[name]} times.")
    tally.troubles += [f"{name} stands there and was never sent." for name in stands if name not in known]
    seen = check(folder)
    tally.troubles += [f"check: {one}" for one in seen.troubles]
    tally.leftovers += len(seen.leftovers)
    return stands


def lives(folder: Path, shops: Shops, rng: np.random.Generator, kills: int, tally: Tally, least: int = 0) -> None:
    """One folder, opened and killed so many times, then opened once more to take what was left.

    Args:
        least: answers that the first hand has in each life before the kill, which then meets something in flight; 0:
            the moment alone decides.
    """
    with contextlib.closing(Store.open(folder)) as store:
        key = store.add("job", PAN, title="Skillet").id
        lay_out(store, key, [STEP] * GRADES, [DIALLED] * GRADES)
    hands = [Hand(name, f"/jobs/{key}", np.random.default_rng(rng.integers(2**32))) for name in HANDS]
    for life in range(kills + 1):
        draw = rng.random()
        slow = hands[2:3] if draw < WORKED else hands[3:] if draw < 2 * WORKED else []
        at_work = hands if life == kills else [hands[0], *slow] if slow else hands[:2]
        with _writing(shops, folder, at_work, tally) as (process, over, threads):
            if life == kills:
                over.set()
                for one in threads:
                    one.join(120)
                kill(process)
                break
            moment = float(rng.uniform(SOONEST, PATIENT if slow else LATEST))
            before = answers(hands[0])
            time.sleep(moment)
            while least and threads[0].is_alive() and (answers(hands[0]) - before < least or not under_way(at_work)):
                time.sleep(0.0005)
            now = time.monotonic()
            kill(process)
        flying = [one for one in under_way(at_work) if one.sent is not None and one.sent < now]
        stands = asked(folder, hands, tally, whole=False)
        tally.kills += 1
        tally.moments.append(moment)
        tally.with_flight += bool(flying)
        tally.quick += any(one.path.endswith(("/notes", "/photo")) for one in flying)
        for one in flying:
            kind = one.path.rsplit("/", 1)[1]
            tally.in_flight[kind] += 1
            tally.made[kind] += stands[one.stands[0]]
    asked(folder, hands, tally, whole=True)
    for one in (one for hand in hands for one in hand.sent):
        tally.answered[one.path.rsplit("/", 1)[1]] += one.answered is not None


def answers(hand: Hand) -> int:
    """How many of what a hand sent were answered."""
    return sum(one.answered is not None for one in hand.sent)


def under_way(hands: list[Hand]) -> list[Sending]:
    """What was sent whole and is not answered."""
    return [one for hand in hands for one in list(hand.open) if one.sent is not None]


@contextlib.contextmanager
def _writing(
    shops: Shops, folder: Path, hands: list[Hand], tally: Tally
) -> Iterator[tuple[int, threading.Event, list[threading.Thread]]]:
    """A shop with all hands at work in it; until they are done."""
    process, port = shops.open(folder)
    over = threading.Event()
    threads = [threading.Thread(target=work, args=(hand, port, over, tally.troubles)) for hand in hands]
    for one in threads:
        one.start()
    yield process, over, threads
    for one in threads:
        one.join(130)


def run(kills: int, seed: int, each: int = LIVES, least: int = 0) -> Tally:
    """So many kills, `each` of them of one folder. least: as in `lives`."""
    rng, tally = np.random.default_rng(seed), Tally()
    shops = Shops()
    try:
        with tempfile.TemporaryDirectory(prefix="killed") as place:
            while tally.kills < kills:
                lives(Path(place) / str(tally.kills), shops, rng, min(each, kills - tally.kills), tally, least)
    finally:
        shops.close()
    return tally


def said(tally: Tally, seconds: float) -> list[str]:
    """What the kills came to."""
    names = {"notes": "notes", "photo": "photos", "patches": "grades", "run": "entries of the run"}

    def listed(counts: dict[str, int]) -> str:
        return ", ".join(f"{counts[key]} {words}" for key, words in names.items() if counts.get(key))

    flew, stood = sum(tally.in_flight.values()), sum(tally.made.values())
    return [
        f"{tally.kills} kills, {SOONEST:g} to {LATEST:g} s after the first request, to {PATIENT:g} s where grades or "
        f"entries of the run were sent; {seconds / 60:.1f} min.",
        f"Answered and there exactly once: {sum(tally.answered.values())} writes ({listed(tally.answered)}).",
        f"In flight at the moment of the kill: {flew} writes ({listed(tally.in_flight)}); "
        f"{tally.with_flight} of {tally.kills} kills met at least one, {tally.quick} a note or a photo, which is "
        "written at once; a grade or an entry of the run is worked out first.",
        f"Of those in flight {stood} stood there once when the folder was opened again, {flew - stood} not at all; "
        "sent again under their ids, all stood there once in the end.",
        f"Half files and unnamed photo files found after a kill, all harmless: in {tally.leftovers} cases.",
        f"Lost, made twice, never sent, or a check that was not passed: {len(tally.troubles)}.",
    ]


def main() -> None:
    """Runs and says; --write keeps it in docs/reliability.md."""
    reader = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    reader.add_argument("--kills", type=int, default=KILLS)
    reader.add_argument("--seed", type=int, default=SEED)
    reader.add_argument("--write", action="store_true")
    given = reader.parse_args()
    began = time.monotonic()
    tally = run(given.kills, given.seed)
    lines = said(tally, time.monotonic() - began)
    print("\n".join([*lines, *tally.troubles[:20]]))
    assert tally.with_flight * 2 >= tally.kills, "too few kills met a write in flight"
    if given.write and not tally.troubles:
        machine = f", {os.cpu_count()} cores, load {os.getloadavg()[0]:.0f}."
        keep("reliability.md", "kills", lines, stamp(f"seed {given.seed}").partition("; engine")[0] + machine)
    sys.exit(bool(tally.troubles))


if __name__ == "__main__":
    main()
