"""A phone's network drops at random while it sends what it kept: python benchmarks/offline.py --write

Each run writes a few entries on a phone (notes, photos, grades with and without photo; or a stretch of a day at work:
checks of the morning, a zone begun, a note, an incident and a grade with their photos, the zone done) and sends them
through a network that, by a seeded generator, lets a request through, cuts the connection before the shop has it, cuts
it before the answer, or does that and has the page loaded anew. Then the network is whole and all is sent. Asked of
every run: nothing lost, nothing twice, and everything in the order it was written.

The browser keeps and sends with the shop's own script; the server is the shop itself over https.
"""

from __future__ import annotations

import argparse
import asyncio
import base64
import collections
import io
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from stamp import DOCS, keep, stamp

from proofpatch.shop.store import Entry, Store
from proofpatch.shop.strips import lay_out

SEED, RUNS = 20260, 200
FATES = ("through", "request lost", "answer lost", "answer lost and page loaded anew")
CHANCES = (0.4, 0.2, 0.3, 0.1)
MOST = 5  # entries of a run
PATIENT = 5  # tries to send what is left once the network is whole
GRADED = 0.1  # of the runs hold a grade, which the laptop takes seconds to work out
WORKED = 0.3  # of the runs are a stretch of a day at work
ZONES = [{"name": "rim", "area": "0.02 m²"}, {"name": "face", "area": "0.05 m²"}]
MORNING = ("people", "eyewear", "fire", "focus")  # checks of the day that are answered
SIGNS = ("tint", "people", "smoke-hangs")
STEP = {
    "setting": {"average_power_W": 150.0, "repetition_rate_Hz": 3e4, "pulse_width_s": 2e-7, "spot_radius_m": 4.5e-4,
                "sweep_width_m": 0.05, "sweep_speed_m_s": 8.0, "travel_speed_m_s": 0.05, "passes": 1,
                "pattern": "line"},
    "p_clean": 0.5, "p_harm": 0.01, "because": "It is a step.",
}  # fmt: skip
DIALLED = {"power": "150 W", "rate": "30 kHz", "width": "200 ns", "spot_diameter": "0.9 mm", "sweep_width": "50 mm",
           "sweep_speed": "8 m/s", "travel_speed": "50 mm/s", "passes": "1"}  # fmt: skip
AWAY = 3 * 3600 * 1000  # ms since a day's entries were written: no gate of now is asked of what happened in the barn
KEEP = """async (entries) => {
  for (const { action, what, fields, away } of entries) {
    const read = fields.map(([name, value]) => [name, value.bytes ? { ...value,
      bytes: Uint8Array.from(atob(value.bytes), (one) => one.charCodeAt(0)).buffer } : value]);
    const entry = Queue.entryOf(action, what, read, what);
    if (away) entry.at = new Date(Date.parse(entry.at) - away).toISOString();
    await Queue.put(entry);
  }
}"""


class Network:
    """Stands before the shop and decides the fate of each request that changes something; whole: all go through."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng, self.whole, self.anew = rng, True, False
        self.fates: collections.Counter[str] = collections.Counter()
        self.app: Any = None

    def over(self, app: Any) -> Network:
        """The network over an application."""
        self.app = app
        return self

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One request."""
        if self.whole or scope["type"] != "http" or scope["method"] != "POST":
            await self.app(scope, receive, send)
            return
        fate = str(self.rng.choice(FATES, p=CHANCES))
        self.fates[fate] += 1
        if fate == "through":
            await self.app(scope, receive, send)
            return
        if fate != "request lost":
            await self.app(scope, receive, _unheard)  # the shop has it, the phone never hears of it
            self.anew = self.anew or fate == FATES[3]
        # The connection itself is cut, as the server holds it; the pause lets the server notice.
        send.__self__.transport.abort()
        await asyncio.sleep(0.02)


async def _unheard(message: Any) -> None:
    return None


def photo(rng: np.random.Generator) -> str:
    """A small picture like no other, as text."""
    out = io.BytesIO()
    Image.fromarray(rng.integers(0, 255, (24, 32, 3), dtype=np.uint8)).save(out, "PNG")
    return base64.b64encode(out.getvalue()).decode()


def worked(rng: np.random.Generator, job: str, run: int) -> list[dict[str, Any]]:
    """A stretch of a day at work in one zone: what was looked at, begun, met, graded and done."""
    zone, entries = str(rng.integers(1, len(ZONES) + 1)), []
    if rng.random() < 0.5:
        checks = [[f"check-{name}", str(rng.choice(["yes", "no"]))] for name in MORNING]
        entries.append({"action": f"{job}/run/day", "what": "morning", "fields": checks, "away": AWAY})
    for number, what in enumerate(("begin", "note", "incident", "check", "end")):
        if what in ("note", "incident") and rng.random() < 0.5:
            continue
        name = f"run {run}, {what} {number}"
        fields: list[Any] = [["what", what], ["zone", zone], ["words", name]]
        fields += [["residue", "clean"], ["harm", "none"]] if what == "check" else []
        fields += [["sign", str(rng.choice(SIGNS))]] if what == "incident" else []
        if what in ("check", "incident"):
            fields.append(["photo", {"bytes": photo(rng), "name": "a.png", "type": "image/png"}])
        entries.append({"action": f"{job}/run", "what": name, "fields": fields, "away": AWAY})
    return entries


def written(rng: np.random.Generator, job: str, run: int, steps: list[str]) -> list[dict[str, Any]]:
    """What is written in a run: notes and photos, at times a grade with its photo; or a stretch of a day at work."""
    if rng.random() < WORKED:
        return worked(rng, job, run)
    entries = []
    for number in range(int(rng.integers(2, MOST + 1))):
        name = f"run {run}, entry {number}"
        shot = {"bytes": photo(rng), "name": "a.png", "type": "image/png"}
        if steps and number == 0 and rng.random() < GRADED:
            step = steps.pop(0)
            fields = [["step", step], ["residue", "partial"], ["harm", "none"]]
            fields += [["photo", shot]] if rng.random() < 0.5 else []
            entries.append({"action": f"{job}/patches", "what": step, "fields": fields})
        elif rng.random() < 0.4:
            entries.append({"action": f"{job}/photo", "what": name, "fields": [["photo", shot], ["about", name]]})
        else:
            entries.append({"action": f"{job}/notes", "what": name, "fields": [["note", name]]})
    return entries


def found(store: Store, job: str) -> list[str]:
    """What stands in the shop, the first first: of a note its words, of a photo what it shows, of a grade its step, of
    an entry of the run its words and how many photos it has; a photo of the run counts with its entry.
    """
    key = job.rsplit("/", 1)[1]
    said: list[Entry] = [one for kind in ("note", "photo", "patch", "run") for one in store.all(kind, key)]
    of_run = {digest for one in said if one.kind == "run" for digest in one.data["photos"]}
    names = {"note": lambda one: one.data["text"], "photo": lambda one: f"photo {one.data['about']}",
             "patch": lambda one: f"grade {one.title.partition(':')[0]}",
             "run": lambda one: f"{one.data['what']} {one.data['words']}, photos {len(one.data['photos'])}",
    }  # fmt: skip
    own = [one for one in said if one.kind != "photo" or one.data["digest"] not in of_run]
    return [names[one.kind](one) for one in sorted(own, key=lambda one: one.created)]


def mornings(store: Store, job: str) -> int:
    """How many answers of a morning stand in the days of a job, each made once."""
    return sum(
        one.version - 1 + (past.what == "made") * len(past.data["checks"])
        for one in store.all("day", job.rpartition("/")[2])
        for past in store.history("day", one.id)[:1]
    )


def wanted(entries: list[dict[str, Any]]) -> list[str]:
    """What has to stand there for these entries, the answers of a morning aside."""
    said = []
    for one in entries:
        kind, with_photo = one["action"].rsplit("/", 1)[1], any(name == "photo" for name, _ in one["fields"])
        if kind == "run":
            said.append(f"{one['fields'][0][1]} {one['what']}, photos {int(with_photo)}")
        elif kind != "day":
            said.append({"notes": "", "photo": "photo ", "patches": "grade "}[kind] + one["what"])
        if kind == "patches" and with_photo:
            said.append(f"photo {one['what']}")
    return said


def drops(page: Any, network: Network, store: Store, job: str, runs: int, steps: list[str]) -> tuple[list[str], int]:
    """(what went wrong, entries written) of so many runs. page: of a phone; network: the shop is served over it."""
    troubles, count = [], 0
    page.goto(f"{job}/piece")
    page.evaluate("() => Queue.flush(true)")
    before, answered = len(found(store, job)), mornings(store, job)
    rng = network.rng.spawn(1)[0]  # how often the network is asked hangs on the clock; what is written must not
    for run in range(runs):
        entries = written(rng, job, run, steps)
        count += len(entries)
        network.whole = True
        page.evaluate(KEEP, entries)
        network.whole = False
        for _ in range(int(rng.integers(1, 5))):
            page.evaluate("() => Queue.flush(true)")
            if network.anew:
                network.anew, network.whole = False, True
                page.reload()
                network.whole = False
        network.whole = True
        for _ in range(PATIENT):  # a phone that waited a minute for an answer tries again
            page.evaluate("() => Queue.flush(true)")
            if not page.evaluate("() => Queue.all().then((all) => all.filter((one) => !one.problem).length)"):
                break
        left = page.evaluate("() => Queue.all().then((all) => all.map((one) => [one.what, one.problem]))")
        now = found(store, job)
        answered += len(MORNING) * sum(one["what"] == "morning" for one in entries)
        if left or now[before:] != wanted(entries) or mornings(store, job) != answered:
            looked = f"answers {mornings(store, job)} of {answered}"
            troubles.append(f"run {run}: wanted {wanted(entries)}, found {now[before:]}, left {left}, {looked}")
        before, answered = len(now), mornings(store, job)
    return troubles, count


def strip_of(store: Store, job: str, steps: int) -> list[str]:
    """A strip of so many equal steps; their names."""
    lay_out(store, job.rsplit("/", 1)[1], [STEP] * steps, [DIALLED] * steps)
    return [f"A{number}" for number in range(1, steps + 1)]


def zoned(store: Store, job: str) -> None:
    """The job with zones to work in."""
    entry = store.get("job", job.rsplit("/", 1)[1])
    store.change("job", entry.id, entry.version, {**entry.data, "zones": ZONES})


def main() -> None:
    """Runs and says; --write keeps it in docs/offline.md."""
    reader = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    reader.add_argument("--runs", type=int, default=RUNS)
    reader.add_argument("--seed", type=int, default=SEED)
    reader.add_argument("--write", action="store_true")
    given = reader.parse_args()
    sys.path.append(str(DOCS.parent / "tests" / "made"))
    from made_laptop import Laptop, trusting_home
    from made_pages import LEAD, PAN
    from playwright.sync_api import sync_playwright

    from proofpatch.web.jobs import _new_job

    with tempfile.TemporaryDirectory() as place, sync_playwright() as play:
        store = Store.open(Path(place) / "shop")
        data = _new_job(PAN) | {"lead": {name: LEAD[name] for name in ("status", "method", "date")}}
        job = f"/jobs/{store.add('job', data, title='Skillet').id}"
        zoned(store, job)
        steps = strip_of(store, job, given.runs)
        laptop, network = Laptop(store), Network(np.random.default_rng(given.seed))
        laptop.open(network.over)
        home = trusting_home(Path(place) / "home", laptop.certificate)
        program = shutil.which("chromium") or shutil.which("chromium-browser")
        browser = play.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-gpu"], env=home)
        page = browser.new_context(base_url=laptop.address).new_page()
        troubles, count = drops(page, network, store, job, given.runs, steps)
        lines = said(given.runs, count, store, network, troubles)
        print("\n".join([*lines, *troubles]))
        browser.close()
        laptop.shut()
        store.close()
    if given.write and not troubles:
        keep("offline.md", "runs", lines, stamp(f"seed {given.seed}").partition("; engine")[0] + ".")


def said(runs: int, count: int, store: Store, network: Network, troubles: list[str]) -> list[str]:
    """What the runs came to."""
    kinds = {kind: store.count(kind) for kind in ("note", "photo", "patch", "run")}
    whats = collections.Counter(str(one.data["what"]) for one in store.all("run"))
    answers = sum(mornings(store, one.id) for one in store.all("job"))
    fates = ", ".join(f"{number} {fate}" for fate, number in sorted(network.fates.items()))
    return [
        f"{runs} runs, {count} entries: {kinds['note']} notes, {kinds['patch']} grades, {kinds['run']} entries of the "
        f"run ({', '.join(f'{whats[what]} {what}' for what in sorted(whats))}), {answers} answers of a morning and "
        f"{kinds['photo']} photos stand in the shop.",
        f"Requests that met the network: {fates}.",
        f"Runs with something lost, made twice or out of order: {len(troubles)}.",
    ]


if __name__ == "__main__":
    main()
