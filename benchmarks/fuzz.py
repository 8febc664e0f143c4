"""The shop is sent what nobody should send: python benchmarks/fuzz.py --minutes 60 --write

A real shop with jobs that came far is served by a process of its own. A seeded generator sends it one request after
another, of four kinds:

- the interface: every address of its own document, with what its schemas allow, or something valid, a little changed;
- the pages: every form that stands on them, filled as a browser would, then a few fields changed;
- files: photos, meshes and packed jobs, valid, damaged, or changed within and their sums made right again;
- job files in TOML, read in this process, as the commands read them.

- the interface: every address of its own document, with what its schemas allow, or something valid, a bit changed;
policy of the pages, memory past a limit, a page of a job that no longer opens at the end, or a folder in which `check`
then finds something.
"""

from __future__ import annotations

import argparse
import collections
import json
import os
import random
import re
import sys
import tempfile
import time
import urllib.parse
import uuid
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fuzz_files import FORMS, NAMES, job_file, packed, unpackable
from fuzz_page import Page
from fuzz_shop import EXAMPLES, PAN, Answer, Request, Served, ask, filled, served
from fuzz_values import WORDS, as_json, changed, made, nasty
from made_api import GRADE
from made_run import TABLES
from stamp import keep, stamp

from proofpatch.errors import InputError
from proofpatch.shop.check import check
from proofpatch.shop.job import read_job

SEED, MINUTES = 20262, 60.0
PATIENCE = 10.0  # s, after which nothing came
MOST_GROWTH, MOST_EVER = 400, 2000  # MB: from the first tenth of the time to the end, and at any moment
KINDS = {"interface": 0.4, "pages": 0.38, "files": 0.17, "job files": 0.05}
STEPS = ("survey", "forecast", "patches", "recipe", "measure", "offer", "hazards", "run", "run/day", "record", "piece",
         "compare", "quote", "approval")  # fmt: skip
ADDRESS = re.compile(r"/(?:jobs|photos|lasers|materials)[^\s\"'<>]*")
ASKED = ("q", "x", "back", "photo", "units", "view", "at", "more", "zone", "test", "after")
LONGEST_PATH = 8000  # characters; what is longer the server itself refuses
NAMED = {"strip": "strips", "quote": "quotes", "patch": "graded", "entry": "run", "invoice": "invoices",
         "approval": "approvals", "digest": "photos", "scan": "scans"}  # fmt: skip
MOST_KNOWN = 400  # addresses of pages
BODIES: dict[str, Any] = {
    "/jobs": {"tables": PAN}, "/jobs/{id}": {"tables": TABLES, "version": 1}, "/jobs/{id}/graded": GRADE,
    "/jobs/{id}/notes": {"text": "dry"}, "/jobs/{id}/run": {"what": "note", "words": "dry"},
    "/jobs/{id}/day": {"name": "window", "ok": True}, "/jobs/{id}/control": {"residue": "clean", "harm": "none"},
    "/jobs/{id}/strips/{strip}/graded": {"grades": [{"step": "A1", "residue": "partial", "harm": "none"}]},
    "/jobs/{id}/scans/{scan}/measured": {"unit": "m", "picks": ["s-top"]}, "/hazards": {"laser": "pulsed-300"},
    "/jobs/{id}/quotes/{quote}/payments": {"amount": "12.00"},
    "/jobs/{id}/quotes/{quote}/invoices": {"notes": ["in time"]},
}  # fmt: skip


@dataclass
class Fuzz:
    """One run. ids: names known for each part of an address; pages: addresses known."""

    rng: random.Random
    shop: Served
    folder: Path
    spec: dict[str, Any]
    packed: bytes
    ids: dict[str, list[str]]
    pages: list[str] = field(default_factory=lambda: ["/", "/new", "/shop", "/bench", "/lasers", "/shop/prices"])
    sent: collections.Counter[str] = field(default_factory=collections.Counter)
    answers: collections.Counter[int] = field(default_factory=collections.Counter)
    reached: set[str] = field(default_factory=set)
    findings: collections.Counter[str] = field(default_factory=collections.Counter)
    slowest: tuple[float, str] = (0.0, "")
    patience: float = PATIENCE
    early: int = 0
    late: int = 0
    ever: int = 0

    def one(self) -> None:
        """Sends one more."""
        kind = self.rng.choices(list(KINDS), list(KINDS.values()))[0]
        self.sent[kind] += 1
        if kind == "job files":
            self.job_file()
            return
        request = {"interface": self.of_interface, "pages": self.of_pages, "files": self.of_files}[kind]()
        answer = self.ask(request)
        self.learn(request, answer)

    def ask(self, request: Request) -> Answer:
        """The answer to a request; what is wrong with it is a finding."""
        answer = ask(self.shop.port, request, self.patience)
        self.answers[answer.status] += 1
        self.slowest = max(self.slowest, (answer.seconds, f"{request.method} {request.path[:80]}"))
        if answer.status == 0:
            self.found("no answer" if answer.seconds >= self.patience else "the connection ended", request)
            if self.shop.process.poll() is not None:
                raise SystemExit(f"The server ended: {self.shop.told.read_text('utf-8')[-2000:]}")
            self.settle()
        elif answer.status >= 500:
            time.sleep(0.5)  # what it says of it comes a little later
        for fault in self.shop.faults():
            self.found(f"the server's fault: {fault}", request)
        if answer.status >= 500:
            self.found(f"status {answer.status}", request)
        # What is no HTTP at all is refused before the shop sees it, with 400.
        if "content-security-policy" not in answer.headers and answer.status not in (0, 400):
            self.found(f"status {answer.status} without a policy", request)
        return answer

    def warm(self, most: int) -> None:
        """Every page of every job once, with patience: kernels are compiled when they are first needed."""
        for job in self.ids["id"][:most]:
            for step in STEPS:
                ask(self.shop.port, Request("GET", f"/jobs/{job}/{step}"), 300)
            ask(self.shop.port, Request("GET", f"/api/jobs/{job}/recipe"), 300)

    def settle(self) -> None:
        """Waits until it answers again, so that one that hangs is told once."""
        until = time.monotonic() + 300
        while ask(self.shop.port, Request("GET", "/static/style.css"), PATIENCE).status != 200:
            assert time.monotonic() < until, "the shop does not answer any more"

    def found(self, what: str, request: Request) -> None:
        """One more finding."""
        self.findings[what] += 1
        if self.findings[what] == 1:
            print(f"[{sum(self.sent.values())}] {what}: {request.told()[:1500]}", flush=True)

    def learn(self, request: Request, answer: Answer) -> None:
        """Addresses and ids out of an answer, so that the next ones come further."""
        self.reached.add(f"{request.method} {re.sub('[0-9a-f]{32,64}', '*', request.path.partition('?')[0])[:60]}")
        text = answer.body[:300_000].decode("utf-8", "replace")
        found = [answer.headers["location"]] if "location" in answer.headers else []
        if answer.headers.get("content-type", "").startswith("text/html"):
            found += Page(text).links
        for path in found:
            if path.startswith("/") and path not in self.pages and len(path) < 300:
                self.pages.append(path)
        while len(self.pages) > MOST_KNOWN:
            del self.pages[self.rng.randrange(6, len(self.pages))]
        if request.path.startswith("/api") and answer.status in (200, 201) and b'"' in answer.body[:2]:
            return
        for name, part in NAMED.items():
            if request.path.startswith("/api/") and f"/{part}" in request.path:
                self.ids[name] = (self.ids[name] + re.findall(r'"(?:id|digest)":"([0-9a-f]{32,64})"', text[:4000]))[
                    -40:
                ]
        if request.path == "/api/jobs" and answer.status == 201:
            self.ids["id"].append(json.loads(answer.body)["id"])

    def of_interface(self) -> Request:
        """A request to an address of the interface."""
        rng = self.rng
        path, methods = rng.choice(list(self.spec["paths"].items()))
        method, about = rng.choice([pair for pair in methods.items() if pair[0] != "parameters"])
        where, query = path, {}
        for one in about.get("parameters", ()):
            name, known = one["name"], self.ids.get(one["name"], [])
            if one["in"] == "path":
                value = rng.choice(known) if known and rng.random() < 0.9 else rng.choice(WORDS)
                where = where.replace(f"{{{name}}}", quoted(value))
            elif rng.random() < 0.7:
                value = rng.choice((1, 2, 3, True, "gate")) if rng.random() < 0.7 else nasty(rng)
                query[name] = value if isinstance(value, str) else json.dumps(value)
        more = "?" + "&".join(f"{name}={quoted(value)}" for name, value in query.items()) if query else ""
        content = about.get("requestBody", {}).get("content", {})
        if "application/json" in content:
            value = BODIES[path] if path in BODIES and rng.random() < 0.6 else None
            if value is None:
                value = made(content["application/json"]["schema"], self.spec["components"]["schemas"], rng)
            raw, kind = as_json(changed(value, rng), rng)
            return self.request(method.upper(), f"/api{where}{more}", raw, kind)
        if content:
            fields = [(name, made(one, self.spec["components"]["schemas"], rng)) for name, one in
                      self._form_schema(content).items()]  # fmt: skip
            raw, kind = self.form([(name, str(value)) for name, value in fields if name not in FORMS],
                                  [name for name, _ in fields if name in FORMS])  # fmt: skip
            return self.request(method.upper(), f"/api{where}{more}", raw, kind)
        raw = None if method in ("get", "delete") else b""
        return self.request(method.upper(), f"/api{where}{more}", raw, "application/json")

    def _form_schema(self, content: dict[str, Any]) -> dict[str, Any]:
        schema = content["multipart/form-data"]["schema"]
        named = self.spec["components"]["schemas"][schema["$ref"].rpartition("/")[2]] if "$ref" in schema else schema
        return dict(named["properties"])

    def of_pages(self) -> Request:
        """A page looked at, then one of its forms sent."""
        rng = self.rng
        if rng.random() < 0.5:
            path = f"/jobs/{rng.choice(self.ids['id'])}/{rng.choice(STEPS)}"
        else:
            path = rng.choice(self.pages)
        if rng.random() < 0.1:
            path += f"?{rng.choice(ASKED)}={quoted(rng.choice(WORDS))}"
        look = self.request("GET", path)
        answer = self.ask(look)
        self.learn(look, answer)
        if not answer.headers.get("content-type", "").startswith("text/html"):
            return self.request("GET", "/")
        forms = Page(answer.body.decode("utf-8", "replace")).forms
        if not forms:
            return self.request("GET", rng.choice(self.pages))
        form = rng.choice(forms)
        fields = [[name, value] for name, value, kind in form["fields"] if kind != "file"]
        fields += [[name, rng.choice(values)] for name, values in form["choices"].items() if rng.random() < 0.7]
        for _ in range(rng.randint(0, 3) if fields else 0):
            at = rng.randrange(len(fields))
            fields[at][1] = rng.choice(WORDS) if rng.random() < 0.7 else str(nasty(rng))
        if rng.random() < 0.05 and fields:
            fields.append(rng.choice(fields)[:] if rng.random() < 0.5 else [rng.choice(WORDS), rng.choice(WORDS)])
        action = form.get("action") or path
        if form.get("method", "get").lower() == "get":
            asked = "&".join(f"{quoted(name)}={quoted(value)}" for name, value in fields)
            return self.request("GET", f"{action.partition('?')[0]}?{asked}")
        files = [name for name, _, kind in form["fields"] if kind == "file"]
        if files or rng.random() < 0.1:
            raw, kind = self.form([(name, value) for name, value in fields], files)
        else:
            raw = "&".join(f"{quoted(name)}={quoted(value)}" for name, value in fields).encode()
            kind = "application/x-www-form-urlencoded"
        return self.request("POST", action, raw, kind)

    def of_files(self) -> Request:
        """A file sent to where one is taken."""
        rng, job = self.rng, self.rng.choice(self.ids["id"])
        if rng.random() < 0.4:
            name, content = "folder", unpackable(self.packed, rng)
            raw, kind = self.multipart([], [(name, rng.choice(NAMES) or "a.zip", content)])
            return self.request("POST", "/jobs/import", raw, kind)
        what, where = rng.choice((
            ("photo", f"/api/jobs/{job}/photos"), ("photo", f"/jobs/{job}/photo"),
            ("photo", f"/jobs/{job}/measure/photo"),
            ("scan", f"/api/jobs/{job}/scans"), ("scan", f"/jobs/{job}/measure/scan"),
            ("photo", f"/api/jobs/{job}/strips/{rng.choice(self.ids['strip'] or ['x'])}/photos"),
        ))  # fmt: skip
        more = [("kind", rng.choice(("stl", "obj", "ply", "glb", "zip"))), ("about", rng.choice(WORDS))]
        raw, kind = self.form(more if what == "scan" or rng.random() < 0.3 else [], [what])
        return self.request("POST", where, raw, kind)

    def job_file(self) -> None:
        """A job file that is read as the commands read it."""
        text = self.rng.choice(sorted(EXAMPLES.glob("*.toml"))).read_text("utf-8")
        path = self.folder.with_name("job.toml")
        path.write_bytes(raw := job_file(text, self.rng))
        began = time.monotonic()
        try:
            read_job(path)
        except InputError:
            pass
        except Exception as slip:  # whatever it is, is a finding
            self.found(f"{type(slip).__name__} {slip}"[:200], Request("READ", "job.toml", (), raw))
        if time.monotonic() - began > PATIENCE:
            self.found("no answer", Request("READ", "job.toml", (), raw))

    def form(self, fields: list[tuple[str, str]], files: list[str]) -> tuple[bytes, str]:
        """A form with a made file in each of its file fields."""
        found = []
        for name in files:
            content, called = FORMS.get(name, FORMS["photo"])(self.rng)
            found.append((name, called, content))
        return self.multipart(fields, found)

    def multipart(self, fields: list[tuple[str, str]], files: list[tuple[str, str, bytes]]) -> tuple[bytes, str]:
        """(body, type) of a form with files, now and then broken."""
        mark = uuid.UUID(int=self.rng.getrandbits(128)).hex
        parts = [
            f'--{mark}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n' for name, value in fields
        ]
        raw = "".join(parts).encode("utf-8", "surrogatepass")
        for name, called, content in files:
            head = f'--{mark}\r\nContent-Disposition: form-data; name="{name}"; filename="{called}"\r\n\r\n'
            raw += head.encode("utf-8", "surrogatepass") + content + b"\r\n"
        raw += f"--{mark}--\r\n".encode()
        if self.rng.random() < 0.03:
            raw = raw[: self.rng.randrange(len(raw))]
        return raw, f"multipart/form-data; boundary={mark if self.rng.random() < 0.98 else 'other'}"

    def request(self, method: str, path: str, body: bytes | None = None, kind: str = "") -> Request:
        """A request as the shop's own pages send it, now and then with a strange head."""
        head = [("Origin", f"http://127.0.0.1:{self.shop.port}")]
        if kind:
            head.append(("Content-Type", kind))
        if self.rng.random() < 0.03:
            name = self.rng.choice(("Cookie", "Accept-Language", "Range", "If-None-Match", "Proofpatch-Sent",
                                    "Proofpatch-At", "X-Forwarded-For", "Referer", "Accept"))  # fmt: skip
            head.append((name, re.sub(r"[^ -~]", "?", self.rng.choice(WORDS))[:5000]))
        where = urllib.parse.quote(path, safe="/?&=%#:@!$'()*+,;~-._[]", errors="replace")
        return Request(method, where.partition("#")[0][:LONGEST_PATH] or "/", tuple(head), body)

    def closing(self, most: int) -> None:
        """Every page of every job, at the end: what was taken in may not be in the way of what comes after."""
        listed = self.ask(self.request("GET", "/api/jobs?limit=200"))
        jobs = [one["id"] for one in json.loads(listed.body).get("jobs", ())] if listed.status == 200 else []
        for job in jobs[:most]:
            for step in (*STEPS, "folder.zip", "survey.pdf"):
                self.ask(self.request("GET", f"/jobs/{job}/{step}"))
            self.sent["pages"] += len(STEPS) + 2


def quoted(value: str) -> str:
    """A part of an address."""
    return urllib.parse.quote(value, safe="", errors="surrogatepass")


def run(seconds: float, seed: int, patience: float = PATIENCE, most: int = 60, least: int = 0) -> Fuzz:
    """Fuzzes a shop for so long and at least so many requests, then looks at its pages of so many jobs."""
    with tempfile.TemporaryDirectory(prefix="fuzz") as place:
        folder = Path(place) / "shop"
        job = filled(folder)
        content = packed(folder, job)
        with served(folder) as shop:
            spec = json.loads(ask(shop.port, Request("GET", "/api/openapi.json"), 60).body)
            ids = collections.defaultdict(list, {"kind": ["patch", "note", "photo", "job"], "name": ["oak", "wax"]})
            listed = json.loads(ask(shop.port, Request("GET", "/api/jobs"), 60).body)
            ids["id"] = [one["id"] for one in listed["jobs"]]
            made = Fuzz(random.Random(seed), shop, folder, spec, content, ids, patience=patience)
            made.warm(most)
            began = time.monotonic()
            while (spent := time.monotonic() - began) < seconds or made.sent.total() < least:
                made.one()
                if not made.early and spent > seconds / 10:
                    made.early = shop.memory()
            made.early = made.early or shop.memory()  # where the first answer took all the time
            made.closing(most)
            late, ever = shop.memory(), shop.memory("VmHWM")
        if late - made.early > MOST_GROWTH or ever > MOST_EVER:
            made.findings[f"memory: {made.early} MB early, {late} MB at the end, {ever} MB at most"] += 1
        made.findings.update(f"check: {one}" for one in check(folder).troubles)
        made.late, made.ever = late, ever
    return made


def said(made: Fuzz, seconds: float) -> list[str]:
    """What it came to."""
    many = sum(made.answers.values())
    kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(made.sent.items()))
    by = ", ".join(f"{made.answers[status]} of {status}" for status in sorted(made.answers))
    return [
        f"{many} requests in {seconds / 60:.1f} min ({kinds}); answers {by}.",
        f"Slowest answer {made.slowest[0]:.1f} s (`{made.slowest[1]}`); a finding from {PATIENCE:g} s.",
        f"Memory of the server: {made.early} MB after the first tenth, {made.late} MB at the end, {made.ever} MB "
        f"at most; a finding from {MOST_GROWTH} MB of growth, or {MOST_EVER} MB.",
        f"Findings: {len(made.findings)}."
        + "".join(f" {' '.join(what.split())[:160]}, {many} times." for what, many in made.findings.items()),
    ]


def main() -> None:
    """Runs and says; --write keeps it in docs/fuzz.md."""
    reader = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    reader.add_argument("--minutes", type=float, default=MINUTES)
    reader.add_argument("--seed", type=int, default=SEED)
    reader.add_argument("--write", action="store_true")
    given = reader.parse_args()
    began = time.monotonic()
    made = run(given.minutes * 60, given.seed)
    lines = said(made, time.monotonic() - began)
    print("\n".join(lines))
    if given.write:
        machine = f", {os.cpu_count()} cores, load {os.getloadavg()[0]:.0f}."
        keep("fuzz.md", "fuzz", lines, stamp(f"seed {given.seed}").partition("; engine")[0] + machine)
    sys.exit(bool(made.findings))


if __name__ == "__main__":
    main()
